//! A measured photo in JSON. Numbers stand only where they count.

use serde_json::Map;
use serde_json::Value;
use serde_json::json;

use crate::cli::Failure;
use crate::cli::measure_photo::Measured;
use crate::photo::MmPoint;
use crate::wound::Differences;
use crate::wound::Figure;
use crate::wound::Measurement;
use crate::wound::PenLine;
use crate::wound::Redness;
use crate::wound::Standing;
use crate::wound::course::Change;
use crate::wound::course::Clear;
use crate::wound::course::Surface;
use crate::wound::differences;

/// One JSON object. No number stands in it while the outline waits for a person's confirmation; places are displayed
/// full-size pixels.
pub(in crate::cli) fn json(now: &Measured, before: &[Measured]) -> Result<String, Failure> {
    let found = &now.measurement;
    let mut out = Map::new();
    let mut put = |name: &str, value: Value| out.insert(name.to_owned(), value);
    put("status", serde_json::to_value(found.standing)?);
    put("reasons", serde_json::to_value(&found.because)?);
    put("method", json!(found.method));
    put("family", serde_json::to_value(found.family)?);
    put("image_width", json!(now.image_width));
    put("wound", wound(now));
    put("erythema", erythema(found));
    put("redness", redness(now)?);
    put("pen", serde_json::to_value(pen(found))?);
    put("tissue", tissue(found));
    put("ita_deg", json!(found.ita_deg));
    put("mm_per_px", json!(mm_per_px(now)));
    put("px_to_mm", px_to_mm(now));
    put("confidence", json!(confidence(found)));
    put("tag_corners_px", tag_corners(now));
    put("card", serde_json::to_value(&found.card)?);
    put("ms", json!(now.took_ms));
    if !before.is_empty() {
        let changes = before.iter().map(|before| change(now, before)).collect::<Vec<Value>>();
        put("changes", Value::Array(changes));
    }
    Ok(serde_json::to_string_pretty(&Value::Object(out))?)
}

fn wound(now: &Measured) -> Value {
    let found = &now.measurement;
    let ring = |ring: &[MmPoint]| ring.iter().filter_map(|at| now.full(*at)).collect::<Vec<[f64; 2]>>();
    let pieces = found.outline.as_ref().map(|outline| outline.pieces());
    let first = pieces.and_then(|pieces| pieces.first()).map(|piece| ring(&piece.edge));
    let islands = pieces
        .into_iter()
        .flatten()
        .flat_map(|piece| piece.islands.iter().map(|island| ring(island)))
        .collect::<Vec<Vec<[f64; 2]>>>();
    let others =
        pieces.into_iter().flatten().skip(1).map(|piece| ring(&piece.edge)).collect::<Vec<Vec<[f64; 2]>>>();
    let size = found.counted_size();
    let number = |figure: Option<Figure>| json!(figure.map(|figure| figure.value));
    let bounds = |figure: Option<Figure>| json!(figure.map(|figure| [figure.low, figure.high]));
    json!({
        "polygon_px": first,
        "other_pieces_px": others,
        "islands_px": islands,
        "area_mm2": number(size.map(|size| size.area_mm2)),
        "perimeter_mm": number(size.map(|size| size.perimeter_mm)),
        "length_mm": number(size.map(|size| size.length_mm)),
        "width_mm": number(size.map(|size| size.width_mm)),
        "area_mm2_95": bounds(size.map(|size| size.area_mm2)),
        "perimeter_mm_95": bounds(size.map(|size| size.perimeter_mm)),
        "length_mm_95": bounds(size.map(|size| size.length_mm)),
        "width_mm_95": bounds(size.map(|size| size.width_mm)),
    })
}

fn erythema(found: &Measurement) -> Value {
    match (&found.redness, found.standing) {
        (Redness::Reach(reach), Standing::Ok) => {
            json!({ "max_mm": reach.max_mm.value, "p95_mm": reach.p95_mm.value })
        }
        (Redness::Reach(_), Standing::LowConfidence | Standing::Refused)
        | (Redness::CannotTell | Redness::NoContrast { .. } | Redness::NotGiven { .. }, _) => Value::Null,
    }
}

