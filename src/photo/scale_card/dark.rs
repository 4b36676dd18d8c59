//! Dark patches of a picture that could be a marker's black square, by their outline.

use crate::photo::Picture;

/// The picture at half its size, one grey level a pixel.
pub(super) struct HalfGrey {
    pub width: usize,
    pub height: usize,
    levels: Vec<u8>,
}

impl HalfGrey {
    pub fn of(picture: &Picture) -> HalfGrey {
        let (width, height) = (picture.width() / 2, picture.height() / 2);
        let stride = picture.width() * 3;
        let mut levels = Vec::with_capacity(width * height);
        for rows in picture.rgb().chunks_exact(stride * 2).take(height) {
            let (upper, lower) = rows.split_at(stride);
            let pairs = upper.chunks_exact(6).zip(lower.chunks_exact(6));
            levels.extend(pairs.map(|(a, b)| {
                let sum = |channel: usize| {
                    u32::from(a[channel])
                        + u32::from(a[channel + 3])
                        + u32::from(b[channel])
                        + u32::from(b[channel + 3])
                };
                // Luma weights in 256ths; four pixels.
                ((sum(0) * 54 + sum(1) * 183 + sum(2) * 19) >> 10) as u8
            }));
        }
        HalfGrey { width, height, levels }
    }
}

/// Where the darkness lies in one line of one patch, half-size px, `end` excluded.
#[derive(Clone, Copy)]
struct Run {
    line: u32,
    start: u32,
    end: u32,
}

/// One connected dark patch.
pub(super) struct Patch {
    /// Corners of its leftmost and rightmost pixels, line by line, half-size px.
    pub outline: Vec<[f64; 2]>,
    pub pixels: usize,
}

/// Patches darker than the mean of the square of `reach` px around each of their pixels.
pub(super) fn dark_patches(grey: &HalfGrey, reach: usize, smallest_side: u32) -> Vec<Patch> {
    let runs = dark_runs(grey, reach);
    let owners = joined(&runs, grey.height);
    gathered(&runs, &owners, smallest_side)
}

fn dark_runs(grey: &HalfGrey, reach: usize) -> Vec<Run> {
    let (width, height) = (grey.width, grey.height);
    if width == 0 || height == 0 {
        return Vec::new();
    }
    // Sums over the columns of the lines within reach, moved down line by line.
    let mut columns: Vec<u32> = vec![0; width];
    let line = |y: usize| &grey.levels[y * width..(y + 1) * width];
    for y in 0..reach.min(height) {
        columns.iter_mut().zip(line(y)).for_each(|(sum, level)| *sum += u32::from(*level));
    }
    let mut sums_to: Vec<u32> = vec![0; width + 1];
    let mut runs = Vec::new();
    for y in 0..height {
        if y + reach < height {
            columns.iter_mut().zip(line(y + reach)).for_each(|(sum, level)| *sum += u32::from(*level));
        }
        if y > reach {
            columns.iter_mut().zip(line(y - reach - 1)).for_each(|(sum, level)| *sum -= u32::from(*level));
        }
        for (x, column) in columns.iter().enumerate() {
            sums_to[x + 1] = sums_to[x] + column;
        }
        let lines = (y + reach).min(height - 1) - y.saturating_sub(reach) + 1;
        let is_dark = |x: usize, level: u8| {
            let (left, right) = (x.saturating_sub(reach), (x + reach + 1).min(width));
            let count = ((right - left) * lines) as u32;
            // Darker by a twelfth and two levels than around it: more than noise, less than any printed edge.
            (u32::from(level) + 2) * count * 12 < (sums_to[right] - sums_to[left]) * 11
        };
        runs_of_line(y as u32, line(y), is_dark, &mut runs);
    }
    runs
}

