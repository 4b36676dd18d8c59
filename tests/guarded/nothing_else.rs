//! Nothing but what is meant to be there answers: no page for developers, no listing, no TRACE, no word of what runs here (safety
//! promise A36).

use axum::body::Body;
use axum::http::Method;
use axum::http::StatusCode;

use crate::support::Page;
use crate::support::Place;
use crate::support::Practice;
use crate::support::from_our_page;
use crate::support::send;

/// What people and machines try first.
const GUESSED: &[&str] = &[
    "/.aws/credentials",
    "/.env",
    "/.git/HEAD",
    "/.git/config",
    "/.htaccess",
    "/.svn/entries",
    "/.well-known/security.txt",
    "/Cargo.lock",
    "/Cargo.toml",
    "/README.md",
    "/actuator/env",
    "/actuator/health",
    "/admin",
    "/admin/login",
    "/api",
    "/api/docs",
    "/api/v1/patients",
    "/backup",
    "/backup.sql",
    "/backup.zip",
    "/cgi-bin/test.cgi",
    "/closewatch.sqlite",
    "/config",
    "/config.json",
    "/config.toml",
    "/console",
    "/data/closewatch.sqlite",
    "/data/sealing-keys",
    "/db",
    "/debug",
    "/debug/pprof/",
    "/debug/vars",
    "/docs",
    "/dump.sql",
    "/env",
    "/graphql",
    "/heads/",
    "/health",
    "/healthz",
    "/info",
    "/install",
    "/internal/metrics",
    "/login.php",
    "/logs",
    "/manage/env",
    "/metrics",
    "/openapi.json",
    "/photos",
    "/photos/",
    "/phpinfo.php",
    "/phpmyadmin/",
    "/private",
    "/prometheus",
    "/record-key.pem",
    "/sealing-keys",
    "/server-info",
    "/server-status",
    "/setup",
    "/static",
    "/static/",
    "/static/../Cargo.toml",
    "/static/%2e%2e/Cargo.toml",
    "/static/..%2fsrc%2flib.rs",
    "/status",
    "/swagger",
    "/swagger-ui/",
    "/test",
    "/tmp",
    "/trace",
    "/version",
    "/wp-admin/",
    "/wp-login.php",
];

async fn asks(practice: &Practice, method: Method, path: &str) -> Page {
    send(&practice.router, from_our_page(method, path, "").body(Body::empty()).unwrap()).await
}

/// What tells a stranger which program answers, and which version of it.
fn says_what_runs(page: &Page) -> Option<String> {
    let named = ["server", "x-powered-by", "via", "x-version"]
        .into_iter()
        .find(|name| page.headers.contains_key(*name));
    let version = env!("CARGO_PKG_VERSION");
    named
        .map(str::to_owned)
        .or_else(|| page.html().contains(version).then(|| format!("the version {version}")))
}

#[tokio::test]
async fn what_is_guessed_is_not_there_and_says_nothing() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    assert!(GUESSED.len() >= 60);
    for path in GUESSED {
        let page = asks(&practice, Method::GET, path).await;
        assert_eq!(page.status, StatusCode::NOT_FOUND, "{path}");
        assert_eq!(says_what_runs(&page), None, "{path}");
    }
    for path in ["/sign-in", "/live", "/ready", "/attend", "/go"] {
        assert_eq!(says_what_runs(&asks(&practice, Method::GET, path).await), None, "{path}");
    }
}

#[tokio::test]
async fn trace_and_other_odd_ways_of_asking_are_refused_everywhere() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    for path in ["/", "/sign-in", "/my", "/queue", "/nowhere"] {
        for method in ["TRACE", "TRACK", "CONNECT", "PUT", "DELETE", "PATCH", "DEBUG"] {
            let method = Method::from_bytes(method.as_bytes()).unwrap();
            let page = asks(&practice, method.clone(), path).await;
            let refused = matches!(page.status, StatusCode::METHOD_NOT_ALLOWED | StatusCode::NOT_FOUND);
            assert!(refused, "{method} {path} answered {}", page.status);
            assert!(!page.html().contains("sec-fetch-site"), "{method} {path} repeats the request");
        }
    }
}
