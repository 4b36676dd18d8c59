//! Which view of the flat card fits the edges found in a picture.

use crate::photo::Matrix;
use crate::photo::MmPoint;
use crate::photo::Picture;
use crate::photo::SkinPlane;
use crate::photo::scale_card::border::Crossing;
use crate::photo::scale_card::border::middle_of;
use crate::photo::scale_card::geometry::TAG_EDGE_MM;
use crate::photo::scale_card::quad::Quad;
use crate::photo::scale_card::solve::Fit;
use crate::photo::scale_card::solve::least_squares;
use crate::photo::scale_card::solve::solved;

/// The plane whose marker has these corners (top left, top right, bottom right, bottom left). `None`: they make no square in
/// any perspective.
pub(super) fn through_corners(corners: &Quad) -> Option<SkinPlane> {
    let half = TAG_EDGE_MM / 2.0;
    let (mut matrix, mut right) = ([[0.0; 8]; 8], [0.0; 8]);
    for (at, (x, y)) in [(-half, -half), (half, -half), (half, half), (-half, half)].into_iter().enumerate() {
        let [u, v] = corners[at];
        matrix[2 * at] = [x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y];
        matrix[2 * at + 1] = [0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y];
        (right[2 * at], right[2 * at + 1]) = (u, v);
    }
    SkinPlane::from_mm_to_px(free_matrix(&solved(matrix, right)?)).ok()
}

fn free_matrix(h: &[f64; 8]) -> Matrix {
    [[h[0], h[1], h[2]], [h[3], h[4], h[5]], [h[6], h[7], 1.0]]
}

/// What a camera with square pixels and its axis through the picture's middle sees.
#[derive(Clone, Copy, Debug)]
pub(super) struct Camera {
    pub middle_px: [f64; 2],
    /// Focal length thought likeliest, px.
    pub focal_px: f64,
    /// How far it may be off: standard deviation of its logarithm.
    pub focal_doubt: f64,
}

/// Long side of a 35 mm film picture, mm, which the focal length in a file refers to.
const FILM_MM: f64 = 36.0;
/// A phone's main lens as if on 35 mm film, mm: 24 to 28 in most; common knowledge, no source.
const USUAL_FOCAL_MM: f64 = 27.0;

impl Camera {
    pub fn of(picture: &Picture, focal_35mm: Option<f64>) -> Camera {
        let (width, height) = (picture.width() as f64, picture.height() as f64);
        let told = focal_35mm.filter(|mm| (5.0..=1_000.0).contains(mm));
        // Some makers go by the picture's long side, some by its diagonal, 4 % apart in a 4:3 picture: the middle of both.
        let (focal_mm, focal_doubt) = told.map_or((USUAL_FOCAL_MM, 0.3), |mm| (mm * 1.02, 0.025));
        let focal_px = focal_mm / FILM_MM * width.max(height);
        Camera { middle_px: [width / 2.0, height / 2.0], focal_px, focal_doubt }
    }
}

/// Between the camera's axis and the normal of a plane, degrees. `None`: no such camera sees that plane.
pub(super) fn tilt_deg(plane: &SkinPlane, camera: &Camera) -> Option<f64> {
    Pose::of(plane, camera).map(|pose| pose.turn[2][2].abs().min(1.0).acos().to_degrees())
}

/// A plane fitted to crossings.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fitted {
    pub plane: SkinPlane,
    /// What the crossings lie off, rms px, outliers left out.
    pub misfit_px: f64,
    /// Focal length it was fitted with, px; `None` for a perspective that supposes no camera.
    pub focal_px: Option<f64>,
}

/// Any perspective at all: eight unknowns, and the spread.
pub(super) fn fit_free(crossings: &[Crossing], start: &SkinPlane, spread: Spread) -> Option<Fitted> {
    let m = start.mm_to_px_matrix();
    let [a, b, c, d, e, f, g, h] =
        [m[0][0], m[0][1], m[0][2], m[1][0], m[1][1], m[1][2], m[2][0], m[2][1]].map(|cell| cell / m[2][2]);
    let begin = [0.0, 0.0, a, b, c, d, e, f, g, h];
    let steps = [1e-3, 1e-3, 1e-5, 1e-5, 1e-3, 1e-5, 1e-5, 1e-3, 1e-8, 1e-8];
    let view = |unknowns: &[f64; 10]| {
        let [_, _, a, b, c, d, e, f, g, h] = *unknowns;
        free_matrix(&[a, b, c, d, e, f, g, h])
    };
    let (fit, misfit_px) = robust(begin, steps, crossings, spread, &view, &|_| None)?;
    let plane = SkinPlane::from_mm_to_px(view(&fit.unknowns)).ok()?;
    Some(Fitted { plane, misfit_px, focal_px: None })
}

/// Whether it is looked for how much darkness is wider than printed: light cut off by burning out, ink that spread, a hand that
/// shook. Edges across the card and edges along it have a spread each; it takes edges inside the marker to tell it from size.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Spread {
    None,
    Sought,
}

