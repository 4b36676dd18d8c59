//! The cookies: a staff member's session, a patient's phone, a look by a sealed code, and a browser that is known.

use axum::http::HeaderMap;
use axum::http::HeaderValue;
use axum::http::header;

use crate::web::App;

/// Which session a cookie holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cookie {
    Staff,
    Phone,
    /// Of whoever opened the sealed envelope.
    Look,
    /// A browser in which staff signed in before: it opens nothing.
    Known,
}

impl Cookie {
    fn name(self, app: &App) -> &'static str {
        match (self, app.is_https()) {
            (Cookie::Staff, true) => "__Host-closewatch-staff",
            (Cookie::Staff, false) => "closewatch-staff",
            (Cookie::Phone, true) => "__Host-closewatch-phone",
            (Cookie::Phone, false) => "closewatch-phone",
            (Cookie::Look, true) => "__Host-closewatch-look",
            (Cookie::Look, false) => "closewatch-look",
            (Cookie::Known, true) => "__Host-closewatch-known",
            (Cookie::Known, false) => "closewatch-known",
        }
    }

    /// The token the browser sent; `None` when it sent none.
    pub fn read(self, app: &App, headers: &HeaderMap) -> Option<String> {
        let name = self.name(app);
        headers
            .get_all(header::COOKIE)
            .iter()
            .filter_map(|line| line.to_str().ok())
            .flat_map(|line| line.split(';'))
            .filter_map(|pair| pair.trim().split_once('='))
            .find(|(key, value)| *key == name && !value.is_empty())
            .map(|(_, value)| value.to_owned())
    }

    /// The header that sets it. A phone's cookie lasts 30 days, a staff member's and a look's until the browser closes, and
    /// a year that a browser is known.
    pub fn set(self, app: &App, token: &str) -> HeaderValue {
        let age = match self {
            Cookie::Staff | Cookie::Look => "",
            Cookie::Phone => "; Max-Age=2592000",
            Cookie::Known => "; Max-Age=31536000",
        };
        self.header(app, &format!("{token}{age}"))
    }

    /// The header that takes it away.
    pub fn clear(self, app: &App) -> HeaderValue {
        self.header(app, "; Max-Age=0")
    }

    fn header(self, app: &App, value: &str) -> HeaderValue {
        let secure = if app.is_https() { "; Secure" } else { "" };
        let line = format!("{}={value}; Path=/; HttpOnly; SameSite=Lax{secure}", self.name(app));
        HeaderValue::from_str(&line).expect("tokens are base64url")
    }
}
