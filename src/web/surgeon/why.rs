//! Why a check stands where it stands: the assessment laid out for reading.

use crate::triage::Assessment;
use crate::triage::Confidence;
use crate::triage::Urgency;
use crate::web::chart_words::Class;
use crate::web::chart_words::class;
use crate::web::surgeon::fact_words;

/// Unknowns listed openly; the others fold away.
const UNKNOWNS_SHOWN: usize = 5;

pub struct ReasonView {
    pub class: Class,
    pub sentence: String,
    pub values: String,
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

pub struct UnknownView {
    pub fact: String,
    pub could_reach: Class,
}

pub struct PatternView {
    pub sentence: String,
    pub source: String,
}

pub struct Why {
    pub reasons: Vec<ReasonView>,
    pub raises: Vec<RaiseView>,
    pub gates: Vec<String>,
    pub unknowns: Vec<UnknownView>,
    pub more_unknowns: Vec<UnknownView>,
    pub patterns: Vec<PatternView>,
    pub score: u8,
    pub protocol: String,
}

pub fn why(assessment: &Assessment) -> Why {
    // What could not change anything a person would do sooner is noise beside the rest.
    let mut unknowns: Vec<UnknownView> = assessment
        .unknowns
        .iter()
        .filter(|unknown| unknown.could_reach > assessment.urgency.min(Urgency::Today))
        .map(|unknown| UnknownView {
            fact: fact_words::fact(&unknown.fact),
            could_reach: class(unknown.could_reach),
        })
        .collect();
    let more_unknowns = unknowns.split_off(unknowns.len().min(UNKNOWNS_SHOWN));
    Why {
        reasons: assessment
            .reasons
            .iter()
            .map(|reason| ReasonView {
                class: class(reason.urgency),
                sentence: reason.sentence.clone(),
                values: fact_words::values(&reason.tripped),
                source: reason.source.clone(),
                confidence: confidence(reason.confidence),
                rule: reason.rule_id.clone(),
            })
            .collect(),
        raises: assessment
            .raises
            .iter()
            .map(|raised| RaiseView {
                effect: match raised.to {
                    Some(urgency) => format!("Raised to {}", urgency.staff_words()),
                    None => "Noted".to_owned(),
                },
                sentence: raised.sentence.clone(),
                values: fact_words::values(&raised.tripped),
                source: raised.source.clone(),
            })
            .collect(),
        gates: assessment.gates.iter().map(|gate| gate.sentence.clone()).collect(),
        unknowns,
        more_unknowns,
        patterns: assessment
            .patterns
            .iter()
            .map(|pattern| PatternView { sentence: pattern.sentence.clone(), source: pattern.source.clone() })
            .collect(),
        score: assessment.score,
        protocol: assessment.protocol_version.clone(),
    }
}

fn confidence(confidence: Confidence) -> &'static str {
    match confidence {
        Confidence::High => "high",
        Confidence::Medium => "medium",
        Confidence::Low => "low",
    }
}
