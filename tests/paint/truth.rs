//! What is exactly true of a painted picture. "px" are pixels of the picture as displayed, pixel centres at integer + 0.5.

use serde::Serialize;

use super::chance::Chance;
use super::colour::ita_deg_of;
use super::colour::lab;
use super::lens;
use super::reckon;
use super::scene::Scene;
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
        let wound = reckon::wound(scene);
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
            erythema: reckon::erythema(scene),
            pen_mm: scene.pen.as_ref().map(|(_, line)| line.clone()),
            cloth_mm: scene.cloth.as_ref().map(|cloth| cloth.polygon_mm()),
            card: reckon::card(scene),
            tap_px: reckon::tap(scene),
            trace_px: reckon::to_px(scene, &trace),
            file: String::new(),
        }
    }
}
