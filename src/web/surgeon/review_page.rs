//! Everything about one check, laid out for deciding in half a minute.

use askama::Template;
use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::care::review::Opened;
use crate::ids::StaffId;
use crate::plan::StepKind;
use crate::plan::day_number;
use crate::plan::strip_state;
use crate::store::callbacks::Callback;
use crate::store::callbacks::CallbackState;
use crate::store::checks::CheckState;
use crate::store::checks::WoundCheck;
use crate::store::reviews::Review;
use crate::store::staff::StaffMember;
use crate::store::thread::Message;
use crate::store::thread::Sender;
use crate::triage;
use crate::triage::CallOutcome;
use crate::triage::Context;
use crate::triage::changes;
use crate::web::assets;
use crate::web::chart_words;
use crate::web::chart_words::Class;
use crate::web::chart_words::Risks;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Frame;
use crate::web::surgeon::answer_words;
use crate::web::surgeon::answer_words::AnswerLine;
use crate::web::surgeon::clash_words;
use crate::web::surgeon::clash_words::ClashView;
use crate::web::surgeon::correction_view;
use crate::web::surgeon::correction_view::Correctable;
use crate::web::surgeon::correction_view::CorrectionView;
use crate::web::surgeon::course_view::CourseView;
use crate::web::surgeon::decide::DecideView;
use crate::web::surgeon::disagreement_words;
use crate::web::surgeon::disagreement_words::DisagreementView;
use crate::web::surgeon::measured::Drawn;
use crate::web::surgeon::photo_set::PhotoSet;
use crate::web::surgeon::photo_set::photo_set;
use crate::web::surgeon::side_by_side;
use crate::web::surgeon::side_by_side::Beside;
use crate::web::surgeon::why::Why;
use crate::web::surgeon::why::why;
use crate::web::time_words;
use crate::web::wound_words;

pub struct PlanLine {
    pub label: &'static str,
    pub words: String,
}

pub struct HistoryLine {
    pub id: String,
    pub day: i64,
    pub class: Class,
    pub received: String,
    pub decided: String,
    pub is_this: bool,
}

pub struct MessageView {
    pub from: String,
    pub is_patient: bool,
    pub body: String,
    pub sent: String,
    pub read: String,
    pub lang: &'static str,
}

pub struct CallView {
    pub how: String,
    pub note: String,
    pub is_handed_back: bool,
}

pub struct DecisionView {
    pub words: String,
    pub note: String,
}

#[derive(Template)]
#[template(path = "surgeon/review.html")]
pub struct ReviewPage {
    pub frame: Frame,
    pub scripts: Vec<String>,
    pub measure_css: String,
    pub id: String,
    pub name: String,
    pub age_years: i16,
    pub place: String,
    pub procedure: String,
    pub day: i64,
    pub language: &'static str,
    pub phone: String,
    pub patient_address: String,
    pub receipt: String,
    pub received: String,
    pub class: Class,
    pub due: String,
    pub left: String,
    pub due_ms: i64,
    pub now_ms: i64,
    pub is_waiting: bool,
    /// Somebody else has it, or it is done: said in one line; empty otherwise.
    pub standing: String,
    /// What stands out about the phone it was sent from.
    pub sent_from: Vec<String>,
    pub mine_until: String,
    pub photos: PhotoSet,
    /// At least one photo of this check can be looked at.
    pub has_photo: bool,
    pub before: Option<PhotoSet>,
    pub why: Why,
    pub answers: Vec<AnswerLine>,
    pub beside: Beside,
    /// Where the answers and the photo say different things.
    pub disagreements: Vec<DisagreementView>,
    pub course: CourseView,
    /// What does not fit together, with what stands.
    pub clashes: Vec<ClashView>,
    pub changed: usize,
    pub amendments: Vec<String>,
    pub risks: Risks,
    pub plan: Vec<PlanLine>,
    pub history: Vec<HistoryLine>,
    pub thread: Vec<MessageView>,
    pub calls: Vec<CallView>,
    pub decisions: Vec<DecisionView>,
    pub corrections: Vec<CorrectionView>,
    pub correctable: Vec<Correctable>,
    pub form: Option<DecideView>,
    /// What was typed but can no longer be sent; empty otherwise.
    pub unsent: String,
}

