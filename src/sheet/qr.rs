//! The square code a phone camera reads the patient link from.

use fast_qr::ECL;
use fast_qr::QRBuilder;

use crate::sheet::SheetFault;
use crate::sheet::draft::Area;
use crate::sheet::draft::Draft;
use crate::sheet::draft::Ink;

/// Edge of the code without its light margin.
pub const QR_EDGE_MM: f64 = 34.0;

/// The light margin around the code, in modules (ISO/IEC 18004).
const MARGIN_MODULES: f64 = 4.0;

/// The smallest module a phone reads easily from paper at arm's length (common practice, no source).
const SMALLEST_MODULE_MM: f64 = 0.4;

/// A code at error correction level M, or a fault when the link makes its modules too small to read.
pub struct QrSquare {
    /// Rows of modules, `true` for dark.
    modules: Vec<Vec<bool>>,
}

impl QrSquare {
    pub fn of(link: &str) -> Result<QrSquare, SheetFault> {
        let code = QRBuilder::new(link).ecl(ECL::M).build().map_err(|_| SheetFault::LinkTooLong)?;
        let size = code.size;
        let modules =
            (0..size).map(|row| (0..size).map(|column| code[row][column].value()).collect()).collect();
        let square = QrSquare { modules };
        if square.module_mm() < SMALLEST_MODULE_MM { Err(SheetFault::LinkTooLong) } else { Ok(square) }
    }

    fn module_mm(&self) -> f64 {
        QR_EDGE_MM / self.modules.len() as f64
    }

    /// Width of the light margin on each side.
    pub fn margin_mm(&self) -> f64 {
        MARGIN_MODULES * self.module_mm()
    }

    /// Draws the dark modules with the code's own top left corner at the given place. Neighbours in a row are one
    /// area.
    pub fn draw(&self, page: &mut Draft, left_mm: f64, top_mm: f64) {
        let module_mm = self.module_mm();
        let mut dark = Vec::new();
        for (row, line) in self.modules.iter().enumerate() {
            let mut column = 0;
            while column < line.len() {
                let wide = line[column..].iter().take_while(|is_dark| **is_dark).count();
                if wide > 0 {
                    dark.push(Area::new(
                        left_mm + column as f64 * module_mm,
                        top_mm + row as f64 * module_mm,
                        wide as f64 * module_mm,
                        module_mm,
                    ));
                }
                column += wide + 1;
            }
        }
        page.fill_all(dark, Ink::BLACK);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_usual_link_is_read_easily_and_a_huge_one_is_refused() {
        let link = format!("https://clinic.example/p/{}", "x".repeat(120));
        assert!(QrSquare::of(&link).is_ok());
        assert_eq!(QrSquare::of(&"x".repeat(600)).err(), Some(SheetFault::LinkTooLong));
        assert_eq!(QrSquare::of(&"x".repeat(10_000)).err(), Some(SheetFault::LinkTooLong));
    }
}
