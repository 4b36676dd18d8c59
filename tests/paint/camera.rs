//! Where the camera stands, and where a place on the skin lands in the picture.

use closewatch::photo::Matrix;
use closewatch::photo::MmPoint;
use closewatch::photo::PxPoint;
use closewatch::photo::SkinPlane;

use super::field::Bounds;
use super::shape::Mm;
use super::wish::Wish;

/// A pinhole camera before the skin plane.
#[derive(Clone, Debug)]
pub struct Camera {
    pub plane: SkinPlane,
    pub f_px: f64,
    pub width: usize,
    pub height: usize,
    pub distance_mm: f64,
}

/// How the picture is taken.
#[derive(Clone, Copy)]
pub struct Stand {
    pub distance_mm: f64,
    /// The place on the skin that is looked at.
    pub aim: Mm,
    /// Where that place lands, px from the middle.
    pub off_px: Mm,
}

impl Camera {
    pub fn new(wish: &Wish, longest_px: usize, stand: Stand) -> Camera {
        let shortest_px = longest_px * 3 / 4;
        let (width, height) =
            if wish.portrait { (shortest_px, longest_px) } else { (longest_px, shortest_px) };
        // Phones give the focal length as if the picture's long side were the 36 mm of a film frame.
        let f_px = f64::from(wish.focal_35mm) / 36.0 * longest_px as f64;
        let h = homography(wish, f_px, [width as f64 / 2.0, height as f64 / 2.0], &stand);
        let plane = SkinPlane::from_mm_to_px(h).expect("a camera before the skin sees it as a plane");
        Camera { plane, f_px, width, height, distance_mm: stand.distance_mm }
    }

    pub fn px(&self, at: Mm) -> Mm {
        let PxPoint { x_px, y_px } = self.plane.to_px(MmPoint { x_mm: at[0], y_mm: at[1] });
        [x_px, y_px]
    }

    pub fn mm(&self, at: Mm) -> Mm {
        let MmPoint { x_mm, y_mm } = self.plane.to_mm(PxPoint { x_px: at[0], y_px: at[1] });
        [x_mm, y_mm]
    }

    pub fn mm_per_px_at(&self, at: Mm) -> f64 {
        self.plane.mm_per_px_at(MmPoint { x_mm: at[0], y_mm: at[1] })
    }

    /// Whether a place is in the picture, `margin` (share of the long side) away from its border.
    pub fn sees(&self, at: Mm, margin: f64) -> bool {
        let m = self.plane.mm_to_px_matrix();
        if m[2][0] * at[0] + m[2][1] * at[1] + m[2][2] <= 0.0 {
            return false;
        }
        let (margin, [x, y]) = (margin * self.width.max(self.height) as f64, self.px(at));
        let within = |at: f64, size: usize| at > margin && at < size as f64 - margin;
        within(x, self.width) && within(y, self.height)
    }

    /// The skin in view, as far as it is no more than `farthest_mm` from the wound.
    pub fn view(&self, farthest_mm: f64) -> Bounds {
        let (w, h) = (self.width as f64, self.height as f64);
        let corners = [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]].map(|corner| self.mm(corner));
        let m = self.plane.mm_to_px_matrix();
        let before = |at: &Mm| m[2][0] * at[0] + m[2][1] * at[1] + m[2][2] > 0.0;
        let whole = corners.iter().all(before);
        let seen = Bounds::around(&corners, 2.0);
        let limit =
            |at: f64, otherwise: f64| if whole { at.clamp(-farthest_mm, farthest_mm) } else { otherwise };
        Bounds {
            left: limit(seen.left, -farthest_mm),
            top: limit(seen.top, -farthest_mm),
            right: limit(seen.right, farthest_mm),
            bottom: limit(seen.bottom, farthest_mm),
        }
    }

    /// The picture turned left for right.
    pub fn mirrored(&self) -> Camera {
        let mut h = *self.plane.mm_to_px_matrix();
        let depth = h[2];
        h[0].iter_mut().zip(depth).for_each(|(x, depth)| *x = self.width as f64 * depth - *x);
        let plane = SkinPlane::from_mm_to_px(h).expect("a mirror image of a plane is a plane");
        Camera { plane, ..self.clone() }
    }
}

/// Skin mm to picture px: roll in the plane, then tilt about an axis in it, then the pinhole.
fn homography(wish: &Wish, f_px: f64, middle: Mm, stand: &Stand) -> Matrix {
    let (sin_roll, cos_roll) = wish.roll.to_radians().sin_cos();
    let (sin, cos) = wish.tilt.to_radians().sin_cos();
    let (ay, ax) = wish.tilt_dir.to_radians().sin_cos();
    // Rodrigues' formula for an axis in the picture's plane.
    let tilt = [
        [cos + ax * ax * (1.0 - cos), ax * ay * (1.0 - cos)],
        [ax * ay * (1.0 - cos), cos + ay * ay * (1.0 - cos)],
        [-ay * sin, ax * sin],
    ];
    let turned = tilt.map(|[x, y]| [x * cos_roll + y * sin_roll, -x * sin_roll + y * cos_roll]);
    let depth = stand.distance_mm;
    let shift = [depth * stand.off_px[0] / f_px, depth * stand.off_px[1] / f_px, depth];
    let camera: [[f64; 3]; 3] = std::array::from_fn(|row| {
        let [x, y] = turned[row];
        [x, y, shift[row] - x * stand.aim[0] - y * stand.aim[1]]
    });
    let mut h: Matrix = std::array::from_fn(|row| match row {
        2 => camera[2],
        _ => std::array::from_fn(|column| f_px * camera[row][column] + middle[row] * camera[2][column]),
    });
    let scale = h[2][2];
    h.as_flattened_mut().iter_mut().for_each(|cell| *cell /= scale);
    h
}
