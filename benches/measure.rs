//! What measuring costs: a whole intake with it against libvips making two renditions alone, CPU from tap to numbers by
//! stage, and memory of one and of four at once.
//!
//! `cargo bench --bench measure` prints the figures and fails when a target is missed. The photo is a drawn one of 12
//! megapixels (`tests/phantoms`). libvips (`vipsthumbnail`, Debian package `libvips-tools`) works on the same file in the same
//! run with one thread; both sides are child processes, measured by their user and system time less what they need on a
//! picture of 16 × 16 pixels. libvips is given two ways and the cheaper one counts: each rendition from the sent file, or
//! the second from the first.

use std::env;
use std::fs;
use std::hint::black_box;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::process::ExitCode;
use std::thread;

use closewatch::photo;
use closewatch::photo::CardIssue;
use closewatch::photo::CleanPhoto;
use closewatch::photo::Limits;
use closewatch::photo::Picture;
use closewatch::photo::PxPoint;
use closewatch::photo::TAG_EDGE_MM;
use closewatch::photo::find_card;
use closewatch::wound;
use closewatch::wound::Asked;
use closewatch::wound::Standing;
use serde_json::Value;

/// Intake with measuring may cost this many times what libvips needs for the two renditions.
const CPU_TARGET: f64 = 1.5;
/// From pixels and tap to numbers, median over the drawn photos, ms of one core.
const MEASURING_TARGET_MS: f64 = 350.0;
const ONE_TARGET_MIB: f64 = 120.0;
const FOUR_TARGET_MIB: f64 = 400.0;
const PHOTO: &str = "big-0001";
const ROUNDS: usize = 4;
/// Runs measured together, since the kernel counts CPU time in hundredths of a second.
const RUNS: usize = 4;

fn main() -> ExitCode {
    let arguments: Vec<String> = env::args().collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        [_, "intake", photo, directory, ..] => intake(photo, directory),
        [_, "at-once", count, review, tap, ..] => at_once(count.parse().unwrap(), review, tap),
        _ => return compare(),
    }
    ExitCode::SUCCESS
}

/// All the program does with a photo: three renditions written down, the review rendition read back and measured.
fn intake(photo: &str, directory: &str) {
    let clean = cleaned(Path::new(photo));
    let directory = Path::new(directory);
    for (name, rendition) in [("full", clean.full()), ("review", clean.review()), ("small", clean.small())] {
        fs::write(directory.join(format!("ours-{name}.jpg")), &rendition.jpeg).unwrap();
    }
    let review = Picture::from_rendition(&clean.review().jpeg).unwrap();
    let found = wound::measure(&review, &asked(tap_of(Path::new(photo), &clean), &clean));
    fs::write(directory.join("ours.json"), serde_json::to_vec(&found).unwrap()).unwrap();
}

/// The review rendition read back and measured, as the job after a check does it, by so many threads at the same time.
/// Prints the peak memory of the process in KiB.
fn at_once(count: usize, review: &str, tap: &str) {
    let [x_px, y_px]: [f64; 2] = serde_json::from_str(tap).unwrap();
    let issue = CardIssue { ids: 0..=0, tag_edge_mm: TAG_EDGE_MM };
    let asked = Asked { tap: Some(PxPoint { x_px, y_px }), issue, focal_35mm: None };
    thread::scope(|scope| {
        for _ in 0..count {
            scope.spawn(|| {
                let picture = Picture::from_rendition(&fs::read(review).unwrap()).unwrap();
                assert_eq!(wound::measure(&picture, &asked).standing, Standing::Ok);
            });
        }
    });
    println!("{}", peak_kib());
}

