//! Cards drawn as a camera would see them, for tests: light is mixed in linear light, then stored as sRGB.

use crate::photo::CardFault;
use crate::photo::CardIssue;
use crate::photo::MmPoint;
use crate::photo::Picture;
use crate::photo::PxPoint;
use crate::photo::ScaleCard;
use crate::photo::SkinPlane;
use crate::photo::find_card;
use crate::photo::scale_card::family::TAG_CELLS;
use crate::photo::scale_card::family::marker_cells;
use crate::photo::scale_card::geometry::CARD_HEIGHT_MM;
use crate::photo::scale_card::geometry::CARD_WIDTH_MM;
use crate::photo::scale_card::geometry::GROUND_REFLECTANCE;
use crate::photo::scale_card::geometry::PATCH_FROM_MARKER_MM;
use crate::photo::scale_card::geometry::PATCH_REFLECTANCE;
use crate::photo::scale_card::geometry::TAG_CELL_MM;
use crate::photo::scale_card::geometry::TAG_EDGE_MM;
use crate::photo::scale_card::geometry::TAG_LEFT_MM;
use crate::photo::scale_card::geometry::TAG_TOP_MM;

/// Focal length of the drawn camera as if on 35 mm film, mm.
pub(super) const FOCAL_35MM: f64 = 26.0;
const BLACK: f64 = 0.04;
/// What white paper sends back: usual for copier paper, no source.
const WHITE: f64 = 0.86;

/// Where the camera is, seen from the card.
#[derive(Clone, Copy)]
pub(super) struct View {
    pub distance_mm: f64,
    pub tilt_deg: f64,
    pub tilt_towards_deg: f64,
    pub roll_deg: f64,
    /// The marker's middle in the picture, px from the picture's middle.
    pub aside_px: [f64; 2],
}

pub(super) const STRAIGHT: View =
    View { distance_mm: 100.0, tilt_deg: 0.0, tilt_towards_deg: 0.0, roll_deg: 0.0, aside_px: [0.0, 0.0] };

impl View {
    pub fn plane(&self, (width, height): (usize, usize)) -> SkinPlane {
        let focal_px = FOCAL_35MM / 36.0 * width.max(height) as f64;
        let about_z = |deg: f64| {
            let (sine, cosine) = deg.to_radians().sin_cos();
            [[cosine, -sine, 0.0], [sine, cosine, 0.0], [0.0, 0.0, 1.0]]
        };
        let (sine, cosine) = self.tilt_deg.to_radians().sin_cos();
        let about_x = [[1.0, 0.0, 0.0], [0.0, cosine, -sine], [0.0, sine, cosine]];
        let tilted =
            product(&product(&about_z(self.tilt_towards_deg), &about_x), &about_z(-self.tilt_towards_deg));
        let turned = product(&tilted, &about_z(self.roll_deg));
        let [x, y] = self.aside_px.map(|px| px / focal_px * self.distance_mm);
        let on_card =
            std::array::from_fn(|row| [turned[row][0], turned[row][1], [x, y, self.distance_mm][row]]);
        let lens =
            [[focal_px, 0.0, width as f64 / 2.0], [0.0, focal_px, height as f64 / 2.0], [0.0, 0.0, 1.0]];
        SkinPlane::from_mm_to_px(product(&lens, &on_card)).unwrap()
    }
}

fn product(a: &[[f64; 3]; 3], b: &[[f64; 3]; 3]) -> [[f64; 3]; 3] {
    std::array::from_fn(|row| std::array::from_fn(|column| (0..3).map(|at| a[row][at] * b[at][column]).sum()))
}

#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Paper {
    Grey,
    /// As cards were printed at first: grey ground, white margin and cells.
    WhiteMargin,
}

#[derive(Clone)]
pub(super) struct Card {
    pub id: u32,
    pub plane: SkinPlane,
    pub paper: Paper,
    /// Places on the card that something skin-coloured covers, and how far around, mm.
    pub covered: Vec<(MmPoint, f64)>,
}

impl Card {
    fn is_near(&self, at: PxPoint) -> bool {
        let at = self.plane.to_mm(at);
        at.x_mm.abs() < CARD_WIDTH_MM && at.y_mm.abs() < CARD_HEIGHT_MM
    }

