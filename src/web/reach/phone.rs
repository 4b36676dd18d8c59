//! A patient's phone asks to be told when an answer is there, and takes it back. Both from *Today*.

use axum::Form;
use axum::extract::State;
use axum::response::Redirect;
use serde::Deserialize;

use crate::care::phone_push;
use crate::notify::PushSubscription;
use crate::web::App;
use crate::web::doors::Phone;
use crate::web::error::PageError;

/// Where the phone comes back to.
const BACK: &str = "/my#told";

/// What the browser gave, as JSON.
#[derive(Deserialize)]
pub struct BrowserForm {
    #[serde(default)]
    pub subscription: String,
}

/// A browser that cannot be sent to, or only by a host on no list, is not kept: the page goes on offering the button.
pub async fn begin(
    State(app): State<App>,
    phone: Phone,
    Form(form): Form<BrowserForm>,
) -> Result<Redirect, PageError> {
    let subscription = PushSubscription::read(&form.subscription).map_err(|_| PageError::Unreadable)?;
    if !app.post.trusts(&subscription) {
        return Err(PageError::Unreadable);
    }
    phone_push::tell(&app.desk, &phone.holder, &phone.token, &form.subscription, &app.moment()).await?;
    Ok(Redirect::to(BACK))
}

pub async fn end(State(app): State<App>, phone: Phone) -> Result<Redirect, PageError> {
    phone_push::end(&app.desk, &phone.holder, &phone.token, &app.moment()).await?;
    Ok(Redirect::to(BACK))
}
