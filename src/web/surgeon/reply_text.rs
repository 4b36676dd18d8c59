//! The practice's reply texts in the patient's language, with the blanks the program knows filled in.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::care::review::Opened;
use crate::plan::StepKind;
use crate::plan::day_number;
use crate::store::replies::ReplyText;
use crate::web::time_words;
use crate::words::Language;

/// A reply text ready to be chosen.
#[derive(Clone, Debug)]
pub struct Offered {
    pub id: String,
    pub decision: &'static str,
    pub title: String,
    pub body: String,
}

/// Every reply text of the practice for this patient. Blanks nobody knows stay visible.
pub fn offered(opened: &Opened, now: Timestamp) -> Vec<Offered> {
    opened
        .replies
        .iter()
        .map(|text: &ReplyText| Offered {
            id: text.id.to_string(),
            decision: text.decision.code(),
            title: text.title.clone(),
            body: filled(text.body(opened.patient.language), opened, now),
        })
        .collect()
}

fn filled(body: &str, opened: &Opened, now: Timestamp) -> String {
    let (practice, language) = (&opened.practice, opened.patient.language);
    let day = day_number(opened.wound.operation.operated, now, &practice.zone);
    let next_photo = opened
        .plan
        .iter()
        .find(|step| step.kind == StepKind::Photo && step.from > now)
        .map(|step| time_words::day(step.from, &practice.zone, language));
    let mut body = body
        .replace("{day}", &day.to_string())
        .replace("{phone}", &practice.phone)
        .replace("{emergency}", &practice.emergency_number)
        .replace("{practice}", &practice.name)
        .replace("{name}", &opened.patient.name);
    if let Some(next_photo) = next_photo {
        body = body.replace("{next_photo}", &next_photo);
    }
    body
}

/// Fills in when the patient comes: the surgeon typed the time beside the answer.
pub fn with_come_in(reply: &str, come_in: Option<Timestamp>, zone: &TimeZone, language: Language) -> String {
    match come_in {
        Some(when) => reply.replace("{come_in}", &visit_time(when, zone, language)),
        None => reply.to_owned(),
    }
}

/// The visit's day is always said: a patient reads the answer hours later, when "tomorrow" is another day.
fn visit_time(when: Timestamp, zone: &TimeZone, language: Language) -> String {
    let day = time_words::day(when, zone, language);
    let local = when.to_zoned_datetime(zone.clone());
    let clock = format!("{}:{:02}", local.hour(), local.minute());
    match language {
        Language::English => format!("{day} at {clock}"),
        Language::Spanish => format!("{day} a las {clock}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_visit_is_written_with_its_day_in_the_patients_language() {
        let zone = TimeZone::get("America/New_York").unwrap();
        let visit = Some("2026-05-05T13:30:00Z".parse().unwrap());
        let write = |language| with_come_in("{come_in}", visit, &zone, language);
        assert_eq!(write(Language::English), "Tuesday, May 5 at 9:30");
        assert_eq!(write(Language::Spanish), "martes 5 de mayo a las 9:30");
        assert_eq!(with_come_in("{come_in}", None, &zone, Language::English), "{come_in}");
    }
}
