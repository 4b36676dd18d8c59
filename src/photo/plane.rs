//! Where a place in the picture lies on the skin: the plane of the scale card, in millimetres.

use serde::Deserialize;
use serde::Serialize;

/// A place in an upright picture, px; the middle of the first pixel is at (0.5, 0.5), y downwards.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PxPoint {
    pub x_px: f64,
    pub y_px: f64,
}

/// A place on the skin plane, mm; (0, 0) is the middle of the scale card's marker, x to the card's right, y to its foot.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(from = "[f64; 2]", into = "[f64; 2]")]
pub struct MmPoint {
    pub x_mm: f64,
    pub y_mm: f64,
}

impl From<[f64; 2]> for MmPoint {
    fn from([x_mm, y_mm]: [f64; 2]) -> MmPoint {
        MmPoint { x_mm, y_mm }
    }
}

/// Kept to a thousandth of a millimetre: finer is noise.
impl From<MmPoint> for [f64; 2] {
    fn from(point: MmPoint) -> [f64; 2] {
        [point.x_mm, point.y_mm].map(|mm| (mm * 1_000.0).round() / 1_000.0)
    }
}

impl MmPoint {
    pub fn distance_mm(self, other: MmPoint) -> f64 {
        (self.x_mm - other.x_mm).hypot(self.y_mm - other.y_mm)
    }
}

/// A 3 × 3 matrix, by rows.
pub type Matrix = [[f64; 3]; 3];

/// The perspective between a picture and the plane of skin its scale card lies on.
///
/// Invariant: both matrices are finite and inverse to each other.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Matrix", into = "Matrix")]
pub struct SkinPlane {
    mm_from_px: Matrix,
    px_from_mm: Matrix,
}

/// A matrix that flattens the picture to a line or a point.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("this perspective cannot be undone")]
pub struct Flat;

impl SkinPlane {
    /// From the matrix that leads from picture px to skin mm (homogeneous coordinates).
    pub fn from_px_to_mm(mm_from_px: Matrix) -> Result<SkinPlane, Flat> {
        let px_from_mm = inverse(&mm_from_px).ok_or(Flat)?;
        Ok(SkinPlane { mm_from_px, px_from_mm })
    }

    /// From the matrix that leads from skin mm to picture px.
    pub fn from_mm_to_px(px_from_mm: Matrix) -> Result<SkinPlane, Flat> {
        let mm_from_px = inverse(&px_from_mm).ok_or(Flat)?;
        Ok(SkinPlane { mm_from_px, px_from_mm })
    }

    /// Picture px to skin mm, homogeneous.
    pub fn px_to_mm_matrix(&self) -> &Matrix {
        &self.mm_from_px
    }

    /// Skin mm to picture px, homogeneous.
    pub fn mm_to_px_matrix(&self) -> &Matrix {
        &self.px_from_mm
    }

    /// Beyond the horizon of the plane there is no skin; such a place comes out infinite or mirrored, never as a panic.
    pub fn to_mm(&self, at: PxPoint) -> MmPoint {
        let [x_mm, y_mm] = project(&self.mm_from_px, at.x_px, at.y_px);
        MmPoint { x_mm, y_mm }
    }

    pub fn to_px(&self, at: MmPoint) -> PxPoint {
        let [x_px, y_px] = project(&self.px_from_mm, at.x_mm, at.y_mm);
        PxPoint { x_px, y_px }
    }

    /// Millimetres of skin that one picture pixel covers at a place: the side of a square of equal area.
    pub fn mm_per_px_at(&self, at: MmPoint) -> f64 {
        let m = &self.px_from_mm;
        let w = m[2][0] * at.x_mm + m[2][1] * at.y_mm + m[2][2];
        let determinant = determinant(m);
        // The area a projective map makes of a small square is its determinant over the cube of the denominator.
        (w * w * w / determinant).abs().sqrt()
    }

    /// The plane with its millimetres made larger or smaller: a card printed at another size than it should be.
    pub fn scaled(&self, factor: f64) -> Result<SkinPlane, Flat> {
        let mut matrix = self.mm_from_px;
        for row in &mut matrix[..2] {
            for cell in row {
                *cell *= factor;
            }
        }
        SkinPlane::from_px_to_mm(matrix)
    }

    /// The same plane for the same picture shown `factor` times as large.
    pub fn for_picture_scaled(&self, factor: f64) -> Result<SkinPlane, Flat> {
        let mut matrix = self.px_from_mm;
        for row in &mut matrix[..2] {
            for cell in row {
                *cell *= factor;
            }
        }
        SkinPlane::from_mm_to_px(matrix)
    }
}

impl TryFrom<Matrix> for SkinPlane {
    type Error = Flat;

