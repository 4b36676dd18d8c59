//! A measured photo in JSON and in words.

use serde_json::Map;
use serde_json::Value;
use serde_json::json;

use crate::cli::Failure;
use crate::cli::measure_photo::Measured;
use crate::wound::Because;
use crate::wound::Differences;
use crate::wound::Figure;
use crate::wound::Measurement;
use crate::wound::Redness;
use crate::wound::Standing;
use crate::wound::course::Clear;
use crate::wound::course::Surface;
use crate::wound::differences;

/// One JSON object. Numbers stand only where they count: not while an outline waits for a person's confirmation.
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
    put("pen", serde_json::to_value(found.pen)?);
    put("tissue", tissue(found));
    put("ita_deg", json!(found.ita_deg));
    put("mm_per_px", json!(mm_per_px(now)));
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
    let ring = |ring: &[crate::photo::MmPoint]| {
        ring.iter().filter_map(|at| now.full(*at)).collect::<Vec<[f64; 2]>>()
    };
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
    match &found.redness {
        Redness::Reach(reach) => json!({ "max_mm": reach.max_mm.value, "p95_mm": reach.p95_mm.value }),
        Redness::CannotTell | Redness::NoContrast { .. } | Redness::NotGiven { .. } => Value::Null,
    }
}

fn redness(now: &Measured) -> Result<Value, Failure> {
    let mut told = serde_json::to_value(&now.measurement.redness)?;
    if let Redness::Reach(reach) = &now.measurement.redness {
        let edge: Vec<[f64; 2]> = reach.edge.iter().filter_map(|at| now.full(*at)).collect();
        told["edge"] = json!(null);
        told["edge_px"] = json!(edge);
    }
    Ok(told)
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

fn tag_corners(now: &Measured) -> Value {
    let corners = now
        .measurement
        .card
        .as_ref()
        .map(|card| card.corners_px.map(|corner| [corner.x_px * now.full_px, corner.y_px * now.full_px]));
    json!(corners)
}

/// Flat is what a single photo can see; on a limb the pages widen it.
fn changed(now: &Measured, before: &Measured) -> Option<Differences> {
    differences(&now.measurement, &before.measurement, Surface::Flat)
}

fn change(now: &Measured, before: &Measured) -> Value {
    let Some(changed) = changed(now, before) else { return Value::Null };
    let one = |change: &crate::wound::course::Change| json!({ "by": change.by, "percent": change.percent, "says": says(change.says) });
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

/// For a person at a terminal.
pub(in crate::cli) fn words(now: &Measured, before: &[Measured]) -> String {
    let found = &now.measurement;
    let mut lines = vec![match found.standing {
        Standing::Ok => "Measured.".to_owned(),
        Standing::LowConfidence => {
            "An outline was found that a person must confirm; its numbers do not count yet.".to_owned()
        }
        Standing::Refused => "Cannot be measured.".to_owned(),
    }];
    if !found.because.is_empty() {
        let because: Vec<String> = found.because.iter().map(code).collect();
        lines.push(format!("Because: {}.", because.join(", ")));
    }
    if let Some(size) = &found.size {
        let figure = |name: &str, figure: &Figure, unit: &str| {
            format!("{name}: {:.1} {unit} ({:.1} to {:.1})", figure.value, figure.low, figure.high)
        };
        lines.push(figure("Area", &size.area_mm2, "mm²"));
        lines.push(figure("Edge", &size.perimeter_mm, "mm"));
        lines.push(figure("Length", &size.length_mm, "mm"));
        lines.push(figure("Width", &size.width_mm, "mm"));
    }
    lines.push(match &found.redness {
        Redness::Reach(reach) => format!(
            "Redness reaches {:.0} mm beyond the edge ({:.0} to {:.0}), at most {:.0} mm.",
            reach.p95_mm.value, reach.p95_mm.low, reach.p95_mm.high, reach.max_mm.value
        ),
        Redness::CannotTell => "How far the redness reaches cannot be told from colour: look.".to_owned(),
        Redness::NoContrast { compared_at_mm } => format!(
            "No contrast to the surrounding skin in this picture (compared from {compared_at_mm:.0} mm): heat, hardness and swelling count."
        ),
        Redness::NotGiven { because } => format!("Redness was not measured: {}.", code(because)),
    });
    if let Some(bed) = &found.bed {
        let percent = |figure: &Figure| (100.0 * figure.value).round();
        lines.push(format!(
            "The bed looks {} % red, {} % yellow (slough or fat: colour cannot tell them apart), {} % dark.",
            percent(&bed.granulation),
            percent(&bed.yellow),
            percent(&bed.dark)
        ));
    }
    for (place, before) in before.iter().enumerate() {
        lines.push(match changed(now, before) {
            None => format!("Since earlier photo {}: cannot be compared.", place + 1),
            Some(changed) => format!(
                "Since earlier photo {}: area {:+.0} mm², {}; length {}.",
                place + 1,
                changed.area_mm2.by,
                says(changed.area_mm2.says),
                says(changed.length_mm.says)
            ),
        });
    }
    lines.push("On a real photo count on ±10 % on flat sites and ±20 % on limbs. An aid for sorting, never a diagnosis.".to_owned());
    lines.join("\n")
}

fn code(because: &Because) -> String {
    let code = serde_json::to_value(because).ok().and_then(|code| code.as_str().map(str::to_owned));
    code.unwrap_or_default().replace('_', " ")
}
