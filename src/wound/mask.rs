//! Regions of a view: distances to them, smoothing, the connected part at a place, holes.

/// One truth for each pixel, by rows.
#[derive(Clone, PartialEq, Eq)]
pub(in crate::wound) struct Mask {
    pub(in crate::wound) width: usize,
    pub(in crate::wound) height: usize,
    pub(in crate::wound) cells: Vec<bool>,
}

impl Mask {
    pub(in crate::wound) fn new(width: usize, height: usize, cells: Vec<bool>) -> Mask {
        debug_assert_eq!(cells.len(), width * height);
        Mask { width, height, cells }
    }

    pub(in crate::wound) fn count(&self) -> usize {
        self.cells.iter().filter(|cell| **cell).count()
    }

    pub(in crate::wound) fn inverted(&self) -> Mask {
        Mask { cells: self.cells.iter().map(|cell| !cell).collect(), ..*self }
    }

    /// Every pixel's distance to the nearest one of the mask, px; infinite when it is empty.
    ///
    /// Exact, in two passes over rows and columns (Felzenszwalb and Huttenlocher 2012, Theory of Computing 8:415).
    pub(in crate::wound) fn distances(&self) -> Vec<f32> {
        let (width, height) = (self.width, self.height);
        let far = (width + height) as f32;
        let mut squared = vec![0.0f32; width * height];
        let mut column = vec![0.0f32; height];
        for x in 0..width {
            let mut since = far;
            for (y, far_above) in column.iter_mut().enumerate() {
                since = if self.cells[y * width + x] { 0.0 } else { since + 1.0 };
                *far_above = since;
            }
            since = far;
            for y in (0..height).rev() {
                since = if self.cells[y * width + x] { 0.0 } else { since + 1.0 };
                let nearest = column[y].min(since);
                squared[y * width + x] = nearest * nearest;
            }
        }
        let mut row = vec![0.0f32; width];
        let mut envelope = Envelope::new(width);
        for line in squared.chunks_exact_mut(width) {
            row.copy_from_slice(line);
            envelope.lower(&row, line);
        }
        if self.cells.iter().any(|cell| *cell) {
            squared.into_iter().map(f32::sqrt).collect()
        } else {
            vec![f32::INFINITY; width * height]
        }
    }

    /// Every pixel within a distance of the mask, px.
    pub(in crate::wound) fn grown(&self, by_px: f32) -> Mask {
        let cells = self.distances().into_iter().map(|far| far <= by_px).collect();
        Mask { cells, ..*self }
    }

    pub(in crate::wound) fn shrunk(&self, by_px: f32) -> Mask {
        self.inverted().grown(by_px).inverted()
    }

    /// The part connected (by sides) with a pixel; empty where that pixel is not in the mask.
    pub(in crate::wound) fn part_at(&self, x: usize, y: usize) -> Mask {
        let mut part = vec![false; self.cells.len()];
        let start = y * self.width + x;
        if self.cells[start] {
            self.flood(start, &mut part);
        }
        Mask { cells: part, ..*self }
    }

    fn flood(&self, start: usize, part: &mut [bool]) -> usize {
        let mut stack = vec![start];
        part[start] = true;
        let mut count = 0;
        while let Some(at) = stack.pop() {
            count += 1;
            let x = at % self.width;
            let next = [
                (x > 0).then(|| at - 1),
                (x + 1 < self.width).then(|| at + 1),
                at.checked_sub(self.width),
                (at + self.width < self.cells.len()).then_some(at + self.width),
            ];
            for other in next.into_iter().flatten() {
                if self.cells[other] && !part[other] {
                    part[other] = true;
                    stack.push(other);
                }
            }
        }
        count
    }

    /// Keeps only the connected parts that pass.
    pub(in crate::wound) fn keep_parts(&mut self, passes: impl Fn(&Part) -> bool) {
        let mut taken = vec![false; self.cells.len()];
        for start in 0..self.cells.len() {
            if self.cells[start] && !taken[start] {
                let part = Part { width: self.width, cells: self.flood_list(start, &mut taken) };
                if !passes(&part) {
                    part.cells.iter().for_each(|at| self.cells[*at] = false);
                }
            }
        }
    }

    fn flood_list(&self, start: usize, taken: &mut [bool]) -> Vec<usize> {
        let mut list = vec![start];
        taken[start] = true;
        let mut next = 0;
        while let Some(&at) = list.get(next) {
            next += 1;
            let (x, y) = (at % self.width, at / self.width);
            for v in y.saturating_sub(1)..=(y + 1).min(self.height - 1) {
                for u in x.saturating_sub(1)..=(x + 1).min(self.width - 1) {
                    let other = v * self.width + u;
                    if self.cells[other] && !taken[other] {
                        taken[other] = true;
                        list.push(other);
                    }
                }
            }
        }
        list
    }

