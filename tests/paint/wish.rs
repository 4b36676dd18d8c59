//! What is to be painted: every factor that makes one picture differ from the next.

use serde::Serialize;

use super::cases::Case;
use super::chance::Chance;
use super::colour::Tone;

/// How kind the world was to the photographer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Profile {
    Clean,
    Typical,
    Hard,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum BedKind {
    CleanRed,
    Sloughy,
    Fat,
    Necrotic,
    Mixed,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum CardState {
    Full,
    /// Something lies on a corner of the marker.
    Partial,
    Missing,
    /// The whole picture is a mirror image.
    Mirrored,
}

/// Paper around the marker.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Ground {
    White,
    Grey,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Pen {
    None,
    /// All round the wound.
    Line,
    /// A part of the way round.
    Arc,
}

/// The skin just outside the edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Rim {
    Plain,
    /// New skin: thin, pink.
    NewSkin,
    /// Soaked: pale.
    Macerated,
}

/// Blur lengths are px of a picture 4032 px long; they shrink with the picture. Angles are degrees.
#[derive(Clone, Debug, Serialize)]
pub struct Wish {
    pub seed: u64,
    pub profile: Profile,
    pub case: Case,
    pub ita_class: Tone,
    pub ita: f64,
    pub area_cm2: f64,
    pub elong: f64,
    pub bend: f64,
    pub irregular: f64,
    pub edge_soft_mm: f64,
    pub rim: Rim,
    pub rim_mm: f64,
    pub bed: BedKind,
    /// Granulation, slough or fat, necrosis.
    pub frac: [f64; 3],
    pub ery_mm: f64,
    /// Rise of ln R − ln G at the wound's edge, in skin without melanin.
    pub ery_contrast: f64,
    pub ery_soft_mm: f64,
    /// Share of the contrast lost on the way to the border.
    pub ery_fade: f64,
    /// How much less the redness reaches in some directions, share of `ery_mm`.
    pub ery_uneven: f64,
    pub tilt: f64,
    pub roll: f64,
    pub tilt_dir: f64,
    pub distance_mm: f64,
    pub focal_35mm: u16,
    pub portrait: bool,
    pub cct: f64,
    /// 1: the phone took the light's colour out; 0: all of it is left.
    pub awb: f64,
    pub cast_tint: f64,
    pub mixed_light: bool,
    pub exposure_ev: f64,
    pub uneven: f64,
    pub shadow: bool,
    pub vignette: f64,
    pub defocus_px: f64,
    pub motion_px: f64,
    pub noise: f64,
    pub glare: f64,
    pub sheen: f64,
    pub sharpen: f64,
    pub jpeg_q: u8,
    pub card: CardState,
    pub ground: Ground,
    pub pen: Pen,
    pub cloth: bool,
    pub hair: f64,
    pub freckles: f64,
    pub contrast_s: f64,
    pub saturation: f64,
}

impl Wish {
    /// A picture drawn from the profile; the tones come in turn so that each class has its share.
    pub fn draw(profile: Profile, seed: u64) -> Wish {
        let chance = &mut Chance::new(seed, "wish");
        let tone = Tone::ALL[(seed % 6) as usize];
        let (low, high) = tone.angles_deg();
        let mut wish = Wish::plain(seed, tone);
        wish.profile = profile;
        wish.ita = chance.between(low, high);
        wish.draw_wound(chance);
        wish.draw_redness(chance);
        wish.draw_view(chance);
        wish.draw_light(chance);
        wish.draw_things(chance);
        wish
    }

    /// A middling wound under kind light, seen straight from above: the ground from which one factor is varied.
    pub fn plain(seed: u64, tone: Tone) -> Wish {
        let (low, high) = tone.angles_deg();
        Wish {
            seed,
            profile: Profile::Clean,
            case: Case::Plain,
            ita_class: tone,
            ita: (low + high) / 2.0,
            area_cm2: 8.0,
            elong: 1.6,
            bend: 0.0,
            irregular: 0.08,
            edge_soft_mm: 0.25,
            rim: Rim::Plain,
            rim_mm: 0.0,
            bed: BedKind::CleanRed,
            frac: [0.94, 0.05, 0.01],
            ery_mm: 10.0,
            ery_contrast: 0.32,
            ery_soft_mm: 2.5,
            ery_fade: 0.2,
            ery_uneven: 0.15,
            tilt: 6.0,
            roll: 20.0,
            tilt_dir: 40.0,
            distance_mm: 210.0,
            focal_35mm: 26,
            portrait: false,
            cct: 5_500.0,
            awb: 0.9,
            cast_tint: 0.0,
            mixed_light: false,
            exposure_ev: 0.0,
            uneven: 0.1,
            shadow: false,
            vignette: 0.1,
            defocus_px: 1.2,
            motion_px: 0.0,
            noise: 0.007,
            glare: 0.2,
            sheen: 0.05,
            sharpen: 0.0,
            jpeg_q: 90,
            card: CardState::Full,
            ground: Ground::Grey,
            pen: Pen::None,
            cloth: false,
            hair: 0.0,
            freckles: 0.2,
            contrast_s: 0.12,
            saturation: 1.05,
        }
    }

    fn hard(&self) -> bool {
        self.profile == Profile::Hard
    }

    fn clean(&self) -> bool {
        self.profile == Profile::Clean
    }

