//! What one marker says: where a millimetre lies, how blurred and how bright the picture is.

use crate::photo::MmPoint;
use crate::photo::Picture;
use crate::photo::PxPoint;
use crate::photo::SkinPlane;
use crate::photo::scale_card::CardFault;
use crate::photo::scale_card::ScaleCard;
use crate::photo::scale_card::border::Crossing;
use crate::photo::scale_card::border::crossings;
use crate::photo::scale_card::border::inner_edges;
use crate::photo::scale_card::border::middle_of;
use crate::photo::scale_card::border::outer_edges;
use crate::photo::scale_card::family;
use crate::photo::scale_card::find::Sighting;
use crate::photo::scale_card::find::first_plane;
use crate::photo::scale_card::geometry::PATCH_MM;
use crate::photo::scale_card::geometry::TAG_EDGE_MM;
use crate::photo::scale_card::light::LUMINANCE;
use crate::photo::scale_card::light::Light;
use crate::photo::scale_card::light::Meter;
use crate::photo::scale_card::perspective::Camera;
use crate::photo::scale_card::perspective::Fitted;
use crate::photo::scale_card::perspective::Spread;
use crate::photo::scale_card::perspective::fit_camera;
use crate::photo::scale_card::perspective::fit_free;
use crate::photo::scale_card::perspective::tilt_deg;

pub const BURNT_OUT_ABOVE: f64 = 0.9;

pub(super) fn measured(
    picture: &Picture,
    sighting: &Sighting,
    tag_edge_mm: f64,
    focal_35mm: Option<f64>,
) -> Result<ScaleCard, CardFault> {
    let meter = Meter::new(picture, Light::Linear(LUMINANCE));
    let outside = outer_edges();
    let mut plane = first_plane(sighting).ok_or(CardFault::NotSeen)?;
    let mut found = Vec::new();
    for _ in 0..2 {
        found = crossings(&meter, &plane, &outside);
        plane = fit_free(&away_from_corners(&found), &plane, Spread::None).ok_or(CardFault::Covered)?.plane;
    }
    found = crossings(&meter, &plane, &outside);
    covered(&found, &plane)?;
    let codeword = family::codeword(sighting.id).ok_or(CardFault::OtherCard)?;
    let mut all = away_from_corners(&found);
    all.extend(crossings(&meter, &plane, &inner_edges(codeword)));
    let fitted = best_fit(&all, &plane, picture, focal_35mm).ok_or(CardFault::Covered)?;
    let rises: Vec<f64> = found.iter().filter_map(|crossing| crossing.rise_mm).collect();
    let factor = tag_edge_mm / TAG_EDGE_MM;
    let bright: Vec<f64> = found.iter().map(|crossing| crossing.bright).collect();
    let corners_px = corners(&fitted.plane);
    Ok(ScaleCard {
        tag_id: sighting.id,
        corners_px,
        plane: fitted.plane.scaled(factor).map_err(|_| CardFault::NotSeen)?,
        tilt_deg: fitted.tilt_deg.ok_or(CardFault::TooTilted)?,
        tag_edge_px: mean_edge_px(&corners_px),
        misfit_px: fitted.misfit_px,
        edge_rise_mm: middle_of(&rises) * factor,
        grey_linear: grey_patch(picture, &fitted.plane),
        burnt_out: middle_of(&bright) > BURNT_OUT_ABOVE,
    })
}

/// With the camera's shape known as well as may be; any perspective where that does not fit, as in a picture cut out of a
/// larger one.
fn best_fit(
    all: &[Crossing],
    plane: &SkinPlane,
    picture: &Picture,
    focal_35mm: Option<f64>,
) -> Option<Fitted> {
    let camera = Camera::of(picture, focal_35mm);
    let free = fit_free(all, plane, Spread::Sought)?;
    let seen = fit_camera(all, plane, &camera, Spread::Sought);
    match seen.filter(|seen| seen.misfit_px < 1.5 * free.misfit_px + 0.05) {
        Some(seen) => Some(seen),
        None => Some(Fitted { tilt_deg: tilt_deg(&free.plane, &camera), ..free }),
    }
}

/// Near a corner the other side's blur pulls the line inwards.
fn away_from_corners(found: &[Crossing]) -> Vec<Crossing> {
    found.iter().filter(|crossing| (0.08..0.92).contains(&crossing.edge.along)).copied().collect()
}

/// A side whose end is not where the rest of the marker says is hidden there.
fn covered(found: &[Crossing], plane: &SkinPlane) -> Result<(), CardFault> {
    for side in 0..4 {
        for end in [0.02..0.15, 0.85..0.98] {
            let there = found.iter().filter(|crossing| {
                let at = plane.to_mm(PxPoint { x_px: crossing.px[0], y_px: crossing.px[1] });
                crossing.edge.side == Some(side)
                    && end.contains(&crossing.edge.along)
                    && at.distance_mm(crossing.edge.on_card) < 0.4
            });
            // Five or six places were looked at.
            if there.count() < 3 {
                return Err(CardFault::Covered);
            }
        }
    }
    Ok(())
}

fn corners(plane: &SkinPlane) -> [PxPoint; 4] {
    let half = TAG_EDGE_MM / 2.0;
    [(-half, -half), (half, -half), (half, half), (-half, half)]
        .map(|(x_mm, y_mm)| plane.to_px(MmPoint { x_mm, y_mm }))
}

fn mean_edge_px(corners: &[PxPoint; 4]) -> f64 {
    let sides = (0..4).map(|at| {
        let (a, b) = (corners[at], corners[(at + 1) % 4]);
        (a.x_px - b.x_px).hypot(a.y_px - b.y_px)
    });
    sides.sum::<f64>() / 4.0
}

/// Mean light of the patch's inner part, each colour; `None` when it is cut off or uneven.
fn grey_patch(picture: &Picture, plane: &SkinPlane) -> Option<[f64; 3]> {
    const ACROSS: usize = 12;
    let [left, top, right, bottom] = PATCH_MM;
    // A margin keeps blur and a crooked cut out.
    let margin = 2.5;
    let mut colours = [[0.0; ACROSS * ACROSS]; 3];
    for (colour, weights) in [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].into_iter().enumerate() {
        let meter = Meter::new(picture, Light::Linear(weights));
        for row in 0..ACROSS {
            for column in 0..ACROSS {
                let part = |at: usize| (at as f64 + 0.5) / ACROSS as f64;
                let at = plane.to_px(MmPoint {
                    x_mm: left + margin + part(column) * (right - left - 2.0 * margin),
                    y_mm: top + margin + part(row) * (bottom - top - 2.0 * margin),
                });
                colours[colour][row * ACROSS + column] = meter.at([at.x_px, at.y_px])?;
            }
        }
    }
    let mut means = [0.0; 3];
    for (mean, values) in means.iter_mut().zip(&mut colours) {
        values.sort_by(f64::total_cmp);
        let tenth = values.len() / 10;
        let kept = &values[tenth..values.len() - tenth];
        *mean = kept.iter().sum::<f64>() / kept.len() as f64;
        let (low, high) = (kept[0], kept[kept.len() - 1]);
        if high > 2.0 * low + 0.02 {
            return None;
        }
    }
    Some(means)
}
