//! A measured photo in plain words, for a person at a terminal. Numbers stand only where they count.

use crate::cli::measure_photo::Measured;
use crate::cli::measure_told::changed;
use crate::web::measure_words;
use crate::wound::Bed;
use crate::wound::Differences;
use crate::wound::Measurement;
use crate::wound::Redness;
use crate::wound::Standing;
use crate::wound::course::Change;
use crate::wound::course::Clear;

const RANGES: &str = "The ranges are from repeating this on the photo. On a real photo count on ±10 % of the area on flat sites and \
                      ±20 % on limbs.";

pub(in crate::cli) fn words(now: &Measured, before: &[Measured]) -> String {
    let found = &now.measurement;
    let mut lines = vec![standing(found.standing).to_owned()];
    lines.extend(measure_words::reasons(found).into_iter().map(|why| format!("- {why}")));
    if let Some(size) = found.counted_size() {
        lines.push(format!("Area: {}", measure_words::area_with_range(&size.area_mm2)));
        let length = |name: &str, figure| format!("{name}: {}", measure_words::length_with_range(figure));
        lines.push(length("Edge", &size.perimeter_mm));
        lines.push(length("Longest length", &size.length_mm));
        lines.push(length("Widest at right angles", &size.width_mm));
    }
    lines.extend(redness(found));
    lines.extend(measure_words::pen_line(&found.pen, None).map(|pen| format!("Pen line: {pen}")));
    if let (Some(shares), Standing::Ok) = (&found.bed, found.standing) {
        lines.push(bed(shares));
    }
    for (place, before) in before.iter().enumerate() {
        lines.push(since(place + 1, changed(now, before).as_ref()));
    }
    lines.extend(found.counted_size().map(|_| RANGES.to_owned()));
    lines.push("An aid for sorting, never a diagnosis.".to_owned());
    lines.join("\n")
}

fn standing(standing: Standing) -> &'static str {
    match standing {
        Standing::Ok => "Measured.",
        Standing::LowConfidence => {
            "An outline was found and is not sure: no number counts until a person confirms or draws it."
        }
        Standing::Refused => "Cannot be measured.",
    }
}

/// `None` where nothing was measured: why not is said already.
fn redness(found: &Measurement) -> Option<String> {
    match (found.standing, &found.redness) {
        (Standing::Refused, _) => None,
        (Standing::LowConfidence, Redness::Reach(_)) => Some(
            "Redness: seen around the outline; how far it reaches counts once the outline does.".to_owned(),
        ),
        (Standing::Ok | Standing::LowConfidence, said) => {
            Some(format!("Redness: {}", measure_words::redness(said, found.family)))
        }
    }
}

fn bed(bed: &Bed) -> String {
    let share = measure_words::share_with_range;
    let (red, yellow, dark) = (share(&bed.granulation), share(&bed.yellow), share(&bed.dark));
    format!(
        "The bed looks {red} red, {yellow} yellow (slough or fat: colour cannot tell them apart), {dark} dark."
    )
}

fn since(place: usize, changed: Option<&Differences>) -> String {
    let Some(changed) = changed else {
        return format!(
            "Since earlier photo {place}: cannot be compared; both need figures that count, of one kind."
        );
    };
    let mut parts = vec![
        one("area", &changed.area_mm2, "mm²"),
        one("length", &changed.length_mm, "mm"),
        one("width", &changed.width_mm, "mm"),
    ];
    parts.extend(changed.redness_reach_mm.as_ref().map(|change| one("redness", change, "mm")));
    format!("Since earlier photo {place}: {}.", parts.join("; "))
}

fn one(name: &str, change: &Change, unit: &str) -> String {
    let percent = change.percent.map_or_else(String::new, |percent| format!(", {percent:+.0} %"));
    let says = match change.says {
        Clear::Smaller => "clearly smaller",
        Clear::NoClearChange => "no clear change",
        Clear::Bigger => "clearly bigger",
    };
    format!("{name} {says} ({:+.1} {unit}{percent})", change.by)
}
