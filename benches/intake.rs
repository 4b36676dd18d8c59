//! What one 12-megapixel photo costs: CPU against libvips making the same three renditions, and memory of eight at once.
//!
//! `cargo bench --bench intake` prints the figures and fails when a target is missed. libvips (`vipsthumbnail`, Debian
//! package `libvips-tools`) works on the same file in the same run with one thread. Both sides are child processes and
//! measured by their user and system time, less what they need on a picture of 16 × 16 pixels, that is, for starting.
//! libvips is given two ways and the cheaper one counts: every rendition from the sent file, shrinking while it loads, or
//! each from the one before. The same photo is also read as a server reads it, by a process of its own, against doing it in this one:
//! there the start of the other process counts.

#[path = "../tests/support/together.rs"]
#[expect(dead_code, reason = "one run needs no second beginning")]
mod together;

use std::env;
use std::fs;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::process::ExitCode;
use std::sync::Arc;

use closewatch::care::decoder::Apart;
use closewatch::care::decoder::Came;
use closewatch::photo;
use closewatch::photo::CleanPhoto;
use closewatch::photo::Limits;
use image::ExtendedColorType;
use image::ImageEncoder;
use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use tokio::sync::Semaphore;

use together::Together;

/// Our CPU may be this share of libvips'.
const CPU_TARGET: f64 = 0.75;
/// And this share of itself, when a process of its own reads the photo.
const APART_TARGET: f64 = 1.15;
/// Peak memory of eight photos at once with two permits, with the processes that read them.
const MEMORY_TARGET_MIB: f64 = 400.0;
const ROUNDS: usize = 5;
/// Runs measured together, since the kernel counts CPU time in hundredths of a second.
const RUNS: usize = 5;
const AT_ONCE: usize = 8;
const PERMITS: usize = 2;

fn main() -> ExitCode {
    let arguments: Vec<String> = env::args().collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        [_, "one", picture, directory, ..] => one(picture, directory),
        [_, "apart", picture, directory, ..] => read_apart(picture, directory),
        [_, "eight", picture, ..] => eight(picture),
        _ => return compare(),
    }
    ExitCode::SUCCESS
}

/// What the program does with one photo, including writing it down, as the other side does.
fn one(picture: &str, directory: &str) {
    write_down(&photo::clean(&fs::read(picture).unwrap(), &Limits::default()).unwrap(), directory);
}

/// The same, by a process of its own.
fn read_apart(picture: &str, directory: &str) {
    let bytes = fs::read(picture).unwrap();
    let apart = Apart::new(env!("CARGO_BIN_EXE_closewatch").into());
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    match runtime.block_on(apart.read(&bytes, &Limits::default())) {
        Came::Read(Ok(clean)) => write_down(&clean, directory),
        other => panic!("{other:?}"),
    }
}

fn write_down(clean: &CleanPhoto, directory: &str) {
    let directory = Path::new(directory);
    for (name, rendition) in [("full", clean.full()), ("review", clean.review()), ("small", clean.small())] {
        fs::write(directory.join(format!("ours-{name}.jpg")), &rendition.jpeg).unwrap();
    }
}

/// Eight photos arrive at once; two permits. Prints the most memory that this process and those that read for it hold together, MiB.
fn eight(picture: &str) {
    let together = Together::of(std::process::id());
    let bytes = fs::read(picture).unwrap();
    let apart = Apart::new(env!("CARGO_BIN_EXE_closewatch").into());
    let permits = Arc::new(Semaphore::new(PERMITS));
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    let kept = runtime.block_on(async {
        let reading: Vec<_> = (0..AT_ONCE)
            .map(|_| {
                let (sent, apart, permits) = (bytes.clone(), apart.clone(), Arc::clone(&permits));
                tokio::spawn(async move {
                    let _permit = permits.acquire().await.unwrap();
                    match apart.read(&sent, &Limits::default()).await {
                        Came::Read(Ok(clean)) => clean,
                        other => panic!("{other:?}"),
                    }
                })
            })
            .collect();
        // All eight results are held, as they would be while waiting to be stored.
        let mut kept = Vec::new();
        for one in reading {
            kept.push(one.await.unwrap());
        }
        kept
    });
    assert_eq!(kept.len(), AT_ONCE);
    println!("{}", together.most_mib());
}

