//! A wound check arriving as one form: fields and pictures are taken as they stream in, within limits, and what
//! arrived before a line broke is kept.

use std::collections::BTreeSet;

use axum::extract::Multipart;
use axum::extract::multipart::Field;
use jiff::SignedDuration;
use jiff::Timestamp;
use sha2::Digest;
use sha2::Sha256;

use crate::care::CareError;
use crate::care::LinkHolder;
use crate::care::flood;
use crate::care::gates::DECODING_AGAIN;
use crate::care::gates::Held;
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
    /// And those that can be sent again after so long: more came than can be read soon. `None`: there were none.
    pub busy: Option<SignedDuration>,
    /// From when this link's photos are taken again; `None`: they are taken.
    pub refused_until: Option<Timestamp>,
    /// The form ended before its end.
    pub cut_short: bool,
}

/// Takes a form in. Only answers beyond their limit are an error; pictures never are.
pub async fn take(app: &App, holder: &LinkHolder, mut form: Multipart) -> Result<Incoming, PageError> {
    let mut incoming = Incoming {
        typed: Typed::default(),
        photos: Vec::new(),
        lost: 0,
        no_room: 0,
        busy: None,
        refused_until: None,
        cut_short: false,
    };
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
            match picture(field, app.desk.limits.bytes, app.desk.arriving()).await {
                Picture::Came { bytes, held } if room && seen.insert(sha256(&bytes)) => {
                    if !is_refused(app, holder, &mut incoming, &fields).await? {
                        keep(app, &mut incoming, bytes, &fields).await;
                    }
                    drop(held);
                }
                Picture::NoPlace if room => {
                    incoming.lost += 1;
                    incoming.busy = Some(DECODING_AGAIN);
                }
                // An empty file field, a seventh photo, or a picture chosen twice.
                Picture::Came { .. } | Picture::NoPlace | Picture::Nothing => {}
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

/// Whether this link has sent photos with more checks today than are taken; asked once for each form.
async fn is_refused(
    app: &App,
    holder: &LinkHolder,
    incoming: &mut Incoming,
    fields: &[(String, String)],
) -> Result<bool, PageError> {
    if incoming.photos.is_empty() && incoming.refused_until.is_none() {
        let form_key = fields.iter().find(|(name, _)| name == "form_key").map_or("", |(_, key)| key.as_str());
        incoming.refused_until =
            flood::refused_until(&app.desk, holder, form_key.trim(), &app.moment()).await?;
    }
    let is_refused = incoming.refused_until.is_some();
    incoming.lost += usize::from(is_refused);
    Ok(is_refused)
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
        Err(CareError::Busy { again }) => {
            tracing::warn!("more photos come in than can be read");
            incoming.lost += 1;
            incoming.busy = Some(again);
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

/// What a file field brought.
enum Picture {
    Came {
        bytes: Vec<u8>,
        held: Held,
    },
    /// Too many bytes of pictures are held just now: its own were read and dropped.
    NoPlace,
    /// No file was chosen.
    Nothing,
}

/// Reads a picture up to one byte over the limit, which is enough to say why it cannot be used; the rest is read and
/// dropped. A picture that breaks off is kept as far as it came.
async fn picture(mut field: Field<'_>, most_bytes: u64, mut held: Held) -> Picture {
    let named = field.file_name().is_some_and(|name| !name.is_empty());
    let most = usize::try_from(most_bytes).unwrap_or(usize::MAX).saturating_add(1);
    let (mut bytes, mut has_place) = (Vec::new(), true);
    while let Ok(Some(chunk)) = field.chunk().await {
        let part = &chunk[..chunk.len().min(most.saturating_sub(bytes.len()))];
        has_place = has_place && held.grow(part.len());
        if has_place {
            bytes.extend_from_slice(part);
        } else {
            bytes = Vec::new();
        }
    }
    match (has_place, named || !bytes.is_empty()) {
        (true, true) => Picture::Came { bytes, held },
        (true, false) => Picture::Nothing,
        (false, _) => Picture::NoPlace,
    }
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
