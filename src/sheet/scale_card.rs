//! The scale card: exactly where its marker and its grey patch lie, and how bright its greys are.
//!
//! All lengths are millimetres on the card, from its top left corner.

use crate::sheet::draft::Area;
use crate::sheet::draft::Dash;
use crate::sheet::draft::Draft;
use crate::sheet::draft::Ink;
use crate::sheet::tag::TAG_CELLS;
use crate::sheet::tag::tag36h11;

pub const CARD_WIDTH_MM: f64 = 62.0;
pub const CARD_HEIGHT_MM: f64 = 40.0;

/// The marker: AprilTag family 36h11, this id.
pub const TAG_ID: usize = 0;
/// Edge of the marker's black square.
pub const TAG_EDGE_MM: f64 = 20.0;
/// Top left corner of the black square.
pub const TAG_LEFT_MM: f64 = 8.0;
pub const TAG_TOP_MM: f64 = 10.0;
/// The black square is eight cells wide; its light margin is one more cell on each side.
pub const TAG_CELL_MM: f64 = TAG_EDGE_MM / 8.0;

/// The grey patch that colour and exposure are read from.
pub const PATCH_LEFT_MM: f64 = 36.0;
pub const PATCH_TOP_MM: f64 = 10.0;
pub const PATCH_WIDTH_MM: f64 = 18.0;
pub const PATCH_HEIGHT_MM: f64 = 20.0;

/// Share of light the card's ground sends back, as a share of what white sends back in the same colour space.
///
/// Light grey and not white: phones expose for skin, and on dark skin they burn white out. The marker keeps its white
/// quiet zone, as wide as one cell, so that every reader of the family finds it. Measured on drawn pictures: at 2 to
/// 2.5 times the right exposure a burnt-out white zone makes the area read 2.5 to 3.8 % off, against 0.6 % with a
/// zone of this grey; whoever measures must look at the zone's exposure first.
pub const GROUND_REFLECTANCE: f64 = 0.45;
/// Share of light the grey patch sends back: the usual grey of photographers' cards.
pub const PATCH_REFLECTANCE: f64 = 0.18;

/// The 8-bit grey level that stands for a reflectance (0–1) in sRGB (IEC 61966-2-1 transfer curve).
///
/// What the paper shows in the end depends on paper and printer; both greys shift together.
pub fn grey_level(reflectance: f64) -> u8 {
    let linear = reflectance.clamp(0.0, 1.0);
    let encoded = if linear <= 0.003_130_8 { 12.92 * linear } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 };
    (encoded * 255.0).round() as u8
}

/// Where the marker's black square lies on the card.
pub fn tag_area() -> Area {
    Area::new(TAG_LEFT_MM, TAG_TOP_MM, TAG_EDGE_MM, TAG_EDGE_MM)
}

/// Where the grey patch lies on the card.
pub fn patch_area() -> Area {
    Area::new(PATCH_LEFT_MM, PATCH_TOP_MM, PATCH_WIDTH_MM, PATCH_HEIGHT_MM)
}

/// Draws the card with its top left corner at the given place on the page, and the line to cut along.
pub(super) fn draw_scale_card(page: &mut Draft, left_mm: f64, top_mm: f64) {
    const CUT_LINE_MM: f64 = 0.2;
    let on_page =
        |area: Area| Area::new(left_mm + area.left_mm, top_mm + area.top_mm, area.width_mm, area.height_mm);
    let ground = on_page(Area::new(0.0, 0.0, CARD_WIDTH_MM, CARD_HEIGHT_MM));
    page.fill(ground, Ink::Grey(grey_level(GROUND_REFLECTANCE)));
    page.fill(on_page(patch_area()), Ink::Grey(grey_level(PATCH_REFLECTANCE)));
    page.fill(on_page(tag_area().grown(TAG_CELL_MM)), Ink::PAPER);
    // One black square with light cells on it: black cells side by side would show hairlines between them.
    page.fill(on_page(tag_area()), Ink::BLACK);
    let light_cells = light_runs().into_iter().map(on_page).collect();
    page.fill_all(light_cells, Ink::PAPER);
    page.frame(ground.grown(CUT_LINE_MM / 2.0), Ink::QUIET, CUT_LINE_MM, Dash::Cut);
}

/// The light cells inside the black square; neighbours in a row are drawn as one.
fn light_runs() -> Vec<Area> {
    let Some(cells) = tag36h11(TAG_ID) else { return Vec::new() };
    let mut runs = Vec::new();
    for (row, line) in cells.iter().enumerate().take(TAG_CELLS - 2).skip(2) {
        let mut column = 2;
        while column < TAG_CELLS - 2 {
            let wide = line[column..TAG_CELLS - 2].iter().take_while(|light| **light).count();
            if wide > 0 {
                runs.push(Area::new(
                    TAG_LEFT_MM + (column as f64 - 1.0) * TAG_CELL_MM,
                    TAG_TOP_MM + (row as f64 - 1.0) * TAG_CELL_MM,
                    wide as f64 * TAG_CELL_MM,
                    TAG_CELL_MM,
                ));
            }
            column += wide + 1;
        }
    }
    runs
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marker_margin_and_patch_lie_on_the_card_and_apart() {
        let card = Area::new(0.0, 0.0, CARD_WIDTH_MM, CARD_HEIGHT_MM);
        let marker_with_margin = tag_area().grown(TAG_CELL_MM);
        assert!(card.holds(&marker_with_margin));
        assert!(card.holds(&patch_area()));
        assert!(!marker_with_margin.overlaps(&patch_area()));
    }

    #[test]
    fn grey_levels_follow_the_srgb_curve() {
        // Both ends, and mid grey: sRGB 118 is the well-known level of an 18 % card.
        assert_eq!((grey_level(0.0), grey_level(1.0)), (0, 255));
        assert_eq!(grey_level(PATCH_REFLECTANCE), 118);
        let back = |level: u8| ((f64::from(level) / 255.0 + 0.055) / 1.055).powf(2.4);
        assert!((back(grey_level(GROUND_REFLECTANCE)) - GROUND_REFLECTANCE).abs() < 0.003);
        assert_eq!(grey_level(f64::NAN), 0);
    }

    #[test]
    fn the_light_cells_drawn_are_the_light_cells_of_the_marker() {
        let inside = tag36h11(TAG_ID).unwrap();
        let light = inside[2..8].iter().flat_map(|row| &row[2..8]).filter(|light| **light).count();
        let drawn: f64 = light_runs().iter().map(|run| run.width_mm * run.height_mm).sum();
        assert!((drawn - light as f64 * TAG_CELL_MM * TAG_CELL_MM).abs() < 1e-9);
        assert!(light_runs().iter().all(|run| tag_area().grown(-TAG_CELL_MM).holds(run)));
    }
}