fn compare() -> ExitCode {
    let directory = env::temp_dir().join(format!("closewatch-intake-{}", std::process::id()));
    fs::create_dir_all(&directory).unwrap();
    let photo = written(&directory, "photo.jpg", 4_032, 3_024);
    let nothing = written(&directory, "nothing.jpg", 16, 16);
    println!(
        "photo: 4032x3024, EXIF orientation 6, {:.1} MB",
        fs::metadata(&photo).unwrap().len() as f64 / 1e6
    );

    let ours = |picture: &Path| vec![vec![own_program(), "one".into(), text(picture), text(&directory)]];
    let net = |name: &str, steps: &dyn Fn(&Path) -> Vec<Vec<String>>| {
        let (whole, start) = (least_cpu_ms(&steps(&photo)), least_cpu_ms(&steps(&nothing)));
        println!("{name:<52} {:>6.0} ms CPU ({whole:.0} less {start:.0} for starting)", whole - start);
        whole - start
    };
    let own = net("closewatch, three renditions", &ours);
    let apart = |picture: &Path| vec![vec![own_program(), "apart".into(), text(picture), text(&directory)]];
    let more = least_cpu_ms(&apart(&photo)) - least_cpu_ms(&ours(&photo));
    let of_itself = (own + more) / own;
    println!(
        "read by a process of its own: {more:.0} ms CPU more, ratio {of_itself:.2} (target <= {APART_TARGET})"
    );
    let memory = memory_mib(&photo);
    println!(
        "{AT_ONCE} photos at once, {PERMITS} permits: {memory:.0} MiB peak (target < {MEMORY_TARGET_MIB})"
    );
    let mut fine = memory < MEMORY_TARGET_MIB && of_itself <= APART_TARGET;
    if has_vips() {
        let again =
            net("libvips, each rendition from the sent file", &|picture| vips_from_sent(picture, &directory));
        let chain =
            net("libvips, each rendition from the one before", &|picture| vips_chained(picture, &directory));
        let ratio = own / again.min(chain);
        println!("CPU ratio {ratio:.2} (target <= {CPU_TARGET})");
        fine &= ratio <= CPU_TARGET;
    } else {
        println!("vipsthumbnail is not installed: no comparison");
    }
    fs::remove_dir_all(&directory).unwrap();
    if fine { ExitCode::SUCCESS } else { ExitCode::FAILURE }
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
fn vips_step(from: &Path, side: u32, to: &Path) -> Vec<String> {
    let output = format!("{}[Q=88,strip,subsample_mode=on]", text(to));
    ["vipsthumbnail", &text(from), "--size", &format!("{side}x{side}>"), "-o", &output]
        .map(str::to_owned)
        .into()
}

fn vips_from_sent(picture: &Path, directory: &Path) -> Vec<Vec<String>> {
    let sizes = [(4_000, "full"), (1_600, "review"), (320, "small")];
    sizes.map(|(side, name)| vips_step(picture, side, &directory.join(format!("vips-{name}.jpg")))).into()
}

fn vips_chained(picture: &Path, directory: &Path) -> Vec<Vec<String>> {
    let [full, review, small] =
        ["full", "review", "small"].map(|name| directory.join(format!("vips-{name}.jpg")));
    vec![vips_step(picture, 4_000, &full), vips_step(&full, 1_600, &review), vips_step(&review, 320, &small)]
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

fn memory_mib(photo: &Path) -> f64 {
    let done = Command::new(own_program()).args(["eight", &text(photo)]).output().unwrap();
    String::from_utf8(done.stdout).unwrap().trim().parse().unwrap()
}

/// A wound-like picture with the fine noise of a phone's sensor, so that it has a phone's bytes; EXIF orientation 6.
fn written(directory: &Path, name: &str, width: u32, height: u32) -> PathBuf {
    let mut state = 0x9E37_79B9_u32;
    let picture = RgbImage::from_fn(width, height, |x, y| {
        state ^= state << 13;
        state ^= state >> 17;
        state ^= state << 5;
        let noise = (state & 15) as f32 + (state >> 4 & 15) as f32 - 15.0;
        let (u, v) = (x as f32 / width as f32 - 0.5, y as f32 / height as f32 - 0.5);
        let wound = (1.0 - 12.0 * (u * u + 2.0 * v * v)).clamp(0.0, 1.0);
        let texture = 9.0 * ((x as f32 * 0.11).sin() + (y as f32 * 0.07).cos());
        let tone = |skin: f32, bed: f32| skin + (bed - skin) * wound + texture + noise;
        image::Rgb([tone(205.0, 150.0) as u8, tone(160.0, 40.0) as u8, tone(140.0, 45.0) as u8])
    });
    let mut jpeg = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut jpeg, 80);
    // TIFF, little-endian: one directory with the orientation.
    let exif = b"II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0\x06\0\0\0\0\0\0\0".to_vec();
    encoder.set_exif_metadata(exif).unwrap();
    encoder.write_image(&picture, width, height, ExtendedColorType::Rgb8).unwrap();
    let path = directory.join(name);
    fs::write(&path, jpeg).unwrap();
    path
}