    /// All connected parts, the largest first, each with its pixel count.
    pub(in crate::wound) fn parts(&self) -> Vec<(usize, Mask)> {
        let mut taken = vec![false; self.cells.len()];
        let mut parts = Vec::new();
        for start in 0..self.cells.len() {
            if self.cells[start] && !taken[start] {
                let mut part = vec![false; self.cells.len()];
                let count = self.flood(start, &mut part);
                for (taken, mine) in taken.iter_mut().zip(&part) {
                    *taken |= mine;
                }
                parts.push((count, Mask { cells: part, ..*self }));
            }
        }
        parts.sort_by_key(|(count, _)| std::cmp::Reverse(*count));
        parts
    }

    /// What the mask encloses and is no part of it.
    pub(in crate::wound) fn holes(&self) -> Mask {
        let (width, height) = (self.width + 2, self.height + 2);
        let mut free = vec![true; width * height];
        for y in 0..self.height {
            for x in 0..self.width {
                free[(y + 1) * width + x + 1] = !self.cells[y * self.width + x];
            }
        }
        let around = Mask { width, height, cells: free }.part_at(0, 0);
        let enclosed =
            |x: usize, y: usize| !self.cells[y * self.width + x] && !around.cells[(y + 1) * width + x + 1];
        let cells = (0..self.height).flat_map(|y| (0..self.width).map(move |x| (x, y)));
        Mask { cells: cells.map(|(x, y)| enclosed(x, y)).collect(), ..*self }
    }

    pub(in crate::wound) fn with(&self, other: &Mask) -> Mask {
        let cells = self.cells.iter().zip(&other.cells).map(|(a, b)| *a || *b).collect();
        Mask { cells, ..*self }
    }

    /// Share of what either holds that both hold, 0–1; 0 of nothing.
    pub(in crate::wound) fn overlap(&self, other: &Mask) -> f32 {
        let (mut both, mut either) = (0u32, 0u32);
        for (a, b) in self.cells.iter().zip(&other.cells) {
            both += u32::from(*a && *b);
            either += u32::from(*a || *b);
        }
        if either == 0 { 0.0 } else { both as f32 / either as f32 }
    }

    /// Whether the mask reaches the outermost pixels.
    pub(in crate::wound) fn touches_border(&self) -> bool {
        let (width, height) = (self.width, self.height);
        let on_border = |at: usize| {
            let (x, y) = (at % width, at / width);
            x == 0 || y == 0 || x + 1 == width || y + 1 == height
        };
        self.cells.iter().enumerate().any(|(at, cell)| *cell && on_border(at))
    }
}

/// The pixels of one connected part (corners count as connected).
pub(in crate::wound) struct Part {
    width: usize,
    pub(in crate::wound) cells: Vec<usize>,
}

impl Part {
    /// Diagonal of the box around it, px.
    pub(in crate::wound) fn extent_px(&self) -> f32 {
        let span = |of: &dyn Fn(usize) -> usize| {
            let low = self.cells.iter().map(|at| of(*at)).min().unwrap_or(0);
            let high = self.cells.iter().map(|at| of(*at)).max().unwrap_or(0);
            (high - low + 1) as f32
        };
        span(&|at| at % self.width).hypot(span(&|at| at / self.width))
    }

    /// Share of it that lies in a mask, 0–1.
    pub(in crate::wound) fn inside(&self, mask: &Mask) -> f32 {
        self.cells.iter().filter(|at| mask.cells[**at]).count() as f32 / self.cells.len() as f32
    }
}

/// Lower envelope of parabolas, for one row at a time.
struct Envelope {
    at: Vec<usize>,
    from: Vec<f32>,
}

impl Envelope {
    fn new(width: usize) -> Envelope {
        Envelope { at: vec![0; width], from: vec![0.0; width + 1] }
    }

