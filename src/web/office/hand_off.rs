//! The hand-off to print: one page for the emergency department.

use askama::Template;
use axum::extract::Path;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use crate::care::hand_off;
use crate::ids::WoundId;
use crate::plan::day_number;
use crate::plan::strip_state;
use crate::triage::Context;
use crate::web::App;
use crate::web::chart_words;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::office::call_script::needs_interpreter;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::surgeon::answer_words;
use crate::web::time_words;
use crate::web::wound_words;

/// One answer of the newest check.
struct AnswerRow {
    label: &'static str,
    answer: String,
}

#[derive(Template)]
#[template(path = "office/hand_off.html")]
struct HandOffPage {
    frame: Frame,
    written: String,
    name: String,
    born: String,
    age_years: i16,
    phone: String,
    second: String,
    language: &'static str,
    needs_interpreter: bool,
    place: String,
    procedure: String,
    operated: String,
    day: i64,
    surgeon: String,
    strip: String,
    put_in: String,
    present: Vec<String>,
    not_asked: Vec<&'static str>,
    antibiotics: Vec<String>,
    decided: String,
    note: String,
    sent: String,
    class: &'static str,
    reasons: Vec<String>,
    answers: Vec<AnswerRow>,
    corrections: Vec<String>,
    patient_address: String,
}

/// Reasons that fit on the page.
const MOST_REASONS: usize = 6;

pub async fn show(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let id: WoundId = id.parse().map_err(|_| PageError::NotFound)?;
    let now = app.now();
    let of = hand_off::view(&app.desk, &member.member, id, now).await?;
    let (zone, patient, wound) = (&of.practice.zone, &of.patient, &of.wound);
    let clock = |at| time_words::clock_time(at, now, zone, STAFF_LANGUAGE);
    // On paper no day may be left out.
    let full = |at| {
        let time = time_words::clock_time(at, at, zone, STAFF_LANGUAGE);
        format!("{}, {time}", time_words::day(at, zone, STAFF_LANGUAGE))
    };
    let risks = chart_words::risks(&wound.risk);
    let context = Context::of(&wound.operation, &wound.risk, wound.strip_out);
    let shown = HandOffPage {
        frame: Frame::of(&app, &member, Part::Callbacks, "Hand-off").await?,
        written: full(now),
        name: patient.name.clone(),
        born: patient.born.to_string(),
        age_years: patient.age_years(now.to_zoned_datetime(zone.clone()).date()),
        phone: patient.phone.clone(),
        second: match (&patient.helper_name, &patient.helper_phone) {
            (Some(name), Some(phone)) => format!("{name}, {phone}"),
            (None, Some(phone)) => phone.clone(),
            (Some(name), None) => name.clone(),
            (None, None) => "none named".to_owned(),
        },
        language: patient.language.own_name(),
        needs_interpreter: needs_interpreter(patient),
        place: wound_words::place_line(&wound.operation),
        procedure: wound.operation.procedure.clone(),
        operated: full(wound.operation.operated),
        day: day_number(wound.operation.operated, now, zone),
        surgeon: of.surgeon.clone(),
        strip: chart_words::strip(strip_state(wound.operation.packing, wound.strip_out, now), now, zone),
        put_in: chart_words::strips_put_in(wound.operation.packing).unwrap_or_default(),
        present: risks.present,
        not_asked: risks.not_asked,
        antibiotics: of
            .courses
            .iter()
            .map(|course| {
                let doses =
                    course.doses_per_day.map_or_else(String::new, |doses| format!(", {doses} × a day"));
                let culture = match course.culture_result.as_str() {
                    "" => String::new(),
                    result => format!("; culture: {result}"),
                };
                format!(
                    "{}{doses}, since {}{culture}",
                    course.drug,
                    time_words::day(course.started, zone, STAFF_LANGUAGE)
                )
            })
            .collect(),
        decided: of.review.as_ref().map_or_else(String::new, |review| {
            format!("{} — {}, {}", review.decision.words(), of.decided_by, clock(review.decided))
        }),
        note: of.review.as_ref().map_or_else(String::new, |review| review.note.to_string()),
        sent: of.check.as_ref().map_or_else(String::new, |check| clock(check.received)),
        class: of.check.as_ref().map_or("", |check| check.assessment.urgency.staff_words()),
        reasons: of.check.as_ref().map_or_else(Vec::new, |check| {
            check.assessment.reasons.iter().take(MOST_REASONS).map(|reason| reason.sentence.clone()).collect()
        }),
        answers: of.check.as_ref().map_or_else(Vec::new, |check| {
            answer_words::lines(&check.answers_shown(), None, &context)
                .into_iter()
                .filter(|line| !line.is_unknown)
                .map(|line| AnswerRow { label: line.question, answer: line.answer })
                .collect()
        }),
        corrections: of
            .corrections
            .iter()
            .map(|one| format!("Corrected, {}: {}", full(one.noted), one.words))
            .collect(),
        patient_address: format!("/patients/{}", patient.id),
    };
    page(StatusCode::OK, &shown)
}
