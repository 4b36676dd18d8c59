//! Measures drawn pictures of known geometry and holds what comes out against their truth files.

use std::fmt::Write;
use std::fs;
use std::path::Path;
use std::path::PathBuf;
use std::sync::Mutex;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;
use std::thread;

use closewatch::photo;
use closewatch::photo::CardIssue;
use closewatch::photo::Limits;
use closewatch::photo::Matrix;
use closewatch::photo::MmPoint;
use closewatch::photo::Picture;
use closewatch::photo::PxPoint;
use closewatch::photo::SkinPlane;
use closewatch::photo::TAG_EDGE_MM;
use closewatch::wound;
use closewatch::wound::Asked;
use closewatch::wound::Because;
use closewatch::wound::Measurement;
use closewatch::wound::Outline;
use closewatch::wound::PenLine;
use closewatch::wound::Redness;
use closewatch::wound::Standing;
use serde_json::Value;

/// Redness that reaches farther than this is wide, mm.
pub const WIDE_MM: f64 = 8.0;

/// One picture and what became of it. Errors are relative to the truth, signed, unless said otherwise.
pub struct Scored {
    pub name: String,
    pub measurement: Measurement,
    /// Every class the picture belongs to, for the table's rows.
    pub classes: Vec<String>,
    pub card_is_whole: bool,
    pub card_is_missing: bool,
    /// Kept out of tuning.
    pub held_out: bool,
    pub area: Option<f64>,
    pub length: Option<f64>,
    pub width: Option<f64>,
    /// The true area lies in the interval that was given.
    pub area_covered: bool,
    /// Area of the true outline through the card's plane.
    pub geometry: Option<f64>,
    /// Reach of the redness, 95th percentile, mm off; `None` where none was given or the truth is hidden.
    pub redness_mm: Option<f64>,
    /// True reach of the redness, mm.
    pub true_redness_mm: f64,
    /// A pen line was drawn on the skin.
    pub has_pen: bool,
    /// Half the summed difference of the bed's shares, 0–1.
    pub tissue: Option<f64>,
    /// From pixels to numbers, CPU of one thread, ms. 0 where the system does not tell.
    pub cpu_ms: f64,
}

impl Scored {
    pub fn is_counted(&self) -> bool {
        self.measurement.standing == Standing::Ok
    }
}

/// Measures every picture of a folder whose name begins so, two at a time.
pub fn folder(folder: &Path, begins: &str) -> Vec<Scored> {
    let mut names: Vec<PathBuf> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "json"))
        .filter(|path| path.file_name().is_some_and(|name| name.to_string_lossy().starts_with(begins)))
        .collect();
    names.sort();
    let (next, scored) = (AtomicUsize::new(0), Mutex::new(Vec::new()));
    thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                while let Some(name) = names.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let one = picture(name);
                    scored.lock().unwrap().push(one);
                }
            });
        }
    });
    let mut scored = scored.into_inner().unwrap();
    scored.sort_by(|a, b| a.name.cmp(&b.name));
    scored
}

fn picture(truth_file: &Path) -> Scored {
    let truth: Value = serde_json::from_str(&fs::read_to_string(truth_file).unwrap()).unwrap();
    let name = truth_file.file_stem().unwrap().to_string_lossy().into_owned();
    let clean =
        photo::clean(&fs::read(truth_file.with_extension("jpg")).unwrap(), &Limits::default()).unwrap();
    let review = Picture::from_rendition(&clean.review().jpeg).unwrap();
    let scale = review.width() as f64 / f64::from(clean.sent_width_px());
    let [x_px, y_px] = point(&truth["tap_px"]).map(|px| px * scale);
    let asked = Asked {
        tap: Some(PxPoint { x_px, y_px }),
        issue: CardIssue { ids: 0..=0, tag_edge_mm: TAG_EDGE_MM },
        focal_35mm: clean.focal_35mm(),
    };
    let began_ms = cpu_ms();
    let measurement = wound::measure(&review, &asked);
    let cpu_ms = cpu_ms() - began_ms;
    scored(name, &truth, scale, measurement, cpu_ms)
}