/// A flat card before a camera: where it is, how it is turned, the focal length as far as it is in doubt, and the spread.
pub(super) fn fit_camera(
    crossings: &[Crossing],
    start: &SkinPlane,
    camera: &Camera,
    spread: Spread,
) -> Option<Fitted> {
    let pose = Pose::of(start, camera)?;
    let fitted = [pose, pose.tipped_over()].into_iter().filter_map(|pose| {
        let ([a, b, c], [x, y, depth]) = (pose.turn_vector(), pose.at_mm);
        let begin = [0.0, 0.0, a, b, c, x, y, depth, 0.0];
        let steps = [1e-3, 1e-3, 1e-5, 1e-5, 1e-5, depth * 1e-6, depth * 1e-6, depth * 1e-5, 1e-5];
        // Weighed against crossings that are good to about a tenth of a pixel each.
        let doubt = |unknowns: &[f64; 9]| Some(unknowns[8] / camera.focal_doubt * 0.1);
        robust(begin, steps, crossings, spread, &|unknowns| view_of(unknowns, camera), &doubt)
    });
    let (fit, misfit_px) = fitted.min_by(|a, b| a.0.cost.total_cmp(&b.0.cost))?;
    let plane = SkinPlane::from_mm_to_px(view_of(&fit.unknowns, camera)).ok()?;
    let focal_px = Some(camera.focal_px * fit.unknowns[8].exp());
    Some(Fitted { plane, misfit_px, focal_px })
}

fn view_of(unknowns: &[f64; 9], camera: &Camera) -> Matrix {
    let [_, _, a, b, c, x, y, depth, focal] = *unknowns;
    let r = turn([a, b, c]);
    let focal = camera.focal_px * focal.exp();
    let [cx, cy] = camera.middle_px;
    let columns = [[r[0][0], r[1][0], r[2][0]], [r[0][1], r[1][1], r[2][1]], [x, y, depth]];
    let mut matrix = [[0.0; 3]; 3];
    for (at, [x, y, z]) in columns.into_iter().enumerate() {
        matrix[0][at] = focal * x + cx * z;
        matrix[1][at] = focal * y + cy * z;
        matrix[2][at] = z;
    }
    matrix
}

/// Least squares that soon stop listening to what lies far off: three rounds, each with weights from the last.
fn robust<const N: usize>(
    begin: [f64; N],
    steps: [f64; N],
    crossings: &[Crossing],
    spread: Spread,
    view: &dyn Fn(&[f64; N]) -> Matrix,
    doubt: &dyn Fn(&[f64; N]) -> Option<f64>,
) -> Option<(Fit<N>, f64)> {
    if crossings.len() < 2 * N {
        return None;
    }
    // The first two unknowns are the spreads.
    let offs = |unknowns: &[f64; N], out: &mut Vec<f64>| {
        let matrix = view(unknowns);
        let wider = |crossing: &Crossing| match spread {
            Spread::None => 0.0,
            Spread::Sought => unknowns[crossing.edge.direction()],
        };
        out.clear();
        out.extend(crossings.iter().map(|crossing| off_px(&matrix, crossing) - wider(crossing)));
    };
    let mut unknowns = begin;
    let mut weights = vec![1.0; crossings.len()];
    let mut off = Vec::new();
    let mut last = None;
    for _ in 0..4 {
        let fit = least_squares(unknowns, steps, 12, &|unknowns: &[f64; N], out: &mut Vec<f64>| {
            offs(unknowns, out);
            out.iter_mut().zip(&weights).for_each(|(off, weight)| *off *= weight);
            out.extend(doubt(unknowns));
            if spread == Spread::None {
                out.extend([unknowns[0], unknowns[1]]);
            }
        })?;
        unknowns = fit.unknowns;
        offs(&unknowns, &mut off);
        let sizes: Vec<f64> = off.iter().map(|off| off.abs()).collect();
        // 1.4826 makes a median a standard deviation (normal distribution); below 0.03 px all is well.
        let scale = (1.4826 * middle_of(&sizes)).max(0.03);
        // Tukey's weights, square root because they multiply what is squared.
        let limit = 4.0 * scale;
        weights = off.iter().map(|off| (1.0 - (off / limit).powi(2)).max(0.0)).collect();
        last = Some(fit);
    }
    let kept: Vec<f64> =
        off.iter().zip(&weights).filter(|(_, weight)| **weight > 0.0).map(|(off, _)| off * off).collect();
    let misfit_px = (kept.iter().sum::<f64>() / kept.len().max(1) as f64).sqrt();
    last.map(|fit| (fit, misfit_px))
}

