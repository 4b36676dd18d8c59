//! Cards drawn with known geometry, found again: every turn, tilt and gate.

use crate::photo::CardFault;
use crate::photo::CardIssue;
use crate::photo::MmPoint;
use crate::photo::Picture;
use crate::photo::PxPoint;
use crate::photo::find_card;
use crate::photo::scale_card::choose::TOO_BLURRED_ABOVE_MM;
use crate::photo::scale_card::choose::TOO_SMALL_BELOW_PX;
use crate::photo::scale_card::choose::TOO_TILTED_ABOVE_DEG;
use crate::photo::scale_card::drawn::Card;
use crate::photo::scale_card::drawn::FOCAL_35MM;
use crate::photo::scale_card::drawn::Paper;
use crate::photo::scale_card::drawn::STRAIGHT;
use crate::photo::scale_card::drawn::Scene;
use crate::photo::scale_card::drawn::View;
use crate::photo::scale_card::drawn::card;
use crate::photo::scale_card::drawn::corners_off_px;
use crate::photo::scale_card::drawn::cut_out;
use crate::photo::scale_card::drawn::in_a_mirror;
use crate::photo::scale_card::drawn::scene;
use crate::photo::scale_card::drawn::worst_area_error;
use crate::photo::scale_card::geometry::PATCH_REFLECTANCE;
use crate::photo::scale_card::geometry::TAG_EDGE_MM;
use proptest::prelude::*;

const MIDDLE: PxPoint = PxPoint { x_px: 320.0, y_px: 240.0 };
/// What one pixel at the marker's middle is away from the camera, straight from above: px of a 640 px picture.
const FOCAL_PX: f64 = FOCAL_35MM / 36.0 * 640.0;

fn issue() -> CardIssue {
    CardIssue { ids: 0..=9, tag_edge_mm: TAG_EDGE_MM }
}

#[test]
fn a_card_is_measured_by_at_every_turn_and_every_tilt_up_to_35_degrees() {
    // From 5 degrees on: the drawn blur is one of whole pixels, which moves an edge along the pixels by up to 0.06 px.
    for (step, roll_deg) in (5..360).step_by(45).enumerate() {
        for tilt_deg in [0.0, 18.0, 35.0] {
            let tilt_towards_deg = 77.0 * step as f64;
            let view = View { roll_deg: f64::from(roll_deg), tilt_deg, tilt_towards_deg, ..STRAIGHT };
            let card = card(view);
            let found = scene(vec![card.clone()]).seen().unwrap();
            let (off, area) = (corners_off_px(&card.plane, &found), worst_area_error(&card.plane, &found));
            assert!(off < 0.1, "turn {roll_deg}, tilt {tilt_deg}: corners {off} px off");
            assert!(area < 0.015, "turn {roll_deg}, tilt {tilt_deg}: area {area} off");
            assert!((found.tilt_deg - tilt_deg).abs() < 1.0, "tilt {tilt_deg}: {}", found.tilt_deg);
            assert!(found.misfit_px < 0.1, "{}", found.misfit_px);
        }
    }
}

#[test]
fn every_marker_of_the_issue_is_read_as_its_own_id() {
    for id in 0..10 {
        let found = scene(vec![Card { id, ..card(STRAIGHT) }]).seen().unwrap();
        assert_eq!(found.tag_id, id);
    }
}

#[test]
fn without_the_focal_length_a_card_is_measured_by_nearly_as_well() {
    let view = View { tilt_deg: 20.0, tilt_towards_deg: 40.0, roll_deg: 15.0, ..STRAIGHT };
    let card = card(view);
    let found = scene(vec![card.clone()]).found(MIDDLE, None).unwrap();
    assert!(worst_area_error(&card.plane, &found) < 0.015);
}

/// Makers that mean the diagonal write a number 4 % smaller for the same lens.
#[test]
fn either_meaning_of_the_focal_length_will_do() {
    let view = View { tilt_deg: 25.0, tilt_towards_deg: 100.0, roll_deg: 200.0, ..STRAIGHT };
    let card = card(view);
    let scene = scene(vec![card.clone()]);
    for told in [FOCAL_35MM, FOCAL_35MM / 1.04] {
        let found = scene.found(MIDDLE, Some(told)).unwrap();
        assert!(worst_area_error(&card.plane, &found) < 0.015);
    }
}

/// The camera's axis no longer goes through the middle of such a picture.
#[test]
fn a_card_in_a_picture_cut_out_of_a_larger_one_is_measured_by() {
    let view = View { tilt_deg: 30.0, tilt_towards_deg: 130.0, aside_px: [-150.0, -90.0], ..STRAIGHT };
    let card = card(view);
    let part = cut_out(&scene(vec![card.clone()]).drawn(), 0, 0, (340, 300));
    let found = find_card(&part, &issue(), MIDDLE, Some(FOCAL_35MM)).unwrap();
    assert!(corners_off_px(&card.plane, &found) < 0.15);
    assert!(worst_area_error(&card.plane, &found) < 0.04, "{}", worst_area_error(&card.plane, &found));
}