fn scored(name: String, truth: &Value, scale: f64, measurement: Measurement, cpu_ms: f64) -> Scored {
    let number = |value: &Value| value.as_f64().unwrap_or(0.0);
    let size = measurement.size;
    let relative =
        |found: Option<f64>, key: &str| found.map(|found| found / number(&truth["wound"][key]) - 1.0);
    let red = &truth["erythema"];
    let hidden = number(&red["out_of_frame"]) + number(&red["covered_by_card"]) > 0.25;
    let reach = match &measurement.redness {
        Redness::Reach(reach) if !hidden => Some(reach.p95_mm.value - number(&red["p95_mm"])),
        Redness::Reach(_) | Redness::CannotTell | Redness::NoContrast { .. } | Redness::NotGiven { .. } => {
            None
        }
    };
    let tissue = measurement.bed.map(|bed| {
        let off = |found: f64, key: &str| (found - number(&truth["tissue"][key])).abs();
        let (red, dark) = (off(bed.granulation.value, "granulation"), off(bed.dark.value, "necrosis"));
        0.5 * (red + off(bed.yellow.value, "slough") + dark)
    });
    let true_area = number(&truth["wound"]["area_mm2"]);
    let state = truth["card"]["state"].as_str().unwrap_or("missing");
    let picture_number: u32 = name.rsplit('-').next().and_then(|number| number.parse().ok()).unwrap_or(0);
    Scored {
        classes: classes(truth, state),
        card_is_whole: state == "full",
        card_is_missing: state == "missing",
        held_out: picture_number % 3 == 2,
        area: relative(size.map(|size| size.area_mm2.value), "area_mm2"),
        length: relative(size.map(|size| size.length_mm.value), "length_mm"),
        width: relative(size.map(|size| size.width_mm.value), "width_mm"),
        area_covered: size
            .is_some_and(|size| size.area_mm2.low <= true_area && true_area <= size.area_mm2.high),
        geometry: measurement.plane.as_ref().and_then(|plane| geometry(truth, scale, plane)),
        redness_mm: reach,
        true_redness_mm: number(&red["p95_mm"]),
        has_pen: truth["params"]["pen"].as_str().is_some_and(|pen| pen != "none"),
        tissue,
        cpu_ms,
        measurement,
        name,
    }
}

fn classes(truth: &Value, state: &str) -> Vec<String> {
    let number = |value: &Value| value.as_f64().unwrap_or(0.0);
    let band = |name: &str, value: f64, limits: [f64; 2], unit: &str| {
        let [low, high] = limits;
        match value {
            value if value < low => format!("{name} under {low} {unit}"),
            value if value < high => format!("{name} {low} to {high} {unit}"),
            _ => format!("{name} over {high} {unit}"),
        }
    };
    let area_cm2 = number(&truth["wound"]["area_mm2"]) / 100.0;
    let cct = number(&truth["illuminant"]["cct"]);
    vec![
        format!("tone {}", truth["ita_class"].as_str().unwrap_or("?").replace('_', " ")),
        if area_cm2 < 2.0 {
            "area under 2 cm²".to_owned()
        } else {
            band("area", area_cm2, [5.0, 15.0], "cm²")
        },
        band("tilt", number(&truth["camera"]["tilt_deg"]), [15.0, 25.0], "°"),
        band("blur", number(&truth["sharpness"]["blur_mm"]), [0.12, 0.25], "mm"),
        band("light", cct, [3_300.0, 4_500.0], "K"),
        format!("card {state}"),
    ]
}

fn geometry(truth: &Value, scale: f64, plane: &SkinPlane) -> Option<f64> {
    let matrix: Matrix = serde_json::from_value(truth["H_mm_to_px"].clone()).ok()?;
    let true_plane = SkinPlane::from_mm_to_px(matrix).ok()?.for_picture_scaled(scale).ok()?;
    let ring: Vec<PxPoint> = truth["wound"]["polygon_px"]
        .as_array()?
        .iter()
        .map(|value| point(value).map(|px| px * scale))
        .map(|[x_px, y_px]| PxPoint { x_px, y_px })
        .collect();
    let area = |plane: &SkinPlane| {
        let ring = ring.iter().map(|at| plane.to_mm(*at)).collect::<Vec<MmPoint>>();
        Outline::of_ring(ring).ok().map(|outline| outline.area_mm2())
    };
    Some(area(plane)? / area(&true_plane)? - 1.0)
}

fn point(value: &Value) -> [f64; 2] {
    [0, 1].map(|at| value[at].as_f64().unwrap())
}

