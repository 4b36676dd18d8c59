//! The cheapest border between two regions of a picture: a minimum cut on the grid of its pixels.
//!
//! Augmenting paths from two search trees that are kept between paths (Boykov and Kolmogorov 2004, IEEE Trans. Pattern
//! Anal. Mach. Intell. 26:1124), on a grid with eight neighbours.

use std::collections::VecDeque;

/// Steps to the eight neighbours as (right, down); a direction and its opposite are four apart.
pub(in crate::wound) const NEIGHBOURS: [(isize, isize); 8] =
    [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1)];

const NO_PARENT: u8 = 255;
const ROOT: u8 = 254;
const ORPHAN: u8 = 253;

#[derive(Clone, Copy, PartialEq, Eq)]
enum Tree {
    Free,
    Inside,
    Outside,
}

/// A grid whose pixels each lean to the inside or the outside, with a price on every border between neighbours.
pub(in crate::wound) struct Grid {
    /// Width with a margin of one pixel on each side, so that every pixel has eight neighbours.
    stride: usize,
    rows: usize,
    /// What still fits through from a pixel to its neighbour, by direction.
    room: Vec<[f32; 8]>,
    /// Above 0: what still fits from the inside's source; below 0: into the outside's sink.
    lean: Vec<f32>,
    steps: [isize; 8],
    tree: Vec<Tree>,
    parent: Vec<u8>,
    /// When the way to the root was last found right, and how long it was.
    seen_at: Vec<u32>,
    far: Vec<u32>,
    clock: u32,
    active: VecDeque<u32>,
    queued: Vec<bool>,
    orphans: Vec<u32>,
}

fn opposite(direction: usize) -> usize {
    (direction + 4) % 8
}

impl Grid {
    pub(in crate::wound) fn new(width: usize, height: usize) -> Grid {
        let stride = width + 2;
        let cells = stride * (height + 2);
        Grid {
            stride,
            rows: height,
            room: vec![[0.0; 8]; cells],
            lean: vec![0.0; cells],
            steps: NEIGHBOURS.map(|(right, down)| right + down * stride as isize),
            tree: vec![Tree::Free; cells],
            parent: vec![NO_PARENT; cells],
            seen_at: vec![0; cells],
            far: vec![0; cells],
            clock: 0,
            active: VecDeque::new(),
            queued: vec![false; cells],
            orphans: Vec::new(),
        }
    }

    fn at(&self, x: usize, y: usize) -> usize {
        (y + 1) * self.stride + x + 1
    }

    /// Positive: what it costs to call the pixel outside; negative: what it costs to call it inside.
    pub(in crate::wound) fn lean(&mut self, x: usize, y: usize, cost: f32) {
        let at = self.at(x, y);
        self.lean[at] = cost;
    }

    /// What a border between a pixel and its neighbour in a direction costs, both ways. The neighbour lies in the grid.
    pub(in crate::wound) fn border(&mut self, x: usize, y: usize, direction: usize, cost: f32) {
        let at = self.at(x, y);
        let other = at.wrapping_add_signed(self.steps[direction]);
        self.room[at][direction] = cost;
        self.room[other][opposite(direction)] = cost;
    }

    /// Cuts, and says of every pixel by rows whether it lies inside.
    pub(in crate::wound) fn cut(mut self) -> Vec<bool> {
        self.plant();
        while let Some(at) = self.next_active() {
            while let Some((from, direction)) = self.grow(at) {
                self.clock += 1;
                self.augment(from, direction);
                self.adopt();
                if self.tree[at] == Tree::Free {
                    break;
                }
            }
        }
        let width = self.stride - 2;
        let inside = |at: usize| self.tree[at] == Tree::Inside;
        (0..self.rows)
            .flat_map(|y| (0..width).map(move |x| (x, y)))
            .map(|(x, y)| inside(self.at(x, y)))
            .collect()
    }

    fn plant(&mut self) {
        for at in 0..self.lean.len() {
            if self.lean[at] != 0.0 {
                self.tree[at] = if self.lean[at] > 0.0 { Tree::Inside } else { Tree::Outside };
                self.parent[at] = ROOT;
                self.far[at] = 1;
                self.wake(at);
            }
        }
    }

    fn wake(&mut self, at: usize) {
        if !self.queued[at] {
            self.queued[at] = true;
            self.active.push_back(at as u32);
        }
    }

    fn next_active(&mut self) -> Option<usize> {
        while let Some(at) = self.active.pop_front() {
            let at = at as usize;
            self.queued[at] = false;
            if self.tree[at] != Tree::Free {
                return Some(at);
            }
        }
        None
    }

    fn step(&self, at: usize, direction: usize) -> usize {
        at.wrapping_add_signed(self.steps[direction])
    }

