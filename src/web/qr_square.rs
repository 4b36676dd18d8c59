//! A QR square drawn into a page, for a phone that is held before it.

use std::fmt::Write;

use fast_qr::ECL;
use fast_qr::QRBuilder;

/// A square of dark fields, as the path of a drawing whose unit is one field.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct QrDrawing {
    /// Fields from edge to edge, with four light ones on each side (ISO/IEC 18004).
    pub fields: usize,
    pub path: String,
}

const QUIET_FIELDS: usize = 4;

/// `None`: the text is too long.
pub fn draw(text: &str) -> Option<QrDrawing> {
    let code = QRBuilder::new(text).ecl(ECL::M).build().ok()?;
    let mut path = String::new();
    for y in 0..code.size {
        for x in (0..code.size).filter(|x| code[y][*x].value()) {
            // Writing to a text cannot fail.
            let _ = write!(path, "M{} {}h1v1h-1z", x + QUIET_FIELDS, y + QUIET_FIELDS);
        }
    }
    Some(QrDrawing { fields: code.size + 2 * QUIET_FIELDS, path })
}
