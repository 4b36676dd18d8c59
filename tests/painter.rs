//! The painter of test pictures keeps its own promises: what it calls true is in the pixels.

mod paint;

use closewatch::photo::Limits;
use closewatch::photo::MmPoint;
use closewatch::photo::PATCH_REFLECTANCE;
use closewatch::photo::PxPoint;
use closewatch::photo::SkinPlane;
use closewatch::photo::clean;
use closewatch::photo::linear_light;
use paint::Case;
use paint::Painted;
use paint::Profile;
use paint::Tone;
use paint::Wish;
use paint::awkward;

const LONGEST_PX: usize = 1_200;

/// One flat red on light skin under even, neutral light: nothing in the picture but its geometry.
fn bare() -> Wish {
    Wish {
        frac: [1.0, 0.0, 0.0],
        ery_mm: 0.0,
        cct: 6_500.0,
        awb: 1.0,
        uneven: 0.0,
        vignette: 0.0,
        noise: 0.002,
        glare: 0.0,
        sheen: 0.0,
        freckles: 0.0,
        contrast_s: 0.0,
        saturation: 1.0,
        jpeg_q: 95,
        ..Wish::plain(11, Tone::Light)
    }
}

/// Linear light at a place, in between linearly.
fn light_at(painted: &Painted, [x, y]: [f64; 2]) -> [f64; 3] {
    let (x, y) = (x - 0.5, y - 0.5);
    let (x0, y0) = (x.floor(), y.floor());
    let pixel = |dx: f64, dy: f64, c: usize| {
        let (column, row) = ((x0 + dx) as usize, (y0 + dy) as usize);
        f64::from(linear_light()[usize::from(painted.rgb[(row * painted.width + column) * 3 + c])])
    };
    [0, 1, 2].map(|c| {
        let upper = pixel(0.0, 0.0, c) + (pixel(1.0, 0.0, c) - pixel(0.0, 0.0, c)) * (x - x0);
        let lower = pixel(0.0, 1.0, c) + (pixel(1.0, 1.0, c) - pixel(0.0, 1.0, c)) * (x - x0);
        upper + (lower - upper) * (y - y0)
    })
}

fn plane(painted: &Painted) -> SkinPlane {
    SkinPlane::from_mm_to_px(painted.truth.h_mm_to_px).unwrap()
}

fn to_px(plane: &SkinPlane, [x_mm, y_mm]: [f64; 2]) -> [f64; 2] {
    let PxPoint { x_px, y_px } = plane.to_px(MmPoint { x_mm, y_mm });
    [x_px, y_px]
}

fn between(a: [f64; 2], b: [f64; 2], share: f64) -> [f64; 2] {
    [a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share]
}

/// Where along `values` the step from the mean of their first tenth to that of their last is half done, 0–1.
fn half_way(values: &[f64]) -> f64 {
    let tenth = values.len() / 10;
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    let (from, to) = (mean(&values[..tenth]), mean(&values[values.len() - tenth..]));
    let share = |at: usize| (values[at] - from) / (to - from);
    let at = (tenth..values.len()).find(|at| share(*at) >= 0.5).unwrap();
    let part = (0.5 - share(at - 1)) / (share(at) - share(at - 1));
    (at as f64 - 1.0 + part) / (values.len() - 1) as f64
}

#[test]
fn the_same_wish_is_the_same_picture_and_another_seed_is_another() {
    let wish = Wish::draw(Profile::Typical, 5);
    let [one, again] = [(); 2].map(|()| paint::paint(&wish, 400));
    assert!(one.jpeg() == again.jpeg());
    assert_eq!(serde_json::to_string(&one.truth).unwrap(), serde_json::to_string(&again.truth).unwrap());
    assert!(paint::paint(&Wish::draw(Profile::Typical, 11), 400).rgb != one.rgb);
}