    /// Lets the tree take in free neighbours. Where it meets the other tree: the pixel on the inside and the
    /// direction to the one on the outside.
    fn grow(&mut self, at: usize) -> Option<(usize, usize)> {
        let mine = self.tree[at];
        for direction in 0..8 {
            let other = self.step(at, direction);
            let room = match mine {
                Tree::Inside => self.room[at][direction],
                Tree::Outside => self.room[other][opposite(direction)],
                Tree::Free => 0.0,
            };
            if room <= 0.0 {
                continue;
            }
            if self.tree[other] == Tree::Free {
                self.tree[other] = mine;
                self.parent[other] = opposite(direction) as u8;
                self.seen_at[other] = self.seen_at[at];
                self.far[other] = self.far[at] + 1;
                self.wake(other);
            } else if self.tree[other] != mine {
                return Some(match mine {
                    Tree::Inside => (at, direction),
                    Tree::Outside | Tree::Free => (other, opposite(direction)),
                });
            } else if self.seen_at[other] <= self.seen_at[at] && self.far[other] > self.far[at] + 1 {
                self.parent[other] = opposite(direction) as u8;
                self.seen_at[other] = self.seen_at[at];
                self.far[other] = self.far[at] + 1;
            }
        }
        None
    }

    /// The least room on the way from a pixel to the root of its tree.
    fn narrowest(&self, mut at: usize, mut least: f32) -> f32 {
        loop {
            let parent = self.parent[at];
            if parent == ROOT {
                return least.min(self.lean[at].abs());
            }
            let above = self.step(at, parent as usize);
            let room = match self.tree[at] {
                Tree::Inside => self.room[above][opposite(parent as usize)],
                Tree::Outside | Tree::Free => self.room[at][parent as usize],
            };
            least = least.min(room);
            at = above;
        }
    }

    fn augment(&mut self, from: usize, direction: usize) {
        let to = self.step(from, direction);
        let flow = self.narrowest(to, self.narrowest(from, self.room[from][direction]));
        self.room[from][direction] -= flow;
        self.room[to][opposite(direction)] += flow;
        for start in [from, to] {
            self.push(start, flow);
        }
    }

    fn push(&mut self, mut at: usize, flow: f32) {
        let inside = self.tree[at] == Tree::Inside;
        loop {
            let parent = self.parent[at];
            if parent == ROOT {
                self.lean[at] += if inside { -flow } else { flow };
                // Rounding must not turn a spent pixel to the other side.
                let spent = if inside { self.lean[at] <= 0.0 } else { self.lean[at] >= 0.0 };
                if spent {
                    self.lean[at] = 0.0;
                    self.orphan(at);
                }
                return;
            }
            let up = parent as usize;
            let above = self.step(at, up);
            let left = if inside {
                self.room[at][up] += flow;
                self.room[above][opposite(up)] -= flow;
                self.room[above][opposite(up)]
            } else {
                self.room[above][opposite(up)] += flow;
                self.room[at][up] -= flow;
                self.room[at][up]
            };
            if left <= 0.0 {
                self.orphan(at);
            }
            at = above;
        }
    }

    fn orphan(&mut self, at: usize) {
        self.parent[at] = ORPHAN;
        self.orphans.push(at as u32);
    }

    /// The way to the root is as long as this; `None`: it ends at an orphan. Marks what it walked.
    fn way_to_root(&mut self, start: usize) -> Option<u32> {
        let mut at = start;
        let mut steps = 0;
        let far = loop {
            if self.seen_at[at] == self.clock {
                break steps + self.far[at];
            }
            match self.parent[at] {
                ROOT => {
                    self.seen_at[at] = self.clock;
                    self.far[at] = 1;
                    break steps + 1;
                }
                ORPHAN | NO_PARENT => return None,
                up => at = self.step(at, up as usize),
            }
            steps += 1;
        };
        let (mut at, mut left) = (start, far);
        while self.seen_at[at] != self.clock {
            self.seen_at[at] = self.clock;
            self.far[at] = left;
            left -= 1;
            at = self.step(at, self.parent[at] as usize);
        }
        Some(far)
    }

    fn adopt(&mut self) {
        while let Some(at) = self.orphans.pop() {
            let at = at as usize;
            let mine = self.tree[at];
            let mut best: Option<(u32, usize)> = None;
            for direction in 0..8 {
                let other = self.step(at, direction);
                if self.tree[other] != mine || self.room_towards(at, other, direction) <= 0.0 {
                    continue;
                }
                if let Some(far) = self.way_to_root(other)
                    && best.is_none_or(|(nearest, _)| far < nearest)
                {
                    best = Some((far, direction));
                }
            }
            match best {
                Some((far, direction)) => {
                    self.parent[at] = direction as u8;
                    self.seen_at[at] = self.clock;
                    self.far[at] = far + 1;
                }
                None => self.set_free(at, mine),
            }
        }
    }