impl ReviewPage {
    /// `me`: `None` for whoever is no surgeon; `form`: `None` when they cannot decide it now.
    pub fn of(
        opened: &Opened,
        frame: Frame,
        me: Option<StaffId>,
        form: Option<DecideView>,
        now: Timestamp,
    ) -> ReviewPage {
        let (check, zone, patient) = (&opened.check, &opened.practice.zone, &opened.patient);
        let operation = &opened.wound.operation;
        let today = now.to_zoned_datetime(zone.clone()).date();
        let before_answers = opened.before.as_ref().map(|(earlier, _)| earlier.answers_shown());
        let context = Context::of(operation, &opened.wound.risk, strip_out_before(opened));
        let answers = answer_words::lines(&check.answers_shown(), before_answers.as_ref(), &context);
        let clock = |at| time_words::clock_time(at, now, zone, STAFF_LANGUAGE);
        let mine = check.claim.filter(|claim| me == Some(claim.by) && claim.until > now);
        ReviewPage {
            frame,
            scripts: ["staff/review.js", "staff/zoom.js", "staff/measured.js"].map(assets::address).to_vec(),
            measure_css: assets::address("staff/measure.css"),
            id: check.id.to_string(),
            name: patient.name.clone(),
            age_years: patient.age_years(today),
            place: wound_words::place_line(operation),
            procedure: operation.procedure.clone(),
            day: day_number(operation.operated, check.received, zone),
            language: patient.language.own_name(),
            phone: patient.phone.clone(),
            patient_address: format!("/patients/{}", patient.id),
            receipt: check.receipt.clone(),
            received: clock(check.received),
            class: if is_waiting(check) {
                chart_words::class_in_time(check.assessment.urgency, check.due, now)
            } else {
                chart_words::class(check.assessment.urgency)
            },
            due: clock(check.due),
            left: time_words::time_left(check.due, now),
            due_ms: check.due.as_millisecond(),
            now_ms: now.as_millisecond(),
            is_waiting: is_waiting(check),
            standing: standing(opened, me, now),
            sent_from: chart_words::sent_from(&opened.check.phone),
            mine_until: mine.map_or_else(String::new, |claim| clock(claim.until)),
            has_photo: opened.photos.iter().any(|photo| photo.renditions.is_some()),
            photos: photo_set(opened, check, &opened.photos, None, now),
            before: opened
                .before
                .as_ref()
                .map(|(earlier, photos)| photo_set(opened, earlier, photos, None, now)),
            beside: side_by_side::beside(opened, now),
            disagreements: triage::disagreements(&check.answers, &opened.photos_say.from_photo)
                .iter()
                .map(disagreement_words::disagreement)
                .collect(),
            course: CourseView::of(&opened.photos_say.course),
            why: why(&check.assessment, opened.could_raise.as_deref()),
            changed: answers.iter().filter(|line| line.is_changed).count(),
            answers,
            clashes: clash_words::clashes(&check.answers, &context),
            amendments: amendments(opened, now),
            risks: chart_words::risks(&opened.wound.risk),
            plan: plan_lines(opened, now),
            history: history(opened, now),
            thread: opened.thread.iter().map(|message| message_view(opened, message, now)).collect(),
            calls: opened.callbacks.iter().map(|callback| call_view(callback, now, zone)).collect(),
            decisions: decisions(opened, now),
            corrections: correction_view::corrections(opened, now),
            correctable: correction_view::correctable(opened, now),
            form,
            unsent: String::new(),
        }
    }

    /// The same page with nothing on it that could be pressed.
    pub fn for_a_look(mut self) -> ReviewPage {
        self.scripts = ["staff/zoom.js", "staff/measured.js"].map(assets::address).to_vec();
        self.form = None;
        for photo in self.photos.photos.iter_mut().filter_map(|photo| photo.measured.as_mut()) {
            photo.hand = None;
            photo.no_hand = "";
        }
        self
    }

