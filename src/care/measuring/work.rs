//! The program measures one waiting photo: after its check is safe, one try at a time, and whatever happens to the try,
//! the check stays as it is.

use std::panic::AssertUnwindSafe;
use std::panic::catch_unwind;
use std::sync::Arc;
use std::time::Duration;

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::measuring::keeping;
use crate::care::measuring::keeping::Dealt;
use crate::ids::Moment;
use crate::photo::CardIssue;
use crate::photo::Picture;
use crate::photo::PxPoint;
use crate::store::Conn;
use crate::store::checks;
use crate::store::checks::WoundCheck;
use crate::store::measurements::Author;
use crate::store::measurements::KeptMeasurement;
use crate::store::measuring_jobs;
use crate::store::measuring_jobs::Job;
use crate::store::measuring_jobs::Why;
use crate::store::photos;
use crate::store::photos::Camera;
use crate::store::photos::Photo;
use crate::store::photos::Size;
use crate::store::photos::Tap;
use crate::store::practices;
use crate::store::practices::Measuring;
use crate::wound;
use crate::wound::Asked;
use crate::wound::Because;
use crate::wound::Measurement;
use crate::wound::Standing;

/// A photo takes a fraction of a second; one that takes this long is given up.
pub const TIME_LIMIT: Duration = Duration::from_secs(60);
/// Longer than a try can take, so that a photo is leased out again only when its worker is gone.
const LEASE: SignedDuration = SignedDuration::from_mins(5);
/// A photo that the program did not survive, or could not read, is tried this often.
const MOST_TRIES: i64 = 3;
const WAIT_AFTER_A_TRY: SignedDuration = SignedDuration::from_mins(2);

/// What measures a picture.
pub type Measure = Arc<dyn Fn(&Picture, &Asked) -> Measurement + Send + Sync>;

/// How a photo is measured.
#[derive(Clone)]
pub struct Method {
    pub measure: Measure,
    /// After this long a try is given up.
    pub time_limit: Duration,
}

impl Default for Method {
    /// As in earnest.
    fn default() -> Method {
        Method { measure: Arc::new(wound::measure), time_limit: TIME_LIMIT }
    }
}

/// What became of one waiting photo.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    Measured(Standing),
    /// Broken off, and kept as such: nothing is said about the photo.
    GaveUp(Because),
    /// To be tried again later.
    PutOff,
    /// Nothing was to be measured any more: switched off, measured before, or no picture.
    NotWanted,
}

/// Queues a photo that has just been kept, in the transaction that keeps it. Nothing is queued where measuring is
/// switched off, or for what is no picture.
pub(in crate::care) async fn queue(conn: &mut Conn, photo: &Photo, now: Timestamp) -> Done<()> {
    let settings = practices::measuring(conn, photo.practice).await?.ok_or(CareError::NotFound)?;
    if settings.measuring == Measuring::On && photo.renditions.is_some() {
        measuring_jobs::enqueue(conn, photo.practice, photo.id, Why::Received, now).await?;
    }
    Ok(())
}

/// Whether a photo of any practice could be measured now.
pub async fn any_due(desk: &Desk, now: Timestamp) -> Done<bool> {
    Ok(measuring_jobs::any_due(&mut *desk.db.read().await?, now).await?)
}

/// Measures the photo that waits longest. `None`: none waits, or another lane took it.
pub async fn next(desk: &Desk, method: &Method, moment: &Moment) -> Done<Option<Outcome>> {
    if !any_due(desk, moment.now).await? {
        return Ok(None);
    }
    let mut tx = desk.db.write().await?;
    let job = measuring_jobs::claim(&mut tx, moment.now, moment.now + LEASE).await?;
    tx.commit().await?;
    let Some(job) = job else { return Ok(None) };
    match work(desk, method, &job, moment).await {
        Ok(outcome) => Ok(Some(outcome)),
        // The machine failed, not the photo: another try may do.
        Err(fault) if job.tries < MOST_TRIES => {
            tracing::warn!(photo = %job.photo, %fault, "a photo could not be measured and is tried again");
            put_off(desk, &job, moment.now).await?;
            Ok(Some(Outcome::PutOff))
        }
        Err(fault) => {
            tracing::error!(photo = %job.photo, %fault, "a photo could not be measured");
            give_up(desk, &job, Because::Failed, moment).await.map(Some)
        }
    }
}

/// A waiting photo with everything that is known of it.
struct Waiting {
    photo: Photo,
    check: WoundCheck,
    cards: CardIssue,
}

async fn work(desk: &Desk, method: &Method, job: &Job, moment: &Moment) -> Done<Outcome> {
    let Some(waiting) = look_up(desk, job).await? else {
        let mut tx = desk.db.write().await?;
        measuring_jobs::remove(&mut tx, job.practice, job.photo).await?;
        tx.commit().await?;
        return Ok(Outcome::NotWanted);
    };
    if job.tries > MOST_TRIES {
        // The program ended in the middle of each try: the photo may be what ended it.
        return give_up(desk, job, Because::Failed, moment).await;
    }
    let bytes = review_bytes(desk, &waiting.photo).await?;
    match look(desk, method, &waiting, bytes).await? {
        Looked::Saw(measurement) => finish(desk, job, &waiting, *measurement, moment).await,
        Looked::FellOver => give_up(desk, job, Because::Failed, moment).await,
        Looked::TookTooLong if job.tries < MOST_TRIES => {
            put_off(desk, job, moment.now).await?;
            Ok(Outcome::PutOff)
        }
        Looked::TookTooLong => give_up(desk, job, Because::TookTooLong, moment).await,
    }
}

