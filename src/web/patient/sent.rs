//! *Sent*: what the patient is told once the check is safe. It never says how urgent a check is, and never soothes.

use askama::Template;
use axum::extract::Path;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use jiff::Timestamp;

use crate::care::intake;
use crate::care::intake::Receipt;
use crate::care::measuring;
use crate::care::measuring::PhotoSays;
use crate::care::thread;
use crate::store::checks::CheckState;
use crate::store::checks::WoundCheck;
use crate::store::photos::MOST_PHOTOS;
use crate::store::photos::Photo;
use crate::triage::Urgency;
use crate::web::App;
use crate::web::assets;
use crate::web::doors::Phone;
use crate::web::error::PageError;
use crate::web::patient::clock;
use crate::web::patient::clock::Cover;
use crate::web::patient::danger;
use crate::web::patient::danger::DangerRow;
use crate::web::patient::frame;
use crate::web::patient::frame::Frame;
use crate::web::patient::frame::Here;
use crate::web::patient::photo_advice::Advice;
use crate::web::patient::photo_advice::advice;
use crate::words::Language;
use crate::words::patient_check::CheckWords;
use crate::words::patient_danger::DangerWords;
use crate::words::patient_photos::PhotoWords;
use crate::words::patient_scale::ScaleWords;
use crate::words::patient_sent::SentWords;

/// What to do first.
enum First {
    /// Call the emergency number now.
    Go,
    /// A voice by this time.
    Ring { by: String },
    /// A voice is needed and nobody is there: the patient calls.
    RingThem,
    /// Nothing before the answer.
    Wait,
}

/// One photo and what became of it.
struct PhotoLine {
    /// `ok`, `look` or `bad`.
    mark: &'static str,
    lines: Vec<String>,
}

#[derive(Template)]
#[template(path = "patient/sent.html")]
struct SentPage {
    frame: Frame,
    words: SentWords,
    check_words: CheckWords,
    photo_words: PhotoWords,
    scale_words: ScaleWords,
    danger_words: DangerWords,
    first: First,
    receipt: String,
    form_key: String,
    received: String,
    answer_by: Option<String>,
    read_at: Option<String>,
    late: Option<()>,
    state: String,
    photos: Vec<PhotoLine>,
    /// Photos the phone meant to send and did not, or that could not be kept.
    missing: Option<()>,
    /// How many more photos the check takes.
    room_for_photos: i64,
    /// A better photo would help.
    asks_again: Option<()>,
    /// A photo waits to be measured: the page with scripts reads itself again.
    not_yet: Option<()>,
    script: String,
    /// Set when the sugar was low: what to do first, and then.
    low_sugar: Option<[String; 2]>,
    /// What was ticked on the danger screen, each with its advice.
    ticked: Vec<DangerRow>,
    /// What to tell the operator when nothing was ticked.
    opening: String,
}

pub async fn show(
    State(app): State<App>,
    phone: Phone,
    Path(code): Path<String>,
) -> Result<Response, PageError> {
    let found = intake::receipt_of(&app.desk, &phone.holder, &code).await?;
    let (check, receipt) = found.ok_or(PageError::NotFound)?;
    let photos = intake::photos_of(&app.desk, &phone.holder, &check).await?;
    let measured = measuring::for_patient(&app.desk, &phone.holder, check.id).await?;
    let home = thread::home(&app.desk, &phone.holder).await?;
    let (language, now) = (phone.holder.language, app.now());
    let clock = |at: Timestamp| clock::when(at, now, &home.practice.zone, language);
    let cover = clock::cover(&home.practice, now);
    let (words, photo_words) = (SentWords(language), PhotoWords(language));
    let advised: Vec<(&Photo, Advice)> =
        photos.iter().map(|photo| (photo, about_measuring(photo, &measured, language))).collect();
    let danger_words = DangerWords(language);
    let opening = danger::opening(&home, danger_words, now);
    let first = what_first(&receipt, &check, cover, now, clock);
    let (answer_by, read_at, late) = match promise(&receipt, &check, cover, &first, now) {
        Promise::By(time) => (Some(clock(time)), None, None),
        Promise::AfterOpening(time) => (None, Some(clock(time)), None),
        Promise::Late => (None, None, Some(())),
        Promise::Nothing => (None, None, None),
    };
    let back = format!("/my/sent/{}", receipt.code);
    let page = SentPage {
        frame: Frame::new(&home.practice, language, Here::Sent, &back, now),
        words,
        check_words: CheckWords(language),
        photo_words,
        scale_words: ScaleWords(language),
        danger_words,
        first,
        received: clock(receipt.received),
        answer_by,
        read_at,
        late,
        state: state_words(check.state, words),
        missing: (check.photos_expected > photos.len() as i64).then_some(()),
        room_for_photos: MOST_PHOTOS - photos.len() as i64,
        asks_again: advised.iter().any(|(_, advice)| matches!(advice, Advice::Again(_))).then_some(()),
        not_yet: advised.iter().any(|(_, advice)| *advice == Advice::NotYet).then_some(()),
        script: assets::address("patient/sent.js"),
        photos: advised.iter().map(|(photo, advice)| photo_line(photo, advice, language)).collect(),
        low_sugar: danger::low_sugar_advice(&check.answers, danger_words, &home.practice.emergency_number),
        ticked: danger::ticked(&check.answers, danger_words, &opening),
        opening,
        receipt: receipt.code,
        form_key: check.form_key,
    };
    frame::show(&page, StatusCode::OK)
}

