//! The invented practice's photos, made ready and measured side by side while its stories are told: a story waits for
//! a photo only where it is not ready yet.

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::OnceLock;
use std::sync::PoisonError;

use sha2::Digest;
use sha2::Sha256;
use tokio::sync::Semaphore;
use tokio::task::JoinHandle;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::intake;
use crate::care::intake::PreparedPhoto;
use crate::care::measuring::Method;
use crate::photo::CardIssue;
use crate::photo::Picture;
use crate::store::photos::Size;
use crate::store::photos::Tap;
use crate::wound;
use crate::wound::Asked;
use crate::wound::Measurement;

/// As many as the usual small machine has cores.
const AT_ONCE: usize = 2;

/// One photo of the seed data.
pub(in crate::cli) struct SeedPhoto {
    pub name: String,
    pub bytes: Vec<u8>,
    pub tap: Option<Tap>,
    pub position: i64,
}

/// What is seen in which picture, by what is asked of it.
type Seen = Mutex<HashMap<String, Arc<OnceLock<Measurement>>>>;

/// Photos on their way, by name.
pub(in crate::cli) struct Ahead {
    on_their_way: HashMap<String, JoinHandle<Done<PreparedPhoto>>>,
    method: Method,
}

impl Ahead {
    /// Begins, first photos first. `cards`: those of the practice.
    pub fn begin(desk: &Desk, cards: &CardIssue, photos: Vec<SeedPhoto>) -> Ahead {
        let seen = Arc::new(Seen::default());
        let method = Method {
            measure: Arc::new(move |picture, asked| look(&seen, picture, asked)),
            ..Method::default()
        };
        let places = Arc::new(Semaphore::new(AT_ONCE));
        let on_their_way = photos
            .into_iter()
            .map(|photo| {
                let (name, places) = (photo.name.clone(), Arc::clone(&places));
                let making = make_ready(desk.clone(), photo, cards.clone(), method.clone(), places);
                (name, tokio::spawn(making))
            })
            .collect();
        Ahead { on_their_way, method }
    }

    /// The method of the program, which remembers what it has seen.
    pub fn method(&self) -> &Method {
        &self.method
    }

    /// The photo, ready to be sent once.
    pub async fn photo(&mut self, name: &str) -> Done<PreparedPhoto> {
        let making = self.on_their_way.remove(name).ok_or(CareError::NotFound)?;
        making.await.map_err(|fault| CareError::Work(fault.to_string()))?
    }
}

async fn make_ready(
    desk: Desk,
    photo: SeedPhoto,
    cards: CardIssue,
    method: Method,
    places: Arc<Semaphore>,
) -> Done<PreparedPhoto> {
    let place = places.acquire_owned().await.map_err(|fault| CareError::Work(fault.to_string()))?;
    let prepared = intake::prepare_photo(&desk, photo.bytes, photo.position, photo.tap).await?;
    let Some(blob) = prepared.blob(Size::Review) else { return Ok(prepared) };
    if let Some(bytes) = desk.blobs.open(blob).await? {
        let hints = prepared.hints(cards);
        tokio::task::spawn_blocking(move || {
            let _place = place;
            if let Ok(picture) = Picture::from_rendition(&bytes) {
                (method.measure)(&picture, &hints.asked(&picture));
            }
        });
    }
    Ok(prepared)
}

fn look(seen: &Seen, picture: &Picture, asked: &Asked) -> Measurement {
    let key = format!("{} {asked:?}", data_encoding::HEXLOWER.encode(&Sha256::digest(picture.rgb())));
    let once = Arc::clone(seen.lock().unwrap_or_else(PoisonError::into_inner).entry(key).or_default());
    once.get_or_init(|| wound::measure(picture, asked)).clone()
}
