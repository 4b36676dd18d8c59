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
use closewatch::wound::Redness;
use closewatch::wound::Standing;
use serde_json::Value;

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
    let mut row = |name: &str, values: Vec<f64>, unit: &str, factor: f64| {
        let of = |share: f64| factor * share_below(values.iter().copied(), share);
        let (n, middle, p90, p95, most) = (values.len(), of(0.5), of(0.9), of(0.95), of(1.0));
        writeln!(out, "  {name:<24} n {n:>3}  median {middle:>6.2}  p90 {p90:>6.2}  p95 {p95:>6.2}  most {most:>6.2} {unit}")
            .unwrap();
    };
    row("area", counted.iter().filter_map(|one| one.area).collect(), "%", 100.0);
    row("length", counted.iter().filter_map(|one| one.length).collect(), "%", 100.0);
    row("width", counted.iter().filter_map(|one| one.width).collect(), "%", 100.0);
    row("geometry alone", all.iter().filter_map(|one| one.geometry).collect(), "%", 100.0);
    row("redness reach", all.iter().filter_map(|one| one.redness_mm).collect(), "mm", 1.0);
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

/// Area error by class.
pub fn by_class(all: &[&Scored]) -> String {
    let mut names: Vec<&str> = all.iter().flat_map(|one| one.classes.iter().map(String::as_str)).collect();
    names.sort_unstable();
    names.dedup();
    let mut out = String::new();
    for name in names {
        let mine: Vec<&Scored> =
            all.iter().copied().filter(|one| one.classes.iter().any(|class| class == name)).collect();
        let counted = counted(&mine);
        let errors: Vec<f64> = counted.iter().filter_map(|one| one.area).collect();
        let widths =
            counted.iter().filter_map(|one| one.measurement.size.map(|size| size.area_mm2.relative_error()));
        let of = |share: f64| 100.0 * share_below(errors.iter().copied(), share);
        let told = 100.0 * share_below(widths, 0.5);
        let (n, k) = (mine.len(), errors.len());
        writeln!(
            out,
            "  {name:<28} {k:>3} of {n:>3} counted  area median {:>5.2} %  p95 {:>5.2} %  told ±{told:.0} %",
            of(0.5),
            of(0.95)
        )
        .unwrap();
    }
    out
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
