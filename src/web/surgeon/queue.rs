//! The review queue: who waits, in reading order, and why.

use askama::Template;
use axum::extract::Query;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use jiff::SignedDuration;
use jiff::Timestamp;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::backup::noted::Restored;
use crate::care::envelope;
use crate::care::pulse;
use crate::care::queue;
use crate::care::queue::Looking;
use crate::care::queue::OF_ONE_WOUND;
use crate::care::queue::Queue;
use crate::ids::StaffId;
use crate::plan::day_number;
use crate::store::checks::CheckState;
use crate::store::checks::QueueFilter;
use crate::store::checks::WaitingCheck;
use crate::triage::Facts;
use crate::triage::Reason;
use crate::triage::Urgency;
use crate::triage::Value;
use crate::web::App;
use crate::web::assets;
use crate::web::chart_words;
use crate::web::chart_words::Class;
use crate::web::chart_words::class;
use crate::web::chart_words::class_in_time;
use crate::web::doors::Member;
use crate::web::doors::Onlooker;
use crate::web::error::PageError;
use crate::web::reach::Strip;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::LOOK_ROOT;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::surgeon::fact_words;
use crate::web::time_words;
use crate::web::wound_words;

/// A check that came this recently is marked as new.
const NEW_FOR: SignedDuration = SignedDuration::from_mins(30);
/// Reasons shown in a row; the others are counted.
const REASONS_SHOWN: usize = 2;

/// What the address asks for. Empty words ask for nothing.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asking {
    name: String,
    class: String,
    state: String,
    /// Only the list, for a page that reads it again.
    fragment: String,
}

impl Asking {
    fn filter(&self) -> QueueFilter {
        QueueFilter {
            name: self.name.clone(),
            urgency: self.class.parse().ok(),
            state: self.state.parse().ok(),
        }
    }

    fn looking(&self) -> Looking {
        if self.fragment.is_empty() { Looking::Opened } else { Looking::Refreshed }
    }
}

/// One class to narrow the queue to, with how many wait in it.
struct Choice {
    code: &'static str,
    word: &'static str,
    waiting: i64,
    is_chosen: bool,
}

struct ReasonLine {
    sentence: String,
    values: String,
}

struct Row {
    id: String,
    /// Empty: there is no picture to show.
    photo: String,
    no_photo: &'static str,
    name: String,
    place: String,
    day: i64,
    class: Class,
    due_ms: i64,
    left: String,
    due_clock: String,
    received: String,
    marks: Vec<String>,
    /// Such as "redness 7 → 17 mm"; empty: nothing was measured.
    measured: String,
    reasons: Vec<ReasonLine>,
    more_reasons: usize,
    claim: String,
}

/// A drill that waits, which does not say that it is one.
struct DrillRow {
    id: String,
    class: Class,
    came: String,
}

struct List {
    /// What stands before the addresses of the checks and photos.
    root: &'static str,
    strip: Option<Strip>,
    rows: Vec<Row>,
    /// `None`: none waits.
    drill: Option<DrillRow>,
    waiting: i64,
    /// Of the two most urgent classes, whatever the filter shows; a drill among them.
    urgent: i64,
    /// Something narrows the list.
    is_narrowed: bool,
    read_at: String,
    now_ms: i64,
}

#[derive(Template)]
#[template(path = "surgeon/queue.html")]
struct QueuePage {
    frame: Frame,
    live_js: String,
    name: String,
    choices: Vec<Choice>,
    class: &'static str,
    state: String,
    duty: DutyLine,
    list: List,
}

/// What is said of the surgeon's own duty.
struct DutyLine {
    /// Empty: not on duty.
    until: String,
    /// Checks still held by somebody who is no longer on duty.
    held_off_duty: usize,
    nobody: bool,
}

#[derive(Template)]
#[template(path = "surgeon/queue_list.html")]
struct ListPage {
    list: List,
}

pub async fn show(
    State(app): State<App>,
    member: Member,
    Query(asking): Query<Asking>,
) -> Result<Response, PageError> {
    let (filter, now) = (asking.filter(), app.now());
    let queue = queue::read(&app.desk, &member.member, &filter, asking.looking(), now).await?;
    let strip = Strip::of(&mut *app.desk.db.read().await.map_err(CareError::from)?, &member.member).await?;
    let list = List { strip, ..list(&queue, &filter, Some(member.member.id), now) };
    if !asking.fragment.is_empty() {
        return page(StatusCode::OK, &ListPage { list });
    }
    let frame = Frame::of(&app, &member, Part::Queue, "Queue").await?;
    page(StatusCode::OK, &queue_page(frame, asking, &queue, list, now))
}

