//! Which kind of browser somebody uses, for the list of their sessions: what it says of itself, and no more of it.

use axum::http::HeaderMap;
use axum::http::header;

/// By a part of what browsers say; the first that is found counts, for most say the names of others as well.
const BROWSERS: [(&str, &str); 6] = [
    ("Edg", "Edge"),
    ("Firefox/", "Firefox"),
    ("FxiOS/", "Firefox"),
    ("CriOS/", "Chrome"),
    ("Chrome/", "Chrome"),
    ("Safari/", "Safari"),
];
const MACHINES: [(&str, &str); 7] = [
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Android", "Android"),
    ("Windows", "Windows"),
    ("Mac OS", "Mac"),
    ("CrOS", "Chromebook"),
    ("Linux", "Linux"),
];

/// Such as "Firefox on Windows".
pub fn of(headers: &HeaderMap) -> String {
    let said = headers.get(header::USER_AGENT).and_then(|said| said.to_str().ok()).unwrap_or_default();
    let found = |names: &[(&str, &'static str)]| {
        names.iter().find(|(part, _)| said.contains(part)).map(|(_, name)| *name)
    };
    match (found(&BROWSERS), found(&MACHINES)) {
        (Some(browser), Some(machine)) => format!("{browser} on {machine}"),
        (Some(name), None) | (None, Some(name)) => name.to_owned(),
        (None, None) => "A browser".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::HeaderValue;

    #[test]
    fn a_browser_is_told_by_its_kind_and_its_machine() {
        // What the browsers say of themselves, from memory.
        for (said, words) in [
            (
                "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:145.0) Gecko/20100101 Firefox/145.0",
                "Firefox on Windows",
            ),
            (
                "Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/142.0.0.0 Safari/537.36",
                "Chrome on Linux",
            ),
            (
                "Mozilla/5.0 (Windows NT 10.0) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/142.0 Safari/537.36 Edg/142.0",
                "Edge on Windows",
            ),
            (
                "Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) AppleWebKit/605.1.15 Version/18.0 Safari/604.1",
                "Safari on iPhone",
            ),
            ("curl/8", "A browser"),
        ] {
            let headers = HeaderMap::from_iter([(header::USER_AGENT, HeaderValue::from_static(said))]);
            assert_eq!(of(&headers), words);
        }
        assert_eq!(of(&HeaderMap::new()), "A browser");
    }
}
