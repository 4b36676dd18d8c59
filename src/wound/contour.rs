//! The border of a region as a closed line, between pixels where its value crosses one half.

/// A place in view pixels: the middle of the first pixel is (0, 0).
pub(in crate::wound) type Place = [f32; 2];

/// Every closed line along which a field crosses `level`, by marching squares. What lies above stands to one side
/// throughout; the field is taken to be below `level` outside.
pub(in crate::wound) fn closed_lines(
    field: &[f32],
    width: usize,
    height: usize,
    level: f32,
) -> Vec<Vec<Place>> {
    let value = |x: isize, y: isize| {
        let inside = x >= 0 && y >= 0 && (x as usize) < width && (y as usize) < height;
        if inside { field[y as usize * width + x as usize] } else { level - 1.0 }
    };
    // Crossings lie on the edges between pixel middles: edge (x, y, 0) leads right, (x, y, 1) leads down.
    let stride = width + 2;
    let key = |x: isize, y: isize, down: usize| 2 * ((y + 1) as usize * stride + (x + 1) as usize) + down;
    let mut next = vec![u32::MAX; 2 * stride * (height + 2)];
    for y in -1..height as isize {
        for x in -1..width as isize {
            let corners = [value(x, y), value(x + 1, y), value(x + 1, y + 1), value(x, y + 1)];
            let sides = [key(x, y, 0), key(x + 1, y, 1), key(x, y + 1, 0), key(x, y, 1)];
            for (from, to) in crossings(corners, level) {
                next[sides[from]] = sides[to] as u32;
            }
        }
    }
    let place = |key: usize| {
        let (cell, down) = (key / 2, key % 2);
        let (x, y) = ((cell % stride) as isize - 1, (cell / stride) as isize - 1);
        let (a, b) = (value(x, y), if down == 1 { value(x, y + 1) } else { value(x + 1, y) });
        let along = ((level - a) / (b - a)).clamp(0.0, 1.0);
        if down == 1 { [x as f32, y as f32 + along] } else { [x as f32 + along, y as f32] }
    };
    let mut lines = Vec::new();
    for start in 0..next.len() {
        let mut line = Vec::new();
        let mut at = start;
        while next[at] != u32::MAX {
            line.push(place(at));
            at = std::mem::replace(&mut next[at], u32::MAX) as usize;
        }
        if line.len() >= 3 {
            lines.push(line);
        }
    }
    lines
}

/// Which sides of a square (top, right, bottom, left) are joined, with what is above on the left hand.
fn crossings(corners: [f32; 4], level: f32) -> impl Iterator<Item = (usize, usize)> {
    const NONE: (usize, usize) = (4, 4);
    let above = corners.map(|corner| corner >= level);
    let code = (0..4).fold(0, |code, at| code | usize::from(above[at]) << at);
    let middle_above = corners.iter().sum::<f32>() / 4.0 >= level;
    // Corner order: top left, top right, bottom right, bottom left.
    let pairs = match code {
        1 => [(0, 3), NONE],
        2 => [(1, 0), NONE],
        3 => [(1, 3), NONE],
        4 => [(2, 1), NONE],
        5 if middle_above => [(0, 1), (2, 3)],
        5 => [(0, 3), (2, 1)],
        6 => [(2, 0), NONE],
        7 => [(2, 3), NONE],
        8 => [(3, 2), NONE],
        9 => [(0, 2), NONE],
        10 if middle_above => [(3, 0), (1, 2)],
        10 => [(1, 0), (3, 2)],
        11 => [(1, 2), NONE],
        12 => [(3, 1), NONE],
        13 => [(0, 1), NONE],
        14 => [(3, 0), NONE],
        _ => [NONE, NONE],
    };
    pairs.into_iter().filter(|pair| *pair != NONE)
}

/// Twice the area a line encloses, px², positive one way round and negative the other.
pub(in crate::wound) fn twice_area(line: &[Place]) -> f32 {
    line.iter().zip(line.iter().cycle().skip(1)).map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum()
}

