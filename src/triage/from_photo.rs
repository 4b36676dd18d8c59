//! What the photos of a wound say about a check, as facts. They stand beside the answers, and the worse of the two
//! counts: a photo can raise and never reassure.

use crate::ids::PhotoId;
use crate::plan::Diabetes;
use crate::plan::Operation;
use crate::plan::RiskFactors;
use crate::plan::Site;
use crate::triage::answers::Trend;
use crate::triage::facts::Facts;
use crate::triage::facts::Value;
use crate::wound::Bed;
use crate::wound::Family;
use crate::wound::Figure;
use crate::wound::Redness;
use crate::wound::Standing;
use crate::wound::course::Change;
use crate::wound::course::Clear;
use crate::wound::course::Dated;
use crate::wound::course::HealingCourse;
use crate::wound::course::LARGE_FROM_MM2;
use crate::wound::course::Pace;
use crate::wound::course::ReachPoint;
use crate::wound::course::Setting;
use crate::wound::course::Surface;
use crate::wound::course::healing_course_of_family;

/// What the photos of one check say, with what was measured before.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FromPhoto {
    /// Only what counts, and only what can raise.
    pub facts: Facts,
    /// How far the redness reaches, mm beyond the wound's edge. `None`: no figure; never "none".
    pub reach_mm: Option<Figure>,
    /// That, against an earlier photo of the last seven days.
    pub redness: Option<Change>,
    /// Days between those two photos.
    pub redness_days: Option<f64>,
    /// Area of the wound, mm².
    pub area_mm2: Option<Figure>,
}

/// Growth between photos farther apart than this is no pace any more, hours (ours).
const PACE_WITHIN_H: f64 = 48.0;
/// A pace is counted over stretches of so many hours, as the question about it asks.
const STRETCH_H: f64 = 6.0;
/// Dark tissue is called so when surely more than this share of the bed is dark (ours).
const DARK_FROM: f64 = 0.10;

/// What the photos of a check say. `now`: every measurement of its own photos; `earlier`: those of the wound's checks
/// before. Photos are compared with photos measured the same way only.
pub fn from_photo(now: &[Dated], earlier: &[Dated], setting: &Setting) -> FromPhoto {
    let counts = |one: &&Dated| one.standing == Standing::Ok;
    let drawn = now.iter().filter(counts).any(|one| one.family == Family::ByHand);
    let family = if drawn { Family::ByHand } else { Family::Automatic };
    let own: Vec<PhotoId> = now.iter().map(|one| one.photo).collect();
    let mut found = FromPhoto::default();
    let together = |chosen: Option<&PhotoId>| {
        let stands = |one: &&Dated| Some(&one.photo) == chosen;
        let all: Vec<Dated> = now.iter().filter(stands).chain(earlier).cloned().collect();
        healing_course_of_family(&all, setting, family)
    };
    let all: Vec<Dated> = now.iter().chain(earlier).cloned().collect();
    let whole = healing_course_of_family(&all, setting, family);
    // Of several photos of one check the widest redness counts, and the newest area.
    let of_check = |photo: &PhotoId| own.contains(photo);
    let widest = whole.redness.points.iter().filter(|point| of_check(&point.photo));
    let widest = widest.max_by(|one, other| one.reach_mm.value.total_cmp(&other.reach_mm.value));
    if let Some(widest) = widest {
        redness(&mut found, widest, &together(Some(&widest.photo)));
    } else if now.iter().filter(counts).any(|one| one.family == family && says_nothing(&one.redness)) {
        // Then heat, hardness and swelling carry the weight, whoever the patient is.
        found.facts.put("red_hard_to_see", Value::Flag(true));
    }
    if let Some(newest) = whole.points.iter().rev().find(|point| of_check(&point.photo)) {
        size(&mut found, &together(Some(&newest.photo)), newest.photo);
    }
    bed(&mut found.facts, now.iter().filter(counts).filter(|one| one.family == family));
    found
}