/// How far the crossing lies towards the light from where the view puts its edge, px.
fn off_px(matrix: &Matrix, crossing: &Crossing) -> f64 {
    let MmPoint { x_mm, y_mm } = crossing.edge.on_card;
    let [u, v, w] = matrix.map(|row| row[0] * x_mm + row[1] * y_mm + row[2]);
    (crossing.px[0] - u / w) * crossing.normal[0] + (crossing.px[1] - v / w) * crossing.normal[1]
}

/// Where the card is and how it is turned, seen from the camera.
#[derive(Clone, Copy)]
struct Pose {
    turn: Matrix,
    at_mm: [f64; 3],
}

impl Pose {
    fn of(plane: &SkinPlane, camera: &Camera) -> Option<Pose> {
        let m = plane.mm_to_px_matrix();
        let [cx, cy] = camera.middle_px;
        let column = |at: usize| {
            let z = m[2][at];
            [(m[0][at] - cx * z) / camera.focal_px, (m[1][at] - cy * z) / camera.focal_px, z]
        };
        let (a, b, t) = (column(0), column(1), column(2));
        let size = (length(a) * length(b)).sqrt() * t[2].signum();
        let (a, b) = (a.map(|part| part / size), b.map(|part| part / size));
        // The two axes come out neither of unit length nor at right angles: their halving lines do better.
        let sum = unit([a[0] + b[0], a[1] + b[1], a[2] + b[2]])?;
        let difference = [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
        let along = dot(difference, sum);
        let difference = unit(std::array::from_fn(|at| difference[at] - along * sum[at]))?;
        let half = std::f64::consts::FRAC_1_SQRT_2;
        let x: [f64; 3] = std::array::from_fn(|at| (sum[at] + difference[at]) * half);
        let y: [f64; 3] = std::array::from_fn(|at| (sum[at] - difference[at]) * half);
        let z = crossed(x, y);
        let turn = std::array::from_fn(|row| [x[row], y[row], z[row]]);
        let at_mm = t.map(|part| part / size);
        (at_mm.iter().all(|part| part.is_finite()) && at_mm[2] > 0.0).then_some(Pose { turn, at_mm })
    }

    /// The other tilt that looks nearly the same from afar.
    fn tipped_over(&self) -> Pose {
        let sight = unit(self.at_mm).unwrap_or([0.0, 0.0, 1.0]);
        let normal: [f64; 3] = std::array::from_fn(|row| self.turn[row][2]);
        let share = 2.0 * dot(normal, sight);
        let other: [f64; 3] = std::array::from_fn(|at| share * sight[at] - normal[at]);
        let axis = crossed(normal, other);
        let angle = length(axis).atan2(dot(normal, other));
        let step = unit(axis).map_or([0.0; 3], |axis| axis.map(|part| part * angle));
        Pose { turn: multiplied(&turn(step), &self.turn), at_mm: self.at_mm }
    }

    /// The turn as one vector: its axis, as long as its angle in radians.
    fn turn_vector(&self) -> [f64; 3] {
        let r = &self.turn;
        let axis = [r[2][1] - r[1][2], r[0][2] - r[2][0], r[1][0] - r[0][1]];
        let cosine = ((r[0][0] + r[1][1] + r[2][2] - 1.0) / 2.0).clamp(-1.0, 1.0);
        let angle = (length(axis) / 2.0).atan2(cosine);
        if let Some(axis) = unit(axis).filter(|_| length(axis) > 1e-6) {
            return axis.map(|part| part * angle);
        }
        if cosine > 0.0 {
            return [0.0; 3];
        }
        // Half a turn: the axis is the longest column of turn + identity.
        let column = |at: usize| -> [f64; 3] {
            std::array::from_fn(|row| r[row][at] + f64::from(u8::from(row == at)))
        };
        let longest =
            [column(0), column(1), column(2)].into_iter().max_by(|a, b| length(*a).total_cmp(&length(*b)));
        longest.and_then(unit).map_or([0.0; 3], |axis| axis.map(|part| part * std::f64::consts::PI))
    }
}

/// Rodrigues' formula.
fn turn(vector: [f64; 3]) -> Matrix {
    let angle = length(vector);
    let Some([x, y, z]) = unit(vector) else { return [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]] };
    let (sine, cosine) = angle.sin_cos();
    let rest = 1.0 - cosine;
    [
        [cosine + x * x * rest, x * y * rest - z * sine, x * z * rest + y * sine],
        [y * x * rest + z * sine, cosine + y * y * rest, y * z * rest - x * sine],
        [z * x * rest - y * sine, z * y * rest + x * sine, cosine + z * z * rest],
    ]
}

fn multiplied(a: &Matrix, b: &Matrix) -> Matrix {
    std::array::from_fn(|row| std::array::from_fn(|column| (0..3).map(|at| a[row][at] * b[at][column]).sum()))
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn length(a: [f64; 3]) -> f64 {
    dot(a, a).sqrt()
}

fn unit(a: [f64; 3]) -> Option<[f64; 3]> {
    let length = length(a);
    (length > 1e-12).then(|| a.map(|part| part / length))
}

fn crossed(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}