fn is_waiting(state: CheckState) -> bool {
    match state {
        CheckState::Queued | CheckState::InReview | CheckState::AwaitingCall => true,
        CheckState::Closed => false,
    }
}

/// Emergency advice stands for as long as the page does: nobody's answer takes it back but a person's own words.
fn what_first(
    receipt: &Receipt,
    check: &WoundCheck,
    cover: Cover,
    now: Timestamp,
    clock: impl Fn(Timestamp) -> String,
) -> First {
    match (receipt.urgency, is_waiting(check.state)) {
        (Urgency::GoNow, _) => First::Go,
        (Urgency::RingNow, true) => match cover {
            Cover::Open if receipt.due > now => First::Ring { by: clock(receipt.due) },
            Cover::Open | Cover::Closed { .. } => First::RingThem,
        },
        (Urgency::RingNow, false) | (Urgency::Today | Urgency::Tomorrow | Urgency::OnTrack, _) => First::Wait,
    }
}

/// What is promised.
enum Promise {
    /// An answer by this time.
    By(Timestamp),
    /// A person reads it once the practice opens.
    AfterOpening(Timestamp),
    /// The time has passed.
    Late,
    /// Nothing to wait for, or said already.
    Nothing,
}

/// While nobody is there, nothing is promised before the practice opens; whoever should be on their way is promised
/// nothing to wait for.
fn promise(receipt: &Receipt, check: &WoundCheck, cover: Cover, first: &First, now: Timestamp) -> Promise {
    match (first, is_waiting(check.state), cover) {
        (First::Go | First::Ring { .. }, _, _) | (_, false, _) => Promise::Nothing,
        (First::RingThem | First::Wait, true, Cover::Closed { opens }) if receipt.due <= opens => {
            Promise::AfterOpening(opens)
        }
        (First::RingThem | First::Wait, true, _) if receipt.due <= now => Promise::Late,
        (First::RingThem | First::Wait, true, _) => Promise::By(receipt.due),
    }
}

fn state_words(state: CheckState, words: SentWords) -> String {
    match state {
        CheckState::Queued => words.state_waiting(),
        CheckState::InReview => words.state_open(),
        CheckState::AwaitingCall => words.state_call(),
        CheckState::Closed => words.state_done(),
    }
}

fn about_measuring(photo: &Photo, measured: &[PhotoSays], language: Language) -> Advice {
    let says = measured.iter().find(|says| says.photo == photo.id);
    says.map_or(Advice::Fine, |says| advice(&says.said, ScaleWords(language)))
}

fn photo_line(photo: &Photo, advice: &Advice, language: Language) -> PhotoLine {
    let (words, scale_words) = (PhotoWords(language), ScaleWords(language));
    let number = usize::try_from(photo.position).unwrap_or(1);
    let asks_again = matches!(advice, Advice::Again(_));
    let (mark, heading) = match (&photo.renditions, photo.flags.is_empty() && !asks_again) {
        (None, _) => ("bad", words.cannot_use(number)),
        (Some(_), false) => ("look", words.look_again(number)),
        (Some(_), true) => ("ok", words.came(number)),
    };
    let mut lines = vec![heading];
    match advice {
        // What measuring found says the same more exactly than the flags of the picture.
        Advice::Again(to_do) => lines.extend(to_do.iter().cloned()),
        Advice::Fine => lines.extend(photo.flags.iter().map(|flag| words.about(flag))),
        Advice::NotYet => {
            lines.extend(photo.flags.iter().map(|flag| words.about(flag)));
            lines.push(scale_words.not_yet());
        }
        Advice::NextTime(to_do) => {
            lines.extend(photo.flags.iter().map(|flag| words.about(flag)));
            lines.push(format!("{} {}", scale_words.next_time(), to_do.join(" ")));
        }
    }
    PhotoLine { mark, lines }
}