/// Time this thread has had a processor, ms.
fn cpu_ms() -> f64 {
    let told = fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    told.split(' ').next().and_then(|ns| ns.parse::<f64>().ok()).unwrap_or(0.0) / 1e6
}

/// The value below which a share of all values lies, between neighbours as NumPy's `percentile` does; 0 of nothing.
pub fn share_below(values: impl IntoIterator<Item = f64>, share: f64) -> f64 {
    let mut values: Vec<f64> = values.into_iter().map(f64::abs).collect();
    if values.is_empty() {
        return 0.0;
    }
    values.sort_by(f64::total_cmp);
    let at = share * (values.len() - 1) as f64;
    let (low, high) = (values[at.floor() as usize], values[at.ceil() as usize]);
    low + (high - low) * at.fract()
}

/// Pictures with a whole card that were given a number, as a share of those with a whole card.
pub fn given(all: &[&Scored]) -> f64 {
    let whole = all.iter().filter(|one| one.card_is_whole).count();
    let counted = all.iter().filter(|one| one.card_is_whole && one.is_counted()).count();
    counted as f64 / whole.max(1) as f64
}

/// Numbers off by more than a quarter that stand as certain.
pub fn gross(all: &[&Scored]) -> usize {
    all.iter().filter(|one| one.is_counted() && one.area.is_some_and(|off| off.abs() > 0.25)).count()
}

/// Pictures without a readable card that were measured all the same.
pub fn not_refused(all: &[&Scored]) -> usize {
    all.iter().filter(|one| !one.card_is_whole && one.measurement.standing != Standing::Refused).count()
}

pub fn counted<'s>(all: &[&'s Scored]) -> Vec<&'s Scored> {
    all.iter().copied().filter(|one| one.is_counted()).collect()
}

/// Wide redness that was said to have no contrast; of so many pictures with wide redness that were measured.
pub fn wide_redness_missed(all: &[&Scored]) -> (usize, usize) {
    let wide =
        |one: &&&Scored| one.true_redness_mm > WIDE_MM && one.measurement.standing != Standing::Refused;
    let none = |one: &&&Scored| matches!(one.measurement.redness, Redness::NoContrast { .. });
    (all.iter().filter(wide).filter(none).count(), all.iter().filter(wide).count())
}

/// Pen lines seen where none is, of so many; and where one is, of so many; among pictures with an outline.
pub fn pen_lines(all: &[&Scored]) -> (usize, usize, usize, usize) {
    let looked = || all.iter().filter(|one| one.measurement.outline.is_some());
    let seen = |one: &&&Scored| matches!(one.measurement.pen, PenLine::Seen { .. });
    let (without, with): (Vec<_>, Vec<_>) = looked().partition(|one| !one.has_pen);
    (
        without.iter().filter(|one| seen(one)).count(),
        without.len(),
        with.iter().filter(|one| seen(one)).count(),
        with.len(),
    )
}

/// Which way errors lean: the middle one, with its sign; 0 of nothing.
fn signed_median(values: &[f64]) -> f64 {
    let mut values = values.to_vec();
    values.sort_by(f64::total_cmp);
    match values.len() {
        0 => 0.0,
        count => (values[(count - 1) / 2] + values[count / 2]) / 2.0,
    }
}

