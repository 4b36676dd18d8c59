//! The practice's plan text: what each kind of step says in both languages, and the numbers the sentences hold.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::Deserialize;
use serde::Serialize;

use crate::plan::StepKind;

/// Longest title and longest body taken, in characters.
const LONGEST_TITLE: usize = 80;
const LONGEST_BODY: usize = 400;

/// The numbers of home care a practice may set within safe ranges.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanNumbers {
    /// Minutes between the pain pill and the soak, at least and at most.
    pub pill_wait_min: u16,
    pub pill_wait_most_min: u16,
    /// Minutes of soaking before the strip is pulled, at least and at most.
    pub soak_min: u16,
    pub soak_most_min: u16,
    /// Minutes of pressing without a look when it bleeds.
    pub press_min: u16,
    /// Washes a day in the first week.
    pub wash_times: u16,
    /// Hours after which the strip is due out.
    pub strip_due_h: u16,
    /// Hours after which it is overdue.
    pub strip_overdue_h: u16,
}

impl Default for PlanNumbers {
    fn default() -> PlanNumbers {
        PlanText::built_in().numbers
    }
}

/// One number with its safe range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NumberLimit {
    /// The field's name, in the form and as a blank in a sentence.
    pub name: &'static str,
    pub says: &'static str,
    pub unit: &'static str,
    pub lowest: u16,
    pub highest: u16,
}

/// Every number in the form's order. Ranges are ours around common practice (pill 30–45 minutes before, soak 20–30
/// minutes, no source); those of the strip are the protocol's. Pressing less than ten minutes is never suggested, and
/// a strip is never left for a week.
pub const NUMBER_LIMITS: &[NumberLimit] = &[
    limit("pill_wait_min", "Pain pill before the soak, at least", "minutes", 20, 60),
    limit("pill_wait_most_min", "Pain pill before the soak, at most", "minutes", 30, 90),
    limit("soak_min", "Soak before pulling, at least", "minutes", 10, 45),
    limit("soak_most_min", "Soak before pulling, at most", "minutes", 15, 60),
    limit("press_min", "Press when it bleeds", "minutes", 10, 20),
    limit("wash_times", "Washes a day in week 1", "times", 2, 4),
    limit("strip_due_h", "Strip due out after", "hours", 24, 72),
    limit("strip_overdue_h", "Strip overdue after", "hours", 36, 72),
];

const fn limit(
    name: &'static str,
    says: &'static str,
    unit: &'static str,
    lowest: u16,
    highest: u16,
) -> NumberLimit {
    NumberLimit { name, says, unit, lowest, highest }
}

impl PlanNumbers {
    /// The number of that name; `None`: there is none of that name.
    pub fn named(&self, name: &str) -> Option<u16> {
        Some(match name {
            "pill_wait_min" => self.pill_wait_min,
            "pill_wait_most_min" => self.pill_wait_most_min,
            "soak_min" => self.soak_min,
            "soak_most_min" => self.soak_most_min,
            "press_min" => self.press_min,
            "wash_times" => self.wash_times,
            "strip_due_h" => self.strip_due_h,
            "strip_overdue_h" => self.strip_overdue_h,
            _ => return None,
        })
    }

    fn faults(&self) -> Vec<TextFault> {
        let mut faults = Vec::new();
        for limit in NUMBER_LIMITS {
            let within =
                self.named(limit.name).is_some_and(|value| (limit.lowest..=limit.highest).contains(&value));
            if !within {
                let NumberLimit { says, unit, lowest, highest, .. } = limit;
                let words = format!("{says}: from {lowest} to {highest} {unit}.");
                faults.push(TextFault { field: limit.name, words });
            }
        }
        let pairs = [
            ("pill_wait_most_min", self.pill_wait_min, self.pill_wait_most_min),
            ("soak_most_min", self.soak_min, self.soak_most_min),
            ("strip_overdue_h", self.strip_due_h, self.strip_overdue_h),
        ];
        for (field, less, more) in pairs {
            if more < less {
                let words = format!("This must not be less than {less}, the number before it.");
                faults.push(TextFault { field, words });
            }
        }
        faults
    }
}

/// One sentence or a few, in both languages.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Both {
    pub en: String,
    pub es: String,
}

/// What one kind of step says.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StepText {
    pub title: Both,
    pub body: Both,
}

/// The whole text. Invariant of one that [`PlanText::faults`] finds nothing in: every kind has both languages, with
/// the same known blanks, and every number is in its range.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanText {
    pub numbers: PlanNumbers,
    pub steps: BTreeMap<String, StepText>,
}

/// What is wrong with a text as typed, and what to do about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TextFault {
    /// The number's name, or the step kind's code.
    pub field: &'static str,
    pub words: String,
}

static BUILT_IN: LazyLock<PlanText> = LazyLock::new(|| {
    serde_json::from_str(include_str!("plan_text.json")).expect("the program's own plan text is tested")
});

