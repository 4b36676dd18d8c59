//! The danger screen's rows: what is asked, what to do at once, what to tell the operator.

use crate::triage::Context;
use crate::triage::DangerItem;
use crate::web::patient::typed::Typed;
use crate::words::patient_danger::DangerWords;

/// One danger item with its advice, rendered into the page before anybody ticks it.
#[derive(Clone, Debug)]
pub struct DangerRow {
    pub code: &'static str,
    pub item: String,
    pub advice: String,
    pub tell: String,
    pub checked: bool,
}

/// The rows this wound is asked about.
pub fn rows(context: &Context, words: DangerWords, typed: &Typed) -> Vec<DangerRow> {
    let row = |item: DangerItem| {
        let (sign, advice, tell) = said(item, words);
        let checked = typed.has("danger", item.code());
        DangerRow { code: item.code(), item: sign, advice, tell, checked }
    };
    context.danger_items().into_iter().map(row).collect()
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

/// Every danger sign in words, for the list on *Today*.
pub fn signs(context: &Context, words: DangerWords) -> Vec<String> {
    context.danger_items().into_iter().map(|item| said(item, words).0).collect()
}