/// How a wound's photos are read, by where it is and whose it is.
pub fn photo_setting(operation: &Operation, risk: &RiskFactors) -> Setting {
    let diabetic = risk.diabetes.is_some_and(|diabetes| diabetes != Diabetes::None);
    let large = operation
        .size
        .is_some_and(|size| std::f64::consts::FRAC_PI_4 * size.length_mm * size.width_mm >= LARGE_FROM_MM2);
    let slow = diabetic || large || operation.site == Site::Perianal;
    Setting { surface: surface(operation.site), pace: if slow { Pace::Slow } else { Pace::Usual } }
}

/// Ours: where a card of 62 mm lies flat, and where the skin bends away from it.
fn surface(site: Site) -> Surface {
    match site {
        Site::Trunk | Site::Buttock | Site::Groin | Site::Pilonidal => Surface::Flat,
        Site::Face
        | Site::Scalp
        | Site::Neck
        | Site::Axilla
        | Site::Breast
        | Site::Arm
        | Site::Hand
        | Site::Genital
        | Site::Perianal
        | Site::Thigh
        | Site::Leg
        | Site::Foot => Surface::Curved,
    }
}

fn says_nothing(redness: &Redness) -> bool {
    match redness {
        Redness::CannotTell | Redness::NoContrast { .. } => true,
        Redness::Reach(_) | Redness::NotGiven { .. } => false,
    }
}

fn redness(found: &mut FromPhoto, now: &ReachPoint, course: &HealingCourse) {
    found.reach_mm = Some(now.reach_mm);
    // The figure itself and not its bounds: bounds are not "known", so that every quiet photo would take a check off
    // track, and a reach just above a limit would pass for one below it.
    found.facts.number("red_cm", now.reach_mm.value / 10.0);
    (found.redness, found.redness_days) = (course.redness.change, course.redness.days_between);
    if let Some(change) = &found.redness {
        found.facts.word("red_trend", trend(change.says).code());
    }
    if let Some(pace) = fastest(now, &course.redness.points) {
        found.facts.put("red_grew_cm_6h", pace);
    }
}

pub(super) fn trend(says: Clear) -> Trend {
    match says {
        Clear::Smaller => Trend::Smaller,
        Clear::NoClearChange => Trend::Same,
        Clear::Bigger => Trend::Bigger,
    }
}

/// The fastest clear growth since a photo of the last two days. As with the answer: over more than six hours, some
/// stretch of six saw at least its share, and at most all of it.
fn fastest(now: &ReachPoint, points: &[ReachPoint]) -> Option<Value> {
    let pace = |then: &ReachPoint| {
        let hours = 24.0 * (now.day - then.day);
        let change = then.change_to(now);
        let counts = hours > 0.0 && hours <= PACE_WITHIN_H && change.says == Clear::Bigger;
        let grew_cm = change.by / 10.0;
        counts.then(|| (grew_cm / (hours / STRETCH_H).ceil().max(1.0), grew_cm))
    };
    let paces = points.iter().filter_map(pace);
    let (low, high) = paces.max_by(|one, other| one.0.total_cmp(&other.0).then(one.1.total_cmp(&other.1)))?;
    Some(Value::Number { low, high })
}

fn size(found: &mut FromPhoto, course: &HealingCourse, newest: PhotoId) {
    let Some(point) = course.points.last().filter(|point| point.photo == newest) else { return };
    found.area_mm2 = Some(point.area_mm2);
    if let Some(change) = &course.since_last
        && let Some(percent) = change.percent
    {
        found.facts.flag("both_scaled", true);
        found.facts.put("area_change_pct", area_change(change, percent));
    }
    if let Some(par_28) = course.par_28.filter(|par_28| par_28.day == point.day) {
        found.facts.flag("both_scaled", true);
        found.facts.number("par_28", par_28.percent.value);
    }
}

/// A clear change is its figure. Inside the measuring error it may have gone either way: only bounds are known, so that
/// no rule fires on what the page calls "no clear change".
fn area_change(change: &Change, percent: f64) -> Value {
    let band = change.band_percent().unwrap_or(0.0);
    match change.says {
        Clear::Smaller | Clear::Bigger => Value::Number { low: percent, high: percent },
        Clear::NoClearChange => Value::Number { low: (percent - band).max(-100.0), high: percent + band },
    }
}

