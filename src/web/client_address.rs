//! The address a request comes from, for limits that count by it.

use std::net::IpAddr;
use std::net::Ipv4Addr;
use std::net::Ipv6Addr;
use std::net::SocketAddr;

use axum::extract::ConnectInfo;
use axum::extract::Request;
use axum::middleware::Next;
use axum::response::Response;

/// Whoever is at the other end of the connection.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ClientAddress(pub IpAddr);

/// Where a proxy on the same machine stands: behind it are many people, and which of them it is nobody knows here.
const PROXIES: [IpAddr; 2] = [IpAddr::V4(Ipv4Addr::LOCALHOST), IpAddr::V6(Ipv6Addr::LOCALHOST)];

/// Notes the address with every request that came over a connection.
pub async fn note(mut request: Request, next: Next) -> Response {
    let peer = request.extensions().get::<ConnectInfo<SocketAddr>>().map(|ConnectInfo(peer)| peer.ip());
    if let Some(address) = peer.filter(|address| !PROXIES.contains(&address.to_canonical())) {
        request.extensions_mut().insert(ClientAddress(address));
    }
    next.run(request).await
}
