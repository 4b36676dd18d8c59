//! *Sent*: what the patient is told once the check is safe. It never says how urgent a check is, and never soothes.

use askama::Template;
use axum::extract::Path;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use jiff::Timestamp;

use crate::care::flood;
use crate::care::intake;
use crate::care::intake::Receipt;
use crate::care::measuring;
use crate::care::measuring::PhotoSays;
use crate::care::progress;
use crate::care::progress::Progress;
use crate::care::progress::Seen;
use crate::care::room;
use crate::care::room::Room;
use crate::care::thread;
use crate::duty::Watch;
use crate::store::checks::CheckState;
use crate::store::checks::WoundCheck;
use crate::store::photos::MOST_PHOTOS;
use crate::store::photos::Photo;
use crate::triage::CallResult;
use crate::triage::Urgency;
use crate::web::App;
use crate::web::assets;
use crate::web::doors::Phone;
use crate::web::error::PageError;
use crate::web::patient::clock;
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
    /// Nobody watches, and nobody knows who will.
    unknown: Option<()>,
    state: String,
    /// What became of the newest call; `None`: nobody rang.
    called: Option<String>,
    photos: Vec<PhotoLine>,
    /// Photos the phone meant to send and did not, or that could not be kept.
    missing: Option<String>,
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
    let home = thread::home(&app.desk, &phone.holder, app.now()).await?;
    let refused_until = flood::photos_again(&app.desk, &phone.holder, &check.form_key, app.now()).await?;
    let most = app.desk.vitals.machine().photo_checks_a_day;
    let progress = progress::of_check(&app.desk, &phone.holder, check.id).await?;
    let (language, now) = (phone.holder.language, app.now());
    let clock = |at: Timestamp| clock::when(at, now, &home.practice.zone, language);
    let watch = home.cover.watch;
    let (words, photo_words) = (SentWords(language), PhotoWords(language));
    let advised: Vec<(&Photo, Advice)> =
        photos.iter().map(|photo| (photo, about_measuring(photo, &measured, language))).collect();
    let danger_words = DangerWords(language);
    let opening = danger::opening(&home, danger_words, now);
    let first = what_first(&receipt, &check, watch, now, clock);
    let promise = promise(&receipt, &check, watch, &first, now);
    let back = format!("/my/sent/{}", receipt.code);
    let page = SentPage {
        frame: Frame::new(&home, language, Here::Sent, &back, now),
        words,
        check_words: CheckWords(language),
        photo_words,
        scale_words: ScaleWords(language),
        danger_words,
        first,
        received: clock(receipt.received),
        answer_by: promise.answer_by().map(clock),
        read_at: promise.read_from().map(clock),
        late: (promise == Promise::Late).then_some(()),
        unknown: (promise == Promise::Unknown).then_some(()),
        state: state_words(&progress, words),
        called: call_words(&progress, words, clock),
        missing: (check.photos_expected > photos.len() as i64).then(|| {
            match (room::now(&app.desk), refused_until) {
                (Room::AnswersOnly, _) => photo_words.no_room(&home.practice.phone),
                (Room::Filling | Room::Plenty, Some(until)) => {
                    photo_words.too_many_today(most, &clock(until), &home.practice.phone)
                }
                (Room::Filling | Room::Plenty, None) => photo_words.missing(),
            }
        }),
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
    watch: Watch,
    now: Timestamp,
    clock: impl Fn(Timestamp) -> String,
) -> First {
    match (receipt.urgency, is_waiting(check.state)) {
        (Urgency::GoNow, _) => First::Go,
        (Urgency::RingNow, true) => match watch {
            Watch::Somebody { .. } if receipt.due > now => First::Ring { by: clock(receipt.due) },
            Watch::Somebody { .. } | Watch::Nobody { .. } => First::RingThem,
        },
        (Urgency::RingNow, false) | (Urgency::Today | Urgency::Tomorrow | Urgency::OnTrack, _) => First::Wait,
    }
}

/// What is promised.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Promise {
    /// An answer by this time.
    By(Timestamp),
    /// A person reads it once somebody watches again.
    From(Timestamp),
    /// The time has passed.
    Late,
    /// Nobody watches, and nobody is entered to.
    Unknown,
    /// Nothing to wait for, or said already.
    Nothing,
}

impl Promise {
    fn answer_by(self) -> Option<Timestamp> {
        match self {
            Promise::By(time) => Some(time),
            Promise::From(_) | Promise::Late | Promise::Unknown | Promise::Nothing => None,
        }
    }

    fn read_from(self) -> Option<Timestamp> {
        match self {
            Promise::From(time) => Some(time),
            Promise::By(_) | Promise::Late | Promise::Unknown | Promise::Nothing => None,
        }
    }
}