#[test]
fn counting_the_wounds_pixels_through_the_plane_gives_its_area() {
    for (tilt, area_cm2) in [(0.0, 2.0), (25.0, 8.0), (35.0, 30.0)] {
        let painted = paint::paint(&Wish { tilt, area_cm2, ..bare() }, LONGEST_PX);
        let plane = plane(&painted);
        let [bed, skin] = [[0.0, 0.0], outside(&painted)].map(|at| light_at(&painted, to_px(&plane, at))[1]);
        let mut counted_mm2 = 0.0;
        for y in 0..painted.height {
            for x in 0..painted.width {
                let at = plane.to_mm(PxPoint { x_px: x as f64 + 0.5, y_px: y as f64 + 0.5 });
                let green = linear_light()[usize::from(painted.rgb[(y * painted.width + x) * 3 + 1])];
                if f64::from(green) < (bed + skin) / 2.0 && !at_card(&painted, at) {
                    counted_mm2 += plane.mm_per_px_at(at).powi(2);
                }
            }
        }
        let off = counted_mm2 / painted.truth.wound.area_mm2 - 1.0;
        assert!(off.abs() < 0.015, "tilt {tilt}, {area_cm2} cm²: {off:.4}");
        assert!((painted.truth.wound.area_mm2 / (area_cm2 * 100.0) - 1.0).abs() < 1e-9);
    }
}

/// A place on bare skin beside the wound, away from the card.
fn outside(painted: &Painted) -> [f64; 2] {
    let card = painted.truth.card.card_corners_mm.as_ref().unwrap();
    let [x, y] = between(card[0], card[2], 0.5);
    let away = painted.truth.wound.length_mm / 2.0 + 6.0;
    [-x / x.hypot(y) * away, -y / x.hypot(y) * away]
}

/// Whether a place is on the card or within a millimetre of it.
fn at_card(painted: &Painted, at: MmPoint) -> bool {
    let card = painted.truth.card.card_corners_mm.as_ref().unwrap();
    let along = |corner: [f64; 2]| {
        let (x, y) = (corner[0] - card[0][0], corner[1] - card[0][1]);
        let length = x.hypot(y);
        let at_mm = ((at.x_mm - card[0][0]) * x + (at.y_mm - card[0][1]) * y) / length;
        at_mm > -1.0 && at_mm < length + 1.0
    };
    along(card[1]) && along(card[3])
}

#[test]
fn the_markers_border_lies_where_the_plane_puts_it() {
    for tilt in [0.0, 30.0] {
        let painted = paint::paint(&Wish { tilt, ..bare() }, LONGEST_PX);
        let tag = painted.truth.card.tag_corners_mm.clone().unwrap();
        for (at, corner) in tag.iter().enumerate() {
            let px = painted.truth.card.tag_corners_px.as_ref().unwrap()[at];
            let mapped = to_px(&plane(&painted), *corner);
            assert!((px[0] - mapped[0]).hypot(px[1] - mapped[1]) < 1e-6);
        }
        for side in 0..4 {
            let middle = between(tag[side], tag[(side + 1) % 4], 0.5);
            let centre = between(tag[0], tag[2], 0.5);
            // From 2 mm outside the black square (light margin) to 2 mm inside (black border).
            let ends = [1.2, 0.8].map(|share| to_px(&plane(&painted), between(centre, middle, share)));
            let values: Vec<f64> = (0..=200)
                .map(|step| light_at(&painted, between(ends[0], ends[1], f64::from(step) / 200.0))[1])
                .collect();
            let off_px = (half_way(&values) - 0.5) * (ends[0][0] - ends[1][0]).hypot(ends[0][1] - ends[1][1]);
            assert!(off_px.abs() < 0.2, "tilt {tilt}, side {side}: {off_px:.3} px");
        }
    }
}

#[test]
fn the_grey_patch_sends_back_its_share_of_neutral_light() {
    for ground in [paint::Ground::Grey, paint::Ground::White] {
        let painted = paint::paint(&Wish { ground, ..bare() }, LONGEST_PX);
        let patch = painted.truth.card.grey_px.clone().unwrap();
        let mut sum = [0.0; 3];
        for step in 0..100 {
            let across = |share: f64| 0.2 + 0.6 * share;
            let (u, v) = (across(f64::from(step % 10) / 9.0), across(f64::from(step / 10) / 9.0));
            let at = between(between(patch[0], patch[1], u), between(patch[3], patch[2], u), v);
            light_at(&painted, at).iter().zip(&mut sum).for_each(|(light, sum)| *sum += light / 100.0);
        }
        for light in sum {
            let share = light / painted.truth.exposure_gain;
            assert!((share / PATCH_REFLECTANCE - 1.0).abs() < 0.02, "{share:.4}");
        }
    }
}