fn runs_of_line(line: u32, levels: &[u8], is_dark: impl Fn(usize, u8) -> bool, runs: &mut Vec<Run>) {
    let mut begun = None;
    for (x, level) in levels.iter().enumerate() {
        match (is_dark(x, *level), begun) {
            (true, None) => begun = Some(x as u32),
            (false, Some(start)) => {
                runs.push(Run { line, start, end: x as u32 });
                begun = None;
            }
            (true, Some(_)) | (false, None) => {}
        }
    }
    if let Some(start) = begun {
        runs.push(Run { line, start, end: levels.len() as u32 });
    }
}

/// For each run the first run of its patch; runs that touch along an edge are one patch.
fn joined(runs: &[Run], height: usize) -> Vec<u32> {
    let mut owners: Vec<u32> = (0..runs.len() as u32).collect();
    let mut line_starts = vec![0; height + 1];
    for run in runs {
        line_starts[run.line as usize + 1] += 1;
    }
    for line in 0..height {
        line_starts[line + 1] += line_starts[line];
    }
    for line in 1..height {
        let (mut above, above_end) = (line_starts[line - 1], line_starts[line]);
        for at in line_starts[line]..line_starts[line + 1] {
            while above < above_end && runs[above].end <= runs[at].start {
                above += 1;
            }
            let mut touching = above;
            while touching < above_end && runs[touching].start < runs[at].end {
                join(&mut owners, touching as u32, at as u32);
                touching += 1;
            }
        }
    }
    (0..runs.len() as u32).map(|at| root(&mut owners, at)).collect()
}

fn root(owners: &mut [u32], mut at: u32) -> u32 {
    while owners[at as usize] != at {
        owners[at as usize] = owners[owners[at as usize] as usize];
        at = owners[at as usize];
    }
    at
}

fn join(owners: &mut [u32], a: u32, b: u32) {
    let (a, b) = (root(owners, a), root(owners, b));
    owners[a.max(b) as usize] = a.min(b);
}

fn gathered(runs: &[Run], owners: &[u32], smallest_side: u32) -> Vec<Patch> {
    struct Extent {
        left: u32,
        right: u32,
        top: u32,
        bottom: u32,
        pixels: usize,
        number: usize,
    }
    let none = Extent { left: u32::MAX, right: 0, top: 0, bottom: 0, pixels: 0, number: usize::MAX };
    let mut extents: Vec<Extent> = Vec::with_capacity(runs.len());
    extents.resize_with(runs.len(), || Extent { ..none });
    for (run, owner) in runs.iter().zip(owners) {
        let extent = &mut extents[*owner as usize];
        if extent.pixels == 0 {
            extent.top = run.line;
        }
        extent.bottom = run.line;
        extent.left = extent.left.min(run.start);
        extent.right = extent.right.max(run.end);
        extent.pixels += (run.end - run.start) as usize;
    }
    let mut patches: Vec<(u32, Vec<[u32; 2]>, usize)> = Vec::new();
    for extent in &mut extents {
        let sides = (extent.right.saturating_sub(extent.left)).min(extent.bottom - extent.top + 1);
        if extent.pixels > 0 && sides >= smallest_side {
            extent.number = patches.len();
            let lines = (extent.bottom - extent.top + 1) as usize;
            patches.push((extent.top, vec![[u32::MAX, 0]; lines], extent.pixels));
        }
    }
    for (run, owner) in runs.iter().zip(owners) {
        if let Some((top, lines, _)) = patches.get_mut(extents[*owner as usize].number) {
            let [left, right] = &mut lines[(run.line - *top) as usize];
            (*left, *right) = ((*left).min(run.start), (*right).max(run.end));
        }
    }
    patches.into_iter().map(|(top, lines, pixels)| Patch { outline: outline(top, &lines), pixels }).collect()
}

fn outline(top: u32, lines: &[[u32; 2]]) -> Vec<[f64; 2]> {
    let mut points = Vec::with_capacity(lines.len() * 4);
    for (line, [left, right]) in (top..).zip(lines) {
        for x in [*left, *right] {
            for y in [line, line + 1] {
                points.push([f64::from(x), f64::from(y)]);
            }
        }
    }
    points
}
