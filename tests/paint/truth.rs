//! What is exactly true of a painted picture. "px" are pixels of the picture as displayed, pixel centres at integer + 0.5.

use serde::Serialize;

use super::cases::Case;
use super::chance::Chance;
use super::colour::lab;
use super::colour::ita_deg_of;
use super::field::Bounds;
use super::lens;
use super::scene::FARTHEST_MM;
use super::scene::Scene;
use super::scene::signed_distance;
use super::shape;
use super::shape::Mm;
use super::wish::CardState;
use super::wish::Wish;

#[derive(Clone, Debug, Serialize)]
pub struct Truth {
    pub version: &'static str,
    pub seed: u64,
    pub index: u64,
    pub width: usize,
    pub height: usize,
    pub orientation: u8,
    pub params: Wish,
    pub skin_lab: [f64; 3],
    pub ita: f64,
    pub ita_class: &'static str,
    pub illuminant: Illuminant,
    pub exposure_gain: f64,
    pub sharpness: Sharpness,
    pub camera: CameraTruth,
    #[serde(rename = "H_mm_to_px")]
    pub h_mm_to_px: [[f64; 3]; 3],
    /// At the wound's middle.
    pub mm_per_px: f64,
    pub wound: WoundTruth,
    /// Edges of wounds nobody tapped.
    pub other_wounds_mm: Vec<Vec<Mm>>,
    pub tissue: Tissue,
    pub erythema: Erythema,
    pub pen_mm: Option<Vec<Mm>>,
    pub cloth_mm: Option<Vec<Mm>>,
    pub card: CardTruth,
    /// As a patient would tap; on bare skin when no wound is painted.
    pub tap_px: Mm,
    /// The wound's edge as a person would trace it.
    pub trace_px: Vec<Mm>,
    pub file: String,
}

#[derive(Clone, Debug, Serialize)]
pub struct Illuminant {
    pub cct: f64,
    pub awb: f64,
    pub residual_rgb: [f32; 3],
    pub mixed: bool,
}

#[derive(Clone, Debug, Serialize)]
pub struct Sharpness {
    pub defocus_sigma_px: f64,
    pub motion_px: f64,
    pub blur_mm: f64,
}

#[derive(Clone, Debug, Serialize)]
pub struct CameraTruth {
    pub f_px: f64,
    pub distance_mm: f64,
    pub tilt_deg: f64,
}

#[derive(Clone, Debug, Serialize)]
pub struct WoundTruth {
    pub polygon_mm: Vec<Mm>,
    pub polygon_px: Vec<Mm>,
    pub islands_mm: Vec<Vec<Mm>>,
    /// Without islands. 0 when no wound is painted.
    pub area_mm2: f64,
    pub perimeter_mm: f64,
    pub length_mm: f64,
    pub width_mm: f64,
    pub length_ends_mm: [Mm; 2],
    pub in_frame: bool,
    pub painted: bool,
}

#[derive(Clone, Debug, Serialize)]
pub struct Tissue {
    pub granulation: f64,
    pub slough: f64,
    pub necrosis: f64,
}

/// The border of the redness is where half of its step is left.
#[derive(Clone, Debug, Serialize)]
pub struct Erythema {
    pub max_mm: f64,
    /// Over directions from the wound's middle.
    pub p95_mm: f64,
    pub polygon_mm: Vec<Mm>,
    pub polygon_px: Vec<Mm>,
    /// Rise of a* half way out, under neutral light.
    pub contrast_lab_a: f64,
    pub covered_by_card: f64,
    pub out_of_frame: f64,
    pub area_mm2: f64,
}

#[derive(Clone, Debug, Serialize)]
pub struct CardTruth {
    pub state: CardState,
    pub corners_px: Option<Vec<Mm>>,
    pub tag_corners_px: Option<Vec<Mm>>,
    pub tag_corners_mm: Option<Vec<Mm>>,
    pub card_corners_mm: Option<Vec<Mm>>,
    pub tag_edge_mm: f64,
    pub grey_px: Option<Vec<Mm>>,
    pub grey_reflectance: f64,
    pub ground_reflectance: Option<f32>,
    pub white_reflectance: f32,
    pub occluder_mm: Option<Vec<Mm>>,
}