fn peak_kib() -> f64 {
    let status = fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmHWM:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

fn compare() -> ExitCode {
    let directory = env::temp_dir().join(format!("closewatch-measure-{}", std::process::id()));
    fs::create_dir_all(&directory).unwrap();
    let mut fine = stages();
    fine &= memory(&directory);
    fine &= against_vips(&directory);
    fs::remove_dir_all(&directory).unwrap();
    if fine { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn drawn(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/phantoms").join(name).with_extension("jpg")
}

fn cleaned(photo: &Path) -> CleanPhoto {
    photo::clean(&fs::read(photo).unwrap(), &Limits::default()).unwrap()
}

/// The tapped place of a drawn photo on its review rendition; the middle of any other.
fn tap_of(photo: &Path, clean: &CleanPhoto) -> PxPoint {
    let review = clean.review();
    let Ok(truth) = fs::read_to_string(photo.with_extension("json")) else {
        return PxPoint { x_px: f64::from(review.width_px) / 2.0, y_px: f64::from(review.height_px) / 2.0 };
    };
    let truth: Value = serde_json::from_str(&truth).unwrap();
    let scale = f64::from(review.width_px) / f64::from(clean.sent_width_px());
    let [x_px, y_px] = [0, 1].map(|at| truth["tap_px"][at].as_f64().unwrap() * scale);
    PxPoint { x_px, y_px }
}

fn asked(tap: PxPoint, clean: &CleanPhoto) -> Asked {
    let issue = CardIssue { ids: 0..=0, tag_edge_mm: TAG_EDGE_MM };
    Asked { tap: Some(tap), issue, focal_35mm: clean.focal_35mm() }
}

// --- CPU from tap to numbers ------------------------------------------------------------------------------------

/// One photo's CPU by stage, ms.
struct Stages {
    reading_back: f64,
    card: f64,
    all: f64,
}

fn stages() -> bool {
    let mut photos: Vec<PathBuf> = fs::read_dir(drawn("x").parent().unwrap())
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "jpg"))
        .collect();
    photos.sort();
    let measured: Vec<Stages> = photos.iter().filter_map(|photo| staged(photo)).collect();
    let line = |name: &str, of: &dyn Fn(&Stages) -> f64| {
        let mut each: Vec<f64> = measured.iter().map(of).collect();
        each.sort_by(f64::total_cmp);
        let (middle, most) = (each[each.len() / 2], each[each.len() - 1]);
        println!("{name:<52} {middle:>6.0} ms CPU in the median, {most:.0} at most");
        middle
    };
    println!("{} drawn photos that are measured, least of {ROUNDS} rounds each", measured.len());
    line("reading the review rendition back", &|one| one.reading_back);
    line("finding the card", &|one| one.card);
    line("outline, colours, figures", &|one| one.all - one.card);
    let middle = line("from tap to numbers", &|one| one.all);
    println!("from tap to numbers {middle:.0} ms (target <= {MEASURING_TARGET_MS:.0})");
    middle <= MEASURING_TARGET_MS
}

/// `None` where nothing is measured: a refusal is cheap and would flatter the median.
fn staged(photo: &Path) -> Option<Stages> {
    let clean = cleaned(photo);
    let asked = asked(tap_of(photo, &clean), &clean);
    let review = Picture::from_rendition(&clean.review().jpeg).unwrap();
    wound::measure(&review, &asked).outline.as_ref()?;
    let near = asked.tap?;
    Some(Stages {
        reading_back: least(16, &|| drop(black_box(Picture::from_rendition(&clean.review().jpeg)))),
        card: least(16, &|| drop(black_box(find_card(&review, &asked.issue, near, asked.focal_35mm)))),
        all: least(1, &|| drop(black_box(wound::measure(&review, &asked)))),
    })
}

/// The least CPU of some rounds, ms. `times` runs are measured together: the kernel brings the figure up to date every
/// few milliseconds only.
fn least(times: usize, work: &dyn Fn()) -> f64 {
    let timed = || {
        let began = own_cpu_ms();
        (0..times).for_each(|_| work());
        (own_cpu_ms() - began) / times as f64
    };
    (0..ROUNDS).map(|_| timed()).fold(f64::INFINITY, f64::min)
}

/// Time this thread has had a processor, ms.
fn own_cpu_ms() -> f64 {
    let told = fs::read_to_string("/proc/thread-self/schedstat").unwrap();
    told.split(' ').next().unwrap().parse::<f64>().unwrap() / 1e6
}

// --- memory -----------------------------------------------------------------------------------------------------

fn memory(directory: &Path) -> bool {
    let photo = drawn(PHOTO);
    let clean = cleaned(&photo);
    let review = directory.join("review.jpg");
    fs::write(&review, &clean.review().jpeg).unwrap();
    let tap = tap_of(&photo, &clean);
    let tap = format!("[{},{}]", tap.x_px, tap.y_px);
    let peak = |count: &str| {
        let done =
            Command::new(own_program()).args(["at-once", count, &text(&review), &tap]).output().unwrap();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        String::from_utf8(done.stdout).unwrap().trim().parse::<f64>().unwrap() / 1024.0
    };
    let (none, one, four) = (peak("0"), peak("1"), peak("4"));
    println!("peak memory measuring nothing {none:.0} MiB, one {one:.0} MiB (target < {ONE_TARGET_MIB:.0})");
    println!("four at once {four:.0} MiB (target < {FOUR_TARGET_MIB:.0})");
    one < ONE_TARGET_MIB && four < FOUR_TARGET_MIB
}

// --- a whole intake against libvips -----------------------------------------------------------------------------

fn against_vips(directory: &Path) -> bool {
    if !has_vips() {
        println!("vipsthumbnail is not installed: no comparison");
        return true;
    }
    let (photo, nothing) = (drawn(PHOTO), directory.join("nothing.jpg"));
    image::RgbImage::new(16, 16).save(&nothing).unwrap();
    let net = |name: &str, steps: &dyn Fn(&Path) -> Vec<Vec<String>>| {
        let (whole, start) = (least_cpu_ms(&steps(&photo)), least_cpu_ms(&steps(&nothing)));
        println!("{name:<52} {:>6.0} ms CPU ({whole:.0} less {start:.0} for starting)", whole - start);
        whole - start
    };
    let own = net("closewatch, intake with measuring", &|picture| {
        vec![vec![own_program(), "intake".into(), text(picture), text(directory)]]
    });
    let sent = net("libvips, two renditions from the sent file", &|picture| {
        [(4_000, "full"), (1_600, "review")]
            .map(|(side, name)| vips_step(picture, side, directory, name))
            .into()
    });
    let chained = net("libvips, the second rendition from the first", &|picture| {
        let full = directory.join("vips-full.jpg");
        vec![vips_step(picture, 4_000, directory, "full"), vips_step(&full, 1_600, directory, "review")]
    });
    let ratio = own / sent.min(chained);
    println!("CPU ratio {ratio:.2} (target <= {CPU_TARGET})");
    ratio <= CPU_TARGET
}

fn own_program() -> String {
    text(&env::current_exe().unwrap())
}

fn text(path: &Path) -> String {
    path.to_str().unwrap().to_owned()
}

fn has_vips() -> bool {
    Command::new("vipsthumbnail").arg("--vips-version").output().is_ok_and(|done| done.status.success())
}

/// The same sizes, quality and chroma sampling as ours; `strip` drops the metadata, turning is automatic.
fn vips_step(from: &Path, side: u32, directory: &Path, name: &str) -> Vec<String> {
    let to = directory.join(format!("vips-{name}.jpg"));
    let output = format!("{}[Q=88,strip,subsample_mode=on]", text(&to));
    ["vipsthumbnail", &text(from), "--size", &format!("{side}x{side}>"), "-o", &output]
        .map(str::to_owned)
        .into()
}

/// User and system time of running all steps, ms; the least of some rounds, since other work only ever adds.
fn least_cpu_ms(steps: &[Vec<String>]) -> f64 {
    (0..ROUNDS).map(|_| cpu_ms(steps)).fold(f64::INFINITY, f64::min)
}

fn cpu_ms(steps: &[Vec<String>]) -> f64 {
    let before = children_ms();
    for step in std::iter::repeat_n(steps, RUNS).flatten() {
        let done = Command::new(&step[0]).args(&step[1..]).env("VIPS_CONCURRENCY", "1").output().unwrap();
        assert!(done.status.success(), "{step:?}: {}", String::from_utf8_lossy(&done.stderr));
    }
    (children_ms() - before) / RUNS as f64
}

/// User and system time of all children so far, ms.
fn children_ms() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").unwrap();
    let after_name = stat.rsplit_once(')').unwrap().1;
    let fields: Vec<&str> = after_name.split_whitespace().collect();
    // Fields 16 and 17 of proc(5), in ticks of 1/100 s; the first one after the name is field 3.
    10.0 * (fields[13].parse::<f64>().unwrap() + fields[14].parse::<f64>().unwrap())
}