    /// The same page with a drawing that could not be kept, as it was sent.
    pub fn with_drawing(mut self, opened: &Opened, drawn: &Drawn, now: Timestamp) -> ReviewPage {
        self.photos = photo_set(opened, &opened.check, &opened.photos, Some(drawn), now);
        self
    }
}

/// When all of the strip was known to be out before this check came: the check that says so was asked.
fn strip_out_before(opened: &Opened) -> Option<Timestamp> {
    opened.wound.strip_out.filter(|out| *out < opened.check.received)
}

fn is_waiting(check: &WoundCheck) -> bool {
    match check.state {
        CheckState::Queued | CheckState::InReview => true,
        CheckState::AwaitingCall | CheckState::Closed => false,
    }
}

/// Whether this surgeon can decide the check now.
pub fn can_decide(opened: &Opened, me: StaffId, now: Timestamp) -> bool {
    is_waiting(&opened.check) && opened.check.claim.is_none_or(|claim| claim.by == me || claim.until <= now)
}

fn standing(opened: &Opened, me: Option<StaffId>, now: Timestamp) -> String {
    let check = &opened.check;
    match (check.state, check.claim) {
        (CheckState::AwaitingCall, _) => "Decided; the office is calling the patient.".to_owned(),
        (CheckState::Closed, _) => "Decided and closed.".to_owned(),
        (CheckState::Queued | CheckState::InReview, Some(claim))
            if me != Some(claim.by) && claim.until > now =>
        {
            let until = time_words::clock_time(claim.until, now, &opened.practice.zone, STAFF_LANGUAGE);
            format!(
                "{} has this check until {until}. You can read it; deciding waits until it is free.",
                name_of(&opened.staff, claim.by)
            )
        }
        (CheckState::Queued | CheckState::InReview, _) => String::new(),
    }
}

fn name_of(staff: &[StaffMember], id: StaffId) -> &str {
    staff.iter().find(|member| member.id == id).map_or("A colleague", |member| member.name.as_str())
}

/// What the patient changed in the form after first sending it, one line each time.
fn amendments(opened: &Opened, now: Timestamp) -> Vec<String> {
    opened
        .versions
        .windows(2)
        .map(|pair| {
            let changed: Vec<&str> = changes(&pair[0].1, &pair[1].1)
                .iter()
                .map(|change| answer_words::label(change.question_id))
                .collect();
            let at = time_words::clock_time(pair[1].0, now, &opened.practice.zone, STAFF_LANGUAGE);
            match changed.is_empty() {
                true => format!("{at}: sent again, same answers"),
                false => format!("{at}: changed {}", changed.join(", ")),
            }
        })
        .collect()
}

fn plan_lines(opened: &Opened, now: Timestamp) -> Vec<PlanLine> {
    let (wound, zone) = (&opened.wound, &opened.practice.zone);
    let clock = |at| time_words::clock_time(at, now, zone, STAFF_LANGUAGE);
    let operation = &wound.operation;
    let mut lines = vec![
        PlanLine {
            label: "Operation",
            words: format!(
                "{}, {}; day {} today",
                operation.procedure,
                clock(operation.operated),
                day_number(operation.operated, now, zone)
            ),
        },
        PlanLine {
            label: "Strip",
            words: chart_words::strip(strip_state(operation.packing, wound.strip_out, now), now, zone),
        },
    ];
    if let Some(words) = chart_words::strips_put_in(operation.packing) {
        lines.push(PlanLine { label: "Put in", words });
    }
    let size = operation.size.map_or_else(
        || "not measured".to_owned(),
        |size| {
            let depth =
                size.depth_mm.map_or_else(|| "depth not measured".to_owned(), |mm| format!("{mm} mm deep"));
            format!("{} × {} mm, {depth}", size.length_mm, size.width_mm)
        },
    );
    lines.push(PlanLine { label: "Size at surgery", words: size });
    lines.push(PlanLine {
        label: "Pen line",
        words: operation
            .pen_line
            .map_or_else(|| "none".to_owned(), |drawn| format!("drawn {}", clock(drawn))),
    });
    if let Some(next) = opened.plan.iter().find(|step| step.kind == StepKind::Photo && step.from > now) {
        lines.push(PlanLine { label: "Next photo", words: time_words::day(next.from, zone, STAFF_LANGUAGE) });
    }
    lines
}

