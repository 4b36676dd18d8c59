//! What the doors tell the record: whom they turned away, and who came up against a limit.

use axum::extract::Request;
use axum::http::StatusCode;
use axum::response::Response;

use crate::care::turned_away;
use crate::care::turned_away::Knocker;
use crate::care::turned_away::Refusal;
use crate::care::turned_away::Why;
use crate::web::App;
use crate::web::Door;
use crate::web::doors::Member;
use crate::web::doors::Phone;
use crate::web::error::LimitHit;
use crate::web::error::NotForThem;
use crate::web::error::NotFromOurs;
use crate::web::error::PageError;

/// Who stands at the door, as far as it knows.
pub fn knocker(request: &Request) -> Knocker {
    let extensions = request.extensions();
    match (extensions.get::<Member>(), extensions.get::<Phone>()) {
        (Some(member), _) => Knocker::Staff { practice: member.member.practice, id: member.member.id },
        (None, Some(phone)) => Knocker::Phone { practice: phone.holder.practice, link: phone.holder.link },
        (None, None) => Knocker::Stranger,
    }
}

/// Why a door lets somebody not in. `None`: nothing was refused, something failed.
pub fn why(refused: &PageError) -> Option<Why> {
    match refused {
        PageError::NotAllowed => Some(Why::Role),
        PageError::HalfIn | PageError::NotFresh => Some(Why::SecondStep),
        PageError::SignedOut | PageError::NoLink | PageError::LookOver => Some(Why::NotIn),
        PageError::NotFound
        | PageError::FromElsewhere
        | PageError::InTheOpen
        | PageError::Unreadable
        | PageError::TooBig
        | PageError::Care(_) => None,
    }
}

/// Why whoever was let in did not get what they came for. `None`: they did, or something failed.
pub fn inside(response: &Response) -> Option<Why> {
    let extensions = response.extensions();
    let is_limit =
        response.status() == StatusCode::TOO_MANY_REQUESTS || extensions.get::<LimitHit>().is_some();
    match (is_limit, extensions.get::<NotForThem>()) {
        (true, _) => Some(Why::Limit),
        (false, Some(_)) => Some(Why::Role),
        (false, None) => None,
    }
}

/// Whether a change was refused before it came to a door: it is not from our pages, or came in the open.
pub fn is_from_elsewhere(response: &Response) -> bool {
    response.extensions().get::<NotFromOurs>().is_some()
}

/// Tells the record of somebody at a door.
pub async fn note(app: &App, door: &Door, knocker: Knocker, why: Why) {
    tell(app, Refusal { knocker, why, method: door.method.as_str(), door: door.path }).await;
}

/// Tells the record of a change that was refused before it came to a door.
pub async fn note_elsewhere(app: &App) {
    let (knocker, why) = (Knocker::Stranger, Why::Elsewhere);
    tell(app, Refusal { knocker, why, method: "POST", door: "" }).await;
}

/// A line that cannot be written holds nobody up: the answer is a refusal already.
async fn tell(app: &App, refusal: Refusal<'_>) {
    if let Err(fault) = turned_away::note(&app.desk, refusal, app.now()).await {
        tracing::warn!(%fault, "a refusal could not be noted in the record");
    }
}