/// The answer, and its edge as a line on the photo.
fn redness(now: &Measured) -> Result<Value, Failure> {
    let Redness::Reach(reach) = &now.measurement.redness else {
        return Ok(serde_json::to_value(&now.measurement.redness)?);
    };
    let edge: Vec<[f64; 2]> = reach.edge.iter().filter_map(|at| now.full(*at)).collect();
    Ok(match now.measurement.standing {
        Standing::Ok => json!({
            "says": "reach",
            "p95_mm": reach.p95_mm.value,
            "max_mm": reach.max_mm.value,
            "p95_mm_95": [reach.p95_mm.low, reach.p95_mm.high],
            "max_mm_95": [reach.max_mm.low, reach.max_mm.high],
            "by_clock_mm": reach.by_clock_mm,
            "contrast_to_noise": reach.contrast_to_noise,
            "edge_px": edge,
        }),
        Standing::LowConfidence | Standing::Refused => json!({ "says": "reach", "edge_px": edge }),
    })
}

fn pen(found: &Measurement) -> PenLine {
    match (found.pen, found.standing) {
        (PenLine::Seen { .. }, Standing::LowConfidence | Standing::Refused) => {
            PenLine::Seen { beyond_mm: None }
        }
        (pen, _) => pen,
    }
}

fn tissue(found: &Measurement) -> Value {
    match (&found.bed, found.standing) {
        (Some(bed), Standing::Ok) => json!({
            "granulation": bed.granulation.value,
            "slough": bed.yellow.value,
            "necrosis": bed.dark.value,
        }),
        (Some(_), Standing::LowConfidence | Standing::Refused) | (None, _) => Value::Null,
    }
}

fn mm_per_px(now: &Measured) -> Option<f64> {
    let (plane, outline) = (now.measurement.plane?, now.measurement.outline.as_ref()?);
    Some(plane.mm_per_px_at(outline.middle()) / now.full_px)
}

/// From displayed full-size pixels to mm on the skin plane, 3 × 3 by rows, homogeneous.
fn px_to_mm(now: &Measured) -> Value {
    let plane = now.measurement.plane.and_then(|plane| plane.for_picture_scaled(now.full_px).ok());
    json!(plane.map(|plane| *plane.px_to_mm_matrix()))
}

/// What is left of 1 when half the area's interval, as a share of the area, is taken off; at most a half while the
/// outline waits for a person. `None` without an area.
fn confidence(found: &Measurement) -> Option<f64> {
    let most = match found.standing {
        Standing::Ok => 1.0,
        Standing::LowConfidence | Standing::Refused => 0.5,
    };
    found.size.map(|size| (1.0 - size.area_mm2.relative_error()).clamp(0.0, most))
}

fn tag_corners(now: &Measured) -> Value {
    let corners = now
        .measurement
        .card
        .as_ref()
        .map(|card| card.corners_px.map(|corner| [corner.x_px * now.full_px, corner.y_px * now.full_px]));
    json!(corners)
}

/// Flat is what a single photo can see; on a limb the pages widen it.
pub(in crate::cli) fn changed(now: &Measured, before: &Measured) -> Option<Differences> {
    differences(&now.measurement, &before.measurement, Surface::Flat)
}

fn change(now: &Measured, before: &Measured) -> Value {
    let Some(changed) = changed(now, before) else { return Value::Null };
    let one = |change: &Change| json!({ "by": change.by, "percent": change.percent, "clear_from": change.band, "says": says(change.says) });
    json!({
        "area_mm2": one(&changed.area_mm2),
        "length_mm": one(&changed.length_mm),
        "width_mm": one(&changed.width_mm),
        "redness_reach_mm": changed.redness_reach_mm.as_ref().map(one),
    })
}

fn says(clear: Clear) -> &'static str {
    match clear {
        Clear::Smaller => "smaller",
        Clear::NoClearChange => "no clear change",
        Clear::Bigger => "bigger",
    }
}
