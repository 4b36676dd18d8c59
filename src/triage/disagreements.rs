//! Where a photo and the patient's own answers say different things: the worse one counts, and both are shown to the
//! surgeon.

use crate::triage::answers::Answers;
use crate::triage::answers::Edge;
use crate::triage::answers::EdgeBand;
use crate::triage::answers::Trend;
use crate::triage::answers::YesNo;
use crate::triage::from_photo::FromPhoto;
use crate::triage::from_photo::trend;
use crate::wound::Figure;

/// One thing the photo and an answer do not agree on, beyond the measuring error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Disagreement {
    /// The redness reaches farther in the photo than the patient says. The photo counts.
    WiderInPhoto { said_mm: u16, seen_mm: Figure },
    /// It reaches less far in the photo. The answer counts.
    NarrowerInPhoto { said_mm: u16, seen_mm: Figure },
    /// The patient says it is no bigger, and two photos show that it grew. The photo counts.
    GrewInPhoto { said: Trend, before_mm: f64, now_mm: f64, days: f64 },
    /// The patient says it is bigger, and two photos show that it shrank. The answer counts.
    ShrankInPhoto { before_mm: f64, now_mm: f64, days: f64 },
    /// The patient says it has closed over, and the photo shows a wound. The answer counts: closing over too early is the
    /// graver of the two.
    ClosedButOpen { area_mm2: f64 },
}

/// What counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stands {
    Photo,
    Answer,
}

impl Disagreement {
    /// Which of the two counts: the worse one.
    pub fn stands(self) -> Stands {
        match self {
            Disagreement::WiderInPhoto { .. } | Disagreement::GrewInPhoto { .. } => Stands::Photo,
            Disagreement::NarrowerInPhoto { .. }
            | Disagreement::ShrankInPhoto { .. }
            | Disagreement::ClosedButOpen { .. } => Stands::Answer,
        }
    }
}

/// Everything the photos of a check and its answers do not agree on.
pub fn disagreements(answers: &Answers, photo: &FromPhoto) -> Vec<Disagreement> {
    [reach(answers, photo), movement(answers, photo), closed(answers, photo)].into_iter().flatten().collect()
}

fn reach(answers: &Answers, photo: &FromPhoto) -> Option<Disagreement> {
    let (edge, seen_mm) = (answers.edge.known()?, photo.reach_mm?);
    let (from_mm, to_mm) = said_mm(*edge);
    if seen_mm.low > f64::from(to_mm) {
        Some(Disagreement::WiderInPhoto { said_mm: to_mm, seen_mm })
    } else if seen_mm.high < f64::from(from_mm) {
        Some(Disagreement::NarrowerInPhoto { said_mm: from_mm, seen_mm })
    } else {
        None
    }
}

/// The least and the most that was said, mm.
fn said_mm(edge: Edge) -> (u16, u16) {
    let band_from = |band| match band {
        EdgeBand::None | EdgeBand::Thin => 0,
        EdgeBand::ToOneInch => EdgeBand::Thin.top_mm(),
        EdgeBand::ToTwoInches => EdgeBand::ToOneInch.top_mm(),
        EdgeBand::OverTwoInches => EdgeBand::ToTwoInches.top_mm(),
    };
    match edge {
        // The widest picture has no top: no photo shows more than it says.
        Edge::Band(EdgeBand::OverTwoInches) => (band_from(EdgeBand::OverTwoInches), u16::MAX),
        Edge::Band(band) => (band_from(band), band.top_mm()),
        Edge::RulerMm(mm) => (mm, mm),
        Edge::Both { band, ruler_mm } => (band_from(band).min(ruler_mm), edge.reach_mm()),
    }
}