/// The worst bed among the check's photos. What it looks like, not what it is.
fn bed<'a>(facts: &mut Facts, counted: impl Iterator<Item = &'a Dated>) {
    let words = ["red", "yellow", "black"];
    let worst = counted.filter_map(|one| one.bed.as_ref()).map(looks).max();
    if let Some(word) = worst.and_then(|place| words.get(place)) {
        facts.word("bed", word);
    }
}

fn looks(bed: &Bed) -> usize {
    if bed.dark.low > DARK_FROM {
        2
    } else if bed.yellow.value >= bed.granulation.value {
        1
    } else {
        0
    }
}

#[cfg(test)]
mod tests {
    use jiff::Timestamp;

    use super::*;
    use crate::triage::CheckFacts;
    use crate::triage::Protocol;
    use crate::triage::Urgency;
    use crate::triage::assess_check;
    use crate::triage::protocol_checks::quiet_but;
    use crate::wound::Probed;
    use crate::wound::RednessReach;
    use crate::wound::Size;

    const FLAT: Setting = Setting { surface: Surface::Flat, pace: Pace::Usual };

    fn sure(value: f64) -> Figure {
        Figure::new(value, value, value)
    }

    fn seen(day: f64, area_mm2: f64, redness: Redness) -> Dated {
        let side = area_mm2.sqrt();
        Dated {
            day,
            photo: format!("00000000-0000-7000-8000-{:012}", (100.0 * day) as u64).parse().unwrap(),
            made_ms: 0,
            family: Family::Automatic,
            method: "1".to_owned(),
            standing: Standing::Ok,
            size: Some(Size {
                area_mm2: sure(area_mm2),
                perimeter_mm: sure(4.0 * side),
                length_mm: sure(side),
                width_mm: sure(side),
            }),
            redness,
            bed: None,
            probed: Probed::default(),
        }
    }

    fn reach(mm: f64) -> Redness {
        Redness::Reach(RednessReach {
            p95_mm: sure(mm),
            max_mm: sure(mm),
            by_clock_mm: [None; 12],
            edge: Vec::new(),
            contrast_to_noise: 3.0,
        })
    }

    fn red(day: f64, mm: f64) -> Dated {
        seen(day, 600.0, reach(mm))
    }

    fn facts(now: Dated, earlier: &[Dated]) -> Facts {
        from_photo(&[now], earlier, &FLAT).facts
    }

    fn number(low: f64, high: f64) -> Option<Value> {
        Some(Value::Number { low, high })
    }

