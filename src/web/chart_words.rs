//! Classes, photo flags, risk factors and the care plan as a surgeon reads them.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::plan::Diabetes;
use crate::plan::Immunity;
use crate::plan::Packing;
use crate::plan::RiskFactors;
use crate::plan::Strip;
use crate::store::checks::SentFrom;
use crate::triage;
use crate::triage::BestPhone;
use crate::triage::Urgency;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::time_words;

/// A class as a mark: its code chooses the shape, and the word stands beside it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Class {
    pub code: &'static str,
    pub word: &'static str,
    /// Why it is read higher than it was assessed, such as "overdue, was Today"; empty otherwise.
    pub raised: String,
}

/// The class as assessed.
pub fn class(urgency: Urgency) -> Class {
    Class { code: urgency.code(), word: urgency.staff_words(), raised: String::new() }
}

/// The class something waiting is read in at `now`: overdue, it counts one class higher.
pub fn class_in_time(urgency: Urgency, due: Timestamp, now: Timestamp) -> Class {
    let read_as = triage::effective(urgency, due, now);
    let raised = if now <= due {
        String::new()
    } else if read_as == urgency {
        "overdue".to_owned()
    } else {
        format!("overdue, was {}", urgency.staff_words())
    };
    Class { raised, ..class(read_as) }
}

/// A photo flag or refusal in words; an unknown code is shown as it is.
pub fn photo_flag(code: &str) -> String {
    match code {
        "truncated" => "arrived incomplete",
        "dark" => "too dark",
        "too_bright" => "overexposed",
        "blurred" => "blurred",
        "tiny" => "very small",
        "empty" => "arrived empty",
        "too_many_bytes" => "too big to read",
        "not_a_picture" => "not a picture",
        "too_large" => "too many pixels to read",
        "damaged" => "damaged, could not be read",
        other => other,
    }
    .to_owned()
}

/// How things stand with the strip.
pub fn strip(state: Strip, now: Timestamp, zone: &TimeZone) -> String {
    let time = |due| time_words::clock_time(due, now, zone, STAFF_LANGUAGE);
    match state {
        Strip::NeverPlaced => "none was placed".to_owned(),
        Strip::Out => "reported all out".to_owned(),
        Strip::In { due } => format!("in; due out {}", time(due)),
        Strip::DueOut { due } => format!("due out {}; not reported out", time(due)),
        Strip::Overdue { due } => format!("overdue: was due out {}; not reported all out", time(due)),
    }
}

/// What was put in, to count against what comes out; `None`: nothing was.
pub fn strips_put_in(packing: Option<Packing>) -> Option<String> {
    let packing = packing?;
    let pieces = match packing.pieces {
        1 => "1 strip".to_owned(),
        more => format!("{more} strips"),
    };
    Some(match packing.length_cm {
        Some(cm) => format!("{pieces}, {cm:.0} cm in all"),
        None => format!("{pieces}, length not noted"),
    })
}

/// Risk factors, sorted by what is known of them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Risks {
    pub present: Vec<String>,
    pub not_asked: Vec<&'static str>,
}

pub fn risks(risk: &RiskFactors) -> Risks {
    let mut risks = Risks::default();
    match risk.diabetes {
        Some(Diabetes::T1) => risks.present.push("diabetes type 1".to_owned()),
        Some(Diabetes::T2) => risks.present.push("diabetes type 2".to_owned()),
        Some(Diabetes::Other) => risks.present.push("diabetes, other kind".to_owned()),
        Some(Diabetes::None) => {}
        None => risks.not_asked.push("diabetes"),
    }
    match risk.immunity {
        Some(Immunity::Moderate) => risks.present.push("weak immunity".to_owned()),
        Some(Immunity::Chemo) => risks.present.push("chemotherapy or low white cells".to_owned()),
        Some(Immunity::Asplenia) => risks.present.push("no working spleen".to_owned()),
        Some(Immunity::None) => {}
        None => risks.not_asked.push("immunity"),
    }
    for (answer, words) in [
        (risk.sglt2, "SGLT2 drug"),
        (risk.blood_thinner, "blood thinner"),
        (risk.pregnant, "pregnant"),
        (risk.heart_valve, "heart valve"),
        (risk.poor_circulation, "poor circulation"),
        (risk.mrsa_before, "MRSA before"),
        (risk.injects_drugs, "injects drugs"),
        (risk.beta_blocker, "beta-blocker"),
        (risk.opioid_pain_pill, "opioid pain pill"),
        (risk.redness_hard_to_see, "redness hard to see on this skin"),
        (risk.lives_alone, "lives alone"),
        (risk.ketone_strips, "has ketone strips"),
    ] {
        match answer {
            Some(true) => risks.present.push(words.to_owned()),
            Some(false) => {}
            None => risks.not_asked.push(words),
        }
    }
    match (&risk.antibiotic, risk.takes_antibiotic) {
        (Some(antibiotic), _) => risks.present.push(format!("antibiotic: {}", antibiotic.drug)),
        (None, Some(true)) => risks.present.push("antibiotic, which one is not known".to_owned()),
        (None, Some(false)) => {}
        (None, None) => risks.not_asked.push("antibiotic"),
    }
    match risk.allergies.as_deref().map(str::trim) {
        Some(allergies) if !allergies.is_empty() => risks.present.push(format!("allergies: {allergies}")),
        Some(_) | None => risks.not_asked.push("allergies"),
    }
    risks
}

/// The number to ring; what was typed where it is no whole number.
pub fn best_phone(phone: &BestPhone) -> String {
    match &phone.number {
        Some(number) => number.clone(),
        None => format!("“{}”, not a whole number", phone.entered),
    }
}

/// What stands out about the phone a check was sent from.
pub fn sent_from(phone: &SentFrom) -> Vec<String> {
    let mut words = Vec::new();
    if !phone.other_initials.is_empty() {
        words.push(format!("Other initials typed: {}. Ask whose wound it is", phone.other_initials));
    }
    if phone.borrowed {
        words.push("Somebody else’s phone: answer by a call".to_owned());
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_overdue_check_is_read_one_class_higher_and_says_so() {
        let due: Timestamp = "2026-03-02T14:00:00Z".parse().unwrap();
        let late: Timestamp = "2026-03-02T14:00:01Z".parse().unwrap();
        assert_eq!(class_in_time(Urgency::Today, due, due), class(Urgency::Today));
        let raised = class_in_time(Urgency::Today, due, late);
        assert_eq!((raised.word, raised.raised.as_str()), ("Ring within the hour", "overdue, was Today"));
        assert_eq!(class_in_time(Urgency::GoNow, due, late).raised, "overdue");
    }

    #[test]
    fn what_nobody_asked_is_named_and_a_no_is_not() {
        let risks = risks(&RiskFactors {
            blood_thinner: Some(true),
            pregnant: Some(false),
            ..RiskFactors::default()
        });
        assert_eq!(risks.present, vec!["blood thinner"]);
        assert!(risks.not_asked.contains(&"diabetes"));
        assert!(!risks.not_asked.contains(&"pregnant"));
    }

    #[test]
    fn a_number_to_ring_is_shown_whole_or_as_it_was_typed() {
        let whole = BestPhone { entered: "202 555 0143".to_owned(), number: Some("+12025550143".to_owned()) };
        assert_eq!(best_phone(&whole), "+12025550143");
        let part = BestPhone { entered: "555-0143".to_owned(), number: None };
        assert_eq!(best_phone(&part), "“555-0143”, not a whole number");
    }
}