impl Truth {
    pub(super) fn of(scene: &Scene, exposure_gain: f64) -> Truth {
        let (wish, camera) = (&scene.wish, &scene.camera);
        let longest_px = camera.width.max(camera.height);
        let skin_lab = lab(scene.skin.plain());
        let mm_per_px = camera.mm_per_px_at([0.0, 0.0]);
        let (defocus, motion) = (lens::defocus_sigma_px(wish, longest_px), lens::motion_px(wish, longest_px));
        let wound = wound(scene);
        let [granulation, slough, necrosis] = scene.bed.shares;
        let trace = match scene.rings.first() {
            Some(edge) => shape::traced(&mut Chance::new(wish.seed, "trace"), edge, 120),
            None => Vec::new(),
        };
        Truth {
            version: "1.0",
            seed: wish.seed,
            index: 0,
            width: camera.width,
            height: camera.height,
            orientation: 1,
            params: wish.clone(),
            skin_lab,
            ita: ita_deg_of(skin_lab),
            ita_class: wish.ita_class.name(),
            illuminant: Illuminant {
                cct: wish.cct,
                awb: wish.awb,
                residual_rgb: scene.light.colour,
                mixed: wish.mixed_light,
            },
            exposure_gain,
            sharpness: Sharpness {
                defocus_sigma_px: defocus,
                motion_px: motion,
                // An even line of length L has a standard deviation of L / √12.
                blur_mm: defocus.hypot(motion / 12.0_f64.sqrt()) * mm_per_px,
            },
            camera: CameraTruth { f_px: camera.f_px, distance_mm: camera.distance_mm, tilt_deg: wish.tilt },
            h_mm_to_px: *camera.plane.mm_to_px_matrix(),
            mm_per_px,
            wound,
            other_wounds_mm: scene.other.iter().cloned().collect(),
            tissue: Tissue { granulation, slough, necrosis },
            erythema: erythema(scene),
            pen_mm: scene.pen.as_ref().map(|(_, line)| line.clone()),
            cloth_mm: scene.cloth.as_ref().map(|cloth| cloth.polygon_mm()),
            card: card(scene),
            tap_px: tap(scene),
            trace_px: trace.iter().map(|at| camera.px(*at)).collect(),
            file: String::new(),
        }
    }
}

fn to_px(scene: &Scene, places: &[Mm]) -> Vec<Mm> {
    places.iter().map(|at| scene.camera.px(*at)).collect()
}

fn wound(scene: &Scene) -> WoundTruth {
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

fn erythema(scene: &Scene) -> Erythema {
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
    let steps = |low: f64, high: f64| (0..((high - low) / STEP_MM) as usize).map(move |n| low + n as f64 * STEP_MM);
    for y in steps(bounds.top, bounds.bottom) {
        for x in steps(bounds.left, bounds.right) {
            let at = [x, y];
            if !shape::holds(&found.polygon_mm, at) || shape::holds(&scene.rings[0], at) {
                continue;
            }
            all += 1.0;
            let under = scene.card.as_ref().is_some_and(|card| card.distance_mm(card.from_skin(at)) <= 0.0);
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

fn card(scene: &Scene) -> CardTruth {
    let card = scene.card.as_ref();
    let px = |places: [Mm; 4]| to_px(scene, &places);
    CardTruth {
        state: scene.wish.card,
        corners_px: card.map(|card| px(card.outer_mm())),
        tag_corners_px: card.map(|card| px(card.tag_mm())),
        tag_corners_mm: card.map(|card| card.tag_mm().to_vec()),
        card_corners_mm: card.map(|card| card.outer_mm().to_vec()),
        tag_edge_mm: closewatch::sheet::scale_card::TAG_EDGE_MM,
        grey_px: card.map(|card| px(card.patch_mm())),
        grey_reflectance: closewatch::sheet::scale_card::PATCH_REFLECTANCE,
        ground_reflectance: card.map(|card| card.ground_reflectance()),
        white_reflectance: super::card::PAPER,
        occluder_mm: scene.occluder.as_ref().map(|occluder| occluder.polygon_mm()),
    }
}

/// A place well inside the wound, not always its middle, and in the picture.
fn tap(scene: &Scene) -> Mm {
    let chance = &mut Chance::new(scene.wish.seed, "tap");
    let middle = [scene.camera.width as f64 / 2.0, scene.camera.height as f64 / 2.0];
    if scene.wish.case == Case::AllBed || scene.rings.is_empty() {
        return middle;
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
        let at = [
            best.0[0] + 0.6 * deepest * chance.normal(),
            best.0[1] + 0.6 * deepest * chance.normal(),
        ];
        if signed_distance(&scene.rings, at) < -0.35 * deepest && scene.camera.sees(at, 0.005) {
            return scene.camera.px(at);
        }
    }
    scene.camera.px(best.0)
}
