//! The markers a scale card can carry: the 36h11 family, by id, and which of them a reading is nearest to.

use std::sync::LazyLock;

/// Cells along one side of a marker, with the black border and the light margin around it.
pub const TAG_CELLS: usize = 10;
/// Ids are below this number.
pub const TAG_IDS: u32 = 587;
/// Data cells along one side.
pub(super) const DATA_CELLS: usize = 6;

/// Codewords of the 36h11 family by id, one a line in hexadecimal, in the order OpenCV's `DICT_APRILTAG_36h11` draws them: bit
/// 0 is the top left cell, bit 1 the next to its right, 1 is light. The family is the AprilTag project's (file `tag36h11.c`,
/// BSD-2 licence); `tests/outside/card/check.py --write` renews the file from OpenCV.
static CODEWORDS: LazyLock<Vec<u64>> = LazyLock::new(|| {
    include_str!("tag36h11.txt").lines().filter_map(|line| u64::from_str_radix(line, 16).ok()).collect()
});

/// The data cells of a marker. `None`: the family has no such id.
pub(super) fn codeword(id: u32) -> Option<u64> {
    CODEWORDS.get(usize::try_from(id).ok()?).copied()
}

/// The marker with this id as rows of cells, `true` for light: a light margin one cell wide, a black border one cell wide, six
/// by six data cells. `None`: the family has no such id.
pub fn marker_cells(id: u32) -> Option<[[bool; TAG_CELLS]; TAG_CELLS]> {
    let codeword = codeword(id)?;
    let mut cells = [[false; TAG_CELLS]; TAG_CELLS];
    for (row, line) in cells.iter_mut().enumerate() {
        for (column, light) in line.iter_mut().enumerate() {
            let from_edge = row.min(column).min(TAG_CELLS - 1 - row).min(TAG_CELLS - 1 - column);
            *light = match from_edge {
                0 => true,
                1 => false,
                _ => codeword >> ((row - 2) * DATA_CELLS + column - 2) & 1 == 1,
            };
        }
    }
    Some(cells)
}

/// A marker that a reading stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Match {
    pub id: u32,
    /// Quarter turns clockwise from how the marker is printed to how it was read.
    pub turns: usize,
    /// Data cells that differ from the marker's. Two markers of the family differ in eleven at least.
    pub wrong_cells: u32,
}

/// The marker of the family nearest to a reading, turned as it may be.
pub(super) fn nearest(cells: u64) -> Match {
    let mut best = Match { id: 0, turns: 0, wrong_cells: u32::MAX };
    let mut upright = cells;
    for turns in 0..4 {
        for (id, codeword) in (0..).zip(CODEWORDS.iter()) {
            let wrong_cells = (codeword ^ upright).count_ones();
            if wrong_cells < best.wrong_cells {
                best = Match { id, turns, wrong_cells };
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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn closest_pair(others: impl Fn(u64) -> Vec<u64>) -> u32 {
        let apart = |(id, codeword): (usize, &u64)| {
            let rest = CODEWORDS.iter().enumerate().filter(move |(other, _)| *other != id);
            rest.flat_map(|(_, other)| others(*other))
                .map(|other| (codeword ^ other).count_ones())
                .min()
                .unwrap()
        };
        CODEWORDS.iter().enumerate().map(apart).min().unwrap()
    }

    fn four_turns(cells: u64) -> Vec<u64> {
        std::iter::successors(Some(cells), |cells| Some(turned_back(*cells))).take(4).collect()
    }

    /// The family's name says both: 36 cells, eleven of them different at least.
    #[test]
    fn any_two_markers_differ_in_eleven_cells_however_they_are_turned() {
        assert_eq!(CODEWORDS.len(), TAG_IDS as usize);
        assert!(CODEWORDS.iter().all(|codeword| codeword >> 36 == 0));
        assert_eq!(closest_pair(four_turns), 11);
    }

    /// So a marker with one wrong cell is never taken for a mirror image, nor the other way round.
    #[test]
    fn mirror_images_differ_from_markers_in_four_cells_at_least() {
        let nearest_mirror = CODEWORDS.iter().map(|codeword| nearest(mirrored(*codeword)).wrong_cells).min();
        assert_eq!(nearest_mirror, Some(4));
    }

    proptest! {
        #[test]
        fn a_marker_is_read_with_up_to_five_wrong_cells_at_any_turn(
            id in 0..TAG_IDS,
            turns in 0..4_usize,
            wrong in proptest::collection::btree_set(0..36_u32, 0..=5),
        ) {
            let printed = codeword(id).unwrap();
            let turned = four_turns(printed)[(4 - turns) % 4];
            let read = wrong.iter().fold(turned, |cells, cell| cells ^ 1 << cell);
            prop_assert_eq!(nearest(read), Match { id, turns, wrong_cells: wrong.len() as u32 });
        }

        #[test]
        fn a_mirror_twice_is_none(cells in 0..1_u64 << 36) {
            prop_assert_eq!(mirrored(mirrored(cells)), cells);
        }
    }

    #[test]
    fn the_data_cells_hold_exactly_the_codeword() {
        for id in [0, 1, 586] {
            let cells = marker_cells(id).unwrap();
            let read =
                (0..36).rev().fold(0_u64, |code, bit| code << 1 | u64::from(cells[2 + bit / 6][2 + bit % 6]));
            assert_eq!(Some(read), codeword(id));
        }
    }

    #[test]
    fn an_id_beyond_the_family_has_no_marker() {
        assert!(marker_cells(TAG_IDS - 1).is_some());
        assert!(marker_cells(TAG_IDS).is_none());
        assert!(marker_cells(u32::MAX).is_none());
    }
}
