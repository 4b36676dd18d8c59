//! How large a card came out of the printer, from what the office measured on the sheet's check line.

use crate::photo::TAG_EDGE_MM;

/// Length of the line that shows whether the printer kept the size, as designed.
pub const RULER_MM: f64 = 100.0;

/// Lengths that a printer makes of it: two pages on one make 71, the other paper 94 to 106; common practice, no source.
const SHORTEST_MM: f64 = 65.0;
const LONGEST_MM: f64 = 145.0;

/// Why a measured length cannot be right. The sentences are for the office.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RulerFault {
    #[error("Measure the check line on the printed sheet and type its length in millimetres, such as 97.5.")]
    NotALength,
    /// Between 6.5 and 14.5.
    #[error("That looks like centimetres. Type the length in millimetres: 10 cm are 100.")]
    Centimetres,
    /// Between 2.5 and 5.8.
    #[error("That looks like inches. Type the length in millimetres: one inch is 25.4.")]
    Inches,
    #[error(
        "The check line should be about 100 mm long. Measure it once more from end to end; if it is really so far off, print \
         the sheet again at actual size (100 %)."
    )]
    OutOfRange,
}

/// The marker's edge on cards printed together with a check line of this length, mm.
pub fn tag_edge_by_ruler(measured_mm: f64) -> Result<f64, RulerFault> {
    let possible = SHORTEST_MM..=LONGEST_MM;
    if !measured_mm.is_finite() || measured_mm <= 0.0 {
        Err(RulerFault::NotALength)
    } else if possible.contains(&measured_mm) {
        Ok(TAG_EDGE_MM * measured_mm / RULER_MM)
    } else if possible.contains(&(measured_mm * 10.0)) {
        Err(RulerFault::Centimetres)
    } else if possible.contains(&(measured_mm * 25.4)) {
        Err(RulerFault::Inches)
    } else {
        Err(RulerFault::OutOfRange)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_marker_grows_as_the_line_does() {
        assert_eq!(tag_edge_by_ruler(RULER_MM), Ok(TAG_EDGE_MM));
        assert!((tag_edge_by_ruler(97.0).unwrap() - 0.97 * TAG_EDGE_MM).abs() < 1e-12);
        assert_eq!(tag_edge_by_ruler(SHORTEST_MM), Ok(TAG_EDGE_MM * 0.65));
        assert_eq!(tag_edge_by_ruler(LONGEST_MM), Ok(TAG_EDGE_MM * 1.45));
    }

    #[test]
    fn a_length_no_printer_makes_is_asked_for_again() {
        for measured_mm in [SHORTEST_MM - 0.1, LONGEST_MM + 0.1, 1_000.0, 40.0, 0.1] {
            assert_eq!(tag_edge_by_ruler(measured_mm), Err(RulerFault::OutOfRange), "{measured_mm}");
        }
        for nothing in [0.0, -100.0, f64::NAN, f64::INFINITY] {
            assert_eq!(tag_edge_by_ruler(nothing), Err(RulerFault::NotALength), "{nothing}");
        }
    }

    #[test]
    fn another_unit_is_named() {
        assert_eq!(tag_edge_by_ruler(10.0), Err(RulerFault::Centimetres));
        assert_eq!(tag_edge_by_ruler(9.7), Err(RulerFault::Centimetres));
        assert_eq!(tag_edge_by_ruler(3.94), Err(RulerFault::Inches));
    }
}
