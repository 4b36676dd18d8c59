//! Why a check stands where it stands: the assessment laid out for reading.

use crate::triage::Assessment;
use crate::triage::Confidence;
use crate::triage::CouldRaise;
use crate::triage::FactId;
use crate::triage::Origin;
use crate::triage::Raised;
use crate::triage::Reason;
use crate::triage::Urgency;
use crate::web::chart_words::Class;
use crate::web::chart_words::class;
use crate::web::surgeon::fact_words;

/// Reasons listed openly; the others fold away.
const REASONS_SHOWN: usize = 4;
/// What the checklist or the enrolment asks: not known here, it was left open. Everything else is known only when
/// somebody asks on the phone.
const ASKED: &[&str] = &[
    "danger_screen_answered",
    "temp_c",
    "chills",
    "feels_feverish",
    "fever_pill_6h",
    "red_cm",
    "red_trend",
    "red_grew_cm_6h",
    "warm",
    "hard",
    "swell_trend",
    "streaks",
    "pain",
    "pain_trend",
    "pain_just_packed",
    "pus",
    "drain_grey",
    "odor",
    "bleeding",
    "bleed_repeat",
    "packing",
    "packing_stuck",
    "washes_per_day",
    "lump_back",
    "closed_over",
    "glucose",
    "glucose_hi",
    "ketones",
    "urine_ketones",
    "sugar_sick",
    "rash",
    "vomit_abx",
    "abx_missed",
    "loose_stools_24h",
    "stool_blood",
    "cant_pee_hours",
    "deep_pressure",
    "cant_pass_stool",
    "finger_bent",
    "hr",
    "rr",
    "sbp",
    "worried",
    "says_very_ill",
    "photo_ok",
    "diabetes",
    "sglt2",
    "immuno",
    "anticoag",
    "pregnant",
    "valve",
    "poor_circulation",
    "mrsa",
    "pain_pill",
    "abx",
    "red_hard_to_see",
];

#[derive(Clone, Debug)]
pub struct ReasonView {
    pub class: Class,
    pub sentence: String,
    pub values: String,
    /// Everything it rests on, the quiet facts too.
    pub rests_on: String,
    pub source: String,
    pub confidence: &'static str,
    pub rule: String,
}

pub struct RaiseView {
    /// "Raised to Today", or "Read first within its class".
    pub effect: String,
    pub sentence: String,
    pub values: String,
    pub source: String,
}

/// What nobody knows and could lead to the same class.
pub struct UnknownView {
    /// "pulse, breaths, sugar"; a set of several that only count together is joined by "with".
    pub facts: String,
    pub could_reach: Class,
    /// "ask the patient", "look it up".
    pub whom: &'static str,
}

pub struct PatternView {
    pub sentence: String,
    pub source: String,
}

pub struct Why {
    pub reasons: Vec<ReasonView>,
    pub more_reasons: Vec<ReasonView>,
    pub raises: Vec<RaiseView>,
    pub gates: Vec<String>,
    /// Asked and not known.
    pub unknowns: Vec<UnknownView>,
    /// Never asked by the checklist.
    pub unasked: Vec<UnknownView>,
    pub unasked_count: usize,
    pub patterns: Vec<PatternView>,
    pub score: u8,
    pub protocol: String,
}

/// Lays an assessment out. `could_raise` as [`crate::triage::could_raise`] found it; `None`: it could not be worked
/// out any more, and what the assessment itself lists as open stands in.
pub fn why(assessment: &Assessment, could_raise: Option<&[CouldRaise]>) -> Why {
    let mut reasons: Vec<ReasonView> = assessment.reasons.iter().map(reason).collect();
    let more_reasons = reasons.split_off(reasons.len().min(REASONS_SHOWN));
    let open: Vec<CouldRaise> = match could_raise {
        Some(sets) => sets.to_vec(),
        None => listed_as_open(assessment),
    };
    let (asked, unasked): (Vec<&CouldRaise>, Vec<&CouldRaise>) =
        open.iter().partition(|set| set.facts.iter().all(|fact| ASKED.contains(fact)));
    Why {
        reasons,
        more_reasons,
        raises: assessment.raises.iter().map(raise).collect(),
        gates: assessment.gates.iter().map(|gate| gate.sentence.clone()).collect(),
        unknowns: by_class(&asked),
        unasked: by_class(&unasked),
        unasked_count: unasked.len(),
        patterns: assessment
            .patterns
            .iter()
            .map(|pattern| PatternView { sentence: pattern.sentence.clone(), source: pattern.source.clone() })
            .collect(),
        score: assessment.score,
        protocol: assessment.protocol_version.clone(),
    }
}

/// What an assessment lists as open; what could reach no more than the class it has changes nothing.
fn listed_as_open(assessment: &Assessment) -> Vec<CouldRaise> {
    let open = assessment.unknowns.iter().filter(|unknown| unknown.could_reach > assessment.urgency);
    open.filter_map(|unknown| {
        Some(CouldRaise { facts: vec![FactId::named(&unknown.fact)?.name()], to: unknown.could_reach })
    })
    .collect()
}

fn reason(reason: &Reason) -> ReasonView {
    ReasonView {
        class: class(reason.urgency),
        sentence: reason.sentence.clone(),
        values: fact_words::values_beside_limits(&reason.tripped),
        rests_on: fact_words::all_values(&reason.tripped),
        source: reason.source.clone(),
        confidence: confidence(reason.confidence),
        rule: reason.rule_id.clone(),
    }
}

fn raise(raised: &Raised) -> RaiseView {
    RaiseView {
        effect: match raised.to {
            Some(urgency) => format!("Raised to {}", urgency.staff_words()),
            None => "Noted".to_owned(),
        },
        sentence: raised.sentence.clone(),
        values: fact_words::values_beside_limits(&raised.tripped),
        source: raised.source.clone(),
    }
}

/// One line for each class and for whom to ask, the gravest first.
fn by_class(sets: &[&CouldRaise]) -> Vec<UnknownView> {
    let mut lines: Vec<(Urgency, &'static str, Vec<String>)> = Vec::new();
    for set in sets {
        let facts: Vec<String> =
            set.facts.iter().map(|fact| fact_words::fact(fact).trim_end_matches(':').to_owned()).collect();
        let (to, whom, facts) = (set.to, whom(set), facts.join(" with "));
        match lines.iter_mut().find(|line| line.0 == to && line.1 == whom) {
            Some(line) => line.2.push(facts),
            None => lines.push((to, whom, vec![facts])),
        }
    }
    lines.sort_by_key(|line| line.0.rank());
    let view = |(to, whom, facts): (Urgency, &'static str, Vec<String>)| UnknownView {
        facts: facts.join(", "),
        could_reach: class(to),
        whom,
    };
    lines.into_iter().map(view).collect()
}

/// Who could tell what is not known.
fn whom(set: &CouldRaise) -> &'static str {
    let from: Vec<Origin> =
        set.facts.iter().filter_map(|fact| FactId::named(fact)).map(|id| id.fact().from).collect();
    if from.contains(&Origin::Answer) {
        "ask the patient"
    } else if from.contains(&Origin::Measurement) {
        "the photo could tell"
    } else {
        "look it up"
    }
}

fn confidence(confidence: Confidence) -> &'static str {
    match confidence {
        Confidence::High => "high",
        Confidence::Medium => "medium",
        Confidence::Low => "low",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::DICTIONARY;

    #[test]
    fn every_asked_fact_is_one_of_the_protocols() {
        for asked in ASKED {
            assert!(DICTIONARY.iter().any(|fact| fact.name == *asked), "{asked}");
        }
    }
}