    fn draw_wound(&mut self, chance: &mut Chance) {
        self.area_cm2 = chance.between(0.0, 40.0_f64.ln()).exp();
        self.elong = chance.between(1.0, 2.4) * if chance.yes(0.15) { chance.between(1.2, 1.9) } else { 1.0 };
        self.bend = if chance.yes(0.3) { chance.between(-1.0, 1.0) } else { 0.0 };
        self.irregular = chance.between(0.03, 0.15);
        self.edge_soft_mm = chance.between(0.1, 0.5);
        self.rim = chance.weighted(&[(Rim::Plain, 0.6), (Rim::NewSkin, 0.25), (Rim::Macerated, 0.15)]);
        self.rim_mm = match self.rim {
            Rim::Plain => 0.0,
            Rim::NewSkin => chance.between(0.5, 2.0),
            Rim::Macerated => chance.between(1.0, 3.5),
        };
        self.bed = chance.weighted(&[
            (BedKind::CleanRed, 0.4),
            (BedKind::Sloughy, 0.22),
            (BedKind::Mixed, 0.18),
            (BedKind::Fat, 0.12),
            (BedKind::Necrotic, 0.08),
        ]);
        let (yellow, dark) = match self.bed {
            BedKind::CleanRed => (chance.between(0.0, 0.12), 0.0),
            BedKind::Sloughy => (chance.between(0.3, 0.8), chance.between(0.0, 0.05)),
            BedKind::Fat => (chance.between(0.3, 0.7), 0.0),
            BedKind::Necrotic => (chance.between(0.05, 0.25), chance.between(0.2, 0.45)),
            BedKind::Mixed => (chance.between(0.15, 0.4), chance.between(0.02, 0.18)),
        };
        self.frac = [1.0 - yellow - dark, yellow, dark];
    }

    fn draw_redness(&mut self, chance: &mut Chance) {
        let none = chance.yes(0.18);
        let reach = chance.between(2.0_f64.ln(), 45.0_f64.ln()).exp();
        self.ery_mm = if none { 0.0 } else { reach };
        self.ery_contrast = chance.between(0.16, 0.5);
        self.ery_soft_mm = chance.between(1.5, 6.0).min(reach * 0.8);
        self.ery_fade = chance.between(0.0, 0.35);
        self.ery_uneven = chance.between(0.03, 0.35);
    }

    fn draw_view(&mut self, chance: &mut Chance) {
        let most = if self.hard() { 35.0 } else { 28.0 };
        self.tilt =
            if self.clean() { chance.between(0.0, 10.0) } else { (chance.normal() * 14.0).abs().min(most) };
        if self.hard() {
            self.tilt = self.tilt.max(chance.between(8.0, 20.0));
        }
        self.roll = chance.between(0.0, 360.0);
        self.tilt_dir = chance.between(0.0, 360.0);
        self.distance_mm = chance.between(130.0, 310.0);
        self.focal_35mm = chance.pick(&[24, 26, 26, 27, 28]);
        self.portrait = chance.yes(0.45);
    }

    fn draw_light(&mut self, chance: &mut Chance) {
        self.cct = chance.between(2_700.0_f64.ln(), 7_500.0_f64.ln()).exp();
        self.awb = if self.hard() { chance.between(0.35, 0.75) } else { chance.between(0.5, 1.0) };
        self.cast_tint = chance.normal() * 0.03;
        self.mixed_light = !self.clean() && chance.yes(if self.hard() { 0.2 } else { 0.07 });
        let spread = if self.hard() { 0.6 } else { 0.3 };
        self.exposure_ev = if self.clean() { 0.0 } else { chance.normal() * spread };
        self.uneven = if self.hard() { chance.between(0.1, 0.6) } else { chance.between(0.05, 0.4) };
        self.shadow = !self.clean() && chance.yes(if self.hard() { 0.4 } else { 0.18 });
        self.vignette = chance.between(0.05, 0.3);
        self.defocus_px = if self.hard() { chance.between(1.4, 5.8) } else { chance.between(0.7, 2.8) };
        let shaken = chance.yes(if self.hard() { 0.8 } else { 0.35 });
        let shake = chance.between(0.5, if self.hard() { 20.0 } else { 9.0 });
        self.motion_px = if shaken && !self.clean() { shake } else { 0.0 };
        self.noise = if self.hard() { chance.between(0.008, 0.03) } else { chance.between(0.004, 0.015) };
        self.glare = if self.hard() { chance.between(0.3, 0.9) } else { chance.between(0.0, 0.8) };
        self.sheen = chance.between(0.0, 0.34);
        self.sharpen = if chance.yes(0.5) { chance.between(0.1, 0.5) } else { 0.0 };
        self.jpeg_q = 70 + chance.below(25) as u8;
        self.contrast_s = chance.between(0.03, 0.34);
        self.saturation = chance.between(1.0, 1.18);
    }

    fn draw_things(&mut self, chance: &mut Chance) {
        let (partial, missing) = if self.hard() { (0.3, 0.08) } else { (0.12, 0.06) };
        self.card = match self.profile {
            Profile::Clean => CardState::Full,
            Profile::Typical | Profile::Hard => chance.weighted(&[
                (CardState::Full, 1.0 - partial - missing - 0.02),
                (CardState::Partial, partial),
                (CardState::Missing, missing),
                (CardState::Mirrored, 0.02),
            ]),
        };
        self.ground = chance.weighted(&[(Ground::Grey, 0.6), (Ground::White, 0.4)]);
        self.pen = chance.weighted(&[(Pen::None, 0.6), (Pen::Line, 0.25), (Pen::Arc, 0.15)]);
        self.cloth = chance.yes(0.3);
        self.hair = if chance.yes(0.5) { chance.between(0.1, 1.0) } else { 0.0 };
        self.freckles = if chance.yes(0.75) { chance.between(0.05, 0.95) } else { 0.0 };
    }
}
