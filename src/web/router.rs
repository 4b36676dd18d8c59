//! Every door of the house, and the layers around them.

use std::any::Any;
use std::time::Duration;

use axum::Router;
use axum::http::StatusCode;
use axum::middleware::from_fn;
use axum::middleware::from_fn_with_state;
use axum::response::IntoResponse;
use axum::response::Response;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::compression::predicate::NotForContentType;
use tower_http::compression::predicate::Predicate;
use tower_http::compression::predicate::SizeAbove;
use tower_http::csrf::CsrfLayer;
use tower_http::timeout::TimeoutLayer;

use crate::web::App;
use crate::web::Door;
use crate::web::assets;
use crate::web::doors::Doors;
use crate::web::doors::Who;
use crate::web::error::PageError;
use crate::web::export;
use crate::web::fell_over;
use crate::web::headers;
use crate::web::health;
use crate::web::https_only;
use crate::web::office;
use crate::web::patient;
use crate::web::plain;
use crate::web::practice;
use crate::web::reach;
use crate::web::sign_in;
use crate::web::surgeon;

/// A phone on a bad line may take this long to send one photo.
const LONGEST_REQUEST: Duration = Duration::from_secs(600);

fn hang_all(app: &App) -> Doors {
    let open = Doors::new(app)
        .get("/static/{*path}", Who::Anyone, assets::serve)
        .get("/favicon.ico", Who::Anyone, assets::icon)
        .get("/live", Who::Anyone, health::live)
        .get("/ready", Who::Anyone, health::ready)
        .get("/attend", Who::Anyone, health::attend)
        .get("/robots.txt", Who::Anyone, health::robots);
    #[cfg(feature = "doubles")]
    let open = fell_over::on_purpose::hang(open);
    let inside = office::hang(surgeon::hang(patient::hang(sign_in::hang(open))));
    export::hang(reach::hang(practice::hang(inside)))
}

/// Something outside the doors fell over.
fn fallen(_why: Box<dyn Any + Send>) -> Response {
    fell_over::fallen()
}

/// Who may enter where, row by row.
pub fn doors(app: &App) -> Vec<Door> {
    hang_all(app).into_parts().1
}

/// The whole site.
pub fn router(app: &App) -> Router {
    let (router, _) = hang_all(app).into_parts();
    // Pictures, and what is zipped, are compressed already, and a stream must not wait for a compressor's buffer.
    let compressible = SizeAbove::new(512)
        .and(NotForContentType::IMAGES)
        .and(NotForContentType::new("application/pdf"))
        .and(NotForContentType::new("application/zip"))
        .and(NotForContentType::SSE);
    router
        .fallback(async || PageError::NotFound.into_response())
        .with_state(app.clone())
        .layer(from_fn(plain::without_nul))
        .layer(CompressionLayer::new().compress_when(compressible))
        .layer(CatchPanicLayer::custom(fallen))
        .layer(from_fn_with_state(app.clone(), fell_over::outside_the_doors))
        .layer(CsrfLayer::new())
        .layer(from_fn(headers::need_origin))
        .layer(from_fn_with_state(app.clone(), https_only::guard))
        .layer(from_fn_with_state(app.clone(), headers::add))
        .layer(TimeoutLayer::with_status_code(StatusCode::REQUEST_TIMEOUT, LONGEST_REQUEST))
}
