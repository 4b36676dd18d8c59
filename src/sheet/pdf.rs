//! From drafts to a PDF file. The same drafts always give the same bytes: no date is written into the file.

use krilla::Document;
use krilla::color::luma;
use krilla::color::rgb;
use krilla::geom::Path;
use krilla::geom::PathBuilder;
use krilla::geom::Point;
use krilla::geom::Rect;
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::paint::Fill;
use krilla::paint::Paint;
use krilla::paint::Stroke;
use krilla::paint::StrokeDash;
use krilla::surface::Surface;
use krilla::text::Font;
use krilla::text::GlyphId;
use krilla::text::KrillaGlyph;

use crate::sheet::SheetFault;
use crate::sheet::draft::Area;
use crate::sheet::draft::Dash;
use crate::sheet::draft::Draft;
use crate::sheet::draft::Ink;
use crate::sheet::draft::Mark;
use crate::sheet::draft::PT_PER_MM;
use crate::sheet::lettering::BOLD_TTF;
use crate::sheet::lettering::REGULAR_TTF;
use crate::sheet::lettering::SetLine;
use crate::sheet::lettering::Weight;

/// Dash and gap of the line to cut along.
const CUT_DASH_MM: [f64; 2] = [2.0, 1.2];

struct Fonts {
    regular: Font,
    bold: Font,
}

/// Writes the pages. `title` must not name the patient: file titles show in window bars and print queues.
pub(super) fn write(pages: &[Draft], title: &str, language_code: &str) -> Result<Vec<u8>, SheetFault> {
    let open = |ttf: &'static [u8]| Font::new(ttf.into(), 0).ok_or(SheetFault::Drawing);
    let fonts = Fonts { regular: open(REGULAR_TTF)?, bold: open(BOLD_TTF)? };
    let mut document = Document::new();
    for draft in pages {
        let size = PageSettings::from_wh(pt(draft.width_mm), pt(draft.height_mm));
        let mut page = document.start_page_with(size.ok_or(SheetFault::Drawing)?);
        let mut surface = page.surface();
        for mark in &draft.marks {
            draw(&mut surface, mark, &fonts);
        }
        surface.finish();
        page.finish();
    }
    document.set_metadata(Metadata::new().title(title.to_owned()).language(language_code.to_owned()));
    document.finish().map_err(|_| SheetFault::Drawing)
}

fn draw(surface: &mut Surface<'_>, mark: &Mark, fonts: &Fonts) {
    match mark {
        Mark::Filled { areas, ink } => {
            surface.set_stroke(None);
            surface.set_fill(Some(fill(*ink)));
            if let Some(path) = rectangles(areas) {
                surface.draw_path(&path);
            }
        }
        Mark::Oval { area, ink } => {
            surface.set_stroke(None);
            surface.set_fill(Some(fill(*ink)));
            if let Some(path) = oval(*area) {
                surface.draw_path(&path);
            }
        }
        Mark::Frame { area, ink, width_mm, dash } => {
            surface.set_fill(None);
            surface.set_stroke(Some(Stroke {
                paint: paint(*ink),
                width: pt(*width_mm),
                dash: match dash {
                    Dash::Solid => None,
                    Dash::Cut => Some(StrokeDash { array: CUT_DASH_MM.map(pt).to_vec(), offset: 0.0 }),
                },
                ..Stroke::default()
            }));
            if let Some(path) = rectangles(&[*area]) {
                surface.draw_path(&path);
            }
        }
        Mark::Letters { line, left_mm, baseline_mm, ink } => {
            surface.set_stroke(None);
            surface.set_fill(Some(fill(*ink)));
            draw_letters(surface, line, *left_mm, *baseline_mm, fonts);
        }
    }
}

fn draw_letters(surface: &mut Surface<'_>, line: &SetLine, left_mm: f64, baseline_mm: f64, fonts: &Fonts) {
    let font = match line.weight {
        Weight::Regular => &fonts.regular,
        Weight::Bold => &fonts.bold,
    };
    let size_pt = line.size_pt as f32;
    let mut x_pt = pt(left_mm);
    for stretch in &line.stretches {
        let glyphs: Vec<KrillaGlyph> = stretch
            .glyphs
            .iter()
            .map(|glyph| {
                let id = GlyphId::new(glyph.id);
                let (x, y) = (glyph.shift_x_em, glyph.shift_y_em);
                KrillaGlyph::new(id, glyph.advance_em, x, y, 0.0, glyph.text.clone(), None)
            })
            .collect();
        let start = Point::from_xy(x_pt, pt(baseline_mm));
        surface.draw_glyphs(start, &glyphs, font.clone(), &stretch.text, size_pt, false);
        x_pt += stretch.glyphs.iter().map(|glyph| glyph.advance_em * size_pt).sum::<f32>();
    }
}

fn rectangles(areas: &[Area]) -> Option<Path> {
    let mut path = PathBuilder::new();
    for area in areas {
        path.push_rect(Rect::from_ltrb(
            pt(area.left_mm),
            pt(area.top_mm),
            pt(area.right_mm()),
            pt(area.bottom_mm()),
        )?);
    }
    path.finish()
}

fn oval(area: Area) -> Option<Path> {
    // How far a quarter's handles reach along the half axis so that the curve stays within 0.03 % of an ellipse.
    const REACH: f64 = 0.5523;
    let (half_width, half_height) = (area.width_mm / 2.0, area.height_mm / 2.0);
    let at = |x: f64, y: f64| {
        (pt(area.left_mm + half_width * (1.0 + x)), pt(area.top_mm + half_height * (1.0 + y)))
    };
    let mut path = PathBuilder::new();
    let (start_x, start_y) = at(1.0, 0.0);
    path.move_to(start_x, start_y);
    for (from, to) in [((1, 0), (0, 1)), ((0, 1), (-1, 0)), ((-1, 0), (0, -1)), ((0, -1), (1, 0))] {
        let (from, to) = ((f64::from(from.0), f64::from(from.1)), (f64::from(to.0), f64::from(to.1)));
        let leaving = at(from.0 + REACH * to.0, from.1 + REACH * to.1);
        let arriving = at(to.0 + REACH * from.0, to.1 + REACH * from.1);
        let end = at(to.0, to.1);
        path.cubic_to(leaving.0, leaving.1, arriving.0, arriving.1, end.0, end.1);
    }
    path.close();
    path.finish()
}

fn fill(ink: Ink) -> Fill {
    Fill { paint: paint(ink), ..Fill::default() }
}

fn paint(ink: Ink) -> Paint {
    match ink {
        Ink::Grey(level) => luma::Color::new(level).into(),
        Ink::Calm => rgb::Color::new(0x0e, 0x5f, 0x6e).into(),
        Ink::Alarm => rgb::Color::new(0x5b, 0x0f, 0x2e).into(),
    }
}

fn pt(mm: f64) -> f32 {
    (mm * PT_PER_MM) as f32
}