    fn lower(&mut self, heights: &[f32], out: &mut [f32]) {
        let meet = |a: usize, b: usize| {
            let (fa, fb) = (a as f32, b as f32);
            ((heights[b] + fb * fb) - (heights[a] + fa * fa)) / (2.0 * (fb - fa))
        };
        let mut last = 0;
        self.at[0] = 0;
        self.from[0] = f32::NEG_INFINITY;
        for place in 1..heights.len() {
            let mut start = meet(self.at[last], place);
            while last > 0 && start <= self.from[last] {
                last -= 1;
                start = meet(self.at[last], place);
            }
            if start > self.from[last] {
                last += 1;
                self.at[last] = place;
                self.from[last] = start;
            } else {
                self.at[last] = place;
            }
        }
        let count = last + 1;
        let mut part = 0;
        for (x, value) in out.iter_mut().enumerate() {
            while part + 1 < count && self.from[part + 1] < x as f32 {
                part += 1;
            }
            let apart = x as f32 - self.at[part] as f32;
            *value = apart * apart + heights[self.at[part]];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn mask(rows: &[&str]) -> Mask {
        let cells = rows.iter().flat_map(|row| row.chars().map(|cell| cell == '#')).collect();
        Mask::new(rows[0].len(), rows.len(), cells)
    }

    proptest! {
        #[test]
        fn a_distance_is_the_one_to_the_nearest_pixel(cells in proptest::collection::vec(proptest::bool::weighted(0.1), 17 * 11)) {
            let mask = Mask::new(17, 11, cells);
            let inside: Vec<usize> = (0..17 * 11).filter(|at| mask.cells[*at]).collect();
            for (at, far) in mask.distances().into_iter().enumerate() {
                let apart = |other: &usize| {
                    ((at % 17) as f32 - (other % 17) as f32).hypot((at / 17) as f32 - (other / 17) as f32)
                };
                let nearest = inside.iter().map(apart).fold(f32::INFINITY, f32::min);
                prop_assert!(far == nearest || (far - nearest).abs() < 1e-3, "{at}: {far}, not {nearest}");
            }
        }

        #[test]
        fn growing_and_shrinking_hold_each_other(cells in proptest::collection::vec(any::<bool>(), 12 * 9)) {
            let mask = Mask::new(12, 9, cells);
            let grown = mask.grown(1.5);
            prop_assert!(mask.cells.iter().zip(&grown.cells).all(|(before, after)| !before || *after));
            let shrunk = mask.shrunk(1.5);
            prop_assert!(shrunk.cells.iter().zip(&mask.cells).all(|(after, before)| !after || *before));
        }
    }

    #[test]
    fn a_hole_is_enclosed_and_a_bay_is_not() {
        let ring = mask(&[".....", ".###.", ".#.#.", ".###.", "....."]);
        assert_eq!(ring.holes().count(), 1);
        assert!(ring.holes().cells[12]);
        let bay = mask(&[".....", ".#.#.", ".#.#.", ".###.", "....."]);
        assert_eq!(bay.holes().count(), 0);
        let filled_to_the_border = mask(&["###", "#.#", "###"]);
        assert_eq!(filled_to_the_border.holes().count(), 1);
    }

    #[test]
    fn parts_are_joined_by_sides_and_the_largest_comes_first() {
        let two = mask(&["##...", "##...", "..###", "..###"]);
        let parts = two.parts();
        assert_eq!(parts.iter().map(|(count, _)| *count).collect::<Vec<usize>>(), [6, 4]);
        assert_eq!(two.part_at(0, 0).count(), 4);
        assert_eq!(two.part_at(4, 0).count(), 0);
    }

    #[test]
    fn only_parts_that_pass_are_kept() {
        let mut lines = mask(&["#####", ".....", "#...."]);
        lines.keep_parts(|part| part.extent_px() > 3.0);
        assert!(lines == mask(&["#####", ".....", "....."]));
    }

    #[test]
    fn overlap_is_the_shared_part_of_both() {
        let (left, right) = (mask(&["##.."]), mask(&[".##."]));
        assert!((left.overlap(&right) - 1.0 / 3.0).abs() < 1e-6);
        assert_eq!(mask(&["...."]).overlap(&mask(&["...."])), 0.0);
    }

    #[derive(serde::Deserialize)]
    struct Kept {
        distances: Vec<KeptDistances>,
    }

    #[derive(serde::Deserialize)]
    struct KeptDistances {
        seed: u64,
        width: usize,
        height: usize,
        one_in: u64,
        squared: Vec<u32>,
    }

    /// Exact distances as scipy finds them (`tests/outside/wound/check.py`).
    #[test]
    fn distances_are_those_of_another_program() {
        let kept: Kept = serde_json::from_str(include_str!("../../tests/truth/grids.json")).unwrap();
        assert!(kept.distances.len() >= 5);
        for KeptDistances { seed, width, height, one_in, squared } in kept.distances {
            let mut state = seed;
            let mut hit = || {
                state = (state * 1_103_515_245 + 12_345) % (1 << 31);
                (state >> 16).is_multiple_of(one_in)
            };
            let mask = Mask::new(width, height, (0..width * height).map(|_| hit()).collect());
            for (found, squared) in mask.distances().into_iter().zip(squared) {
                assert!((found - (squared as f32).sqrt()).abs() < 1e-4, "{width} by {height}: {found}");
            }
        }
    }
}