/// A line with fewer points, none of the left-out ones farther than `within` from it (Douglas and Peucker 1973).
pub(in crate::wound) fn thinned(line: &[Place], within: f32) -> Vec<Place> {
    if line.len() < 4 {
        return line.to_vec();
    }
    let far = (0..line.len())
        .max_by(|a, b| apart(line[0], line[*a]).total_cmp(&apart(line[0], line[*b])))
        .unwrap_or(0);
    let mut keep = vec![false; line.len()];
    keep[0] = true;
    keep[far] = true;
    let mut spans = vec![(0, far), (far, line.len())];
    while let Some((from, to)) = spans.pop() {
        let (a, b) = (line[from], line[to % line.len()]);
        let off = |at: usize| from_side(line[at], a, b);
        let Some(worst) = (from + 1..to).max_by(|x, y| off(*x).total_cmp(&off(*y))) else { continue };
        if off(worst) > within {
            keep[worst] = true;
            spans.push((from, worst));
            spans.push((worst, to));
        }
    }
    line.iter().zip(keep).filter(|(_, keep)| *keep).map(|(place, _)| *place).collect()
}

fn apart(a: Place, b: Place) -> f32 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

fn from_side(at: Place, a: Place, b: Place) -> f32 {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let squared = dx * dx + dy * dy;
    let along = if squared > 0.0 { ((at[0] - a[0]) * dx + (at[1] - a[1]) * dy) / squared } else { 0.0 };
    let along = along.clamp(0.0, 1.0);
    apart(at, [a[0] + along * dx, a[1] + along * dy])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn field(side: usize, value: impl Fn(f32, f32) -> f32) -> Vec<f32> {
        (0..side * side).map(|at| value((at % side) as f32, (at / side) as f32)).collect()
    }

    #[test]
    fn the_line_around_a_disc_encloses_its_area() {
        let disc = field(60, |x, y| 12.0 - (x - 30.0).hypot(y - 29.0));
        let lines = closed_lines(&disc, 60, 60, 0.0);
        assert_eq!(lines.len(), 1);
        let area = twice_area(&lines[0]).abs() / 2.0;
        assert!((area / (std::f32::consts::PI * 144.0) - 1.0).abs() < 0.002, "{area}");
    }

    #[test]
    fn a_hole_turns_the_other_way() {
        let ring = field(60, |x, y| {
            let far = (x - 30.0).hypot(y - 30.0);
            (far - 6.0).min(20.0 - far)
        });
        let lines = closed_lines(&ring, 60, 60, 0.0);
        assert_eq!(lines.len(), 2);
        assert!(twice_area(&lines[0]) * twice_area(&lines[1]) < 0.0);
    }

    #[test]
    fn what_reaches_the_border_is_closed_there() {
        let lines = closed_lines(&field(10, |_, _| 1.0), 10, 10, 0.5);
        assert_eq!(lines.len(), 1);
        // Pixel middles span 9 px; the value falls by 1.5 from the last middle to half-way outside.
        assert!((80.0..=110.0).contains(&(twice_area(&lines[0]).abs() / 2.0)));
    }

    #[test]
    fn two_corners_that_touch_make_closed_lines_all_the_same() {
        let saddle = field(4, |x, y| if (x < 2.0) == (y < 2.0) { 1.0 } else { 0.0 });
        for line in closed_lines(&saddle, 4, 4, 0.5) {
            let (first, last) = (line[0], line[line.len() - 1]);
            assert!(apart(first, last) < 1.6, "{line:?}");
        }
    }

    #[test]
    fn a_thinned_line_stays_near_and_has_fewer_points() {
        let round: Vec<Place> = (0..720)
            .map(|step| (step as f32 * 0.5).to_radians())
            .map(|turn| [20.0 * turn.cos(), 20.0 * turn.sin()])
            .collect();
        let thin = thinned(&round, 0.05);
        assert!(thin.len() < 100 && thin.len() > 20, "{}", thin.len());
        let off = |at: &Place| {
            thin.iter()
                .zip(thin.iter().cycle().skip(1))
                .map(|(a, b)| from_side(*at, *a, *b))
                .fold(f32::INFINITY, f32::min)
        };
        assert!(round.iter().map(off).fold(0.0, f32::max) <= 0.0501);
    }
}
