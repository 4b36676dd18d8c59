//! From a web form to answers: what was typed is kept, what is odd is asked about, nothing is guessed in silence.

use std::collections::BTreeSet;

use crate::triage::answers::Answers;
use crate::triage::form_fields::Again;
use crate::triage::form_fields::Form;
use crate::triage::questions::Context;
use crate::triage::questions::QUESTIONS;
use crate::triage::questions::is_optional;

/// What a form came to. Faults are to be shown; they never stop a check from being sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reading {
    pub answers: Answers,
    pub faults: Vec<Fault>,
    /// Ids of the questions this patient was asked that were left blank and are not optional.
    pub skipped: Vec<&'static str>,
}

/// One thing to ask about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The form field.
    pub field: &'static str,
    pub kind: FaultKind,
    /// As typed.
    pub typed: String,
}

/// What is wrong with what was typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FaultKind {
    NotANumber,
    /// Cannot be a reading; the answer stays blank.
    OutOfRange,
    /// Hard to believe; kept, and asked for once more.
    TakeAgain,
    /// The number does not go with its unit.
    WhichUnit,
    /// A code the question does not have; the answer stays blank.
    NoSuchAnswer,
    /// Two different answers to a question that takes one; the graver one counts until the patient has chosen.
    TwoAnswers,
    /// The other half of the answer is missing.
    OtherHalf,
    /// No whole telephone number; kept as typed for whoever rings.
    NotAPhone,
    /// Longer than 1000 characters; kept whole.
    TooLong,
}

/// Reads a form: names and values in order, names may repeat, unknown names are ignored.
pub fn read(fields: &[(String, String)], context: &Context) -> Reading {
    let mut form = Form { fields, faults: Vec::new(), none_beside: BTreeSet::new() };
    let mut answers = Answers {
        who: form.one("who"),
        danger: form.many("danger"),
        better: form.one("better"),
        temp: form.temperature(),
        temp_again: form.taken("temp_again", "temp_again_unit", Again::Second),
        feels_feverish: form.one("feels_feverish"),
        fever_pill: form.one("fever_pill"),
        chills: form.one("chills"),
        edge: form.edge(),
        edge_move: form.one("edge_move"),
        edge_hours: form.pace(),
        warm_hard: form.many("warm_hard"),
        warm_hard_trend: form.one("warm_hard_trend"),
        streaks: form.one("streaks"),
        pain: form.small("pain"),
        pain_trend: form.one("pain_trend"),
        pain_just_packed: form.one("pain_just_packed"),
        drain: form.one("drain"),
        drain_amount: form.one("drain_amount"),
        smell: form.one("smell"),
        bleed: form.one("bleed"),
        bleed_repeat: form.one("bleed_repeat"),
        strip: form.one("strip"),
        wash: form.small("wash"),
        gauze_changed: form.one("gauze_changed"),
        lump_back: form.one("lump_back"),
        closed_over: form.one("closed_over"),
        sugar: form.sugar(),
        sugar_sick: form.many("sugar_sick"),
        ketones: form.ketones(),
        pills_missed: form.small("pills_missed"),
        pills_vomited: form.small("pills_vomited"),
        rash: form.one("rash"),
        loose_stools: form.small("loose_stools"),
        stool_blood: form.one("stool_blood"),
        pee: form.small("pee"),
        pee_signs: form.many("pee_signs"),
        finger: form.one("finger"),
        pulse: form.whole("pulse"),
        breaths: form.whole("breaths"),
        pressure: form.whole("pressure"),
        phone: form.phone(),
        voicemail: form.one("voicemail"),
        none_beside: BTreeSet::new(),
        words: form.words(),
    };
    answers.none_beside = form.none_beside;
    let mut faults = form.faults;
    if !answers.temp_again.is_blank() {
        faults.retain(|fault| fault.kind != FaultKind::TakeAgain);
    }
    let skipped = skipped(fields, &answers, context);
    Reading { answers, faults, skipped }
}

/// Questions asked and left blank. What was typed but could not be read is a fault, not skipped.
fn skipped(fields: &[(String, String)], answers: &Answers, context: &Context) -> Vec<&'static str> {
    let typed = |names: &[&str]| {
        fields.iter().any(|(name, value)| names.contains(&name.as_str()) && !value.trim().is_empty())
    };
    QUESTIONS
        .iter()
        .filter(|question| !is_optional(question.id))
        .filter(|question| question.asked(answers, context) && !typed(question.fields))
        .map(|question| question.id)
        .collect()
}