    /// Room on the way from the root through `above` to `at` (inside), or from `at` through `above` (outside).
    fn room_towards(&self, at: usize, above: usize, direction: usize) -> f32 {
        match self.tree[at] {
            Tree::Inside => self.room[above][opposite(direction)],
            Tree::Outside | Tree::Free => self.room[at][direction],
        }
    }

    fn set_free(&mut self, at: usize, mine: Tree) {
        for direction in 0..8 {
            let other = self.step(at, direction);
            if self.tree[other] != mine {
                continue;
            }
            if self.room_towards(at, other, direction) > 0.0 {
                self.wake(other);
            }
            if self.parent[other] as usize == opposite(direction) {
                self.orphan(other);
            }
        }
        self.tree[at] = Tree::Free;
        self.parent[at] = NO_PARENT;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// What a labelling costs.
    fn cost(leans: &[f32], borders: &[[f32; 4]], width: usize, inside: &[bool]) -> f32 {
        let mut sum = 0.0;
        for (at, lean) in leans.iter().enumerate() {
            sum += if inside[at] { (-lean).max(0.0) } else { lean.max(0.0) };
            for (direction, cost) in borders[at].iter().enumerate() {
                if let Some(other) = neighbour(at, direction, width, leans.len())
                    && inside[at] != inside[other]
                {
                    sum += cost;
                }
            }
        }
        sum
    }

    fn neighbour(at: usize, direction: usize, width: usize, count: usize) -> Option<usize> {
        let (right, down) = NEIGHBOURS[direction];
        let x = (at % width).checked_add_signed(right)?;
        let y = (at / width).checked_add_signed(down)?;
        (x < width && y < count / width).then_some(y * width + x)
    }

    fn cut(leans: &[f32], borders: &[[f32; 4]], width: usize) -> Vec<bool> {
        let mut grid = Grid::new(width, leans.len() / width);
        for (at, lean) in leans.iter().enumerate() {
            grid.lean(at % width, at / width, *lean);
            for (direction, cost) in borders[at].iter().enumerate() {
                if neighbour(at, direction, width, leans.len()).is_some() {
                    grid.border(at % width, at / width, direction, *cost);
                }
            }
        }
        grid.cut()
    }

    proptest! {
        /// Against every one of the 4,096 labellings of a small grid.
        #[test]
        fn no_other_border_is_cheaper(
            leans in proptest::collection::vec(-9i8..9, 12),
            borders in proptest::collection::vec(proptest::array::uniform4(0u8..6), 12),
        ) {
            let leans: Vec<f32> = leans.into_iter().map(f32::from).collect();
            let borders: Vec<[f32; 4]> = borders.into_iter().map(|four| four.map(f32::from)).collect();
            let found = cost(&leans, &borders, 4, &cut(&leans, &borders, 4));
            let best = (0..1u32 << 12)
                .map(|bits| (0..12).map(|at| bits >> at & 1 == 1).collect::<Vec<bool>>())
                .map(|inside| cost(&leans, &borders, 4, &inside))
                .fold(f32::INFINITY, f32::min);
            prop_assert_eq!(found, best);
        }
    }

    #[test]
    fn a_grid_without_leaning_is_all_outside() {
        assert_eq!(cut(&[0.0; 6], &[[1.0; 4]; 6], 3), [false; 6]);
    }

    #[derive(serde::Deserialize)]
    struct Kept {
        cuts: Vec<KeptCut>,
    }

    #[derive(serde::Deserialize)]
    struct KeptCut {
        seed: u64,
        width: usize,
        height: usize,
        price: f32,
    }

    /// The price of a minimum cut is the greatest flow, which scipy finds (`tests/outside/wound/check.py`).
    #[test]
    fn a_cut_costs_what_another_program_lets_flow() {
        let kept: Kept = serde_json::from_str(include_str!("../../tests/truth/grids.json")).unwrap();
        assert!(kept.cuts.len() >= 5);
        for KeptCut { seed, width, height, price } in kept.cuts {
            let mut state = seed;
            let mut below = |most: u64| {
                state = (state * 1_103_515_245 + 12_345) % (1 << 31);
                ((state >> 16) % most) as f32
            };
            let (leans, borders): (Vec<f32>, Vec<[f32; 4]>) =
                (0..width * height).map(|_| (below(19) - 9.0, std::array::from_fn(|_| below(6)))).unzip();
            let found = cost(&leans, &borders, width, &cut(&leans, &borders, width));
            assert_eq!(found, price, "{width} by {height}");
        }
    }
}
