//! How far each place on the skin is from an edge: a grid of signed distances.

use super::shape::Mm;
use super::shape::sides;

/// A rectangle on the skin, mm.
#[derive(Clone, Copy, Debug)]
pub struct Bounds {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

impl Bounds {
    pub fn around(points: &[Mm], margin_mm: f64) -> Bounds {
        let mut bounds = Bounds { left: f64::MAX, top: f64::MAX, right: f64::MIN, bottom: f64::MIN };
        for [x, y] in points {
            bounds.left = bounds.left.min(x - margin_mm);
            bounds.right = bounds.right.max(x + margin_mm);
            bounds.top = bounds.top.min(y - margin_mm);
            bounds.bottom = bounds.bottom.max(y + margin_mm);
        }
        bounds
    }

    #[inline]
    pub fn holds(&self, x: f64, y: f64) -> bool {
        x > self.left && x < self.right && y > self.top && y < self.bottom
    }
}

/// Values on a grid of square cells; a value stands at the grid's knots, in between it is linear.
pub struct Grid<const N: usize> {
    left: f32,
    top: f32,
    per_mm: f32,
    pub columns: usize,
    pub rows: usize,
    pub values: Vec<[f32; N]>,
}

impl<const N: usize> Grid<N> {
    pub fn new(bounds: &Bounds, cell_mm: f64) -> Grid<N> {
        let columns = ((bounds.right - bounds.left) / cell_mm).ceil() as usize + 2;
        let rows = ((bounds.bottom - bounds.top) / cell_mm).ceil() as usize + 2;
        Grid {
            left: bounds.left as f32,
            top: bounds.top as f32,
            per_mm: (1.0 / cell_mm) as f32,
            columns,
            rows,
            values: vec![[0.0; N]; columns * rows],
        }
    }

    /// The place of a knot, mm.
    pub fn knot(&self, column: usize, row: usize) -> [f32; 2] {
        [self.left + column as f32 / self.per_mm, self.top + row as f32 / self.per_mm]
    }

    pub fn cell_mm(&self) -> f64 {
        1.0 / f64::from(self.per_mm)
    }

    /// Outside the grid its border counts.
    #[inline]
    pub fn at(&self, x: f32, y: f32) -> [f32; N] {
        let u = ((x - self.left) * self.per_mm).clamp(0.0, (self.columns - 1) as f32 - 0.001);
        let v = ((y - self.top) * self.per_mm).clamp(0.0, (self.rows - 1) as f32 - 0.001);
        let (u0, v0) = (u as usize, v as usize);
        let (fu, fv) = (u - u0 as f32, v - v0 as f32);
        let at = v0 * self.columns + u0;
        let values: &[[f32; N]] = &self.values;
        let (a, b) = (&values[at], &values[at + 1]);
        let (c, d) = (&values[at + self.columns], &values[at + self.columns + 1]);
        let (mut out, mut n) = ([0.0; N], 0);
        while n < N {
            let upper = a[n] + (b[n] - a[n]) * fu;
            let lower = c[n] + (d[n] - c[n]) * fu;
            out[n] = upper + (lower - upper) * fv;
            n += 1;
        }
        out
    }

    /// Fills channel 0 with the distance to the rings, mm; negative inside (even–odd, so a ring in a ring is an island).
    pub fn fill_distance(&mut self, rings: &[Vec<Mm>]) {
        let edges: Vec<[f32; 4]> = rings
            .iter()
            .flat_map(|ring| sides(ring))
            .map(|(a, b)| [a[0] as f32, a[1] as f32, b[0] as f32, b[1] as f32])
            .collect();
        if edges.is_empty() {
            self.values.iter_mut().for_each(|value| value[0] = 1_000.0);
            return;
        }
        const BLOCK: usize = 8;
        let runs: Vec<Run> = edges.chunks(6).map(Run::new).collect();
        for top in (0..self.rows).step_by(BLOCK) {
            for left in (0..self.columns).step_by(BLOCK) {
                self.fill_block(&runs, left, top, BLOCK);
            }
        }
        for row in 0..self.rows {
            self.sign_row(&edges, row);
        }
    }

    /// Only edges that can be nearest to some cell of a block are looked at for each of its cells.
    fn fill_block(&mut self, runs: &[Run], left: usize, top: usize, block: usize) {
        let half = block as f32 / 2.0 / self.per_mm;
        let [x, y] = self.knot(left, top);
        let away = |run: &Run| (run.middle[0] - x - half).hypot(run.middle[1] - y - half);
        let nearest = runs.iter().fold(f32::MAX, |least, run| least.min(away(run) + run.radius));
        let reach = nearest + 2.0 * half * std::f32::consts::SQRT_2 + 1e-3;
        let close: Vec<[f32; 4]> = runs
            .iter()
            .filter(|run| away(run) - run.radius <= reach)
            .flat_map(|run| run.edges.iter().copied())
            .collect();
        for row in top..(top + block).min(self.rows) {
            for column in left..(left + block).min(self.columns) {
                let [x, y] = self.knot(column, row);
                let (mut least, mut n) = (f32::MAX, 0);
                while n < close.len() {
                    least = least.min(distance_to(&close[n], x, y));
                    n += 1;
                }
                self.values[row * self.columns + column][0] = least;
            }
        }
    }

    fn sign_row(&mut self, edges: &[[f32; 4]], row: usize) {
        let [_, y] = self.knot(0, row);
        let mut crossings: Vec<f32> = edges
            .iter()
            .filter(|[_, y0, _, y1]| (*y0 > y) != (*y1 > y))
            .map(|[x0, y0, x1, y1]| x0 + (x1 - x0) * (y - y0) / (y1 - y0))
            .collect();
        crossings.sort_by(f32::total_cmp);
        let mut passed = 0;
        for column in 0..self.columns {
            let [x, _] = self.knot(column, row);
            while passed < crossings.len() && crossings[passed] <= x {
                passed += 1;
            }
            if passed % 2 == 1 {
                self.values[row * self.columns + column][0] *= -1.0;
            }
        }
    }
}

/// Some edges in a row, and a circle that holds them.
struct Run<'e> {
    edges: &'e [[f32; 4]],
    middle: [f32; 2],
    radius: f32,
}

impl Run<'_> {
    fn new(edges: &[[f32; 4]]) -> Run<'_> {
        let middle = [edges[edges.len() / 2][0], edges[edges.len() / 2][1]];
        let far = |x: f32, y: f32| (x - middle[0]).hypot(y - middle[1]);
        let radius =
            edges.iter().fold(0.0_f32, |most, [x0, y0, x1, y1]| most.max(far(*x0, *y0)).max(far(*x1, *y1)));
        Run { edges, middle, radius }
    }
}

#[inline]
fn distance_to([x0, y0, x1, y1]: &[f32; 4], x: f32, y: f32) -> f32 {
    let (dx, dy) = (x1 - x0, y1 - y0);
    let squared = dx * dx + dy * dy;
    let along = if squared > 0.0 { (((x - x0) * dx + (y - y0) * dy) / squared).clamp(0.0, 1.0) } else { 0.0 };
    let (ox, oy) = (x - x0 - along * dx, y - y0 - along * dy);
    (ox * ox + oy * oy).sqrt()
}