/// `None`: the photo is not to be measured.
async fn look_up(desk: &Desk, job: &Job) -> Done<Option<Waiting>> {
    let mut conn = desk.db.read().await?;
    let settings = practices::measuring(&mut conn, job.practice).await?.ok_or(CareError::NotFound)?;
    let photo = photos::find(&mut conn, job.practice, job.photo).await?;
    let Some(photo) = photo.filter(|photo| photo.renditions.is_some()) else { return Ok(None) };
    if settings.measuring == Measuring::Off {
        return Ok(None);
    }
    let check = checks::find(&mut conn, job.practice, photo.check).await?.ok_or(CareError::NotFound)?;
    Ok(Some(Waiting { photo, check, cards: settings.cards }))
}

/// The rendition that is measured.
pub(super) async fn review_bytes(desk: &Desk, photo: &Photo) -> Done<bytes::Bytes> {
    let renditions = photo.renditions.as_ref().ok_or(CareError::NotFound)?;
    let mut conn = desk.db.read().await?;
    let bytes = desk.blobs.get(&mut conn, photo.practice, renditions.blob(Size::Review)).await?;
    bytes.ok_or_else(|| CareError::Work(format!("the rendition of photo {} is not there", photo.id)))
}

enum Looked {
    Saw(Box<Measurement>),
    FellOver,
    TookTooLong,
}

/// Measures on a thread of its own. A thread cannot be stopped: one that is given up keeps its place among the measuring
/// until it ends, so that no more than a few ever run, and gives its place among the decoding back at once, so that no
/// receipt waits for it.
async fn look(desk: &Desk, method: &Method, waiting: &Waiting, bytes: bytes::Bytes) -> Done<Looked> {
    let closed = |fault: tokio::sync::AcquireError| CareError::Work(fault.to_string());
    let Ok(place) =
        tokio::time::timeout(method.time_limit, Arc::clone(&desk.measuring).acquire_owned()).await
    else {
        return Ok(Looked::TookTooLong);
    };
    let place = place.map_err(closed)?;
    let _decoding = desk.gates.decoding.turn().await?;
    let (measure, hints) = (Arc::clone(&method.measure), Hints::of(&waiting.photo, waiting.cards.clone()));
    let measuring = tokio::task::spawn_blocking(move || {
        let _place = place;
        let seen = catch_unwind(AssertUnwindSafe(|| {
            let picture = Picture::from_rendition(&bytes).ok()?;
            Some(measure(&picture, &hints.asked(&picture)))
        }));
        seen.ok().flatten()
    });
    Ok(match tokio::time::timeout(method.time_limit, measuring).await {
        Ok(Ok(Some(measurement))) => Looked::Saw(Box::new(measurement)),
        Ok(Ok(None) | Err(_)) => Looked::FellOver,
        Err(_) => Looked::TookTooLong,
    })
}

/// What is known of a photo besides its pixels.
#[derive(Clone, Debug)]
pub struct Hints {
    pub tap: Option<Tap>,
    pub cards: CardIssue,
    pub camera: Camera,
}

impl Hints {
    pub(super) fn of(photo: &Photo, cards: CardIssue) -> Hints {
        Hints { tap: photo.tap, cards, camera: photo.camera }
    }

    /// In px of the rendition that is measured.
    pub fn asked(&self, picture: &Picture) -> Asked {
        let tap = self.tap.map(|tap| PxPoint {
            x_px: tap.x_per_10_000 as f64 / 10_000.0 * picture.width() as f64,
            y_px: tap.y_per_10_000 as f64 / 10_000.0 * picture.height() as f64,
        });
        Asked { tap, issue: self.cards.clone(), focal_35mm: self.camera.focal_35mm }
    }
}

/// Keeps what was seen, assesses the check by it, and takes the job off the list: all or nothing.
async fn finish(
    desk: &Desk,
    job: &Job,
    waiting: &Waiting,
    measurement: Measurement,
    moment: &Moment,
) -> Done<Outcome> {
    let Waiting { photo, check, cards } = waiting;
    let kept = keeping::to_keep(photo, check, Author::Program, measurement, moment);
    let mut tx = desk.db.write().await?;
    checks::hold(&mut tx, job.practice, check.id).await?.ok_or(CareError::NotFound)?;
    measuring_jobs::remove(&mut tx, job.practice, job.photo).await?;
    let outcome = if keeping::keep(&mut tx, &kept, cards, "photo.measure").await? {
        let dealt = match job.why {
            Why::Received => Dealt::WaitsAgain,
            Why::Again => Dealt::Stays,
        };
        keeping::reassess(desk, &mut tx, &kept, dealt, moment).await?;
        Outcome::Measured(kept.measurement.standing)
    } else {
        Outcome::NotWanted
    };
    tx.commit().await?;
    desk.tell(job.practice);
    Ok(outcome)
}

/// Keeps that the photo could not be measured. The check is left alone.
async fn give_up(desk: &Desk, job: &Job, because: Because, moment: &Moment) -> Done<Outcome> {
    let Some(Waiting { photo, check, cards }) = look_up(desk, job).await? else {
        return Ok(Outcome::NotWanted);
    };
    let refused = Measurement::refused(vec![because]);
    let kept: KeptMeasurement = keeping::to_keep(&photo, &check, Author::Program, refused, moment);
    let mut tx = desk.db.write().await?;
    measuring_jobs::remove(&mut tx, job.practice, job.photo).await?;
    keeping::keep(&mut tx, &kept, &cards, "photo.measure").await?;
    tx.commit().await?;
    desk.tell(job.practice);
    Ok(Outcome::GaveUp(because))
}

async fn put_off(desk: &Desk, job: &Job, now: Timestamp) -> Done<()> {
    let mut tx = desk.db.write().await?;
    measuring_jobs::put_off(&mut tx, job, now + WAIT_AFTER_A_TRY).await?;
    Ok(tx.commit().await?)
}