impl PlanText {
    /// The text the program comes with.
    pub fn built_in() -> &'static PlanText {
        &BUILT_IN
    }

    /// What this kind of step says, blanks still in braces.
    pub fn of(&self, kind: StepKind) -> StepText {
        let own = self.steps.get(kind.code()).or_else(|| BUILT_IN.steps.get(kind.code()));
        own.cloned().unwrap_or_default()
    }

    /// A sentence with its numbers filled in.
    pub fn fill(&self, sentence: &str) -> String {
        NUMBER_LIMITS.iter().fold(sentence.to_owned(), |text, limit| {
            let value = self.numbers.named(limit.name).unwrap_or_default();
            text.replace(&format!("{{{}}}", limit.name), &value.to_string())
        })
    }

    /// Everything about this text that cannot stand; empty when it can.
    pub fn faults(&self) -> Vec<TextFault> {
        let mut faults = self.numbers.faults();
        for kind in StepKind::ALL {
            let text = self.steps.get(kind.code()).cloned().unwrap_or_default();
            for (both, what, longest) in
                [(&text.title, "title", LONGEST_TITLE), (&text.body, "sentence", LONGEST_BODY)]
            {
                if let Some(words) = both_fault(both, what, longest) {
                    faults.push(TextFault { field: kind.code(), words });
                }
            }
        }
        faults
    }
}

fn both_fault(both: &Both, what: &str, longest: usize) -> Option<String> {
    let (en, es) = (both.en.trim(), both.es.trim());
    if en.is_empty() || es.is_empty() {
        let missing = if en.is_empty() { "English" } else { "Spanish" };
        return Some(format!("The {what} is missing in {missing}. Write it in both languages."));
    }
    if en.chars().count() > longest || es.chars().count() > longest {
        return Some(format!("Shorten the {what} to {longest} characters."));
    }
    let (blanks_en, blanks_es) = (blanks(en), blanks(es));
    let known = |name: &String| NUMBER_LIMITS.iter().any(|limit| limit.name == name);
    if let Some(unknown) = blanks_en.iter().chain(&blanks_es).find(|name| !known(name)) {
        return Some(format!("The program cannot fill in {{{unknown}}} in the {what}. Write the words out."));
    }
    (blanks_en != blanks_es).then(|| format!("The {what} must hold the same numbers in both languages."))
}

/// Names in braces, sorted.
fn blanks(text: &str) -> Vec<String> {
    let mut found: Vec<String> =
        text.split('{').skip(1).map(|rest| rest.split('}').next().unwrap_or(rest).to_owned()).collect();
    found.sort();
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn changed(change: impl Fn(&mut PlanText)) -> Vec<&'static str> {
        let mut text = PlanText::built_in().clone();
        change(&mut text);
        text.faults().into_iter().map(|fault| fault.field).collect()
    }

    #[test]
    fn the_programs_own_text_can_stand_and_speaks_of_every_kind() {
        assert_eq!(PlanText::built_in().faults(), vec![]);
        assert_eq!(PlanText::built_in().steps.len(), StepKind::ALL.len());
    }

    #[test]
    fn the_programs_own_sentences_have_at_most_fifteen_words() {
        for (kind, text) in &PlanText::built_in().steps {
            for words in [&text.title.en, &text.title.es, &text.body.en, &text.body.es] {
                for sentence in words.split(['.', '?', '!']) {
                    assert!(sentence.split_whitespace().count() <= 15, "{kind}: {sentence}");
                }
            }
        }
    }

    #[test]
    fn a_missing_language_is_refused_whichever_it_is() {
        assert_eq!(
            changed(|text| text.steps.get_mut("photo").unwrap().title.es = "  ".to_owned()),
            ["photo"]
        );
        assert_eq!(changed(|text| text.steps.get_mut("visit").unwrap().body.en.clear()), ["visit"]);
        let gone = changed(|text| drop(text.steps.remove("dressing")));
        assert_eq!(gone, ["dressing", "dressing"]);
    }

    #[test]
    fn every_number_is_refused_beyond_both_ends_of_its_range_and_taken_at_them() {
        for limit in NUMBER_LIMITS {
            let with = |value: u16| {
                let mut numbers = serde_json::to_value(PlanNumbers::default()).unwrap();
                numbers[limit.name] = value.into();
                let numbers: PlanNumbers = serde_json::from_value(numbers).unwrap();
                let range = format!("from {} to {}", limit.lowest, limit.highest);
                numbers.faults().iter().any(|fault| fault.field == limit.name && fault.words.contains(&range))
            };
            assert!(!with(limit.lowest) && !with(limit.highest), "{}", limit.name);
            assert!(with(limit.lowest - 1) && with(limit.highest + 1), "{}", limit.name);
        }
    }

    #[test]
    fn a_range_that_ends_before_it_begins_is_refused() {
        assert_eq!(changed(|text| text.numbers.soak_min = 40), ["soak_most_min"]);
        assert_eq!(changed(|text| text.numbers.strip_due_h = 60), ["strip_overdue_h"]);
    }

    #[test]
    fn blanks_are_filled_and_one_nobody_knows_is_refused() {
        assert_eq!(PlanText::built_in().fill("{soak_min} to {soak_most_min}"), "20 to 30");
        let unknown =
            |text: &mut PlanText| text.steps.get_mut("photo").unwrap().body.en = "Dear {name}".to_owned();
        assert_eq!(changed(unknown), ["photo"]);
        let one_sided =
            |text: &mut PlanText| text.steps.get_mut("photo").unwrap().body.en = "In {soak_min}".to_owned();
        assert_eq!(changed(one_sided), ["photo"]);
    }
}
