//! One answer of the server, as a person or a browser sees it.

use axum::Router;
use axum::body::Body;
use axum::http::HeaderMap;
use axum::http::Method;
use axum::http::Request;
use axum::http::StatusCode;
use axum::http::header;
use axum::http::request;
use http_body_util::BodyExt;
use tower::ServiceExt;

/// What the server answered.
#[derive(Clone, Debug)]
pub struct Page {
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub body: Vec<u8>,
}

impl Page {
    pub fn html(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    /// The words on the page, without marks, with single spaces.
    pub fn words(&self) -> String {
        words_of(&self.html())
    }

    pub fn says(&self, words: &str) -> bool {
        self.words().contains(words)
    }

    #[track_caller]
    pub fn must_say(&self, words: &str) -> &Page {
        assert!(self.says(words), "the page ({}) does not say \"{words}\":\n{}", self.status, self.words());
        self
    }

    #[track_caller]
    pub fn must_not_say(&self, words: &str) -> &Page {
        assert!(!self.says(words), "the page ({}) says \"{words}\":\n{}", self.status, self.words());
        self
    }

    #[track_caller]
    pub fn is_fine(&self) -> &Page {
        assert!(
            self.status.is_success() || self.status.is_redirection(),
            "answered {}:\n{}",
            self.status,
            self.words()
        );
        self
    }

    /// Where the page sends the browser; empty: nowhere.
    pub fn leads_to(&self) -> &str {
        self.headers.get(header::LOCATION).and_then(|to| to.to_str().ok()).unwrap_or("")
    }

    /// The name=value part of the first cookie it sets.
    pub fn cookie(&self) -> Option<String> {
        let line = self.headers.get(header::SET_COOKIE)?.to_str().ok()?;
        line.split(';').next().map(str::to_owned)
    }

    /// The value of the form field with this name; `None` when the page has no such field.
    pub fn field(&self, name: &str) -> Option<String> {
        let html = self.html();
        let tag = tags(&html).into_iter().find(|tag| attribute(tag, "name").as_deref() == Some(name))?;
        attribute(tag, "value")
    }
}

/// The opening tags of a page, as written between `<` and `>`.
pub fn tags(html: &str) -> Vec<&str> {
    html.split('<').skip(1).filter_map(|rest| rest.split('>').next()).collect()
}

/// An attribute's value in one tag, with its entities read.
pub fn attribute(tag: &str, name: &str) -> Option<String> {
    let at = tag.find(&format!(" {name}=\""))?;
    let rest = &tag[at + name.len() + 3..];
    rest.split('"').next().map(read_entities)
}

/// The words between the tags, without what scripts and styles hold.
pub fn words_of(html: &str) -> String {
    let mut words = String::new();
    let mut rest = html;
    while let Some(start) = rest.find('<') {
        words.push_str(&rest[..start]);
        words.push(' ');
        rest = &rest[start..];
        let closing = ["<script", "<style"].iter().find(|opening| rest.starts_with(**opening));
        let end = match closing {
            Some(opening) => rest.find(&format!("</{}", &opening[1..])).unwrap_or(0),
            None => 0,
        };
        rest = &rest[end..];
        rest = rest.find('>').map_or("", |end| &rest[end + 1..]);
    }
    words.push_str(rest);
    read_entities(&words).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A piece of a page with its entities read, each once, and every space as it is.
pub fn words_exactly(piece: &str) -> String {
    let mut words = String::new();
    let mut rest = piece;
    while let Some(start) = rest.find('&') {
        words.push_str(&rest[..start]);
        rest = &rest[start..];
        let end = rest.find(';').unwrap_or_else(|| panic!("an entity without an end: {rest}"));
        let letter = match &rest[1..end] {
            "amp" => '&',
            "lt" => '<',
            "gt" => '>',
            "quot" => '"',
            "nbsp" => '\u{a0}',
            entity => {
                let number = entity.strip_prefix('#').and_then(|number| match number.strip_prefix('x') {
                    Some(hex) => u32::from_str_radix(hex, 16).ok(),
                    None => number.parse().ok(),
                });
                number.and_then(char::from_u32).unwrap_or_else(|| panic!("an entity `{entity}`"))
            }
        };
        words.push(letter);
        rest = &rest[end + 1..];
    }
    words + rest
}

fn read_entities(text: &str) -> String {
    text.replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&#60;", "<")
        .replace("&#62;", ">")
        .replace("&quot;", "\"")
        .replace("&#60;", "<")
        .replace("&#62;", ">")
        .replace("&#34;", "\"")
        .replace("&#39;", "'")
        .replace("&#x27;", "'")
        .replace("&nbsp;", " ")
        .replace("&#38;", "&")
        .replace("&amp;", "&")
}

/// A request as one of our own pages sends it. `cookie`: empty for nobody.
pub fn from_our_page(method: Method, path: &str, cookie: &str) -> request::Builder {
    let builder = Request::builder()
        .method(method)
        .uri(path)
        .header(header::HOST, "wounds.example")
        .header("sec-fetch-site", "same-origin")
        .header(header::ORIGIN, "https://wounds.example");
    if cookie.is_empty() { builder } else { builder.header(header::COOKIE, cookie) }
}

/// Sends a request to the server without a socket. Of a stream, which never ends, only the head is read.
pub async fn send(router: &Router, request: Request<Body>) -> Page {
    let response = router.clone().oneshot(request).await.expect("the router cannot fail");
    let (parts, body) = response.into_parts();
    let is_stream = parts.headers.get(header::CONTENT_TYPE).is_some_and(|kind| kind == "text/event-stream");
    let body = if is_stream { Vec::new() } else { body.collect().await.unwrap().to_bytes().to_vec() };
    Page { status: parts.status, headers: parts.headers, body }
}

/// A form's fields as a browser writes them.
pub fn form(fields: &[(&str, &str)]) -> Body {
    Body::from(serde_urlencoded::to_string(fields).unwrap())
}

/// A file as a form sends it.
pub struct File<'a> {
    pub name: &'a str,
    pub bytes: &'a [u8],
}

/// A form with files, as a browser writes it. Without a file, the file fields are there and empty.
pub fn form_with_files(
    path: &str,
    cookie: &str,
    fields: &[(&str, &str)],
    files: &[File<'_>],
) -> Request<Body> {
    let edge = "x-edge-of-a-part-x";
    let mut body = Vec::new();
    for (name, value) in fields {
        let head = format!("--{edge}\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n");
        body.extend_from_slice(head.as_bytes());
    }
    let empty = [File { name: "", bytes: b"" }];
    for file in if files.is_empty() { empty.as_slice() } else { files } {
        let head = format!(
            "--{edge}\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"{}\"\r\n\
             Content-Type: application/octet-stream\r\n\r\n",
            file.name
        );
        body.extend_from_slice(head.as_bytes());
        body.extend_from_slice(file.bytes);
        body.extend_from_slice(b"\r\n");
    }
    body.extend_from_slice(format!("--{edge}--\r\n").as_bytes());
    from_our_page(Method::POST, path, cookie)
        .header(header::CONTENT_TYPE, format!("multipart/form-data; boundary={edge}"))
        .body(Body::from(body))
        .unwrap()
}
