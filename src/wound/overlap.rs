//! How two outlines of a wound lie best over each other when one is turned.

use crate::photo::MmPoint;
use crate::wound::Outline;

/// Turns that overlap nearly as well as the best one are as good (ours): of those the least is taken, because patients
/// hold the phone the same way more often than they lay the card the same way.
const AS_GOOD: f64 = 0.97;
/// Cells along the side of the grid the two outlines are laid over each other on.
const CELLS: usize = 96;
const TURNS: i32 = 180;
pub(in crate::wound) const DEGREES_A_TURN: f64 = 360.0 / TURNS as f64;

/// A turn about the wound's middle; the middle comes to (0, 0).
pub(in crate::wound) struct Turn {
    pub(in crate::wound) about: MmPoint,
    pub(in crate::wound) by_rad: f64,
}

impl Turn {
    pub(in crate::wound) fn applied(&self, at: MmPoint) -> MmPoint {
        let (sin, cos) = self.by_rad.sin_cos();
        let (x, y) = (at.x_mm - self.about.x_mm, at.y_mm - self.about.y_mm);
        MmPoint { x_mm: cos * x - sin * y, y_mm: sin * x + cos * y }
    }

    pub(in crate::wound) fn undone(&self, at: MmPoint) -> MmPoint {
        let (sin, cos) = self.by_rad.sin_cos();
        let (x, y) = (cos * at.x_mm + sin * at.y_mm, -sin * at.x_mm + cos * at.y_mm);
        MmPoint { x_mm: x + self.about.x_mm, y_mm: y + self.about.y_mm }
    }
}

/// An outline grown or shrunk to a set area and laid on a grid about its middle, each cell in or out.
pub(in crate::wound) struct Cells {
    filled: Vec<bool>,
    places: Vec<[f64; 2]>,
}

/// The grid's half width in units of the square root of the wound's area: four times as long as wide still fits.
const REACH: f64 = 1.6;

fn cell_middle(at: usize) -> f64 {
    ((at as f64 + 0.5) / CELLS as f64 - 0.5) * 2.0 * REACH
}

impl Cells {
    pub(in crate::wound) fn of(outline: &Outline, turn: &Turn) -> Cells {
        let unit_mm = outline.area_mm2().sqrt();
        let is_in =
            |x: f64, y: f64| outline.holds(turn.undone(MmPoint { x_mm: x * unit_mm, y_mm: y * unit_mm }));
        let all = (0..CELLS * CELLS).map(|at| [cell_middle(at % CELLS), cell_middle(at / CELLS)]);
        let (mut filled, mut places) = (vec![false; CELLS * CELLS], Vec::new());
        for (at, [x, y]) in all.enumerate() {
            if is_in(x, y) {
                filled[at] = true;
                places.push([x, y]);
            }
        }
        Cells { filled, places }
    }

    fn holds(&self, x: f64, y: f64) -> bool {
        let cell = |along: f64| {
            let at = ((along / (2.0 * REACH) + 0.5) * CELLS as f64).floor();
            (0.0..CELLS as f64).contains(&at).then_some(at as usize)
        };
        cell(x).zip(cell(y)).is_some_and(|(x, y)| self.filled[y * CELLS + x])
    }

    /// What both cover over what either covers, with the other turned.
    fn overlap(&self, other: &Cells, turned_deg: f64) -> f64 {
        let (sin, cos) = turned_deg.to_radians().sin_cos();
        let turned = |[x, y]: &[f64; 2]| self.holds(cos * x - sin * y, sin * x + cos * y);
        let both = other.places.iter().filter(|place| turned(place)).count() as f64;
        let either = (self.places.len() + other.places.len()) as f64 - both;
        if either > 0.0 { both / either } else { 0.0 }
    }
}

/// One way of laying the outlines over each other.
pub(in crate::wound) struct Fit {
    pub(in crate::wound) turned_deg: f64,
    pub(in crate::wound) overlap: f64,
}

/// The least turn that lays the one over the other nearly as well as the best one does.
pub(in crate::wound) fn best_turn(now: &Cells, before: &Cells) -> Fit {
    let tried: Vec<Fit> = (-TURNS / 2..TURNS / 2)
        .map(|step| f64::from(step) * DEGREES_A_TURN)
        .map(|turned_deg| Fit { turned_deg, overlap: now.overlap(before, turned_deg) })
        .collect();
    let best = tried.iter().map(|fit| fit.overlap).fold(0.0, f64::max);
    let good = tried.iter().filter(|fit| fit.overlap >= AS_GOOD * best);
    let Some(least) = good.min_by(|one, other| one.turned_deg.abs().total_cmp(&other.turned_deg.abs()))
    else {
        return Fit { turned_deg: 0.0, overlap: 0.0 };
    };
    // The least of the good ones lies at the rim of its hill; the top of that hill is meant.
    climbed(&tried, least)
}

/// From one turn uphill to the top of its hill.
fn climbed(tried: &[Fit], from: &Fit) -> Fit {
    let turns = tried.len();
    let mut at = tried.iter().position(|fit| fit.turned_deg == from.turned_deg).unwrap_or(0);
    for _ in 0..turns {
        let (left, right) = ((at + turns - 1) % turns, (at + 1) % turns);
        let better = if tried[left].overlap > tried[right].overlap { left } else { right };
        if tried[better].overlap <= tried[at].overlap {
            break;
        }
        at = better;
    }
    Fit { turned_deg: tried[at].turned_deg, overlap: tried[at].overlap }
}