    fn reflectance(&self, at: MmPoint) -> Option<f64> {
        if self.covered.iter().any(|(middle, radius_mm)| middle.distance_mm(at) < *radius_mm) {
            return None;
        }
        let half = TAG_EDGE_MM / 2.0;
        let (x, y) = (at.x_mm + half + TAG_LEFT_MM, at.y_mm + half + TAG_TOP_MM);
        if !(0.0..CARD_WIDTH_MM).contains(&x) || !(0.0..CARD_HEIGHT_MM).contains(&y) {
            return None;
        }
        let [left, top, right, bottom] = PATCH_FROM_MARKER_MM;
        if (left..right).contains(&at.x_mm) && (top..bottom).contains(&at.y_mm) {
            return Some(PATCH_REFLECTANCE);
        }
        let cell = |mm: f64| (mm + half) / TAG_CELL_MM + 1.0;
        let (column, row) = (cell(at.x_mm), cell(at.y_mm));
        let cells = 0.0..TAG_CELLS as f64;
        if !(cells.contains(&column) && cells.contains(&row)) {
            return Some(GROUND_REFLECTANCE);
        }
        let light = marker_cells(self.id).unwrap()[row as usize][column as usize];
        Some(match (light, self.paper) {
            (false, _) => BLACK,
            (true, Paper::Grey) => GROUND_REFLECTANCE,
            (true, Paper::WhiteMargin) => WHITE,
        })
    }
}

/// A picture to be drawn.
#[derive(Clone)]
pub(super) struct Scene {
    pub size: (usize, usize),
    pub cards: Vec<Card>,
    /// Times the light at which white just does not burn out.
    pub exposure: f64,
    /// Standard deviation of the blur, px.
    pub blur_px: f64,
    /// Share of the light left where a shadow falls, and where its edge crosses the picture, px from the left.
    pub shadow: Option<(f64, f64)>,
}

pub(super) fn scene(cards: Vec<Card>) -> Scene {
    Scene { size: (640, 480), cards, exposure: 1.0, blur_px: 0.7, shadow: None }
}

pub(super) fn card(view: View) -> Card {
    Card { id: 0, plane: view.plane((640, 480)), paper: Paper::Grey, covered: Vec::new() }
}

/// Reflectance of the skin around, red, green, blue.
const SKIN: [f64; 3] = [0.42, 0.25, 0.18];

impl Scene {
    pub fn drawn(&self) -> Picture {
        let (width, height) = self.size;
        let mut light = vec![[0.0; 3]; width * height];
        for (at, pixel) in light.iter_mut().enumerate() {
            *pixel = self.light_at(at % width, at / width);
        }
        let blurred = blurred(light, width, self.blur_px);
        let rgb = blurred.iter().flatten().map(|light| stored(light * self.exposure)).collect();
        Picture::new(width, height, rgb).unwrap()
    }

    fn light_at(&self, column: usize, line: usize) -> [f64; 3] {
        // No two samples share a column or a line, or an upright edge would be drawn a quarter of a pixel off.
        const SAMPLES: u32 = 16;
        let middle = PxPoint { x_px: column as f64 + 0.5, y_px: line as f64 + 0.5 };
        // Far from every card one look is enough, and drawing takes a fourth of the time.
        let samples = if self.cards.iter().any(|card| card.is_near(middle)) { SAMPLES } else { 1 };
        let mut sum = [0.0; 3];
        for sample in 0..samples {
            let part = |at: u32| (f64::from(at) + 0.5) / f64::from(SAMPLES);
            let turned_round = sample.reverse_bits() >> (SAMPLES.leading_zeros() + 1);
            let at = PxPoint { x_px: column as f64 + part(sample), y_px: line as f64 + part(turned_round) };
            let seen = self.cards.iter().find_map(|card| card.reflectance(card.plane.to_mm(at)));
            let lit = match self.shadow {
                Some((share, edge_px)) if at.x_px < edge_px => share,
                Some(_) | None => 1.0,
            };
            let colour = seen.map_or(SKIN, |grey| [grey; 3]);
            sum.iter_mut().zip(colour).for_each(|(sum, colour)| *sum += colour * lit);
        }
        sum.map(|sum| sum / f64::from(samples))
    }