fn at_distance(tag_edge_px: f64) -> Scene {
    let view = View { distance_mm: FOCAL_PX * TAG_EDGE_MM / tag_edge_px, roll_deg: 7.0, ..STRAIGHT };
    Scene { blur_px: 0.5, ..scene(vec![card(view)]) }
}

#[test]
fn a_marker_below_forty_pixels_is_too_small() {
    let found = at_distance(TOO_SMALL_BELOW_PX + 0.3).seen().unwrap();
    assert!((found.tag_edge_px - TOO_SMALL_BELOW_PX - 0.3).abs() < 0.1, "{}", found.tag_edge_px);
    assert_eq!(at_distance(TOO_SMALL_BELOW_PX - 0.3).seen().err(), Some(CardFault::TooSmall));
    assert_eq!(at_distance(26.0).seen().err(), Some(CardFault::TooSmall));
}

/// An edge blurred with a standard deviation of one rises from 20 to 80 % over 1.683 (normal distribution).
fn with_rise(rise_mm: f64) -> Scene {
    let px_per_mm = FOCAL_PX / STRAIGHT.distance_mm;
    Scene { blur_px: rise_mm / 1.683 * px_per_mm, ..scene(vec![card(STRAIGHT)]) }
}

#[test]
fn a_card_blurred_over_nine_tenths_of_a_millimetre_is_too_blurred() {
    let found = with_rise(TOO_BLURRED_ABOVE_MM - 0.06).seen().unwrap();
    assert!((found.edge_rise_mm - TOO_BLURRED_ABOVE_MM + 0.06).abs() < 0.05, "{}", found.edge_rise_mm);
    for rise_mm in [TOO_BLURRED_ABOVE_MM + 0.08, 1.2, 1.6] {
        assert_eq!(with_rise(rise_mm).seen().err(), Some(CardFault::Blurred), "{rise_mm}");
    }
}

#[test]
fn the_rise_of_the_border_tells_how_blurred_a_picture_is() {
    for rise_mm in [0.3, 0.5, 0.7] {
        let found = with_rise(rise_mm).seen().unwrap();
        // Reading between pixels adds a little blur of its own to a sharp picture.
        assert!(
            (found.edge_rise_mm - rise_mm).abs() < 0.05 + 0.04 / rise_mm,
            "{rise_mm}: {}",
            found.edge_rise_mm
        );
    }
}

#[test]
fn a_card_tilted_over_forty_degrees_is_too_tilted() {
    let tilted = |tilt_deg: f64| {
        let view = View { tilt_deg, tilt_towards_deg: 20.0, roll_deg: 30.0, ..STRAIGHT };
        scene(vec![card(view)]).seen()
    };
    assert!(tilted(TOO_TILTED_ABOVE_DEG - 0.8).is_ok());
    assert_eq!(tilted(TOO_TILTED_ABOVE_DEG + 0.8).err(), Some(CardFault::TooTilted));
    assert_eq!(tilted(55.0).err(), Some(CardFault::TooTilted));
}

#[test]
fn a_mirrored_picture_is_told_from_a_card_that_is_not_there() {
    for roll_deg in [0.0, 50.0, 190.0] {
        let drawn = scene(vec![card(View { roll_deg, tilt_deg: 15.0, ..STRAIGHT })]).drawn();
        let mirrored = find_card(&in_a_mirror(&drawn), &issue(), MIDDLE, Some(FOCAL_35MM));
        assert_eq!(mirrored.err(), Some(CardFault::Mirrored), "turn {roll_deg}");
    }
}

fn covered_at(x_mm: f64, y_mm: f64, radius_mm: f64) -> Scene {
    let covered = vec![(MmPoint { x_mm, y_mm }, radius_mm)];
    scene(vec![Card { covered, ..card(View { roll_deg: 20.0, ..STRAIGHT }) }])
}

#[test]
fn a_hidden_corner_of_the_marker_is_a_covered_card() {
    for (x_mm, y_mm) in [(-10.0, -10.0), (10.0, -10.0), (10.0, 10.0), (-10.0, 10.0)] {
        for radius_mm in [2.5, 4.0, 6.0] {
            let outcome = covered_at(x_mm, y_mm, radius_mm).seen();
            assert_eq!(outcome.err(), Some(CardFault::Covered), "{radius_mm} mm at {x_mm}, {y_mm}");
        }
    }
}

#[test]
fn what_covers_only_the_cards_margin_does_no_harm() {
    let scene = covered_at(-16.0, -14.0, 5.0);
    let found = scene.seen().unwrap();
    assert!(corners_off_px(&scene.cards[0].plane, &found) < 0.1);
}

#[test]
fn a_card_that_is_not_there_is_not_seen() {
    assert_eq!(scene(Vec::new()).seen().err(), Some(CardFault::NotSeen));
    assert_eq!(covered_at(0.0, 0.0, 60.0).seen().err(), Some(CardFault::NotSeen));
}

#[test]
fn a_marker_of_another_practice_is_no_card_of_this_one() {
    assert_eq!(scene(vec![Card { id: 10, ..card(STRAIGHT) }]).seen().err(), Some(CardFault::OtherCard));
    assert_eq!(scene(vec![Card { id: 9, ..card(STRAIGHT) }]).seen().map(|card| card.tag_id), Ok(9));
}