    fn try_from(mm_from_px: Matrix) -> Result<SkinPlane, Flat> {
        SkinPlane::from_px_to_mm(mm_from_px)
    }
}

impl From<SkinPlane> for Matrix {
    fn from(plane: SkinPlane) -> Matrix {
        plane.mm_from_px
    }
}

fn project(m: &Matrix, x: f64, y: f64) -> [f64; 2] {
    let [u, v, w] = m.map(|row| row[0] * x + row[1] * y + row[2]);
    [u / w, v / w]
}

fn determinant(m: &Matrix) -> f64 {
    m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
        + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
}

fn inverse(m: &Matrix) -> Option<Matrix> {
    let scale = determinant(m);
    let cofactor = |r: usize, c: usize| {
        let (r1, r2) = ((r + 1) % 3, (r + 2) % 3);
        let (c1, c2) = ((c + 1) % 3, (c + 2) % 3);
        m[r1][c1] * m[r2][c2] - m[r1][c2] * m[r2][c1]
    };
    let mut out = [[0.0; 3]; 3];
    for (r, row) in out.iter_mut().enumerate() {
        for (c, cell) in row.iter_mut().enumerate() {
            *cell = cofactor(c, r) / scale;
        }
    }
    out.as_flattened().iter().all(|cell| cell.is_finite()).then_some(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const TILTED: Matrix = [[0.12, 0.03, -40.0], [-0.02, 0.15, -33.0], [0.00005, -0.0001, 1.0]];

    #[test]
    fn a_flat_perspective_is_refused() {
        assert_eq!(SkinPlane::from_px_to_mm([[0.0; 3]; 3]), Err(Flat));
        assert_eq!(SkinPlane::from_px_to_mm([[1.0, 2.0, 3.0], [2.0, 4.0, 6.0], [0.0, 0.0, 1.0]]), Err(Flat));
        assert_eq!(SkinPlane::from_px_to_mm([[f64::NAN; 3]; 3]), Err(Flat));
    }

    proptest! {
        #[test]
        fn there_and_back_is_the_same_place(x_px in 0.0..1600.0f64, y_px in 0.0..1600.0f64) {
            let plane = SkinPlane::from_px_to_mm(TILTED).unwrap();
            let back = plane.to_px(plane.to_mm(PxPoint { x_px, y_px }));
            prop_assert!((back.x_px - x_px).hypot(back.y_px - y_px) < 1e-6);
        }

        #[test]
        fn the_scale_at_a_place_is_the_area_of_one_pixel_there(x_px in 0.0..1600.0f64, y_px in 0.0..1600.0f64) {
            let plane = SkinPlane::from_px_to_mm(TILTED).unwrap();
            let at = |dx: f64, dy: f64| plane.to_mm(PxPoint { x_px: x_px + dx, y_px: y_px + dy });
            let (o, a, b) = (at(0.0, 0.0), at(0.01, 0.0), at(0.0, 0.01));
            let area = ((a.x_mm - o.x_mm) * (b.y_mm - o.y_mm) - (a.y_mm - o.y_mm) * (b.x_mm - o.x_mm)).abs() / 0.0001;
            prop_assert!((plane.mm_per_px_at(o) / area.sqrt() - 1.0).abs() < 1e-3);
        }
    }

    #[test]
    fn a_card_printed_larger_makes_every_length_larger() {
        let plane = SkinPlane::from_px_to_mm(TILTED).unwrap();
        let larger = plane.scaled(1.1).unwrap();
        let (a, b) = (PxPoint { x_px: 100.0, y_px: 40.0 }, PxPoint { x_px: 700.0, y_px: 900.0 });
        let before = plane.to_mm(a).distance_mm(plane.to_mm(b));
        let after = larger.to_mm(a).distance_mm(larger.to_mm(b));
        assert!((after / before - 1.1).abs() < 1e-9);
    }

    #[test]
    fn a_picture_shown_twice_as_large_keeps_its_millimetres() {
        let plane = SkinPlane::from_px_to_mm(TILTED).unwrap();
        let twice = plane.for_picture_scaled(2.0).unwrap();
        let (small, large) = (PxPoint { x_px: 321.0, y_px: 77.0 }, PxPoint { x_px: 642.0, y_px: 154.0 });
        assert!(plane.to_mm(small).distance_mm(twice.to_mm(large)) < 1e-9);
    }

    #[test]
    fn a_plane_reads_back_from_what_is_kept() {
        let plane = SkinPlane::from_px_to_mm(TILTED).unwrap();
        let kept = serde_json::to_string(&plane).unwrap();
        assert_eq!(serde_json::from_str::<SkinPlane>(&kept).unwrap(), plane);
        assert!(serde_json::from_str::<SkinPlane>("[[0,0,0],[0,0,0],[0,0,0]]").is_err());
    }
}