#[test]
fn redness_reaches_as_far_as_the_truth_says() {
    let red = Wish { ery_mm: 15.0, ery_contrast: 0.45, ery_fade: 0.0, ery_uneven: 0.3, ..bare() };
    let painted = paint::paint(&red, LONGEST_PX);
    let plane = plane(&painted);
    let border = &painted.truth.erythema.polygon_mm;
    assert!((painted.truth.erythema.max_mm - 15.0).abs() < 0.1);
    let mut off_mm: Vec<f64> = Vec::new();
    for at in border.iter().step_by(12) {
        let far = at[0].hypot(at[1]);
        let [inner, outer] = [1.0 - 5.0 / far, 1.0 + 5.0 / far].map(|share| [at[0] * share, at[1] * share]);
        if [inner, outer].iter().any(|place| on_card(&painted, *place)) {
            continue;
        }
        let redness = |step: i32| {
            let [r, g, _] = light_at(&painted, to_px(&plane, between(inner, outer, f64::from(step) / 100.0)));
            (r / g).ln()
        };
        let values: Vec<f64> = (0..=100).map(redness).collect();
        off_mm.push((half_way(&values) - 0.5) * 10.0);
    }
    assert!(off_mm.len() > 30);
    off_mm.sort_by(f64::total_cmp);
    let median = off_mm[off_mm.len() / 2];
    assert!(median.abs() < 0.5, "{off_mm:?}");
}

fn on_card(painted: &Painted, at: [f64; 2]) -> bool {
    let card = painted.truth.card.card_corners_mm.as_ref().unwrap();
    let middle = between(card[0], card[2], 0.5);
    (at[0] - middle[0]).hypot(at[1] - middle[1]) < 40.0
}

#[test]
fn tissue_covers_the_shares_wished_for() {
    let painted = paint::paint(&Wish { frac: [0.5, 0.35, 0.15], ..bare() }, 400);
    let tissue = &painted.truth.tissue;
    assert!((tissue.granulation - 0.5).abs() < 0.005, "{tissue:?}");
    assert!((tissue.slough - 0.35).abs() < 0.005, "{tissue:?}");
    assert!((tissue.necrosis - 0.15).abs() < 0.005, "{tissue:?}");
}

#[test]
fn skin_has_the_typology_angle_of_its_class() {
    for tone in Tone::ALL {
        let truth = paint::paint(&Wish { ..Wish::plain(3, tone) }, 200).truth;
        assert_eq!(Tone::of(truth.ita), tone, "{}", truth.ita);
        assert_eq!(truth.ita_class, tone.name());
    }
}

#[test]
fn awkward_pictures_show_what_they_are_named_for() {
    for (number, case) in Case::AWKWARD.into_iter().enumerate() {
        let painted = paint::paint(&awkward(case, 40 + number as u64), 400);
        let truth = &painted.truth;
        assert_eq!(truth.other_wounds_mm.len(), usize::from(case == Case::TwoWounds), "{case:?}");
        assert_eq!(truth.wound.islands_mm.len(), usize::from(case == Case::Island), "{case:?}");
        assert_eq!(truth.wound.in_frame, ![Case::CutOff, Case::AllBed].contains(&case), "{case:?}");
        assert_eq!(truth.wound.painted, case != Case::NoWound, "{case:?}");
        let [x, y] = truth.tap_px;
        assert!((0.0..400.0).contains(&x) && (0.0..400.0).contains(&y), "{case:?}: {:?}", truth.tap_px);
        let grey = painted.rgb.chunks_exact(3).all(|rgb| rgb[0] == rgb[1] && rgb[1] == rgb[2]);
        assert_eq!(grey, case == Case::Monochrome, "{case:?}");
        if case == Case::FaintWide {
            assert!(truth.erythema.out_of_frame > 0.25, "{}", truth.erythema.out_of_frame);
        }
    }
}

#[test]
fn a_painted_file_is_taken_like_a_phones_and_tells_its_focal_length() {
    let painted = paint::paint(&Wish { focal_35mm: 27, portrait: true, ..bare() }, 640);
    let jpeg = painted.jpeg();
    let exif = exif::Reader::new().read_from_container(&mut std::io::Cursor::new(&jpeg)).unwrap();
    let focal = exif.get_field(exif::Tag::FocalLengthIn35mmFilm, exif::In::PRIMARY).unwrap();
    assert_eq!(focal.value.get_uint(0), Some(27));
    assert!((painted.truth.camera.f_px - 27.0 / 36.0 * 640.0).abs() < 1e-9);
    let cleaned = clean(&jpeg, &Limits::default()).unwrap();
    assert_eq!((cleaned.full().width_px, cleaned.full().height_px), (480, 640));
}