fn history(opened: &Opened, now: Timestamp) -> Vec<HistoryLine> {
    let zone = &opened.practice.zone;
    opened
        .history
        .iter()
        .map(|check| HistoryLine {
            id: check.id.to_string(),
            day: day_number(opened.wound.operation.operated, check.received, zone),
            class: chart_words::class(check.assessment.urgency),
            received: time_words::clock_time(check.received, now, zone, STAFF_LANGUAGE),
            decided: opened
                .reviews
                .iter()
                .rev()
                .find(|review| review.check == check.id)
                .map_or_else(|| "not decided".to_owned(), |review| review.decision.words().to_owned())
                + if opened.corrections.iter().any(|one| one.check == check.id) { "; corrected" } else { "" },
            is_this: check.id == opened.check.id,
        })
        .collect()
}

fn message_view(opened: &Opened, message: &Message, now: Timestamp) -> MessageView {
    let clock = |at| time_words::clock_time(at, now, &opened.practice.zone, STAFF_LANGUAGE);
    let is_patient = message.sender == Sender::Patient;
    MessageView {
        from: match (message.sender, message.staff) {
            (Sender::Patient, _) => "Patient".to_owned(),
            (Sender::Practice, Some(by)) => name_of(&opened.staff, by).to_owned(),
            (Sender::Practice, None) => "The practice".to_owned(),
        },
        is_patient,
        body: message.body.to_string(),
        sent: clock(message.sent),
        read: match (message.sender, message.read) {
            (Sender::Practice, Some(read)) => format!("read {}", clock(read)),
            (Sender::Practice, None) => "not marked as read yet".to_owned(),
            (Sender::Patient, Some(_)) => String::new(),
            (Sender::Patient, None) => "waits for an answer".to_owned(),
        },
        lang: opened.patient.language.code(),
    }
}

fn call_view(callback: &Callback, now: Timestamp, zone: &TimeZone) -> CallView {
    let clock = |at| time_words::clock_time(at, now, zone, STAFF_LANGUAGE);
    let missed = match callback.missed {
        0 => String::new(),
        1 => ", one try missed".to_owned(),
        more => format!(", {more} tries missed"),
    };
    let how = match callback.state {
        CallbackState::Open => format!("Call by the office, due {}{missed}", clock(callback.due)),
        CallbackState::HandedBack => match callback.outcome {
            Some(CallOutcome::CouldNotReach) => format!("The office could not reach the patient{missed}"),
            Some(_) | None => format!("The office handed this back{missed}"),
        },
        CallbackState::Closed => format!("Called: {}", callback.outcome.map_or("ended", CallOutcome::words)),
    };
    CallView {
        how: match callback.closed {
            Some(closed) => format!("{how} ({})", clock(closed)),
            None => how,
        },
        note: callback.hand_back_note.to_string(),
        is_handed_back: callback.state == CallbackState::HandedBack,
    }
}

fn decisions(opened: &Opened, now: Timestamp) -> Vec<DecisionView> {
    let clock = |at| time_words::clock_time(at, now, &opened.practice.zone, STAFF_LANGUAGE);
    let words = |review: &Review| {
        let come_in = review.come_in.map_or_else(String::new, |when| format!(", {}", clock(when)));
        let by = name_of(&opened.staff, review.surgeon);
        let judged = review
            .urgency_judged
            .map_or_else(String::new, |class| format!("; said how urgent it was: {}", class.staff_words()));
        format!("{}{come_in} — {by}, {}{judged}", review.decision.words(), clock(review.decided))
    };
    opened
        .reviews
        .iter()
        .filter(|review| review.check == opened.check.id)
        .map(|review| DecisionView { words: words(review), note: review.note.to_string() })
        .collect()
}