/// The figures of a set of pictures as lines of text.
pub fn table(title: &str, all: &[&Scored]) -> String {
    let mut out = String::new();
    let counted = counted(all);
    let refused = all.iter().filter(|one| one.measurement.standing == Standing::Refused).count();
    let low = all.iter().filter(|one| one.measurement.standing == Standing::LowConfidence).count();
    let mut line = |text: String| writeln!(out, "{text}").unwrap();
    line(format!(
        "{title}: {} pictures, {} counted, {low} low confidence, {refused} refused",
        all.len(),
        counted.len()
    ));
    line(format!("  a whole card, given a number          {:.0} %", 100.0 * given(all)));
    line(format!("  off by more than 25 %, not flagged    {}", gross(all)));
    line(format!("  no whole card, measured all the same  {}", not_refused(all)));
    let (missed, wide) = wide_redness_missed(all);
    line(format!("  redness over {WIDE_MM} mm told as no contrast {missed} of {wide}"));
    let (invented, without, seen, drawn) = pen_lines(all);
    line(format!("  pen line seen: where none is {invented} of {without}, where one is {seen} of {drawn}"));
    let mut row = |name: &str, values: Vec<f64>, unit: &str, factor: f64| {
        let of = |share: f64| factor * share_below(values.iter().copied(), share);
        let (n, middle, p90, p95, most) = (values.len(), of(0.5), of(0.9), of(0.95), of(1.0));
        let leans = factor * signed_median(&values);
        writeln!(
            out,
            "  {name:<22} n {n:>3}  median {middle:>6.2}  p90 {p90:>6.2}  p95 {p95:>6.2}  most {most:>6.2}  leans {leans:>+6.2} {unit}"
        )
        .unwrap();
    };
    row("area", counted.iter().filter_map(|one| one.area).collect(), "%", 100.0);
    row("length", counted.iter().filter_map(|one| one.length).collect(), "%", 100.0);
    row("width", counted.iter().filter_map(|one| one.width).collect(), "%", 100.0);
    row("geometry alone", all.iter().filter_map(|one| one.geometry).collect(), "%", 100.0);
    row("redness reach", counted.iter().filter_map(|one| one.redness_mm).collect(), "mm", 1.0);
    row("tissue shares", counted.iter().filter_map(|one| one.tissue).collect(), "%", 100.0);
    row(
        "CPU, tap to numbers",
        all.iter().filter(|one| one.area.is_some()).map(|one| one.cpu_ms).collect(),
        "ms",
        1.0,
    );
    let covered = counted.iter().filter(|one| one.area_covered).count();
    writeln!(out, "  true area inside the interval         {covered} of {}", counted.len()).unwrap();
    out
}

/// Errors by class: of what was counted, area, length, redness and tissue, and how wide the area's interval was told.
pub fn by_class(all: &[&Scored]) -> String {
    let mut names: Vec<&str> = all.iter().flat_map(|one| one.classes.iter().map(String::as_str)).collect();
    names.sort_unstable();
    names.dedup();
    let mut out = format!(
        "  {:<26} {:>11}  {:>13}  {:>10}  {:>10}  {:>10}  {:>5}\n",
        "", "counted", "area med/p95", "length p95", "redness", "tissue", "told"
    );
    for name in names {
        let mine: Vec<&Scored> =
            all.iter().copied().filter(|one| one.classes.iter().any(|class| class == name)).collect();
        writeln!(out, "{}", class_line(name, &mine)).unwrap();
    }
    out
}

fn class_line(name: &str, mine: &[&Scored]) -> String {
    let counted = counted(mine);
    let of = |figure: &dyn Fn(&Scored) -> Option<f64>, share: f64| {
        let values: Vec<f64> = counted.iter().filter_map(|one| figure(one)).collect();
        (!values.is_empty()).then(|| share_below(values, share))
    };
    let show = |value: Option<f64>, factor: f64, unit: &str| {
        value.map_or_else(|| "–".to_owned(), |value| format!("{:.1} {unit}", factor * value))
    };
    let percent = |figure: &dyn Fn(&Scored) -> Option<f64>, share: f64| show(of(figure, share), 100.0, "%");
    let told = percent(&|one| one.measurement.size.map(|size| size.area_mm2.relative_error()), 0.5);
    let area = format!("{} / {}", percent(&|one| one.area, 0.5), percent(&|one| one.area, 0.95));
    let length = percent(&|one| one.length, 0.95);
    let redness = show(of(&|one| one.redness_mm, 0.5), 1.0, "mm");
    let tissue = percent(&|one| one.tissue, 0.5);
    let how_many = format!("{} of {}", counted.len(), mine.len());
    format!("  {name:<26} {how_many:>11}  {area:>13}  {length:>10}  {redness:>10}  {tissue:>10}  ±{told}")
}

/// Why pictures were refused or not counted.
pub fn reasons(all: &[&Scored]) -> String {
    let mut out = String::new();
    let mut seen: Vec<(Because, usize)> = Vec::new();
    for because in all.iter().filter(|one| !one.is_counted()).flat_map(|one| &one.measurement.because) {
        match seen.iter_mut().find(|(known, _)| known == because) {
            Some((_, count)) => *count += 1,
            None => seen.push((*because, 1)),
        }
    }
    seen.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    for (because, count) in seen {
        writeln!(out, "  {count:>3} × {because:?}").unwrap();
    }
    out
}
