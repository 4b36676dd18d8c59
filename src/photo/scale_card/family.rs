//! The markers a scale card can carry: the 36h11 family, by id, and which of them a reading is nearest to.

use std::sync::LazyLock;

/// Data cells along one side of a marker.
pub const DATA_CELLS: usize = 6;

/// Codewords of the 36h11 family of the AprilTag project (BSD-2 licence), by id, one a line.
static CODEWORDS: LazyLock<Vec<u64>> = LazyLock::new(|| {
    include_str!("tag36h11.txt").lines().filter_map(|line| u64::from_str_radix(line, 16).ok()).collect()
});

/// How many ids the family has.
pub fn known_ids() -> u32 {
    CODEWORDS.len() as u32
}

/// The data cells of a marker, row by row from the top left: bit 0 is the first cell, 1 is light.
pub fn codeword(id: u32) -> Option<u64> {
    CODEWORDS.get(usize::try_from(id).ok()?).copied()
}

/// A marker that a reading stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Match {
    pub id: u32,
    /// Quarter turns, clockwise, that bring the marker from upright to as it was read.
    pub turns: usize,
    /// Data cells that differ from the marker's.
    pub wrong_cells: u32,
}

/// The marker of the family nearest to a reading, turned as it may be.
pub(super) fn nearest(cells: u64) -> Match {
    let mut best = Match { id: u32::MAX, turns: 0, wrong_cells: u32::MAX };
    let mut upright = cells;
    for turns in 0..4 {
        for (id, codeword) in CODEWORDS.iter().enumerate() {
            let wrong_cells = (codeword ^ upright).count_ones();
            if wrong_cells < best.wrong_cells {
                best = Match { id: id as u32, turns, wrong_cells };
            }
        }
        upright = turned_back(upright);
    }
    best
}

/// A quarter turn anticlockwise.
fn turned_back(cells: u64) -> u64 {
    rearranged(cells, |row, column| (column, DATA_CELLS - 1 - row))
}

/// Left and right exchanged, as in a mirror.
pub(super) fn mirrored(cells: u64) -> u64 {
    rearranged(cells, |row, column| (row, DATA_CELLS - 1 - column))
}

/// `from` says where the cell that comes to a row and column stood before.
fn rearranged(cells: u64, from: impl Fn(usize, usize) -> (usize, usize)) -> u64 {
    let mut out = 0;
    for row in 0..DATA_CELLS {
        for column in 0..DATA_CELLS {
            let (old_row, old_column) = from(row, column);
            out |= (cells >> (old_row * DATA_CELLS + old_column) & 1) << (row * DATA_CELLS + column);
        }
    }
    out
}
