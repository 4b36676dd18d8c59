//! Works out what is true of a scene: where wound, redness and card lie in the picture, and where a patient would tap.

use super::cases::Case;
use super::chance::Chance;
use super::colour::lab;
use super::field::Bounds;
use super::scene::FARTHEST_MM;
use super::scene::Scene;
use super::scene::signed_distance;
use super::shape;
use super::shape::Mm;
use super::truth::CardTruth;
use super::truth::Erythema;
use super::truth::WoundTruth;

pub fn to_px(scene: &Scene, places: &[Mm]) -> Vec<Mm> {
    places.iter().map(|at| scene.camera.px(*at)).collect()
}

pub fn wound(scene: &Scene) -> WoundTruth {
    let Some((edge, islands)) = scene.rings.split_first() else {
        return WoundTruth {
            polygon_mm: Vec::new(),
            polygon_px: Vec::new(),
            islands_mm: Vec::new(),
            area_mm2: 0.0,
            perimeter_mm: 0.0,
            length_mm: 0.0,
            width_mm: 0.0,
            length_ends_mm: [[0.0; 2]; 2],
            in_frame: true,
            painted: false,
        };
    };
    let (length_mm, width_mm, length_ends_mm) = shape::extent_mm(edge);
    WoundTruth {
        polygon_mm: edge.clone(),
        polygon_px: to_px(scene, edge),
        islands_mm: islands.to_vec(),
        area_mm2: shape::area_mm2(edge) - islands.iter().map(|ring| shape::area_mm2(ring)).sum::<f64>(),
        perimeter_mm: shape::perimeter_mm(edge),
        length_mm,
        width_mm,
        length_ends_mm,
        in_frame: edge.iter().all(|at| scene.camera.sees(*at, 0.0)),
        painted: true,
    }
}

pub fn erythema(scene: &Scene) -> Erythema {
    let wish = &scene.wish;
    let rings = &scene.rings;
    let mut found = Erythema {
        max_mm: 0.0,
        p95_mm: 0.0,
        polygon_mm: rings.first().cloned().unwrap_or_default(),
        polygon_px: Vec::new(),
        contrast_lab_a: 0.0,
        covered_by_card: 0.0,
        out_of_frame: 0.0,
        area_mm2: 0.0,
    };
    if wish.ery_mm > 0.0 && !rings.is_empty() {
        let distance = |at: Mm| signed_distance(rings, at);
        found.polygon_mm = scene.reach.border(distance, FARTHEST_MM);
        let mut reaches: Vec<f64> = found.polygon_mm.iter().map(|at| scene.reach.toward(*at)).collect();
        reaches.sort_by(f64::total_cmp);
        found.max_mm = reaches[reaches.len() - 1];
        found.p95_mm = reaches[(reaches.len() - 1) * 95 / 100];
        let half_way = (1.0 - wish.ery_fade / 2.0) * scene.more_blood + scene.skin.blood;
        let red = scene.skin.of(scene.skin.melanin as f32, half_way as f32);
        found.contrast_lab_a = lab(red)[1] - lab(scene.skin.plain())[1];
        count_band(scene, &mut found);
    }
    found.polygon_px = to_px(scene, &found.polygon_mm);
    found
}

/// Area of the band, and the shares of it out of the picture and under the card, by counting places 1.5 mm apart.
fn count_band(scene: &Scene, found: &mut Erythema) {
    const STEP_MM: f64 = 1.5;
    let bounds = Bounds::around(&found.polygon_mm, 0.0);
    let (mut all, mut outside, mut covered) = (0.0, 0.0, 0.0);
    let steps =
        |low: f64, high: f64| (0..((high - low) / STEP_MM) as usize).map(move |n| low + n as f64 * STEP_MM);
    for y in steps(bounds.top, bounds.bottom) {
        for x in steps(bounds.left, bounds.right) {
            let at = [x, y];
            if !shape::holds(&found.polygon_mm, at) || shape::holds(&scene.rings[0], at) {
                continue;
            }
            all += 1.0;
            let under = scene.card.as_ref().is_some_and(|card| card.distance_mm(card.on_card(at)) <= 0.0);
            if !scene.camera.sees(at, 0.0) {
                outside += 1.0;
            } else if under {
                covered += 1.0;
            }
        }
    }
    found.area_mm2 = all * STEP_MM * STEP_MM;
    found.out_of_frame = outside / f64::max(all, 1.0);
    found.covered_by_card = covered / f64::max(all, 1.0);
}

pub fn card(scene: &Scene) -> CardTruth {
    let card = scene.card.as_ref();
    let px = |places: [Mm; 4]| to_px(scene, &places);
    CardTruth {
        state: scene.wish.card,
        corners_px: card.map(|card| px(card.outer_mm())),
        tag_corners_px: card.map(|card| px(card.tag_mm())),
        tag_corners_mm: card.map(|card| card.tag_mm().to_vec()),
        card_corners_mm: card.map(|card| card.outer_mm().to_vec()),
        tag_edge_mm: closewatch::photo::TAG_EDGE_MM,
        grey_px: card.map(|card| px(card.patch_mm())),
        grey_reflectance: closewatch::photo::PATCH_REFLECTANCE,
        ground_reflectance: card.map(|card| card.ground_reflectance()),
        white_reflectance: super::card::PAPER,
        occluder_mm: scene.occluder.as_ref().map(|occluder| occluder.polygon_mm()),
    }
}

/// A place well inside the wound, not always its middle, and in the picture.
pub fn tap(scene: &Scene) -> Mm {
    let chance = &mut Chance::new(scene.wish.seed, "tap");
    let middle = [scene.camera.width as f64 / 2.0, scene.camera.height as f64 / 2.0];
    if scene.wish.case == Case::AllBed {
        return middle;
    }
    if scene.rings.is_empty() {
        return scene.camera.px([0.0, 0.0]);
    }
    let bounds = Bounds::around(&scene.rings[0], 0.0);
    let mut best = ([0.0, 0.0], f64::INFINITY);
    for _ in 0..60 {
        let at = [chance.between(bounds.left, bounds.right), chance.between(bounds.top, bounds.bottom)];
        let beyond = signed_distance(&scene.rings, at);
        if beyond < best.1 && scene.camera.sees(at, 0.005) {
            best = (at, beyond);
        }
    }
    let deepest = -best.1;
    for _ in 0..200 {
        let at = [best.0[0] + 0.6 * deepest * chance.normal(), best.0[1] + 0.6 * deepest * chance.normal()];
        if signed_distance(&scene.rings, at) < -0.35 * deepest && scene.camera.sees(at, 0.005) {
            return scene.camera.px(at);
        }
    }
    scene.camera.px(best.0)
}
