//! Corrections beside a check and its decisions, and the form that notes one.

use jiff::Timestamp;

use crate::care::review::Opened;
use crate::store::corrections::Correction;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::time_words;

/// One correction as shown.
pub struct CorrectionView {
    /// What it is about, who noted it, and when.
    pub above: String,
    pub words: String,
}

/// Something that can be corrected.
pub struct Correctable {
    /// Empty: the check as it was sent.
    pub id: String,
    pub words: String,
}

/// What was corrected about this check.
pub fn corrections(opened: &Opened, now: Timestamp) -> Vec<CorrectionView> {
    let of_check = opened.corrections.iter().filter(|one| one.check == opened.check.id);
    of_check
        .map(|one| CorrectionView { above: above(opened, one, now), words: one.words.to_string() })
        .collect()
}

fn above(opened: &Opened, one: &Correction, now: Timestamp) -> String {
    let by = opened.staff.iter().find(|member| member.id == one.by);
    let by = by.map_or("a colleague", |member| member.name.as_str());
    let at = time_words::clock_time(one.noted, now, &opened.practice.zone, STAFF_LANGUAGE);
    let review = one.review.and_then(|id| opened.reviews.iter().find(|review| review.id == id));
    match review {
        Some(review) => format!("Corrected, about “{}” — {by}, {at}", review.decision.words()),
        None => format!("Corrected, about the check as sent — {by}, {at}"),
    }
}

/// The check, and each decision about it.
pub fn correctable(opened: &Opened, now: Timestamp) -> Vec<Correctable> {
    let check = Correctable { id: String::new(), words: "The check as it was sent".to_owned() };
    let decisions = opened.reviews.iter().filter(|review| review.check == opened.check.id).map(|review| {
        let at = time_words::clock_time(review.decided, now, &opened.practice.zone, STAFF_LANGUAGE);
        Correctable {
            id: review.id.to_string(),
            words: format!("The decision “{}”, {at}", review.decision.words()),
        }
    });
    std::iter::once(check).chain(decisions).collect()
}
