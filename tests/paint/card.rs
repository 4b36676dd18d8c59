//! The scale card as it lies on the skin.

use closewatch::photo;
use closewatch::photo::TAG_CELLS;
use closewatch::photo::marker_cells;
use closewatch::sheet::scale_card::USUAL_TAG_ID;

use super::shape::Mm;
use super::wish::Ground;

/// Share of light that white paper, and black print on it, send back (common practice, no source).
pub const PAPER: f32 = 0.86;
const BLACK: f32 = 0.045;

/// Where the card lies, and what is printed on it.
pub struct Card {
    pub middle: Mm,
    /// Of the angle from the skin's x to the card's x.
    sin: f64,
    cos: f64,
    pub ground: Ground,
    cells: [[bool; TAG_CELLS]; TAG_CELLS],
}

impl Card {
    pub fn new(middle: Mm, angle: f64, ground: Ground) -> Card {
        let cells = marker_cells(USUAL_TAG_ID).expect("a marker of the family");
        let (sin, cos) = angle.sin_cos();
        Card { middle, sin, cos, ground, cells }
    }

    /// From the card's top left corner, mm, to the skin.
    pub fn to_skin(&self, [u, v]: Mm) -> Mm {
        let (sin, cos) = (self.sin, self.cos);
        let (u, v) = (u - photo::CARD_WIDTH_MM / 2.0, v - photo::CARD_HEIGHT_MM / 2.0);
        [self.middle[0] + u * cos - v * sin, self.middle[1] + u * sin + v * cos]
    }

    #[inline]
    pub fn on_card(&self, [x, y]: Mm) -> Mm {
        let (sin, cos) = (self.sin, self.cos);
        let (x, y) = (x - self.middle[0], y - self.middle[1]);
        [x * cos + y * sin + photo::CARD_WIDTH_MM / 2.0, y * cos - x * sin + photo::CARD_HEIGHT_MM / 2.0]
    }

    /// A rectangle on the card as corners on the skin: top left, top right, bottom right, bottom left as printed.
    fn corners(&self, left: f64, top: f64, width: f64, height: f64) -> [Mm; 4] {
        [[left, top], [left + width, top], [left + width, top + height], [left, top + height]]
            .map(|corner| self.to_skin(corner))
    }

    pub fn outer_mm(&self) -> [Mm; 4] {
        self.corners(0.0, 0.0, photo::CARD_WIDTH_MM, photo::CARD_HEIGHT_MM)
    }

    pub fn tag_mm(&self) -> [Mm; 4] {
        let edge = photo::TAG_EDGE_MM;
        self.corners(photo::TAG_LEFT_MM, photo::TAG_TOP_MM, edge, edge)
    }

    pub fn patch_mm(&self) -> [Mm; 4] {
        self.corners(photo::PATCH_LEFT_MM, photo::PATCH_TOP_MM, photo::PATCH_WIDTH_MM, photo::PATCH_HEIGHT_MM)
    }

    pub fn ground_reflectance(&self) -> f32 {
        match self.ground {
            Ground::White => PAPER,
            Ground::Grey => photo::GROUND_REFLECTANCE as f32,
        }
    }

    /// Distance from the card's rectangle, mm; 0 on it.
    #[inline]
    pub fn distance_mm(&self, [u, v]: Mm) -> f64 {
        let x = (-u).max(u - photo::CARD_WIDTH_MM).max(0.0);
        let y = (-v).max(v - photo::CARD_HEIGHT_MM).max(0.0);
        (x * x + y * y).sqrt()
    }

    /// What the card sends back at a place on it; `None` beside it.
    #[inline]
    pub fn reflectance(&self, [u, v]: Mm) -> Option<f32> {
        if !(0.0..photo::CARD_WIDTH_MM).contains(&u) || !(0.0..photo::CARD_HEIGHT_MM).contains(&v) {
            return None;
        }
        // Cells count from the light margin, one cell outside the black square.
        let column = (u - photo::TAG_LEFT_MM) / photo::TAG_CELL_MM + 1.0;
        let row = (v - photo::TAG_TOP_MM) / photo::TAG_CELL_MM + 1.0;
        let cells = 0.0..TAG_CELLS as f64;
        if cells.contains(&column) && cells.contains(&row) {
            return Some(if self.cells[row as usize][column as usize] {
                self.ground_reflectance()
            } else {
                BLACK
            });
        }
        let (x, y) = (u - photo::PATCH_LEFT_MM, v - photo::PATCH_TOP_MM);
        let on_patch =
            (0.0..photo::PATCH_WIDTH_MM).contains(&x) && (0.0..photo::PATCH_HEIGHT_MM).contains(&y);
        Some(if on_patch { photo::PATCH_REFLECTANCE as f32 } else { self.ground_reflectance() })
    }
}
