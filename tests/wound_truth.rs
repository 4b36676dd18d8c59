//! How well photos are measured: drawn pictures of known geometry, and the figures that must be met on them.

use std::path::Path;
use std::path::PathBuf;
use std::sync::LazyLock;

use closewatch::wound::Redness;

#[path = "drawn/score.rs"]
mod score;

use score::Scored;
use score::share_below;

/// What must hold on ordinary photos with a readable card. `examples/measure_table.rs` prints what does.
const AREA_MEDIAN: f64 = 0.02;
const AREA_P95: f64 = 0.08;
const GIVEN: f64 = 0.85;
const GEOMETRY_MEDIAN: f64 = 0.005;
const GEOMETRY_P95: f64 = 0.025;
const LENGTH_P95: f64 = 0.04;
const WIDTH_P95: f64 = 0.07;
const REDNESS_MEDIAN_MM: f64 = 1.2;
const REDNESS_P90_MM: f64 = 5.0;
const TISSUE_MEDIAN: f64 = 0.03;
const TISSUE_P95: f64 = 0.10;
/// No class of pictures may be worse than this many times the median of all, unless its interval says so.
const WORST_CLASS: f64 = 2.0;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/phantoms")
}

static TYPICAL: LazyLock<Vec<Scored>> = LazyLock::new(|| score::folder(&folder(), "typ-"));
static HARD: LazyLock<Vec<Scored>> = LazyLock::new(|| score::folder(&folder(), "hard-"));

fn typical() -> Vec<&'static Scored> {
    TYPICAL.iter().collect()
}

#[test]
fn ordinary_photos_are_measured_as_well_as_they_must() {
    let all = typical();
    let counted = score::counted(&all);
    let check = |name: &str, values: Vec<f64>, share: f64, most: f64| {
        assert!(values.len() >= 10, "{name}: only {} pictures", values.len());
        let found = share_below(values, share);
        assert!(
            found <= most,
            "{name}: {found}, must be at most {most}\n{}",
            score::table("Ordinary photos", &all)
        );
    };
    let of = |figure: &dyn Fn(&Scored) -> Option<f64>| {
        counted.iter().filter_map(|one| figure(one)).collect::<Vec<f64>>()
    };
    check("area, median", of(&|one| one.area), 0.5, AREA_MEDIAN);
    check("area, p95", of(&|one| one.area), 0.95, AREA_P95);
    check("length, p95", of(&|one| one.length), 0.95, LENGTH_P95);
    check("width, p95", of(&|one| one.width), 0.95, WIDTH_P95);
    check("geometry, median", of(&|one| one.geometry), 0.5, GEOMETRY_MEDIAN);
    check("geometry, p95", of(&|one| one.geometry), 0.95, GEOMETRY_P95);
    check("redness, median", of(&|one| one.redness_mm), 0.5, REDNESS_MEDIAN_MM);
    check("redness, p90", of(&|one| one.redness_mm), 0.9, REDNESS_P90_MM);
    check("tissue, median", of(&|one| one.tissue), 0.5, TISSUE_MEDIAN);
    check("tissue, p95", of(&|one| one.tissue), 0.95, TISSUE_P95);
    assert!(score::given(&all) >= GIVEN, "{}", score::table("Ordinary photos", &all));
}

/// Figures on the third of the pictures that was kept out of tuning.
#[test]
fn pictures_kept_out_of_tuning_are_measured_as_well() {
    let held: Vec<&Scored> = TYPICAL.iter().filter(|one| one.held_out).collect();
    let median = share_below(score::counted(&held).iter().filter_map(|one| one.area), 0.5);
    let told = || format!("{}{}", score::table("Held out", &held), score::reasons(&held));
    assert!(median <= AREA_MEDIAN && score::given(&held) >= 0.75, "{}", told());
}

#[test]
fn no_number_is_far_off_without_being_flagged() {
    let all: Vec<&Scored> = TYPICAL.iter().chain(HARD.iter()).collect();
    assert_eq!(score::gross(&all), 0, "{}", score::table("All photos", &all));
}

#[test]
fn a_missing_covered_or_mirrored_card_is_refused() {
    let all: Vec<&Scored> = TYPICAL.iter().chain(HARD.iter()).collect();
    assert!(all.iter().filter(|one| !one.card_is_whole).count() >= 6);
    assert_eq!(score::not_refused(&all), 0);
    for one in all.iter().filter(|one| one.card_is_missing) {
        assert!(one.measurement.size.is_none() && one.measurement.outline.is_none(), "{}", one.name);
    }
}

#[test]
fn redness_is_never_said_to_be_none() {
    for one in TYPICAL.iter().chain(HARD.iter()) {
        if let Redness::Reach(reach) = &one.measurement.redness {
            assert!(reach.p95_mm.value >= 1.0, "{}: a bare nought", one.name);
        }
    }
    let all: Vec<&Scored> = TYPICAL.iter().chain(HARD.iter()).collect();
    let (missed, wide) = score::wide_redness_missed(&all);
    assert!(missed == 0 && wide >= 10, "{missed} of {wide} with wide redness are told to have no contrast");
}

#[test]
fn where_a_class_is_measured_worse_its_interval_is_wider() {
    let all: Vec<&Scored> = TYPICAL.iter().chain(HARD.iter()).collect();
    let counted = score::counted(&all);
    let overall = share_below(counted.iter().filter_map(|one| one.area), 0.5);
    let told = |set: &[&Scored]| {
        share_below(
            set.iter().filter_map(|one| one.measurement.size.map(|size| size.area_mm2.relative_error())),
            0.5,
        )
    };
    let usual = told(&counted);
    let mut names: Vec<&String> = counted.iter().flat_map(|one| &one.classes).collect();
    names.sort();
    names.dedup();
    for name in names {
        let mine: Vec<&Scored> = counted.iter().copied().filter(|one| one.classes.contains(name)).collect();
        let median = share_below(mine.iter().filter_map(|one| one.area), 0.5);
        let widened = told(&mine) > 1.2 * usual;
        assert!(
            median <= WORST_CLASS * overall || widened,
            "{name}: {median} against {overall}\n{}",
            score::by_class(&all)
        );
    }
    let covered = counted.iter().filter(|one| one.area_covered).count();
    assert!(
        covered * 20 >= counted.len() * 19,
        "{covered} of {} true areas lie in their intervals",
        counted.len()
    );
}

/// Numbers that NumPy's `percentile([1, 2, 4, 8], [50, 95])` gives: 3.0 and 7.4.
#[test]
fn shares_are_taken_as_numpy_takes_them() {
    let values = [8.0, -2.0, 4.0, 1.0];
    assert!(
        (share_below(values, 0.5) - 3.0).abs() < 1e-12 && (share_below(values, 0.95) - 7.4).abs() < 1e-12
    );
}