/// The same for whoever opened the sealed envelope: nothing on it can be pressed.
pub async fn show_to_onlooker(
    State(app): State<App>,
    onlooker: Onlooker,
    Query(asking): Query<Asking>,
) -> Result<Response, PageError> {
    let (filter, now) = (asking.filter(), app.now());
    let queue = envelope::queue(&app.desk, &onlooker.look, &filter, asking.looking(), now).await?;
    let list = List { root: LOOK_ROOT, ..list(&queue, &filter, None, now) };
    if !asking.fragment.is_empty() {
        return page(StatusCode::OK, &ListPage { list });
    }
    let frame = Frame::of_look(&app, &onlooker.look, "Queue").await?;
    page(StatusCode::OK, &queue_page(frame, asking, &queue, list, now))
}

fn queue_page(frame: Frame, asking: Asking, queue: &Queue, list: List, now: Timestamp) -> QueuePage {
    let filter = asking.filter();
    QueuePage {
        frame,
        live_js: assets::address("staff/live.js"),
        name: asking.name,
        choices: choices(queue, &filter),
        class: filter.urgency.map_or("", Urgency::code),
        state: filter.state.map_or("", CheckState::code).to_owned(),
        duty: duty_line(queue, now),
        list,
    }
}

fn duty_line(queue: &Queue, now: Timestamp) -> DutyLine {
    let clock = |at| time_words::clock_time(at, now, &queue.practice.zone, STAFF_LANGUAGE);
    let duty = queue.duty;
    let off_duty = duty.until.is_none() && duty.keeps_roster;
    DutyLine {
        until: duty.until.map_or_else(String::new, clock),
        held_off_duty: if off_duty { duty.held } else { 0 },
        nobody: duty.nobody,
    }
}

fn choices(queue: &Queue, filter: &QueueFilter) -> Vec<Choice> {
    let waiting_in = |urgency: Urgency| {
        queue.by_urgency.iter().find(|(class, _)| *class == urgency).map_or(0, |(_, waiting)| *waiting)
    };
    let choice = |urgency: Urgency| Choice {
        code: urgency.code(),
        word: urgency.staff_words(),
        waiting: waiting_in(urgency),
        is_chosen: filter.urgency == Some(urgency),
    };
    Urgency::ALL.iter().rev().map(|urgency| choice(*urgency)).collect()
}

/// `me`: whose claims are their own; `None`: an onlooker's, who has none.
fn list(queue: &Queue, filter: &QueueFilter, me: Option<StaffId>, now: Timestamp) -> List {
    List {
        root: "",
        strip: None,
        rows: queue.rows.iter().map(|check| row(queue, check, me, now)).collect(),
        drill: queue.drill.as_ref().map(|drill| DrillRow {
            id: drill.id.to_string(),
            class: class(Urgency::GoNow),
            came: time_words::ago(drill.begun, now),
        }),
        waiting: queue.waiting,
        urgent: pulse::urgent(&queue.by_urgency, queue.drill.is_some()),
        is_narrowed: *filter != QueueFilter::default(),
        read_at: time_words::clock_time(now, now, &queue.practice.zone, STAFF_LANGUAGE),
        now_ms: now.as_millisecond(),
    }
}

fn row(queue: &Queue, check: &WaitingCheck, me: Option<StaffId>, now: Timestamp) -> Row {
    let zone = &queue.practice.zone;
    let reasons = &check.assessment.reasons;
    Row {
        id: check.id.to_string(),
        photo: check.photo.map_or_else(String::new, |id| id.to_string()),
        no_photo: if check.photos_here > 0 { "photo unreadable" } else { "no photo" },
        name: check.patient_name.clone(),
        place: wound_words::place_line(&check.operation),
        day: day_number(check.operation.operated, check.received, zone),
        class: class_in_time(check.assessment.urgency, check.due, now),
        due_ms: check.due.as_millisecond(),
        left: time_words::time_left(check.due, now),
        due_clock: time_words::clock_time(check.due, now, zone, STAFF_LANGUAGE),
        received: time_words::ago(check.received, now),
        marks: marks(check, queue.restored, now),
        measured: measured(&check.measured, &check.measured_before),
        reasons: reasons.iter().take(REASONS_SHOWN).map(reason_line).collect(),
        more_reasons: reasons.len().saturating_sub(REASONS_SHOWN),
        claim: claim(queue, check, me, now),
    }
}

