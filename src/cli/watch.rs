//! `closewatch watch`: on another host, hears the server's signs of life, and calls people when there are none.

use std::net::IpAddr;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use axum::Json;
use axum::Router;
use axum::body::Bytes;
use axum::extract::DefaultBodyLimit;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::routing::get;
use jiff::SignedDuration;
use tokio::net::TcpListener;
use tokio::sync::Mutex;

use crate::cli::BadInput;
use crate::cli::Failure;
use crate::cli::watch_state::Call;
use crate::cli::watch_state::Kept;
use crate::config::NotifySettings;
use crate::notify::Address;
use crate::notify::BadBeat;
use crate::notify::LONGEST_BEAT_BYTES;
use crate::notify::Letter;
use crate::notify::Post;
use crate::notify::SIGNATURE_HEADER;
use crate::notify::Secret;
use crate::notify::TIMESTAMP_HEADER;
use crate::notify::read_beat;
use crate::web::Clock;

/// Between two looks at how long it has been silent.
const LOOK: Duration = Duration::from_millis(500);

#[derive(Debug, clap::Args)]
pub struct Watch {
    /// Address to listen on. Anything but loopback needs HTTPS in front of it.
    #[arg(long, env = "CLOSEWATCH_WATCH_ADDRESS", default_value = "127.0.0.1")]
    address: IpAddr,

    /// Port to listen on; 0 takes a free one.
    #[arg(long, env = "CLOSEWATCH_WATCH_PORT", default_value_t = 8090)]
    port: u16,

    /// File with the secret that the server signs with.
    #[arg(long, env = "CLOSEWATCH_HEARTBEAT_SECRET_FILE")]
    secret_file: PathBuf,

    /// File in which it keeps what it heard last, over restarts.
    #[arg(long, env = "CLOSEWATCH_WATCH_STATE", default_value = "closewatch-watch.json")]
    state: PathBuf,

    /// Whom to call: `sms:+12025550150`, `voice:+12025550150` or `email:name@practice.example`; all of them, each time.
    #[arg(long = "call", env = "CLOSEWATCH_WATCH_CALL", value_delimiter = ',', required = true)]
    calls: Vec<String>,

    /// Seconds without a sign of life after which people are called.
    #[arg(long, env = "CLOSEWATCH_WATCH_SILENT_S", default_value_t = 180, value_parser = clap::value_parser!(u32).range(1..))]
    silent_after: u32,

    /// Seconds after which they are called again.
    #[arg(long, env = "CLOSEWATCH_WATCH_REPEAT_S", default_value_t = 300, value_parser = clap::value_parser!(u32).range(1..))]
    repeat_every: u32,

    #[command(flatten)]
    notify: NotifySettings,
}

struct Ear {
    secret: Secret,
    kept: Mutex<Kept>,
    silent_after: SignedDuration,
    repeat_every: SignedDuration,
}

pub async fn run(watch: Watch) -> Result<(), Failure> {
    let post = Post::from_settings(&watch.notify)?;
    let calls = addresses(&watch.calls, &post)?;
    let ear = Arc::new(Ear {
        secret: Secret::from_file(&watch.secret_file)?,
        kept: Mutex::new(Kept::open(&watch.state, Clock::Machine.now())?),
        silent_after: SignedDuration::from_secs(i64::from(watch.silent_after)),
        repeat_every: SignedDuration::from_secs(i64::from(watch.repeat_every)),
    });
    let wanted = SocketAddr::new(watch.address, watch.port);
    let listener = TcpListener::bind(wanted)
        .await
        .map_err(|fault| format!("cannot listen on {wanted}: {fault}. Choose another --port."))?;
    println!("The checker listens on http://{}/heartbeat", listener.local_addr()?);
    let router = Router::new()
        .route("/heartbeat", axum::routing::post(hear))
        .route("/live", get(live))
        .layer(DefaultBodyLimit::max(LONGEST_BEAT_BYTES))
        .with_state(Arc::clone(&ear));
    tokio::select! {
        served = axum::serve(listener, router) => served?,
        () = look(&ear, &post, &calls) => {}
    }
    Ok(())
}

