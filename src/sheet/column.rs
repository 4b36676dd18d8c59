//! A column of text that grows down the page.

use crate::sheet::draft::Area;
use crate::sheet::draft::Draft;
use crate::sheet::draft::Ink;
use crate::sheet::draft::PT_PER_MM;
use crate::sheet::lettering::SetLine;
use crate::sheet::lettering::Weight;
use crate::sheet::lettering::set_line;
use crate::sheet::lettering::set_lines;

/// Distance between baselines, in letter sizes.
const LEADING: f64 = 1.3;

/// How a piece of text looks.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    pub size_pt: f64,
    pub weight: Weight,
    pub ink: Ink,
}

impl Look {
    pub fn plain(size_pt: f64) -> Look {
        Look { size_pt, weight: Weight::Regular, ink: Ink::BLACK }
    }

    pub fn bold(size_pt: f64) -> Look {
        Look { weight: Weight::Bold, ..Look::plain(size_pt) }
    }

    pub fn in_ink(self, ink: Ink) -> Look {
        Look { ink, ..self }
    }
}

/// A column: what is said next stands at `y_mm`.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    pub left_mm: f64,
    pub width_mm: f64,
    pub y_mm: f64,
}

impl Column {
    pub fn new(left_mm: f64, y_mm: f64, width_mm: f64) -> Column {
        Column { left_mm, width_mm, y_mm }
    }

    /// The column over an area, a padding inside its edges.
    pub fn inside(area: Area, padding_mm: f64) -> Column {
        let inner = area.grown(-padding_mm);
        Column::new(inner.left_mm, inner.top_mm, inner.width_mm)
    }

    pub fn skip(&mut self, mm: f64) {
        self.y_mm += mm;
    }

    /// Text in as many lines as it needs.
    pub fn say(&mut self, page: &mut Draft, text: &str, look: Look) {
        for line in set_lines(text, look.size_pt, look.weight, self.width_mm) {
            self.place(page, line, self.left_mm, look);
        }
    }

    /// Text that hangs beside a mark, such as a bullet, a number or a label `indent_mm` wide.
    pub fn item(&mut self, page: &mut Draft, mark: (&str, Look), indent_mm: f64, text: &str, look: Look) {
        let beside = Column::new(self.left_mm + indent_mm, self.y_mm, self.width_mm - indent_mm);
        let (mark_text, mark_look) = mark;
        let mark_line = set_line(mark_text, mark_look.size_pt, mark_look.weight);
        let ascent_mm = set_line("", look.size_pt, look.weight).ascent_mm();
        page.letters(mark_line, self.left_mm, self.y_mm + ascent_mm, mark_look.ink);
        let mut hanging = beside;
        hanging.say(page, text, look);
        self.y_mm = hanging.y_mm.max(self.y_mm + line_height_mm(look));
    }

    /// One line that ends at the column's right edge; does not move on.
    pub fn say_right(&self, page: &mut Draft, text: &str, look: Look) {
        let line = set_line(text, look.size_pt, look.weight);
        let left_mm = self.left_mm + self.width_mm - line.width_mm();
        let baseline_mm = self.y_mm + line.ascent_mm();
        page.letters(line, left_mm, baseline_mm, look.ink);
    }

    fn place(&mut self, page: &mut Draft, line: SetLine, left_mm: f64, look: Look) {
        let baseline_mm = self.y_mm + line.ascent_mm();
        page.letters(line, left_mm, baseline_mm, look.ink);
        self.y_mm += line_height_mm(look);
    }
}

/// Height of one line in this look, with its leading.
pub fn line_height_mm(look: Look) -> f64 {
    look.size_pt * LEADING / PT_PER_MM
}
