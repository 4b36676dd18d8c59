//! A wound check arriving as one form: fields and pictures are taken as they stream in, within limits, and what
//! arrived before a line broke is kept.

use std::collections::BTreeSet;

use axum::extract::Multipart;
use axum::extract::multipart::Field;
use sha2::Digest;
use sha2::Sha256;

use crate::care::CareError;
use crate::care::intake;
use crate::care::intake::PreparedPhoto;
use crate::store::photos::MOST_PHOTOS;
use crate::store::photos::Tap;
use crate::web::App;
use crate::web::error::PageError;
use crate::web::patient::typed::Typed;

/// All answers together.
const MOST_ANSWER_BYTES: usize = 64 * 1024;
/// The whole form: six photos of 15 MB, the answers, and the form's own lines.
pub const MOST_BYTES: usize = 6 * 15_000_000 + 2 * 1024 * 1024;

/// What came in.
pub struct Incoming {
    pub typed: Typed,
    pub photos: Vec<PreparedPhoto>,
    /// Photos that came but could not be kept just now.
    pub lost: usize,
    /// Of them, those there was no room for.
    pub no_room: usize,
    /// The form ended before its end.
    pub cut_short: bool,
}

/// Takes a form in. Only answers beyond their limit are an error; pictures never are.
pub async fn take(app: &App, mut form: Multipart) -> Result<Incoming, PageError> {
    let mut incoming =
        Incoming { typed: Typed::default(), photos: Vec::new(), lost: 0, no_room: 0, cut_short: false };
    let mut fields = Vec::new();
    let mut answer_bytes = 0;
    let mut seen = BTreeSet::new();
    loop {
        let field = match form.next_field().await {
            Ok(Some(field)) => field,
            Ok(None) => break,
            Err(_) => {
                incoming.cut_short = true;
                break;
            }
        };
        let name = field.name().unwrap_or_default().to_owned();
        if name == "photo" {
            let room = incoming.photos.len() + incoming.lost < MOST_PHOTOS as usize;
            match picture(field, app.desk.limits.bytes).await {
                Some(bytes) if room && seen.insert(sha256(&bytes)) => {
                    keep(app, &mut incoming, bytes, &fields).await
                }
                // An empty file field, a seventh photo, or a picture chosen twice.
                Some(_) | None => {}
            }
            continue;
        }
        match text(field, MOST_ANSWER_BYTES.saturating_sub(answer_bytes)).await {
            Text::Whole(value) => {
                answer_bytes += name.len() + value.len();
                fields.push((name, value));
            }
            Text::TooLong => return Err(PageError::TooBig),
            Text::Broken => incoming.cut_short = true,
        }
    }
    incoming.typed = Typed::new(fields);
    Ok(incoming)
}

fn sha256(bytes: &[u8]) -> Vec<u8> {
    Sha256::digest(bytes).to_vec()
}

async fn keep(app: &App, incoming: &mut Incoming, bytes: Vec<u8>, fields: &[(String, String)]) {
    let number = (incoming.photos.len() + incoming.lost) as i64 + 1;
    let position = whole(fields, "position").unwrap_or(number);
    match intake::prepare_photo(&app.desk, bytes, position, tap(fields)).await {
        Ok(photo) => incoming.photos.push(photo),
        Err(CareError::NoRoom) => {
            tracing::error!("there is no room for photos");
            incoming.lost += 1;
            incoming.no_room += 1;
        }
        // The answers must not go down with a picture.
        Err(fault) => {
            tracing::error!(%fault, "a photo could not be kept");
            incoming.lost += 1;
        }
    }
}

/// The tap that was sent before its picture; `None` when there is none, or it lies outside.
fn tap(fields: &[(String, String)]) -> Option<Tap> {
    let inside = |name| whole(fields, name).filter(|place| (0..=10_000).contains(place));
    Some(Tap { x_per_10_000: inside("tap_x")?, y_per_10_000: inside("tap_y")? })
}

fn whole(fields: &[(String, String)], name: &str) -> Option<i64> {
    fields.iter().rev().find(|(field, _)| field == name).and_then(|(_, value)| value.trim().parse().ok())
}

/// Reads a picture up to one byte over the limit, which is enough to say why it cannot be used; the rest is read and
/// dropped. A picture that breaks off is kept as far as it came. `None`: no file was chosen.
async fn picture(mut field: Field<'_>, most_bytes: u64) -> Option<Vec<u8>> {
    let named = field.file_name().is_some_and(|name| !name.is_empty());
    let most = usize::try_from(most_bytes).unwrap_or(usize::MAX).saturating_add(1);
    let mut bytes = Vec::new();
    while let Ok(Some(chunk)) = field.chunk().await {
        let room = most.saturating_sub(bytes.len());
        bytes.extend_from_slice(&chunk[..chunk.len().min(room)]);
    }
    (named || !bytes.is_empty()).then_some(bytes)
}

enum Text {
    Whole(String),
    TooLong,
    Broken,
}

async fn text(mut field: Field<'_>, most: usize) -> Text {
    let mut bytes = Vec::new();
    loop {
        match field.chunk().await {
            Ok(Some(chunk)) if bytes.len() + chunk.len() > most => return Text::TooLong,
            Ok(Some(chunk)) => bytes.extend_from_slice(&chunk),
            Ok(None) => return Text::Whole(String::from_utf8_lossy(&bytes).into_owned()),
            Err(_) => return Text::Broken,
        }
    }
}