/// While nobody watches, nothing is promised before somebody does; whoever should be on their way is promised nothing
/// to wait for.
fn promise(receipt: &Receipt, check: &WoundCheck, watch: Watch, first: &First, now: Timestamp) -> Promise {
    match (first, is_waiting(check.state), watch) {
        (First::Go | First::Ring { .. }, _, _) | (_, false, _) => Promise::Nothing,
        (First::RingThem | First::Wait, true, Watch::Nobody { again: None }) => Promise::Unknown,
        (First::RingThem | First::Wait, true, Watch::Nobody { again: Some(again) })
            if receipt.due <= again =>
        {
            Promise::From(again)
        }
        (First::RingThem | First::Wait, true, _) if receipt.due <= now => Promise::Late,
        (First::RingThem | First::Wait, true, _) => Promise::By(receipt.due),
    }
}

/// Where it stands by the record: "opened" only once a person has looked, "read" only once a person has decided.
fn state_words(progress: &Progress, words: SentWords) -> String {
    match (progress.state, progress.seen, progress.call) {
        (CheckState::Queued | CheckState::InReview, Seen::NotYet, _) => words.state_waiting(),
        (CheckState::Queued | CheckState::InReview, Seen::All, _) => words.state_open(),
        (CheckState::Queued | CheckState::InReview, Seen::Part, _) => words.state_part(),
        (CheckState::AwaitingCall, Seen::Part, _) => words.state_call_part(),
        (CheckState::AwaitingCall, Seen::NotYet | Seen::All, None) => words.state_call(),
        (CheckState::AwaitingCall, Seen::NotYet | Seen::All, Some(_)) => words.state_call_again(),
        (CheckState::Closed, _, _) => words.state_done(),
    }
}

/// What became of the newest call; `None`: nobody rang.
fn call_words(progress: &Progress, words: SentWords, clock: impl Fn(Timestamp) -> String) -> Option<String> {
    progress.call.map(|call| match call.result {
        CallResult::Spoke => words.state_spoke(&clock(call.at)),
        CallResult::NoAnswer | CallResult::MessageLeft => words.state_called(&clock(call.at)),
    })
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

#[cfg(test)]
mod tests {
    use super::*;

    /// What a sentence claims, by what it says.
    struct Claims {
        opened: bool,
        more_unopened: bool,
        read: bool,
        will_call: bool,
        done: bool,
    }

    fn claims(said: &str, language: Language) -> Claims {
        let says = |english: &str, spanish: &str| match language {
            Language::English => said.contains(english),
            Language::Spanish => said.contains(spanish),
        };
        Claims {
            opened: says("A person has opened it.", "Una persona la abrió."),
            more_unopened: says("nobody has opened yet", "nadie lo ha abierto todavía"),
            read: says("A person has read it.", "Una persona la leyó."),
            will_call: says("We will call you", "Le vamos a llamar"),
            done: says("A person has dealt with it.", "Una persona la atendió."),
        }
    }

    #[test]
    fn in_every_state_a_page_claims_what_the_record_says_and_nothing_more() {
        let at: Timestamp = "2026-03-10T15:00:00Z".parse().unwrap();
        let results = CallResult::ALL.iter().map(|result| Some(progress::Rung { at, result: *result }));
        let calls: Vec<Option<progress::Rung>> = [None].into_iter().chain(results).collect();
        for language in [Language::English, Language::Spanish] {
            let words = SentWords(language);
            for (state, seen, call) in CheckState::ALL
                .iter()
                .flat_map(|state| Seen::ALL.iter().map(move |seen| (*state, *seen)))
                .flat_map(|(state, seen)| calls.iter().map(move |call| (state, seen, *call)))
            {
                let progress = Progress { state, seen, call };
                let said = claims(&state_words(&progress, words), language);
                let waits_for_a_surgeon = matches!(state, CheckState::Queued | CheckState::InReview);
                assert_eq!(said.opened, waits_for_a_surgeon && seen != Seen::NotYet, "{progress:?}");
                assert_eq!(
                    said.more_unopened,
                    seen == Seen::Part && state != CheckState::Closed,
                    "{progress:?}"
                );
                assert_eq!(said.read, state == CheckState::AwaitingCall, "{progress:?}");
                assert_eq!(said.will_call, state == CheckState::AwaitingCall, "{progress:?}");
                assert_eq!(said.done, state == CheckState::Closed, "{progress:?}");
                let called = call_words(&progress, words, |at| at.to_string());
                assert_eq!(called.is_some(), call.is_some());
                for (call, called) in call.iter().zip(&called) {
                    let tried = called.contains("We tried to call") || called.contains("Intentamos llamar");
                    assert_eq!(tried, call.result != CallResult::Spoke, "{called}");
                    assert!(called.contains("2026-03-10T15:00:00Z"));
                }
            }
        }
    }
}