    pub fn found(&self, near: PxPoint, focal_35mm: Option<f64>) -> Result<ScaleCard, CardFault> {
        find_card(&self.drawn(), &CardIssue { ids: 0..=9, tag_edge_mm: TAG_EDGE_MM }, near, focal_35mm)
    }

    /// With the wound in the picture's middle and the focal length told.
    pub fn seen(&self) -> Result<ScaleCard, CardFault> {
        self.found(PxPoint { x_px: 320.0, y_px: 240.0 }, Some(FOCAL_35MM))
    }
}

fn blurred(light: Vec<[f64; 3]>, width: usize, sigma_px: f64) -> Vec<[f64; 3]> {
    if sigma_px == 0.0 {
        return light;
    }
    let reach = (3.0 * sigma_px).ceil() as isize;
    let weights: Vec<f64> =
        (-reach..=reach).map(|at| (-0.5 * (at as f64 / sigma_px).powi(2)).exp()).collect();
    let total: f64 = weights.iter().sum();
    let pass = |light: &[[f64; 3]], step: isize| -> Vec<[f64; 3]> {
        (0..light.len() as isize)
            .map(|at| {
                let mut sum = [0.0; 3];
                for (weight, shift) in weights.iter().zip(-reach..=reach) {
                    let from = (at + shift * step).clamp(0, light.len() as isize - 1) as usize;
                    (0..3).for_each(|colour| sum[colour] += weight / total * light[from][colour]);
                }
                sum
            })
            .collect()
    };
    pass(&pass(&light, 1), width as isize)
}

fn stored(linear: f64) -> u8 {
    let linear = linear.clamp(0.0, 1.0);
    let encoded = if linear <= 0.003_130_8 { 12.92 * linear } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 };
    (encoded * 255.0).round() as u8
}

/// Left and right exchanged.
pub(super) fn in_a_mirror(picture: &Picture) -> Picture {
    let mut rgb = Vec::with_capacity(picture.rgb().len());
    for line in picture.rgb().chunks_exact(picture.width() * 3) {
        line.rchunks_exact(3).for_each(|pixel| rgb.extend_from_slice(pixel));
    }
    Picture::new(picture.width(), picture.height(), rgb).unwrap()
}

/// A part of the picture.
pub(super) fn cut_out(picture: &Picture, left: usize, top: usize, size: (usize, usize)) -> Picture {
    let lines = picture.rgb().chunks_exact(picture.width() * 3).skip(top).take(size.1);
    let rgb = lines.flat_map(|line| line[left * 3..(left + size.0) * 3].iter().copied()).collect();
    Picture::new(size.0, size.1, rgb).unwrap()
}

/// How much too large the card's plane makes a square of 30 mm, 50 mm from the marker's middle in each direction, at worst.
pub(super) fn worst_area_error(truth: &SkinPlane, found: &ScaleCard) -> f64 {
    let area = |x: f64, y: f64| {
        let corners = [(-15.0, -15.0), (15.0, -15.0), (15.0, 15.0), (-15.0, 15.0)].map(|(dx, dy)| {
            let at = found.plane.to_mm(truth.to_px(MmPoint { x_mm: x + dx, y_mm: y + dy }));
            [at.x_mm, at.y_mm]
        });
        crate::photo::scale_card::quad::area(&corners)
    };
    [(50.0, 0.0), (-50.0, 0.0), (0.0, 50.0), (0.0, -50.0)]
        .into_iter()
        .map(|(x, y)| (area(x, y) / 900.0 - 1.0).abs())
        .fold(0.0, f64::max)
}

/// Root mean square of what the found corners lie off, px.
pub(super) fn corners_off_px(truth: &SkinPlane, found: &ScaleCard) -> f64 {
    let half = TAG_EDGE_MM / 2.0;
    let printed = [(-half, -half), (half, -half), (half, half), (-half, half)];
    let squares = printed.iter().zip(found.corners_px).map(|((x_mm, y_mm), corner)| {
        let at = truth.to_px(MmPoint { x_mm: *x_mm, y_mm: *y_mm });
        (at.x_px - corner.x_px).powi(2) + (at.y_px - corner.y_px).powi(2)
    });
    (squares.sum::<f64>() / 4.0).sqrt()
}
