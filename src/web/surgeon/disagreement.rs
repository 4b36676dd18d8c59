//! Where a patient's answers and the photo say different things: both are shown, and the worse one counts.

use crate::care::review::Opened;
use crate::triage::CheckFacts;
use crate::triage::Edge;
use crate::triage::EdgeBand;
use crate::triage::Value;
use crate::web::surgeon::answer_words;
use crate::web::surgeon::fact_words;
use crate::web::surgeon::measure_words;
use crate::wound::Figure;
use crate::wound::Redness;
use crate::wound::Standing;

/// A reading with a ruler may be off by this much, mm (own choice: a shaking hand).
const RULER_OFF_MM: f64 = 3.0;

/// A rim this narrow counts as no redness, mm (IWGDF/IDSA 2023: redness counts beyond 0.5 cm).
const RIM_MM: f64 = 5.0;

/// One sentence for each disagreement of the opened check.
pub fn between_answers_and_photo(opened: &Opened) -> Vec<String> {
    let mut said = Vec::new();
    let edge = opened.check.answers.edge.known().copied();
    if let Some((edge, reach)) = edge.zip(widest_redness(opened))
        && !agree(edge, &reach)
    {
        let answer = answer_words::answer(&opened.check.answers, "edge").unwrap_or_default();
        let photo = measure_words::length_with_range(&reach);
        said.push(format!("Redness: the patient says “{answer}”, the photo shows {photo} beyond the edge."));
    }
    said.extend(opened.check.facts.iter().flat_map(in_facts));
    said
}

/// The widest redness that the photos of the opened check show and that counts.
fn widest_redness(opened: &Opened) -> Option<Figure> {
    let own = opened.measured.iter().filter(|kept| kept.check == opened.check.id);
    let reach = own.filter_map(|kept| match (&kept.measurement.redness, kept.measurement.standing) {
        (Redness::Reach(reach), Standing::Ok) => Some(reach.p95_mm),
        (Redness::Reach(_), Standing::LowConfidence | Standing::Refused)
        | (Redness::CannotTell | Redness::NoContrast { .. } | Redness::NotGiven { .. }, _) => None,
    });
    reach.max_by(|a, b| a.value.total_cmp(&b.value))
}

/// Whether a reach on the photo can go with what the patient chose: any value of its range may.
fn agree(edge: Edge, reach: &Figure) -> bool {
    let whole = |mm: f64| mm.round().clamp(0.0, 300.0) as u16;
    match edge {
        Edge::Band(EdgeBand::None) => reach.low <= RIM_MM,
        Edge::Band(band) => (whole(reach.low)..=whole(reach.high)).any(|mm| band.fits(mm)),
        Edge::RulerMm(mm) | Edge::Both { ruler_mm: mm, .. } => {
            (reach.low - RULER_OFF_MM..=reach.high + RULER_OFF_MM).contains(&f64::from(mm))
        }
    }
}

/// Facts that answers and photos both gave, and gave differently. How far the redness reaches is compared above, by the
/// pictures the patient chose from.
fn in_facts(facts: &CheckFacts) -> Vec<String> {
    let both = facts.measured.given().filter(|(name, _)| *name != "red_cm");
    both.filter_map(|(name, photo)| {
        let answer = facts.answered.value(name).filter(|answer| *answer != photo)?;
        let (answer, photo) = (in_words(answer), in_words(photo));
        Some(format!("{}: the patient says {answer}, the photo {photo}.", capital(&fact_words::fact(name))))
    })
    .collect()
}

fn in_words(value: Value) -> String {
    match value {
        Value::Flag(true) => "yes".to_owned(),
        Value::Flag(false) => "no".to_owned(),
        Value::Number { low, high } if low < high => format!("{low:.1} to {high:.1}"),
        Value::Number { low, .. } => format!("{low:.1}"),
        Value::Word(word) => word.replace('_', " "),
    }
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::Facts;

    fn reach(value: f64) -> Figure {
        Figure::new(value, value - 1.0, value + 1.0)
    }

    #[test]
    fn a_picture_agrees_up_to_its_own_limits() {
        let inch = Edge::Band(EdgeBand::ToOneInch);
        assert!(agree(inch, &reach(17.0)) && agree(inch, &reach(29.0)));
        assert!(!agree(inch, &reach(30.0)));
    }

    #[test]
    fn a_rim_up_to_five_millimetres_agrees_with_no_redness() {
        assert!(agree(Edge::Band(EdgeBand::None), &reach(6.0)));
        assert!(!agree(Edge::Band(EdgeBand::None), &reach(6.1)));
    }

    #[test]
    fn a_ruler_may_be_off_by_three_millimetres_beyond_the_range() {
        assert!(agree(Edge::RulerMm(13), &reach(17.0)) && agree(Edge::RulerMm(21), &reach(17.0)));
        assert!(!agree(Edge::RulerMm(12), &reach(17.0)) && !agree(Edge::RulerMm(22), &reach(17.0)));
    }

    #[test]
    fn facts_that_differ_are_told_and_the_same_ones_are_not() {
        let with = |word: &'static str| {
            let mut facts = Facts::default();
            facts.set("red_trend", Value::Word(word)).unwrap();
            facts
        };
        let told = in_facts(&CheckFacts { answered: with("same"), measured: with("bigger") });
        assert_eq!(told.len(), 1);
        assert!(told[0].contains("the patient says same, the photo bigger"), "{told:?}");
        assert!(in_facts(&CheckFacts { answered: with("bigger"), measured: with("bigger") }).is_empty());
        assert!(in_facts(&CheckFacts { answered: Facts::default(), measured: with("bigger") }).is_empty());
    }
}