    /// Series b of the demo: 7, 17 and 33 mm on days 3, 4 and 5.
    #[test]
    fn redness_that_spreads_over_two_days_raises_a_quiet_check_by_itself() {
        let b = [red(3.0, 7.0), red(4.0, 17.0), red(5.0, 33.0)];
        let second = facts(b[1].clone(), &b[..1]);
        assert_eq!(second.value("red_cm"), number(1.7, 1.7));
        assert_eq!(second.value("red_trend"), Some(Value::Word("bigger")));
        // 10 mm in 24 hours: a quarter of it at least, all of it at most, in some stretch of six.
        assert_eq!(second.value("red_grew_cm_6h"), number(0.25, 1.0));
        let third = facts(b[2].clone(), &b[..2]);
        assert_eq!(third.value("red_grew_cm_6h"), number(0.4, 1.6));
        let answered = quiet_but(r#"{"red_cm":0.5,"red_trend":"same"}"#);
        let urgency = |measured: &Facts| {
            let check = CheckFacts { answered: answered.clone(), measured: measured.clone() };
            assess_check(Protocol::built_in(), &check).urgency
        };
        assert_eq!(urgency(&Facts::default()), Urgency::OnTrack);
        assert!(urgency(&facts(b[0].clone(), &[])) <= Urgency::Tomorrow);
        assert_eq!(urgency(&second), Urgency::Today);
        assert!(urgency(&third) >= Urgency::Today);
    }

    #[test]
    fn a_quiet_photo_leaves_a_quiet_check_on_track_and_says_where_a_fact_comes_from() {
        let answered = quiet_but(r#"{"red_cm":0.5,"red_trend":"same"}"#);
        let measured = facts(red(5.0, 3.8), &[red(4.0, 4.1)]);
        let check = CheckFacts { answered: answered.clone(), measured };
        assert_eq!(assess_check(Protocol::built_in(), &check).urgency, Urgency::OnTrack);
        let check = CheckFacts { answered, measured: facts(red(5.0, 30.0), &[]) };
        let assessment = assess_check(Protocol::built_in(), &check);
        let shown = assessment.reasons.iter().flat_map(|reason| &reason.tripped);
        let values: Vec<&str> =
            shown.filter(|tripped| tripped.fact == "red_cm").map(|tripped| tripped.value.as_str()).collect();
        assert!(values.contains(&"3.0 cm (measured in the photo)"), "{values:?}");
    }

    #[test]
    fn a_pace_is_told_up_to_two_days_and_only_where_the_growth_is_clear() {
        let pace = |hours: f64, mm: f64| {
            facts(red(5.0 + hours / 24.0, 10.0 + mm), &[red(5.0, 10.0)]).value("red_grew_cm_6h")
        };
        assert_eq!(pace(6.0, 25.0), number(2.5, 2.5));
        assert_eq!(pace(12.0, 25.0), number(1.25, 2.5));
        assert_eq!(pace(48.0, 16.0), number(0.2, 1.6));
        assert_eq!(pace(48.5, 16.0), None);
        assert_eq!(pace(6.0, 6.5), None);
        assert_eq!(pace(6.0, 6.6).is_some(), true);
        assert_eq!(pace(6.0, -8.0), None);
    }

    #[test]
    fn no_contrast_and_cannot_tell_are_never_a_reach() {
        for redness in [Redness::CannotTell, Redness::NoContrast { compared_at_mm: 40.0 }] {
            let found = from_photo(&[seen(5.0, 600.0, redness)], &[red(4.0, 7.0)], &FLAT);
            assert_eq!(found.facts.value("red_cm"), None);
            assert_eq!(found.facts.value("red_trend"), None);
            assert_eq!(found.facts.value("red_hard_to_see"), Some(Value::Flag(true)));
            assert_eq!((found.reach_mm, found.redness), (None, None));
        }
        let not_given = Redness::NotGiven { because: crate::wound::Because::TooClose };
        assert_eq!(facts(seen(5.0, 600.0, not_given), &[]).value("red_hard_to_see"), None);
    }

    #[test]
    fn figures_that_wait_for_a_person_are_no_facts() {
        for standing in [Standing::LowConfidence, Standing::Refused] {
            let now = Dated { standing, ..red(5.0, 30.0) };
            assert!(facts(now, &[red(4.0, 7.0)]).is_empty());
        }
    }

    #[test]
    fn what_a_person_drew_stands_and_is_compared_with_what_persons_drew() {
        let drawn = Dated { family: Family::ByHand, made_ms: 1, ..red(5.0, 9.0) };
        let found = from_photo(&[red(5.0, 30.0), drawn.clone()], &[red(4.0, 7.0)], &FLAT);
        assert_eq!(found.facts.value("red_cm"), number(0.9, 0.9));
        assert_eq!((found.facts.value("red_trend"), found.facts.value("both_scaled")), (None, None));
        let before = Dated { family: Family::ByHand, ..red(4.0, 8.0) };
        assert_eq!(facts(drawn, &[before]).value("red_trend"), Some(Value::Word("same")));
    }

    #[test]
    fn of_two_photos_of_one_check_the_wider_redness_counts_and_they_are_not_compared_with_each_other() {
        let found = from_photo(&[red(5.0, 10.0), red(5.01, 24.0)], &[], &FLAT);
        assert_eq!(found.facts.value("red_cm"), number(2.4, 2.4));
        assert_eq!((found.facts.value("red_trend"), found.facts.value("area_change_pct")), (None, None));
    }

    #[test]
    fn an_area_inside_the_measuring_error_is_known_between_bounds_only() {
        let change = |area: f64, setting: &Setting| {
            let now = seen(9.0, area, Redness::CannotTell);
            from_photo(&[now], &[seen(8.0, 1_000.0, Redness::CannotTell)], setting)
                .facts
                .value("area_change_pct")
        };
        assert!(
            matches!(change(1_250.0, &FLAT), Some(Value::Number { low, high }) if low == high && (low - 25.0).abs() < 1e-9)
        );
        let limb = Setting { surface: Surface::Curved, ..FLAT };
        assert!(
            matches!(change(1_250.0, &limb), Some(Value::Number { low, high }) if low < 0.0 && high > 25.0)
        );
        let grew = |area: f64| {
            let facts = CheckFacts {
                answered: quiet_but(r#"{"day":9}"#),
                measured: facts(
                    seen(9.0, area, Redness::CannotTell),
                    &[seen(8.0, 1_000.0, Redness::CannotTell)],
                ),
            };
            let assessment = assess_check(Protocol::built_in(), &facts);
            assessment.reasons.iter().any(|reason| reason.rule_id == "wound-growing")
        };
        assert!(grew(1_201.0) && !grew(1_199.0));
    }

    /// Series d of the demo.
    #[test]
    fn a_stalled_wound_is_told_at_day_28_and_not_again_with_every_later_check() {
        let d: Vec<Dated> =
            [(7.0, 1_400.0), (14.0, 1_320.0), (21.0, 1_350.0), (28.0, 1_300.0), (40.0, 1_290.0)]
                .map(|(day, area)| seen(day, area, Redness::CannotTell))
                .into();
        let found = facts(d[3].clone(), &d[..3]);
        assert!(
            matches!(found.value("par_28"), Some(Value::Number { low, .. }) if (low - 7.14).abs() < 0.01)
        );
        assert_eq!(found.value("both_scaled"), Some(Value::Flag(true)));
        let check = CheckFacts { answered: quiet_but(r#"{"day":28}"#), measured: found };
        let assessment = assess_check(Protocol::built_in(), &check);
        assert!(assessment.reasons.iter().any(|reason| reason.rule_id == "stalled-28"));
        assert_eq!(facts(d[4].clone(), &d[..4]).value("par_28"), None);
    }

    #[test]
    fn a_bed_is_called_by_the_worst_it_surely_looks_like() {
        let word = |granulation: f64, yellow: f64, dark: Figure| {
            let bed = Some(Bed { granulation: sure(granulation), yellow: sure(yellow), dark });
            match facts(Dated { bed, ..red(5.0, 4.0) }, &[]).value("bed") {
                Some(Value::Word(word)) => word,
                _ => "",
            }
        };
        assert_eq!(word(0.8, 0.2, sure(0.0)), "red");
        assert_eq!(word(0.5, 0.5, sure(0.0)), "yellow");
        assert_eq!(word(0.6, 0.25, Figure::new(0.15, 0.11, 0.19)), "black");
        assert_eq!(word(0.6, 0.25, Figure::new(0.15, 0.10, 0.20)), "red");
    }

    #[test]
    fn a_wound_is_given_time_and_room_for_error_by_where_and_whose_it_is() {
        let operation = |site, size| Operation {
            site,
            side: crate::plan::Side::Left,
            procedure: String::new(),
            operated: Timestamp::UNIX_EPOCH,
            size,
            packing: None,
            pen_line: None,
        };
        let diabetic = |diabetes| RiskFactors { diabetes, ..RiskFactors::default() };
        let of = |site, diabetes| photo_setting(&operation(site, None), &diabetic(diabetes));
        assert_eq!(of(Site::Trunk, None), FLAT);
        assert_eq!(of(Site::Trunk, Some(Diabetes::None)), FLAT);
        assert_eq!(of(Site::Trunk, Some(Diabetes::T2)).pace, Pace::Slow);
        assert_eq!(of(Site::Perianal, None).pace, Pace::Slow);
        assert_eq!(of(Site::Leg, None).surface, Surface::Curved);
        let size = |length_mm, width_mm| Some(crate::plan::WoundSize { length_mm, width_mm, depth_mm: None });
        let large = |size| photo_setting(&operation(Site::Trunk, size), &RiskFactors::default()).pace;
        assert_eq!((large(size(63.0, 40.0)), large(size(64.0, 40.0))), (Pace::Usual, Pace::Slow));
    }
}
