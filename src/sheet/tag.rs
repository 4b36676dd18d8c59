//! The square marker on the scale card: which of its cells are dark.

/// Cells along one side, with the black border and the light margin around it.
pub const TAG_CELLS: usize = 10;

/// Codewords of the 36h11 family of the AprilTag project (file `tag36h11.c`, BSD-2 licence), by id. The card uses
/// id 0 only.
const CODEWORDS: [u64; 1] = [0xd_5d62_8584];

/// Data cells along one side.
const DATA_CELLS: usize = 6;

/// The marker with this id as rows of cells, `true` for light: a light margin one cell wide, a black border one
/// cell wide, six by six data cells. `None`: an id the card does not use.
///
/// It stands as OpenCV's `DICT_APRILTAG_36h11` draws it, which is the family's own order turned by half a turn;
/// `tests/truth/sheet.json` holds OpenCV's cells.
pub fn tag36h11(id: usize) -> Option<[[bool; TAG_CELLS]; TAG_CELLS]> {
    let codeword = CODEWORDS.get(id)?;
    let mut cells = [[false; TAG_CELLS]; TAG_CELLS];
    for (row, line) in cells.iter_mut().enumerate() {
        for (column, light) in line.iter_mut().enumerate() {
            let edge = row.min(column).min(TAG_CELLS - 1 - row).min(TAG_CELLS - 1 - column);
            *light = match edge {
                0 => true,
                1 => false,
                _ => codeword >> ((row - 2) * DATA_CELLS + column - 2) & 1 == 1,
            };
        }
    }
    Some(cells)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_data_cells_hold_exactly_the_codeword() {
        let cells = tag36h11(0).unwrap();
        let read =
            (0..36).rev().fold(0_u64, |code, bit| code << 1 | u64::from(cells[2 + bit / 6][2 + bit % 6]));
        assert_eq!(read, CODEWORDS[0]);
    }

    #[test]
    fn only_the_id_on_the_card_is_known() {
        assert!(tag36h11(0).is_some());
        assert!(tag36h11(1).is_none());
    }
}
