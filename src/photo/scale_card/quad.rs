//! The four-sided figure that fits tightest around a dark patch.

pub(super) type Quad = [[f64; 2]; 4];

fn cross(o: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])
}

/// Corners of the convex figure around the points, turning the same way as x to y.
pub(super) fn hull(mut points: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    points.dedup();
    let mut around: Vec<[f64; 2]> = Vec::with_capacity(64);
    let mut half = |points: &mut dyn Iterator<Item = &[f64; 2]>| {
        let begun = around.len();
        for point in points {
            while around.len() >= begun + 2
                && cross(around[around.len() - 2], around[around.len() - 1], *point) <= 0.0
            {
                around.pop();
            }
            around.push(*point);
        }
        around.pop();
    };
    half(&mut points.iter());
    half(&mut points.iter().rev());
    around
}

pub(super) fn area(points: &[[f64; 2]]) -> f64 {
    let next = points.iter().cycle().skip(1);
    points.iter().zip(next).map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum::<f64>() / 2.0
}

pub(super) fn sides(quad: &Quad) -> [f64; 4] {
    std::array::from_fn(|at| {
        let ([ax, ay], [bx, by]) = (quad[at], quad[(at + 1) % 4]);
        (bx - ax).hypot(by - ay)
    })
}

pub(super) fn mean_side(quad: &Quad) -> f64 {
    sides(quad).iter().sum::<f64>() / 4.0
}

/// Takes sides away from a convex figure, always the one whose loss adds least, until four are left. Sides that a rounded or
/// hidden corner adds go first. `None`: fewer than four sides, or sides that never meet.
pub(super) fn four_sides(mut figure: Vec<[f64; 2]>) -> Option<Quad> {
    while figure.len() > 4 {
        let count = figure.len();
        let (_, side, corner) = (0..count)
            .filter_map(|side| {
                let at = |step: usize| figure[(side + step) % count];
                let corner = meeting(at(0), at(1), at(3), at(2))?;
                let added = cross(at(1), corner, at(2)).abs();
                Some((added, side, corner))
            })
            .min_by(|a, b| a.0.total_cmp(&b.0))?;
        figure[(side + 1) % count] = corner;
        figure.remove((side + 2) % count);
    }
    figure.try_into().ok()
}

/// Where the line from `a` through `b` and the line from `d` through `c` meet beyond `b` and `c`.
fn meeting(a: [f64; 2], b: [f64; 2], d: [f64; 2], c: [f64; 2]) -> Option<[f64; 2]> {
    let (u, v) = ([b[0] - a[0], b[1] - a[1]], [c[0] - d[0], c[1] - d[1]]);
    let turn = u[0] * v[1] - u[1] * v[0];
    // Two sides that turn by half a turn or more never meet.
    if turn.abs() < 1e-9 {
        return None;
    }
    let along = ((d[0] - b[0]) * v[1] - (d[1] - b[1]) * v[0]) / turn;
    let back = ((d[0] - b[0]) * u[1] - (d[1] - b[1]) * u[0]) / turn;
    (along >= 0.0 && back >= 1.0).then_some([b[0] + along * u[0], b[1] + along * u[1]])
}