fn movement(answers: &Answers, photo: &FromPhoto) -> Option<Disagreement> {
    let (said, change) = (*answers.edge_move.known()?, photo.redness?);
    let days = photo.redness_days?;
    let (before_mm, now_mm) = (change.before.value, change.now.value);
    match (said, trend(change.says)) {
        (Trend::Smaller | Trend::Same, Trend::Bigger) => {
            Some(Disagreement::GrewInPhoto { said, before_mm, now_mm, days })
        }
        (Trend::Bigger, Trend::Smaller) => Some(Disagreement::ShrankInPhoto { before_mm, now_mm, days }),
        (Trend::Smaller | Trend::Same | Trend::Bigger, Trend::Smaller | Trend::Same)
        | (Trend::Bigger, Trend::Bigger) => None,
    }
}

fn closed(answers: &Answers, photo: &FromPhoto) -> Option<Disagreement> {
    let area_mm2 = photo.area_mm2?.value;
    answers.closed_over.is(YesNo::Yes).then_some(Disagreement::ClosedButOpen { area_mm2 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::Said;
    use crate::wound::course::reach_change;

    fn sure(value: f64) -> Figure {
        Figure::new(value, value, value)
    }

    fn photo(before_mm: f64, now_mm: f64) -> FromPhoto {
        FromPhoto {
            reach_mm: Some(Figure::new(now_mm, now_mm - 4.0, now_mm + 4.0)),
            redness: Some(reach_change(&sure(before_mm), &sure(now_mm))),
            redness_days: Some(1.0),
            ..FromPhoto::default()
        }
    }

    fn said(edge: Edge, edge_move: Trend) -> Answers {
        Answers { edge: Said::Is(edge), edge_move: Said::Is(edge_move), ..Answers::default() }
    }

    #[test]
    fn a_patient_who_says_the_same_while_the_photo_shows_16_mm_more_is_not_believed() {
        let found = disagreements(&said(Edge::RulerMm(33), Trend::Same), &photo(17.0, 33.0));
        let grew = Disagreement::GrewInPhoto { said: Trend::Same, before_mm: 17.0, now_mm: 33.0, days: 1.0 };
        assert_eq!(found, vec![grew]);
        assert_eq!(grew.stands(), Stands::Photo);
        assert_eq!(disagreements(&said(Edge::RulerMm(33), Trend::Bigger), &photo(17.0, 33.0)), vec![]);
        assert_eq!(disagreements(&said(Edge::RulerMm(20), Trend::Same), &photo(17.0, 20.0)), vec![]);
    }

    #[test]
    fn a_reach_disagrees_beyond_the_measuring_error_only() {
        let wider = |edge| disagreements(&said(edge, Trend::Same), &photo(20.0, 20.0));
        assert_eq!(wider(Edge::RulerMm(16)), vec![]);
        assert!(matches!(wider(Edge::RulerMm(15))[..], [Disagreement::WiderInPhoto { said_mm: 15, .. }]));
        assert_eq!(wider(Edge::RulerMm(24)), vec![]);
        assert!(matches!(wider(Edge::RulerMm(25))[..], [Disagreement::NarrowerInPhoto { said_mm: 25, .. }]));
        assert_eq!(wider(Edge::Band(EdgeBand::ToOneInch)), vec![]);
        assert!(matches!(
            wider(Edge::Band(EdgeBand::Thin))[..],
            [Disagreement::WiderInPhoto { said_mm: 5, .. }]
        ));
        let narrower = wider(Edge::Band(EdgeBand::ToTwoInches));
        assert!(matches!(narrower[..], [Disagreement::NarrowerInPhoto { said_mm: 25, .. }]));
        assert_eq!(narrower[0].stands(), Stands::Answer);
    }

    #[test]
    fn what_was_not_said_or_not_seen_disagrees_with_nothing() {
        assert_eq!(disagreements(&Answers::default(), &photo(17.0, 33.0)), vec![]);
        let closed = Answers { closed_over: Said::Is(YesNo::Yes), ..said(Edge::RulerMm(0), Trend::Bigger) };
        assert_eq!(disagreements(&closed, &FromPhoto::default()), vec![]);
        let open = FromPhoto { area_mm2: Some(sure(300.0)), ..FromPhoto::default() };
        assert_eq!(disagreements(&closed, &open), vec![Disagreement::ClosedButOpen { area_mm2: 300.0 }]);
    }
}