/// Two cards far enough apart for both to be whole, on one plane: the second lies 70 mm to the right.
fn two_cards(second_id: u32, second_size: f64) -> Scene {
    let view = View { distance_mm: 160.0, aside_px: [-150.0, -80.0], ..STRAIGHT };
    let first = card(view);
    let beside = View { aside_px: [60.0, 60.0], ..view };
    let second =
        Card { id: second_id, plane: card(beside).plane.scaled(1.0 / second_size).unwrap(), ..first.clone() };
    scene(vec![first, second])
}

#[test]
fn of_two_cards_that_agree_the_nearer_is_taken() {
    let scene = two_cards(3, 1.0);
    let found = |x_px: f64, y_px: f64| scene.found(PxPoint { x_px, y_px }, Some(FOCAL_35MM)).unwrap().tag_id;
    assert_eq!(found(150.0, 150.0), 0);
    assert_eq!(found(400.0, 320.0), 3);
}

#[test]
fn two_cards_of_different_size_are_refused() {
    assert!(two_cards(3, 1.03).seen().is_ok());
    assert_eq!(two_cards(3, 1.08).seen().err(), Some(CardFault::TwoCards));
}

#[test]
fn another_practices_card_beside_the_own_one_is_ignored() {
    assert_eq!(two_cards(30, 1.3).seen().map(|card| card.tag_id), Ok(0));
}

#[test]
fn a_shadow_across_the_marker_does_no_harm() {
    let card = card(View { roll_deg: 12.0, tilt_deg: 10.0, ..STRAIGHT });
    let scene = Scene { shadow: Some((0.35, 317.0)), ..scene(vec![card.clone()]) };
    let found = scene.seen().unwrap();
    assert!(corners_off_px(&card.plane, &found) < 0.1);
}

#[test]
fn burnt_out_paper_is_said_and_the_size_is_kept_all_the_same() {
    for (paper, exposure, burnt) in
        [(Paper::WhiteMargin, 1.8, true), (Paper::WhiteMargin, 0.9, false), (Paper::Grey, 1.8, false)]
    {
        let card = Card { paper, ..card(View { roll_deg: 33.0, ..STRAIGHT }) };
        let found = Scene { exposure, ..scene(vec![card.clone()]) }.seen().unwrap();
        assert_eq!(found.burnt_out, burnt, "{exposure}");
        let edge = found.tag_edge_px / (FOCAL_PX * TAG_EDGE_MM / STRAIGHT.distance_mm) - 1.0;
        assert!(edge.abs() < 0.001, "{exposure}: marker {edge} too large");
    }
}

#[test]
fn the_grey_patch_tells_the_exposure() {
    for exposure in [0.4, 1.0] {
        let found = Scene { exposure, ..scene(vec![card(STRAIGHT)]) }.seen().unwrap();
        for light in found.grey_linear.unwrap() {
            assert!((light / (PATCH_REFLECTANCE * exposure) - 1.0).abs() < 0.03, "{light} at {exposure}");
        }
    }
}

#[test]
fn a_grey_patch_that_is_covered_or_cut_off_tells_nothing() {
    let card_with = |covered: Vec<(MmPoint, f64)>, aside_px: [f64; 2]| {
        scene(vec![Card { covered, ..card(View { aside_px, ..STRAIGHT }) }]).seen().unwrap().grey_linear
    };
    assert!(card_with(Vec::new(), [0.0, 0.0]).is_some());
    assert_eq!(card_with(vec![(MmPoint { x_mm: 27.0, y_mm: 4.0 }, 5.0)], [0.0, 0.0]), None);
    assert_eq!(card_with(Vec::new(), [240.0, 0.0]), None);
}

#[test]
fn a_card_printed_smaller_makes_every_length_smaller() {
    let picture = scene(vec![card(STRAIGHT)]).drawn();
    let length = |tag_edge_mm: f64| {
        let issue = CardIssue { tag_edge_mm, ..issue() };
        let found = find_card(&picture, &issue, MIDDLE, Some(FOCAL_35MM)).unwrap();
        found.plane.mm_per_px_at(MmPoint { x_mm: 0.0, y_mm: 0.0 })
    };
    assert!((length(19.0) / length(20.0) - 0.95).abs() < 1e-6);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn no_picture_makes_it_panic(
        width in 1..90_usize,
        height in 1..90_usize,
        seed in any::<u64>(),
        flat in any::<bool>(),
        near in (any::<f64>(), any::<f64>()),
        focal in proptest::option::of(any::<f64>()),
    ) {
        let mut state = seed | 1;
        let bytes = (0..width * height * 3).map(|at| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            // Large squares of black and white, or noise.
            if flat { if (at / 3 % width / 12 + at / 3 / width / 12) % 2 == 0 { 0 } else { 255 } } else { state as u8 }
        });
        let picture = Picture::new(width, height, bytes.collect()).unwrap();
        let near = PxPoint { x_px: near.0, y_px: near.1 };
        prop_assert!(find_card(&picture, &issue(), near, focal).is_err());
    }
}
