//! What a photo says about a wound, in a surgeon's words: figures with their ranges, and why one is missing.

use crate::wound::Because;
use crate::wound::DARK_SKIN_BELOW_DEG;
use crate::wound::Family;
use crate::wound::Figure;
use crate::wound::Measurement;
use crate::wound::PenLine;
use crate::wound::Redness;
use crate::wound::Standing;
use crate::wound::course::Surface;

/// Below this, millimetres are given with one decimal; square millimetres stay whole below one square centimetre.
const FINE_BELOW_MM: f64 = 10.0;
const CM2: f64 = 100.0;
/// Redness reaching less than this beyond the edge is the width of the line it was drawn with, mm (own limit).
const HARDLY_ANY_MM: f64 = 1.0;

/// What is in doubt about figures that count all the same; where it does not matter to them, as `because`.
pub fn in_doubt(why: Because) -> &'static str {
    match why {
        Because::CardTooTilted => "The picture was taken from the side: the ranges are wider for it.",
        Because::Blurred => "The picture is a little blurred: the ranges are wider for it.",
        Because::TooDark => "The picture is rather dark.",
        Because::TooBright => "The picture is rather bright.",
        Because::CardNotSeen
        | Because::CardCovered
        | Because::CardTooSmall
        | Because::Mirrored
        | Because::OtherCard
        | Because::TwoCards
        | Because::Glare
        | Because::ColourCast
        | Because::Monochrome
        | Because::CutOff
        | Because::TapOutside
        | Because::TapOnCard
        | Because::NotTapped
        | Because::NoWound
        | Because::TwoOutlines
        | Because::NotSkinAround
        | Because::FaintEdge
        | Because::SmallWound
        | Because::TooClose
        | Because::TookTooLong
        | Because::Failed
        | Because::SwitchedOff => because(why),
    }
}

/// What is said of each reason beside a measurement.
pub fn reasons(found: &Measurement) -> Vec<&'static str> {
    let say = match found.standing {
        Standing::Ok => in_doubt,
        Standing::LowConfidence | Standing::Refused => because,
    };
    found.because.iter().map(|why| say(*why)).collect()
}

/// Why a figure is missing or unsure, as a whole sentence that says what it means.
pub fn because(because: Because) -> &'static str {
    match because {
        Because::CardNotSeen => {
            "No scale card in the picture: an outline can be seen, but nothing can be given in millimetres."
        }
        Because::CardCovered => "The scale card is partly covered: nothing can be given in millimetres.",
        Because::CardTooSmall => {
            "The scale card is too small in the picture: it was taken from too far away."
        }
        Because::CardTooTilted => "The picture was taken too much from the side for a fair scale.",
        Because::Mirrored => "The picture is a mirror image: its scale card reads only backwards.",
        Because::OtherCard => "The marker in the picture is not from a scale card of this practice.",
        Because::TwoCards => "Two scale cards in the picture give two different scales.",
        Because::Blurred => "The picture is blurred at the scale card.",
        Because::TooDark => "The picture is too dark.",
        Because::TooBright => "The picture is too bright.",
        Because::Glare => "Glare lies on the bed of the wound.",
        Because::ColourCast => "The light is too coloured to speak of colours.",
        Because::Monochrome => "The picture has no colour.",
        Because::CutOff => "The wound reaches the edge of the picture: part of it is not seen.",
        Because::TapOutside => "The tapped place is not in the picture.",
        Because::TapOnCard => "The tapped place is on the scale card.",
        Because::NotTapped => "Nobody tapped the wound: the middle of the picture was taken for it.",
        Because::NoWound => "No edge around the tapped place stands out from the skin.",
        Because::TwoOutlines => "Two different outlines fit this picture: choose by drawing the right one.",
        Because::NotSkinAround => "What lies around the outline does not look like the patient’s skin.",
        Because::FaintEdge => "The step from wound to skin is faint.",
        Because::SmallWound => "The wound is so small that the width of its edge counts.",
        Because::TooClose => "The picture is too close: too little skin around the wound to compare with.",
        Because::TookTooLong => "Measuring took too long and was stopped.",
        Because::Failed => "Measuring failed on this picture.",
        Because::SwitchedOff => "The practice has switched measuring off.",
    }
}

/// How far the figures may be used: a code for its mark, and its words.
pub fn standing(standing: Standing, family: Family) -> (&'static str, &'static str) {
    match (standing, family) {
        (Standing::Ok, Family::Automatic) => ("counts", "Measured"),
        (Standing::Ok, Family::ByHand) => ("counts", "By hand"),
        (Standing::LowConfidence, _) => ("unsure", "Not sure: no number counts until you confirm or draw it"),
        (Standing::Refused, _) => ("none", "Not measured"),
    }
}

