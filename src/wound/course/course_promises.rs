//! What holds for every course: numbers, order, scale, and one bad photo.

use proptest::prelude::*;

use crate::wound::Family;
use crate::wound::Figure;
use crate::wound::Probed;
use crate::wound::Redness;
use crate::wound::RednessReach;
use crate::wound::Size;
use crate::wound::Standing;
use crate::wound::course::Dated;
use crate::wound::course::HealingCourse;
use crate::wound::course::Pace;
use crate::wound::course::Setting;
use crate::wound::course::Surface;
use crate::wound::course::Verdict;
use crate::wound::course::course_examples::FLAT;
use crate::wound::course::course_examples::ellipse;
use crate::wound::course::course_examples::photo;
use crate::wound::course::course_examples::reach;
use crate::wound::course::course_examples::seen;
use crate::wound::course::healing_course;

fn any_figure() -> impl Strategy<Value = Figure> {
    let any = proptest::num::f64::ANY;
    let near = 0.001..1e4f64;
    let number = prop_oneof![near, any];
    (number.clone(), number.clone(), number).prop_map(|(value, low, high)| Figure { value, low, high })
}

prop_compose! {
    fn anything()(
        day in prop_oneof![0.0..100.0f64, proptest::num::f64::ANY],
        number in 0u64..6,
        made_ms in 0i64..3,
        by_hand in any::<bool>(),
        standing in prop::sample::select(vec![Standing::Ok, Standing::LowConfidence, Standing::Refused]),
        figures in prop::option::of([any_figure(), any_figure(), any_figure(), any_figure()]),
        redness in prop::option::of(any_figure()),
        depth_mm in prop::option::of(proptest::num::f64::ANY),
    ) -> Dated {
        Dated {
            day,
            photo: photo(number),
            made_ms,
            family: if by_hand { Family::ByHand } else { Family::Automatic },
            standing,
            size: figures.map(|[area_mm2, perimeter_mm, length_mm, width_mm]| Size { area_mm2, perimeter_mm, length_mm, width_mm }),
            redness: redness.map_or(Redness::CannotTell, |p95_mm| {
                let Redness::Reach(reach) = reach(1.0) else { return Redness::CannotTell };
                Redness::Reach(RednessReach { p95_mm, ..reach })
            }),
            probed: Probed { depth_mm, undermining_mm: None },
            ..seen(1.0, 1.0)
        }
    }
}

/// A wound whose edge moves in evenly, closing between day 35 and 58, or one that stands still; photographed on four to
/// nine days, with up to 4 % of noise.
fn clear_cases() -> impl Strategy<Value = (Vec<Dated>, Verdict)> {
    let noise = prop::collection::vec(-0.04..0.04f64, 9);
    (any::<bool>(), 35.0..58.0f64, 3.0..19.0f64, 4usize..9, noise).prop_map(
        |(closes, on_day, first_cm2, count, noise)| {
            let day = |place: usize| 3.0 + 25.0 * place as f64 / (count - 1) as f64;
            let left = |day: f64| if closes { ((on_day - day) / (on_day - 3.0)).powi(2) } else { 1.0 };
            let area = |place: usize| first_cm2 * left(day(place)) * (1.0 + noise[place]);
            let dated = (0..count).map(|place| seen(day(place), area(place))).collect();
            (dated, if closes { Verdict::OnCourse } else { Verdict::Stalled })
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    #[test]
    fn whatever_was_measured_gives_finite_numbers_and_no_panic(
        dated in prop::collection::vec(anything(), 0..12),
        curved in any::<bool>(),
        closes in prop::option::of(proptest::num::f64::ANY),
    ) {
        let surface = if curved { Surface::Curved } else { Surface::Flat };
        let pace = closes.map_or(Pace::Slow, |day| Pace::By { day });
        let course = healing_course(&dated, &Setting { surface, pace });
        for change in course.since_first.iter().chain(&course.since_last).chain(&course.redness.change) {
            prop_assert!(change.by.is_finite() && change.band.is_finite());
        }
        if let Ok(closure) = course.closure {
            prop_assert!(closure.from_day <= closure.to_day && closure.to_day.is_finite());
        }
        if let Some(width) = course.width {
            prop_assert!(width.width_mm.is_finite() && width.expected_mm.is_finite() && width.first_width_mm > 0.0);
        }
        for point in &course.points {
            prop_assert!(point.area_mm2.low <= point.area_mm2.value && point.area_mm2.value <= point.area_mm2.high);
        }
    }

    #[test]
    fn the_order_measurements_come_in_does_not_matter(
        (dated, shuffled) in prop::collection::vec(anything(), 0..10)
            .prop_flat_map(|dated| (Just(dated.clone()), Just(dated).prop_shuffle())),
    ) {
        let text = |dated: &[Dated]| format!("{:?}", healing_course(dated, &FLAT));
        prop_assert_eq!(text(&dated), text(&shuffled));
    }

    #[test]
    fn a_camera_that_reads_everything_larger_changes_no_percentage_and_no_verdict(
        (dated, _) in clear_cases(),
        factor in 0.5..1.05f64,
    ) {
        let scaled = |figure: Figure, by: f64| Figure::new(figure.value * by, figure.low * by, figure.high * by);
        let larger: Vec<Dated> = dated
            .iter()
            .map(|one| Dated {
                size: one.size.map(|size| Size {
                    area_mm2: scaled(size.area_mm2, factor * factor),
                    perimeter_mm: scaled(size.perimeter_mm, factor),
                    length_mm: scaled(size.length_mm, factor),
                    width_mm: scaled(size.width_mm, factor),
                }),
                ..one.clone()
            })
            .collect();
        let (before, after) = (healing_course(&dated, &FLAT), healing_course(&larger, &FLAT));
        prop_assert_eq!(before.verdict, after.verdict);
        let percent = |course: &HealingCourse| course.since_first.unwrap().percent.unwrap();
        prop_assert!((percent(&before) - percent(&after)).abs() < 1e-6);
        let days = |course: &HealingCourse| course.closure.map_or(0.0, |closure| closure.to_day);
        prop_assert!((days(&before) - days(&after)).abs() < 1e-6);
    }

    #[test]
    fn one_bad_photo_does_not_flip_the_verdict(
        (dated, verdict) in clear_cases(),
        day in 3.1..28.0f64,
        area_cm2 in prop_oneof![0.05..1.0f64, 1.0..100.0f64],
        replaces in prop::option::of(any::<prop::sample::Index>()),
    ) {
        prop_assert_eq!(healing_course(&dated, &FLAT).verdict, verdict);
        let mut spoiled = dated.clone();
        match replaces.map(|place| place.index(dated.len())) {
            // A photo at either end is the only one of its day: there the bad one comes on top.
            Some(place) if place > 0 && place + 1 < dated.len() => spoiled[place].size = Some(ellipse(100.0 * area_cm2)),
            Some(_) | None => spoiled.push(seen(day, area_cm2)),
        }
        let course = healing_course(&spoiled, &FLAT);
        prop_assert_eq!(course.verdict, verdict, "{:?}", course.why);
    }
}
