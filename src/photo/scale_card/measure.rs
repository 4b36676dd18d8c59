//! What one marker says: where a millimetre lies, how blurred and how bright the picture is.

use crate::photo::MmPoint;
use crate::photo::Picture;
use crate::photo::PxPoint;
use crate::photo::SkinPlane;
use crate::photo::scale_card::CardFault;
use crate::photo::scale_card::ScaleCard;
use crate::photo::scale_card::TOO_BLURRED_ABOVE_MM;
use crate::photo::scale_card::TOO_SMALL_BELOW_PX;
use crate::photo::scale_card::border::Crossing;
use crate::photo::scale_card::border::crossings;
use crate::photo::scale_card::border::inner_edges;
use crate::photo::scale_card::border::middle_of;
use crate::photo::scale_card::border::outer_edges;
use crate::photo::scale_card::family;
use crate::photo::scale_card::find::Sighting;
use crate::photo::scale_card::geometry::PATCH_FROM_MARKER_MM;
use crate::photo::scale_card::geometry::TAG_EDGE_MM;
use crate::photo::scale_card::light::LUMINANCE;
use crate::photo::scale_card::light::Light;
use crate::photo::scale_card::light::Meter;
use crate::photo::scale_card::perspective::Camera;
use crate::photo::scale_card::perspective::Fitted;
use crate::photo::scale_card::perspective::Spread;
use crate::photo::scale_card::perspective::fit_camera;
use crate::photo::scale_card::perspective::fit_free;
use crate::photo::scale_card::perspective::through_corners;
use crate::photo::scale_card::perspective::tilt_deg;
use crate::photo::scale_card::quad;
use crate::photo::scale_card::quad::Quad;

/// Linear light of the paper above which its edges can no longer be told from where it burnt out (measured on drawn pictures:
/// errors of area grow fourfold).
const PAPER_BURNT_ABOVE: f64 = 0.9;

/// Measures by a marker that was read. Errors are faults that leave nothing to measure by.
pub(super) fn measured(
    picture: &Picture,
    sighting: &Sighting,
    tag_edge_mm: f64,
    focal_35mm: Option<f64>,
) -> Result<ScaleCard, CardFault> {
    large_enough(sighting)?;
    let meter = Meter::new(picture, Light::Linear(LUMINANCE));
    let outside = outer_edges();
    let mut plane = through_corners(&sighting.corners).ok_or(CardFault::NotSeen)?;
    for _ in 0..2 {
        let sides = away_from_corners(&crossings(&meter, &plane, &outside));
        plane = fit_free(&sides, &plane, Spread::None).ok_or(CardFault::Covered)?.plane;
    }
    let found = crossings(&meter, &plane, &outside);
    let as_printed = tag_edge_mm / TAG_EDGE_MM;
    let edge_rise_mm = rise_mm(&found) * as_printed;
    sharp_enough(edge_rise_mm)?;
    corners_shown(&found, &plane)?;
    let codeword = family::codeword(sighting.id).ok_or(CardFault::OtherCard)?;
    let mut edges = away_from_corners(&found);
    edges.extend(crossings(&meter, &plane, &inner_edges(codeword)));
    let (fitted, tilt_deg) = best_fit(&edges, &plane, picture, focal_35mm).ok_or(CardFault::Covered)?;
    let corners = marker_corners(&fitted.plane);
    let bright: Vec<f64> = found.iter().map(|crossing| crossing.bright).collect();
    Ok(ScaleCard {
        tag_id: sighting.id,
        corners_px: corners.map(|[x_px, y_px]| PxPoint { x_px, y_px }),
        plane: fitted.plane.scaled(as_printed).map_err(|_| CardFault::NotSeen)?,
        tilt_deg,
        tag_edge_px: quad::mean_side(&corners),
        misfit_px: fitted.misfit_px,
        edge_rise_mm,
        grey_linear: grey_patch(picture, &fitted.plane),
        burnt_out: middle_of(&bright) > PAPER_BURNT_ABOVE,
    })
}

/// Why a marker that can only be read in part cannot be measured by.
pub(super) fn why_not_read(picture: &Picture, sighting: &Sighting, tag_edge_mm: f64) -> CardFault {
    let meter = Meter::new(picture, Light::Linear(LUMINANCE));
    let why = || {
        large_enough(sighting)?;
        if let Some(plane) = through_corners(&sighting.corners) {
            sharp_enough(rise_mm(&crossings(&meter, &plane, &outer_edges())) * tag_edge_mm / TAG_EDGE_MM)?;
        }
        Err(CardFault::Covered)
    };
    why().map_or_else(|fault: CardFault| fault, |()| CardFault::Covered)
}

/// With fewer pixels a fit would have too little to go by; what lies a little below the limit is measured to be sure.
fn large_enough(sighting: &Sighting) -> Result<(), CardFault> {
    if quad::mean_side(&sighting.corners) < 0.8 * TOO_SMALL_BELOW_PX {
        Err(CardFault::TooSmall)
    } else {
        Ok(())
    }
}

fn sharp_enough(edge_rise_mm: f64) -> Result<(), CardFault> {
    if edge_rise_mm > TOO_BLURRED_ABOVE_MM { Err(CardFault::Blurred) } else { Ok(()) }
}

/// Median rise of the light at the border, mm on a card printed to size; 0 when no edge shows both its ends.
fn rise_mm(found: &[Crossing]) -> f64 {
    middle_of(&found.iter().filter_map(|crossing| crossing.rise_mm).collect::<Vec<f64>>())
}

/// With the camera's shape known as well as may be; any perspective where that does not fit, as in a picture cut out of a
/// larger one. And the tilt, degrees.
fn best_fit(
    edges: &[Crossing],
    plane: &SkinPlane,
    picture: &Picture,
    focal_35mm: Option<f64>,
) -> Option<(Fitted, f64)> {
    let camera = Camera::of(picture, focal_35mm);
    let free = fit_free(edges, plane, Spread::Sought)?;
    let seen = fit_camera(edges, plane, &camera, Spread::Sought);
    // Eight unknowns always fit a little better than seven. On 44 drawn pictures seven were up to 1.54 times as far off, in a
    // picture cut out of another 2.8 times.
    let fitted = seen.filter(|seen| seen.misfit_px < 1.6 * free.misfit_px + 0.02).unwrap_or(free);
    let camera = Camera { focal_px: fitted.focal_px.unwrap_or(camera.focal_px), ..camera };
    Some((fitted, tilt_deg(&fitted.plane, &camera)?))
}

/// Near a corner the other side's blur pulls the line inwards.
fn away_from_corners(found: &[Crossing]) -> Vec<Crossing> {
    found.iter().filter(|crossing| (0.08..0.92).contains(&crossing.edge.along)).copied().collect()
}

/// A side whose end is not where the rest of the marker says is hidden there.
fn corners_shown(found: &[Crossing], plane: &SkinPlane) -> Result<(), CardFault> {
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

fn marker_corners(plane: &SkinPlane) -> Quad {
    let half = TAG_EDGE_MM / 2.0;
    [(-half, -half), (half, -half), (half, half), (-half, half)].map(|(x_mm, y_mm)| {
        let at = plane.to_px(MmPoint { x_mm, y_mm });
        [at.x_px, at.y_px]
    })
}

/// Mean light of the patch's inner part, each colour; `None` when it is cut off or uneven.
fn grey_patch(picture: &Picture, plane: &SkinPlane) -> Option<[f64; 3]> {
    const ACROSS: usize = 12;
    let [left, top, right, bottom] = PATCH_FROM_MARKER_MM;
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