/// `9.5 cm²` from one square centimetre, `84 mm²` below.
pub fn area(mm2: f64) -> String {
    if mm2 < CM2 { format!("{mm2:.0} mm²") } else { format!("{:.1} cm²", mm2 / CM2) }
}

/// `17 mm` from ten millimetres, `7.4 mm` below.
pub fn length(mm: f64) -> String {
    format!("{} mm", bare_mm(mm))
}

fn bare_mm(mm: f64) -> String {
    if mm.abs() < FINE_BELOW_MM { format!("{mm:.1}") } else { format!("{mm:.0}") }
}

/// `9.5 cm² (8.6–10.4)`: in the unit of the value, so that the three can be compared at a glance.
pub fn area_with_range(figure: &Figure) -> String {
    let in_unit = |mm2: f64| {
        if figure.value < CM2 { format!("{mm2:.0}") } else { format!("{:.1}", mm2 / CM2) }
    };
    format!("{} ({}–{})", area(figure.value), in_unit(figure.low), in_unit(figure.high))
}

/// `17 mm (15–19)`.
pub fn length_with_range(figure: &Figure) -> String {
    let in_unit =
        |mm: f64| if figure.value.abs() < FINE_BELOW_MM { format!("{mm:.1}") } else { format!("{mm:.0}") };
    format!("{} ({}–{})", length(figure.value), in_unit(figure.low), in_unit(figure.high))
}

/// `62 % (57–67)`.
pub fn share_with_range(figure: &Figure) -> String {
    let percent = |share: f64| format!("{:.0}", share * 100.0);
    format!("{}\u{a0}% ({}–{})", percent(figure.value), percent(figure.low), percent(figure.high))
}

/// The share by which an area on a real photo may be off, beyond the range of repeating it: ±10 % on flat sites, ±20 %
/// on limbs (own estimate from curvature and a card that does not lie flat; unproven on real wounds).
pub fn real_life(surface: Surface) -> &'static str {
    match surface {
        Surface::Curved => {
            "The range is from repeating it on this photo. On curved skin as here count on ±20 %: one photo cannot see the \
             curve, nor a card that does not lie flat."
        }
        Surface::Flat => {
            "The range is from repeating it on this photo. On a flat place as here count on ±10 %: one photo cannot see a \
             card that does not lie flat."
        }
    }
}

/// Redness in words: never a bare 0, and never "none" for what could not be seen.
pub fn redness(redness: &Redness, family: Family) -> String {
    match redness {
        Redness::Reach(reach) if reach.max_mm.value < HARDLY_ANY_MM => match family {
            Family::ByHand => "none beyond the edge, as drawn by hand".to_owned(),
            Family::Automatic => "hardly any beyond the edge (under 1 mm)".to_owned(),
        },
        Redness::Reach(reach) => format!(
            "{} beyond the edge; at most {}",
            length_with_range(&reach.p95_mm),
            length(reach.max_mm.value)
        ),
        Redness::CannotTell => {
            "cannot tell: something may be there and its border is not clear. Look, and go by heat, hardness and swelling."
                .to_owned()
        }
        Redness::NoContrast { compared_at_mm } => format!(
            "no contrast to the surrounding skin in this picture (compared with skin {} away). This is not “none”: heat, \
             hardness and swelling must carry it.",
            length(*compared_at_mm)
        ),
        Redness::NotGiven { because: why } => format!("not given. {}", because(*why)),
    }
}

/// Reach by clock direction, 12 o'clock first: each hour and its words. Empty without a border.
pub fn redness_by_clock(redness: &Redness) -> Vec<(u8, String)> {
    match redness {
        Redness::Reach(reach) if reach.by_clock_mm.iter().any(Option::is_some) => (0_u8..)
            .zip(&reach.by_clock_mm)
            .map(|(hour, reach)| {
                let words = reach.map_or_else(|| "not seen to its border".to_owned(), length);
                (if hour == 0 { 12 } else { hour }, words)
            })
            .collect(),
        Redness::Reach(_) | Redness::CannotTell | Redness::NoContrast { .. } | Redness::NotGiven { .. } => {
            Vec::new()
        }
    }
}

/// Whether this skin hides redness. `None`: it does not, or nobody can say.
pub fn dark_skin(ita_deg: Option<f64>) -> Option<&'static str> {
    let is_dark = ita_deg.is_some_and(|deg| deg < DARK_SKIN_BELOW_DEG);
    is_dark.then_some("Redness is hard to see on dark skin: ask for warmth, swelling and pain.")
}

