//! The address a request comes from, for limits that count by it.

use std::net::IpAddr;
use std::net::SocketAddr;

use axum::extract::ConnectInfo;
use axum::extract::Request;
use axum::middleware::Next;
use axum::response::Response;

/// Whoever is at the other end of the connection.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ClientAddress(pub IpAddr);

/// Notes the address with every request that came over a connection.
pub async fn note(mut request: Request, next: Next) -> Response {
    if let Some(ConnectInfo(peer)) = request.extensions().get::<ConnectInfo<SocketAddr>>() {
        let address = ClientAddress(peer.ip());
        request.extensions_mut().insert(address);
    }
    next.run(request).await
}
