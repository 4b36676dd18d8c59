//! One photo's bytes, for a surgeon's eyes, and for whom a lead let see photos.

use axum::extract::Path;
use axum::extract::State;
use axum::http::header;
use axum::response::IntoResponse;
use axum::response::Response;

use crate::care::envelope;
use crate::care::review;
use crate::ids::PhotoId;
use crate::store::photos::Size;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::doors::Onlooker;
use crate::web::error::PageError;

pub async fn show(
    State(app): State<App>,
    member: Member,
    Path((id, size)): Path<(String, String)>,
) -> Result<Response, PageError> {
    let id: PhotoId = id.parse().map_err(|_| PageError::NotFound)?;
    let size = read_size(&size).ok_or(PageError::NotFound)?;
    let bytes =
        review::photo(&app.desk, &member.member, id, size, app.now()).await?.ok_or(PageError::NotFound)?;
    Ok(picture(id, size, bytes))
}

/// The same for whoever opened the sealed envelope, of wounds with an open check.
pub async fn show_to_onlooker(
    State(app): State<App>,
    onlooker: Onlooker,
    Path((id, size)): Path<(String, String)>,
) -> Result<Response, PageError> {
    let id: PhotoId = id.parse().map_err(|_| PageError::NotFound)?;
    let size = read_size(&size).ok_or(PageError::NotFound)?;
    let bytes =
        envelope::photo(&app.desk, &onlooker.look, id, size, app.now()).await?.ok_or(PageError::NotFound)?;
    Ok(picture(id, size, bytes))
}

fn picture(id: PhotoId, size: Size, bytes: bytes::Bytes) -> Response {
    let keep = match size {
        // The queue shows the same small pictures again and again; the rest leaves no trace on a shared desk.
        Size::Small => "private, max-age=300",
        Size::Review | Size::Full => "no-store",
    };
    let name = format!("inline; filename=\"wound-{id}.jpg\"");
    (
        [
            (header::CONTENT_TYPE, "image/jpeg".to_owned()),
            (header::CONTENT_DISPOSITION, name),
            (header::CACHE_CONTROL, keep.to_owned()),
        ],
        bytes,
    )
        .into_response()
}

fn read_size(word: &str) -> Option<Size> {
    match word {
        "small" => Some(Size::Small),
        "review" => Some(Size::Review),
        "full" => Some(Size::Full),
        _ => None,
    }
}