fn reason_line(reason: &Reason) -> ReasonLine {
    ReasonLine { sentence: reason.sentence.clone(), values: fact_words::values(&reason.tripped) }
}

fn marks(check: &WaitingCheck, restored: Option<Restored>, now: Timestamp) -> Vec<String> {
    let mut marks = Vec::new();
    if restored.is_some_and(|restored| check.received < restored.at) {
        // What was done about it since the back-up is in no book.
        marks.push("Restored: verify".to_owned());
    }
    if now.duration_since(check.received) < NEW_FOR {
        marks.push("New".to_owned());
    }
    marks.extend(chart_words::sent_from(&check.phone));
    let urgency = check.assessment.urgency;
    match check.previous_urgency {
        None => marks.push("First check".to_owned()),
        Some(before) if before < urgency => marks.push(format!("Up: was {}", before.staff_words())),
        Some(before) if before > urgency => marks.push(format!("Down: was {}", before.staff_words())),
        Some(_) => {}
    }
    if check.open_questions > 0 {
        marks.push("Asked a question".to_owned());
    }
    let folded = check.waiting_of_wound - OF_ONE_WOUND;
    if folded > 0 && check.before_of_wound + 1 == OF_ONE_WOUND {
        marks.push(format!("{folded} more of this wound: find them by name"));
    }
    let missing = check.photos_expected - check.photos_here;
    if missing > 0 {
        marks.push(format!("{missing} of {} photos still to come", check.photos_expected));
    }
    marks
}

/// What the photos show since the check before, as measured.
fn measured(now: &Facts, before: &Facts) -> String {
    let redness_mm = |facts: &Facts| match facts.value("red_cm") {
        Some(Value::Number { high, .. }) => Some((10.0 * high).round()),
        Some(Value::Flag(_) | Value::Word(_)) | None => None,
    };
    let redness = match (redness_mm(before), redness_mm(now)) {
        (Some(before), Some(now)) => Some(format!("redness {before:.0} → {now:.0} mm")),
        (None, Some(now)) => Some(format!("redness {now:.0} mm")),
        (_, None) => None,
    };
    let area = match now.value("area_change_pct") {
        Some(Value::Number { low, high }) => Some(format!("area {:+.0} %", f64::midpoint(low, high))),
        Some(Value::Flag(_) | Value::Word(_)) | None => None,
    };
    redness.into_iter().chain(area).collect::<Vec<_>>().join(" · ").replace('-', "−")
}

fn claim(queue: &Queue, check: &WaitingCheck, me: Option<StaffId>, now: Timestamp) -> String {
    let Some(claim) = check.claim.filter(|claim| claim.until > now) else { return String::new() };
    let until = time_words::clock_time(claim.until, now, &queue.practice.zone, STAFF_LANGUAGE);
    if me == Some(claim.by) {
        return format!("You have it until {until}");
    }
    let by = queue.staff.iter().find(|member| member.id == claim.by);
    format!("{} has it until {until}", by.map_or("A colleague", |member| member.name.as_str()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn facts(red_cm: Option<f64>, area_change_pct: Option<f64>) -> Facts {
        let mut facts = Facts::default();
        for (name, value) in [("red_cm", red_cm), ("area_change_pct", area_change_pct)] {
            if let Some(value) = value {
                facts.set(name, Value::Number { low: value, high: value }).unwrap();
            }
        }
        facts
    }

    #[test]
    fn a_row_tells_how_far_the_redness_went_and_how_the_area_changed() {
        assert_eq!(measured(&facts(Some(1.7), None), &facts(Some(0.7), None)), "redness 7 → 17 mm");
        assert_eq!(measured(&facts(Some(1.7), Some(12.4)), &facts(None, None)), "redness 17 mm · area +12 %");
        assert_eq!(measured(&facts(None, Some(-24.0)), &facts(Some(0.7), None)), "area −24 %");
        assert_eq!(measured(&facts(None, None), &facts(Some(0.7), None)), "");
    }
}
