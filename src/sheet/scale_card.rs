//! The scale card as it is printed: its greys, and which marker it carries.
//!
//! Where everything lies is said in the photo room, which has to find it again.

use crate::photo::CARD_HEIGHT_MM;
use crate::photo::CARD_WIDTH_MM;
use crate::photo::GROUND_REFLECTANCE;
use crate::photo::PATCH_HEIGHT_MM;
use crate::photo::PATCH_LEFT_MM;
use crate::photo::PATCH_REFLECTANCE;
use crate::photo::PATCH_TOP_MM;
use crate::photo::PATCH_WIDTH_MM;
use crate::photo::TAG_CELL_MM;
use crate::photo::TAG_CELLS;
use crate::photo::TAG_EDGE_MM;
use crate::photo::TAG_LEFT_MM;
use crate::photo::TAG_TOP_MM;
use crate::photo::marker_cells;
use crate::sheet::draft::Area;
use crate::sheet::draft::Dash;
use crate::sheet::draft::Draft;
use crate::sheet::draft::Ink;

/// The marker on the cards of a practice that has chosen no ids of its own.
pub const USUAL_TAG_ID: u32 = 0;

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

/// Draws the card with its top left corner at the given place on the page, and the line to cut along. A marker that the family
/// does not have stays a black square; `SheetContents` refuses its id before.
pub(super) fn draw_scale_card(page: &mut Draft, left_mm: f64, top_mm: f64, tag_id: u32) {
    const CUT_LINE_MM: f64 = 0.2;
    let on_page =
        |area: Area| Area::new(left_mm + area.left_mm, top_mm + area.top_mm, area.width_mm, area.height_mm);
    let ground = on_page(Area::new(0.0, 0.0, CARD_WIDTH_MM, CARD_HEIGHT_MM));
    let light = Ink::Grey(grey_level(GROUND_REFLECTANCE));
    page.fill(ground, light);
    page.fill(on_page(patch_area()), Ink::Grey(grey_level(PATCH_REFLECTANCE)));
    // One black square with light cells on it: black cells side by side would show hairlines between them.
    page.fill(on_page(tag_area()), Ink::BLACK);
    let light_cells = light_runs(tag_id).into_iter().map(on_page).collect();
    page.fill_all(light_cells, light);
    page.frame(ground.grown(CUT_LINE_MM / 2.0), Ink::QUIET, CUT_LINE_MM, Dash::Cut);
}

/// The light cells inside the black square; neighbours in a row are drawn as one.
fn light_runs(tag_id: u32) -> Vec<Area> {
    let Some(cells) = marker_cells(tag_id) else { return Vec::new() };
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
        for tag_id in [USUAL_TAG_ID, 77, 586] {
            let inside = marker_cells(tag_id).unwrap();
            let light = inside[2..8].iter().flat_map(|row| &row[2..8]).filter(|light| **light).count();
            let drawn: f64 = light_runs(tag_id).iter().map(|run| run.width_mm * run.height_mm).sum();
            assert!((drawn - light as f64 * TAG_CELL_MM * TAG_CELL_MM).abs() < 1e-9);
            assert!(light_runs(tag_id).iter().all(|run| tag_area().grown(-TAG_CELL_MM).holds(run)));
        }
    }
}
