//! What stands in the cells of a square that may be a marker.

use crate::photo::MmPoint;
use crate::photo::SkinPlane;
use crate::photo::scale_card::family::DATA_CELLS;
use crate::photo::scale_card::geometry::TAG_CELL_MM;
use crate::photo::scale_card::light::Meter;

/// Cells along one side: light margin, black border, data, border, margin.
pub(super) const CELLS: usize = 10;

/// The cells of a square as read.
pub(super) struct Reading {
    /// Data cells row by row, bit 0 first, 1 is light.
    pub data: u64,
    /// Share of the 28 border cells that are dark.
    pub border_dark: f64,
    /// Share of the 36 margin cells that are light.
    pub margin_light: f64,
    /// Light less dark in the square's middle, as stored, 0 to 1.
    pub contrast: f64,
}

/// Reads the cells of the square that the plane's marker covers. `None`: it reaches out of the picture, or there is no
/// difference between border and margin.
pub(super) fn read(meter: &Meter<'_>, plane: &SkinPlane, sharpened: f64) -> Option<Reading> {
    let mut values = [[0.0; CELLS]; CELLS];
    for (row, line) in values.iter_mut().enumerate() {
        for (column, value) in line.iter_mut().enumerate() {
            *value = cell(meter, plane, row, column)?;
        }
    }
    let dark = Slope::through(cells_of(1).map(|[row, column]| (row, column, values[row][column])), f64::min)?;
    let light =
        Slope::through(cells_of(0).map(|[row, column]| (row, column, values[row][column])), f64::max)?;
    let middle = (CELLS - 1) as f64 / 2.0;
    let contrast = light.at(middle, middle) - dark.at(middle, middle);
    if contrast < 0.06 {
        return None;
    }
    let is_light = |row: usize, column: usize| {
        let (r, c) = (row as f64, column as f64);
        let mut value = values[row][column];
        if (1..CELLS - 1).contains(&row) && (1..CELLS - 1).contains(&column) {
            let around = values[row - 1][column]
                + values[row + 1][column]
                + values[row][column - 1]
                + values[row][column + 1];
            value += sharpened * (4.0 * value - around);
        }
        value > (dark.at(r, c) + light.at(r, c)) / 2.0
    };
    let share = |ring: usize, wanted: bool| {
        let hits = cells_of(ring).filter(|[row, column]| is_light(*row, *column) == wanted).count();
        hits as f64 / cells_of(ring).count() as f64
    };
    let mut data = 0;
    for row in 0..DATA_CELLS {
        for column in 0..DATA_CELLS {
            data |= u64::from(is_light(row + 2, column + 2)) << (row * DATA_CELLS + column);
        }
    }
    Some(Reading { data, border_dark: share(1, false), margin_light: share(0, true), contrast })
}

/// Rows and columns of the cells that lie `ring` cells inside the outermost.
fn cells_of(ring: usize) -> impl Iterator<Item = [usize; 2]> {
    let last = CELLS - 1 - ring;
    (ring..=last).flat_map(move |row| {
        (ring..=last)
            .map(move |column| [row, column])
            .filter(move |[row, column]| *row == ring || *row == last || *column == ring || *column == last)
    })
}

/// Mean of nine places around the middle of a cell.
fn cell(meter: &Meter<'_>, plane: &SkinPlane, row: usize, column: usize) -> Option<f64> {
    let along = |at: usize, step: f64| (at as f64 + 0.5 - CELLS as f64 / 2.0 + step * 0.2) * TAG_CELL_MM;
    let mut sum = 0.0;
    for dy in [-1.0, 0.0, 1.0] {
        for dx in [-1.0, 0.0, 1.0] {
            let at = plane.to_px(MmPoint { x_mm: along(column, dx), y_mm: along(row, dy) });
            sum += meter.at([at.x_px, at.y_px])?;
        }
    }
    Some(sum / 9.0)
}

/// A brightness that changes evenly across the cells.
struct Slope {
    middle: f64,
    down: f64,
    across: f64,
}

impl Slope {
    /// Least squares, once more with what stands out on the wrong side replaced by the first fit: `keep` says which side is
    /// right, darker or lighter.
    fn through(cells: impl Iterator<Item = (usize, usize, f64)>, keep: fn(f64, f64) -> f64) -> Option<Slope> {
        let mut points: Vec<(f64, f64, f64)> =
            cells.map(|(row, column, value)| (row as f64 - 4.5, column as f64 - 4.5, value)).collect();
        let mut slope = Slope::fitted(&points)?;
        for _ in 0..2 {
            for (row, column, value) in &mut points {
                *value = keep(*value, slope.at(*row + 4.5, *column + 4.5));
            }
            let next = Slope::fitted(&points)?;
            let middle = (next.middle + slope.middle) / 2.0;
            slope = Slope { middle, ..next };
        }
        Some(slope)
    }

    /// The cells lie evenly around the middle, so that the three figures do not depend on each other.
    fn fitted(points: &[(f64, f64, f64)]) -> Option<Slope> {
        let count = points.len() as f64;
        let sum = |of: &dyn Fn(&(f64, f64, f64)) -> f64| points.iter().map(of).sum::<f64>();
        let squares = sum(&|point| point.0 * point.0);
        (squares > 0.0).then(|| Slope {
            middle: sum(&|point| point.2) / count,
            down: sum(&|point| point.0 * point.2) / squares,
            across: sum(&|point| point.1 * point.2) / squares,
        })
    }

    fn at(&self, row: f64, column: f64) -> f64 {
        self.middle + self.down * (row - 4.5) + self.across * (column - 4.5)
    }
}
