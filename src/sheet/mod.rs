//! The printed discharge sheet: what a patient takes home on paper, with the scale card to cut out.

mod calendar;
mod column;
mod contents;
mod draft;
mod first_page;
mod lettering;
mod margin;
mod pdf;
mod qr;
mod ruler;
pub mod scale_card;
mod second_page;

pub use contents::{Paper, SheetContents, SheetFault};
pub use draft::{Area, Dash, Draft, Ink, Mark, PRINTER_MARGIN_MM};
pub use margin::lettered;
pub use qr::QR_EDGE_MM;
pub use ruler::RULER_MM;
pub use ruler::RulerFault;
pub use ruler::tag_edge_by_ruler;

use crate::words::sheet::SheetWords;

/// Letter sizes tried for running text, in points: as large as the page allows. Patient leaflets are set in 12 pt
/// where they can be (common practice, no source).
const BODY_SIZES_PT: [f64; 8] = [12.0, 11.5, 11.0, 10.5, 10.0, 9.5, 9.0, 8.5];

/// The sheet as a PDF file of two pages. The same contents give the same bytes.
pub fn sheet_pdf(contents: &SheetContents, paper: Paper) -> Result<Vec<u8>, SheetFault> {
    let pages = sheet_pages(contents, paper)?;
    let words = SheetWords(contents.language);
    pdf::write(&pages, &words.file_title(), contents.language.code())
}

/// The sheet before it is a file: the two pages with everything on them.
pub fn sheet_pages(contents: &SheetContents, paper: Paper) -> Result<Vec<Draft>, SheetFault> {
    let contents = contents.checked()?;
    Ok(vec![
        largest_that_fits(1, |body_pt| first_page::lay_out(&contents, paper, body_pt))?,
        largest_that_fits(2, |body_pt| Ok(second_page::lay_out(&contents, paper, body_pt)))?,
    ])
}

/// The page in the largest letters with which everything has its place.
fn largest_that_fits(
    number: usize,
    lay_out: impl Fn(f64) -> Result<Option<Draft>, SheetFault>,
) -> Result<Draft, SheetFault> {
    for body_pt in BODY_SIZES_PT {
        if let Some(page) = lay_out(body_pt)? {
            return Ok(page);
        }
    }
    Err(SheetFault::DoesNotFit { page: number })
}
