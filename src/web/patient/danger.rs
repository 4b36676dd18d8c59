//! The danger screen's rows: what is asked, what to do at once, what to tell the operator.

use std::collections::BTreeSet;

use jiff::Timestamp;

use crate::care::thread::Home;
use crate::plan::day_number;
use crate::triage::Answers;
use crate::triage::Context;
use crate::triage::DangerItem;
use crate::triage::LowSugar;
use crate::triage::low_sugar;
use crate::web::patient::typed::Typed;
use crate::web::wound_words;
use crate::words::patient_danger::DangerWords;

/// One danger item with its advice, rendered into the page before anybody ticks it.
#[derive(Clone, Debug)]
pub struct DangerRow {
    pub code: &'static str,
    pub item: String,
    pub advice: String,
    /// What to say to the operator: the operation and the wound first.
    pub tell: String,
    pub checked: bool,
}

/// The rows this wound is asked about. `opening`: see [`opening`].
pub fn rows(context: &Context, words: DangerWords, opening: &str, typed: &Typed) -> Vec<DangerRow> {
    let row = |item: DangerItem| DangerRow {
        checked: typed.has("danger", item.code()),
        ..row(item, words, opening)
    };
    context.danger_items().into_iter().map(row).collect()
}

fn row(item: DangerItem, words: DangerWords, opening: &str) -> DangerRow {
    let (sign, advice, tell) = said(item, words);
    DangerRow { code: item.code(), item: sign, advice, tell: format!("{opening} {tell}"), checked: true }
}

/// The rows of what was ticked, for a page after the check was sent.
pub fn ticked(answers: &Answers, words: DangerWords, opening: &str) -> Vec<DangerRow> {
    let none = BTreeSet::new();
    let items = answers.danger.known().unwrap_or(&none);
    items.iter().map(|item| row(*item, words, opening)).collect()
}

/// What an operator must know before anything else: when the operation was, and where the open wound is.
pub fn opening(home: &Home, words: DangerWords, now: Timestamp) -> String {
    let operation = &home.wound.operation;
    let place = wound_words::place(operation, words.language());
    match day_number(operation.operated, now, &home.practice.zone) {
        ..=0 => words.tell_today(&place),
        1 => words.tell_yesterday(&place),
        days => words.tell_days(days, &place),
    }
}

/// What to do about a low sugar, first and then; `None`: the sugar is not low, or not known.
pub fn low_sugar_advice(answers: &Answers, words: DangerWords, emergency: &str) -> Option<[String; 2]> {
    Some(match low_sugar(answers)? {
        LowSugar::VeryLow => [words.sugar_very_low(), words.sugar_very_low_again(emergency)],
        LowSugar::Low => [words.sugar_low(), words.sugar_low_again(emergency)],
        LowSugar::UnitUnclear => [words.sugar_unclear(), words.sugar_unclear_again(emergency)],
    })
}

fn said(item: DangerItem, words: DangerWords) -> (String, String, String) {
    match item {
        DangerItem::Bleed => (words.bleed(), words.bleed_do(), words.bleed_tell()),
        DangerItem::Mind => (words.mind(), words.mind_do(), words.mind_tell()),
        DangerItem::Breath => (words.breath(), words.breath_do(), words.breath_tell()),
        DangerItem::Swell => (words.swell(), words.swell_do(), words.swell_tell()),
        DangerItem::Skin => (words.skin(), words.skin_do(), words.skin_tell()),
        DangerItem::Pain => (words.pain(), words.pain_do(), words.pain_tell()),
        DangerItem::Low => (words.low(), words.low_do(), words.low_tell()),
        DangerItem::Face => (words.face(), words.face_do(), words.face_tell()),
    }
}

/// One danger sign in words.
pub fn sign(item: DangerItem, words: DangerWords) -> String {
    said(item, words).0
}

/// Every danger sign in words, for the list on *Today*.
pub fn signs(context: &Context, words: DangerWords) -> Vec<String> {
    context.danger_items().into_iter().map(|item| sign(item, words)).collect()
}
