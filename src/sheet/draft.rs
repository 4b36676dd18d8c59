//! A page before it is printed: what stands where, in millimetres from the top left corner of the paper.

use crate::sheet::lettering::SetLine;

/// PostScript points in a millimetre: an inch is 25.4 mm and 72 pt.
pub const PT_PER_MM: f64 = 72.0 / 25.4;

/// Printers leave up to this much of each edge blank (common practice, no source); nothing is drawn in it.
pub const PRINTER_MARGIN_MM: f64 = 12.0;

/// A rectangle on the paper, in millimetres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Area {
    pub left_mm: f64,
    pub top_mm: f64,
    pub width_mm: f64,
    pub height_mm: f64,
}

impl Area {
    pub fn new(left_mm: f64, top_mm: f64, width_mm: f64, height_mm: f64) -> Area {
        Area { left_mm, top_mm, width_mm, height_mm }
    }

    pub fn right_mm(&self) -> f64 {
        self.left_mm + self.width_mm
    }

    pub fn bottom_mm(&self) -> f64 {
        self.top_mm + self.height_mm
    }

    /// The same area with `by_mm` more on each side; negative takes away.
    pub fn grown(&self, by_mm: f64) -> Area {
        Area::new(
            self.left_mm - by_mm,
            self.top_mm - by_mm,
            self.width_mm + 2.0 * by_mm,
            self.height_mm + 2.0 * by_mm,
        )
    }

    /// Whether two areas share more than a touching edge.
    pub fn overlaps(&self, other: &Area) -> bool {
        const TOUCH_MM: f64 = 1e-6;
        self.left_mm + TOUCH_MM < other.right_mm()
            && other.left_mm + TOUCH_MM < self.right_mm()
            && self.top_mm + TOUCH_MM < other.bottom_mm()
            && other.top_mm + TOUCH_MM < self.bottom_mm()
    }

    /// Whether `other` lies wholly inside.
    pub fn holds(&self, other: &Area) -> bool {
        !self.beyond(other)
    }

    fn beyond(&self, other: &Area) -> bool {
        const TOUCH_MM: f64 = 1e-6;
        other.left_mm < self.left_mm - TOUCH_MM
            || other.top_mm < self.top_mm - TOUCH_MM
            || other.right_mm() > self.right_mm() + TOUCH_MM
            || other.bottom_mm() > self.bottom_mm() + TOUCH_MM
    }
}

/// The inks of the sheet. All but two are greys, which a printer lays down with black alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ink {
    /// sRGB grey level, 0 black to 255 paper.
    Grey(u8),
    /// Headings.
    Calm,
    /// The emergency box. It is also marked by its place, its frame and its words: paper may be printed in black.
    Alarm,
}

impl Ink {
    pub const BLACK: Ink = Ink::Grey(0);
    pub const QUIET: Ink = Ink::Grey(90);
    pub const HAIRLINE: Ink = Ink::Grey(170);
    pub const TINT: Ink = Ink::Grey(238);
    pub const PAPER: Ink = Ink::Grey(255);
}

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dash {
    Solid,
    /// To cut along.
    Cut,
}

/// One thing on the page.
#[derive(Clone, Debug)]
pub enum Mark {
    /// Areas filled as one shape: neighbours that touch show no hairline between them.
    Filled { areas: Vec<Area>, ink: Ink },
    /// An oval that touches all four sides of `area`.
    Oval { area: Area, ink: Ink },
    /// A frame centred on the edge of `area`.
    Frame { area: Area, ink: Ink, width_mm: f64, dash: Dash },
    /// One line of letters, its left end at `left_mm`.
    Letters { line: SetLine, left_mm: f64, baseline_mm: f64, ink: Ink },
}

/// One page.
#[derive(Clone, Debug)]
pub struct Draft {
    pub width_mm: f64,
    pub height_mm: f64,
    pub marks: Vec<Mark>,
}

impl Draft {
    pub fn new(width_mm: f64, height_mm: f64) -> Draft {
        Draft { width_mm, height_mm, marks: Vec::new() }
    }

    /// Where a printer can print.
    pub fn printable(&self) -> Area {
        Area::new(0.0, 0.0, self.width_mm, self.height_mm).grown(-PRINTER_MARGIN_MM)
    }

    pub fn fill(&mut self, area: Area, ink: Ink) {
        self.fill_all(vec![area], ink);
    }

    pub fn fill_all(&mut self, areas: Vec<Area>, ink: Ink) {
        self.marks.push(Mark::Filled { areas, ink });
    }

    /// Fills beneath everything drawn since `mark_count` was the number of marks: a box whose height its text decides.
    pub fn fill_beneath(&mut self, mark_count: usize, area: Area, ink: Ink) {
        let place = mark_count.min(self.marks.len());
        self.marks.insert(place, Mark::Filled { areas: vec![area], ink });
    }

    pub fn oval(&mut self, area: Area, ink: Ink) {
        self.marks.push(Mark::Oval { area, ink });
    }

    pub fn frame(&mut self, area: Area, ink: Ink, width_mm: f64, dash: Dash) {
        self.marks.push(Mark::Frame { area, ink, width_mm, dash });
    }

    /// A thin line across.
    pub fn rule(&mut self, left_mm: f64, y_mm: f64, width_mm: f64) {
        self.fill(Area::new(left_mm, y_mm - 0.1, width_mm, 0.2), Ink::HAIRLINE);
    }

    pub fn letters(&mut self, line: SetLine, left_mm: f64, baseline_mm: f64, ink: Ink) {
        self.marks.push(Mark::Letters { line, left_mm, baseline_mm, ink });
    }
}

impl Mark {
    /// The area this mark inks; for letters the height of the tallest and the depth of the deepest.
    pub fn area(&self) -> Area {
        match self {
            Mark::Filled { areas, .. } => around(areas),
            Mark::Oval { area, .. } => *area,
            Mark::Frame { area, width_mm, .. } => area.grown(width_mm / 2.0),
            Mark::Letters { line, left_mm, baseline_mm, .. } => {
                Area::new(*left_mm, baseline_mm - line.ascent_mm(), line.width_mm(), line.height_mm())
            }
        }
    }
}

/// The smallest area around all; empty around none.
fn around(areas: &[Area]) -> Area {
    let lowest = |edge: fn(&Area) -> f64| areas.iter().map(edge).reduce(f64::min).unwrap_or(0.0);
    let highest = |edge: fn(&Area) -> f64| areas.iter().map(edge).reduce(f64::max).unwrap_or(0.0);
    let (left_mm, top_mm) = (lowest(|area| area.left_mm), lowest(|area| area.top_mm));
    Area::new(left_mm, top_mm, highest(Area::right_mm) - left_mm, highest(Area::bottom_mm) - top_mm)
}