/// Everybody who can be called by what is set up.
fn addresses(calls: &[String], post: &Post) -> Result<Vec<Address>, Failure> {
    calls.iter().map(|call| address(call.trim(), post).map_err(|why| BadInput(why).into())).collect()
}

fn address(call: &str, post: &Post) -> Result<Address, String> {
    let address = match call.split_once(':') {
        Some(("sms", number)) => Address::Sms(number.to_owned()),
        Some(("voice", number)) => Address::Voice(number.to_owned()),
        Some(("email", address)) => Address::Email(address.to_owned()),
        Some(_) | None => return Err(format!("--call {call}: begin with sms:, voice: or email:")),
    };
    address.check().map_err(|fault| format!("--call {call}: {fault}"))?;
    if !post.reaches(&address) {
        return Err(format!("--call {call}: no way to send it is set up"));
    }
    Ok(address)
}

async fn hear(State(ear): State<Arc<Ear>>, headers: HeaderMap, body: Bytes) -> impl IntoResponse {
    let header = |name: &str| headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let now = Clock::Machine.now();
    let mut kept = ear.kept.lock().await;
    let (time, signature) = (header(TIMESTAMP_HEADER), header(SIGNATURE_HEADER));
    match read_beat(&body, time, signature, &ear.secret, kept.counter(), now) {
        Ok(counter) => {
            kept.hear(counter, now);
            (StatusCode::NO_CONTENT, String::new())
        }
        Err(why) => {
            tracing::warn!(%why, "a sign of life was not believed");
            let status = match why {
                BadBeat::Signature | BadBeat::Stale => StatusCode::UNAUTHORIZED,
                BadBeat::Replayed => StatusCode::CONFLICT,
                BadBeat::Form => StatusCode::BAD_REQUEST,
            };
            (status, format!("{why}\n"))
        }
    }
}

/// For whoever watches the watcher.
async fn live(State(ear): State<Arc<Ear>>) -> impl IntoResponse {
    let now = Clock::Machine.now();
    let kept = ear.kept.lock().await;
    let silent_s = now.duration_since(kept.heard()).as_secs();
    let hears = silent_s < ear.silent_after.as_secs();
    let status = if hears { StatusCode::OK } else { StatusCode::SERVICE_UNAVAILABLE };
    (status, Json(serde_json::json!({ "hears": hears, "silent_s": silent_s })))
}

/// Looks for ever, and calls whoever is to be called.
async fn look(ear: &Ear, post: &Post, calls: &[Address]) {
    loop {
        let now = Clock::Machine.now();
        let due = ear.kept.lock().await.due(ear.silent_after, ear.repeat_every, calls.len(), now);
        for call in due {
            let Some(to) = calls.get(call.place) else { continue };
            match post.send(&letter(to, &call), now).await {
                Ok(_) => ear.kept.lock().await.called(&call),
                Err(refused) => {
                    tracing::error!(?refused, place = call.place, "a call could not be made");
                    ear.kept.lock().await.not_called(&call, now);
                }
            }
        }
        tokio::time::sleep(LOOK).await;
    }
}

fn letter(to: &Address, call: &Call) -> Letter {
    let since = call.silent_since.strftime("%H:%M UTC");
    let (subject, body) = if call.is_back {
        (
            "Server back",
            format!("The Closewatch server gives signs of life again. It was silent since {since}."),
        )
    } else {
        (
            "Server silent",
            format!(
                "The Closewatch server has given no sign of life since {since}. It may tell nobody of what waits. \
                 Please look at it now, and watch the practice's phone."
            ),
        )
    };
    Letter { to: to.clone(), subject: subject.to_owned(), body, reference: call.reference(), language: "en" }
}