/// The pen line in words. `drawn`: a line was drawn at the operation or since. `None`: there is nothing to say.
pub fn pen_line(pen: &PenLine, drawn: Option<()>) -> Option<String> {
    match (pen, drawn) {
        (PenLine::NotSeen, None) => None,
        (PenLine::NotSeen, Some(())) => Some("drawn, and not seen in this picture".to_owned()),
        (PenLine::Seen { beyond_mm: None }, _) => {
            Some("seen; the redness has no clear border to compare with it".to_owned())
        }
        (PenLine::Seen { beyond_mm: Some(beyond) }, _) if *beyond > 0.0 => {
            Some(format!("crossed: the redness goes {} beyond it", length(*beyond)))
        }
        (PenLine::Seen { beyond_mm: Some(beyond) }, _) => {
            Some(format!("not crossed: the redness ends {} inside it", length(beyond.abs())))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wound::RednessReach;

    fn reach(p95: f64, max: f64) -> Redness {
        Redness::Reach(RednessReach {
            p95_mm: Figure::new(p95, p95 - 1.0, p95 + 2.0),
            max_mm: Figure::new(max, max, max),
            by_clock_mm: [Some(p95), None, None, None, None, None, None, None, None, None, None, Some(3.0)],
            edge: Vec::new(),
            contrast_to_noise: 4.0,
        })
    }

    #[test]
    fn an_area_changes_its_unit_at_one_square_centimetre() {
        assert_eq!(area(99.4), "99 mm²");
        assert_eq!(area(100.0), "1.0 cm²");
        assert_eq!(area_with_range(&Figure::new(950.0, 860.0, 1_040.0)), "9.5 cm² (8.6–10.4)");
        assert_eq!(area_with_range(&Figure::new(84.0, 75.0, 104.0)), "84 mm² (75–104)");
    }

    #[test]
    fn lengths_under_ten_millimetres_have_a_decimal() {
        assert_eq!((length(9.94), length(17.2)), ("9.9 mm".to_owned(), "17 mm".to_owned()));
        assert_eq!(length_with_range(&Figure::new(9.0, 7.25, 11.0)), "9.0 mm (7.2–11.0)");
    }

    #[test]
    fn redness_is_never_a_bare_zero() {
        for family in [Family::Automatic, Family::ByHand] {
            let said = [
                redness(&reach(17.0, 19.0), family),
                redness(&reach(0.0, 0.0), family),
                redness(&Redness::CannotTell, family),
                redness(&Redness::NoContrast { compared_at_mm: 40.0 }, family),
                redness(&Redness::NotGiven { because: Because::TooClose }, family),
            ];
            assert_eq!(said[0], "17 mm (16–19) beyond the edge; at most 19 mm");
            assert!(said.iter().all(|words| !words.starts_with("0") && words.len() > 20), "{said:?}");
            assert!(said[3].contains("not “none”") && said[3].contains("40 mm"));
        }
    }

    #[test]
    fn hardly_any_redness_ends_at_one_millimetre() {
        assert!(redness(&reach(0.9, 0.99), Family::Automatic).starts_with("hardly any"));
        assert!(redness(&reach(0.9, 1.0), Family::Automatic).starts_with("0.9 mm"));
    }

    #[test]
    fn the_clock_begins_at_twelve_and_names_what_was_not_seen() {
        let clock = redness_by_clock(&reach(17.0, 19.0));
        assert_eq!(clock.len(), 12);
        assert_eq!(clock[0], (12, "17 mm".to_owned()));
        assert_eq!(clock[1], (1, "not seen to its border".to_owned()));
        assert_eq!(clock[11], (11, "3.0 mm".to_owned()));
        assert!(redness_by_clock(&Redness::CannotTell).is_empty());
    }

    #[test]
    fn a_pen_line_is_crossed_from_above_nought() {
        let seen = |beyond| pen_line(&PenLine::Seen { beyond_mm: beyond }, None).unwrap();
        assert_eq!(seen(Some(3.0)), "crossed: the redness goes 3.0 mm beyond it");
        assert!(seen(Some(0.0)).starts_with("not crossed"));
        assert_eq!(seen(Some(-4.0)), "not crossed: the redness ends 4.0 mm inside it");
        assert!(seen(None).contains("no clear border"));
        assert_eq!(pen_line(&PenLine::NotSeen, None), None);
        assert!(pen_line(&PenLine::NotSeen, Some(())).is_some());
    }

    #[test]
    fn dark_skin_is_named_from_brown_on() {
        assert_eq!((dark_skin(Some(10.0)), dark_skin(None)), (None, None));
        assert!(dark_skin(Some(9.9)).is_some());
    }
}
