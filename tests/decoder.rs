//! The process that reads photos: whatever a file does to its decoder, it costs that photo and nothing else (safety promises U2, U15).
//!
//! A file that begins like a JPEG and goes on with `taken over:` has the reading process try what it names, as a decoder might that
//! was taken over by it. Each guard has a control: the same, in a process that was not shut in.

mod photo_samples;
mod support;

use std::collections::BTreeSet;
use std::fs;
use std::net::TcpListener;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::ExitStatusExt;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::process::Stdio;
use std::time::Duration;

use image::ColorType;
use image::ImageEncoder;
use rustix::process::Pid;
use rustix::process::Signal;
use rustix::process::kill_process;
use seccompiler::BpfProgram;
use seccompiler::SeccompAction;
use seccompiler::SeccompFilter;
use tokio::time::Instant;

use closewatch::care::decoder::Apart;
use closewatch::care::decoder::Came;
use closewatch::care::decoder::Decoder;
use closewatch::care::decoder::Lost;
use closewatch::photo;
use closewatch::photo::Limits;
use closewatch::photo::Refused;
use closewatch::store::Db;
use closewatch::store::checks;
use closewatch::store::photos;

use photo_samples::sample;
use support::Place;
use support::Served;
use support::Told;
use support::jpeg;
use support::no_danger;
use support::on_each_engine;
use support::post_photo;
use support::send_answers;
use support::send_check;
use support::senders;

const PROGRAM: &str = env!("CARGO_BIN_EXE_closewatch");

fn apart() -> Apart {
    Apart::new(PROGRAM.into())
}

/// A file that takes its decoder over and has it try this.
fn taken_over(tries: &str) -> Vec<u8> {
    [b"\xFF\xD8\xFFtaken over: ", tries.as_bytes()].concat()
}

async fn reads(by: &Apart, bytes: &[u8]) -> Came {
    by.read(bytes, &Limits::default()).await
}

/// It did what it tried, and lived to tell.
fn succeeded(came: &Came) -> bool {
    *came == Came::Read(Err(Refused::TooLarge { width_px: 1, height_px: 1 }))
}

#[tokio::test]
async fn a_decoder_that_was_taken_over_reaches_no_network_no_file_no_program_and_no_process() {
    let listens = TcpListener::bind("127.0.0.1:0").unwrap();
    let folder = tempfile::tempdir().unwrap();
    let written = folder.path().join("planted");
    let mut wrote = false;
    for tries in [
        format!("connect {}", listens.local_addr().unwrap()),
        format!("open {PROGRAM}"),
        format!("write {}", written.display()),
        "exec".to_owned(),
        "signal".to_owned(),
    ] {
        let file = taken_over(&tries);
        let came = reads(&apart(), &file).await;
        assert_eq!(came, Came::Lost(Lost::Forbidden), "{tries}");
        assert!(!written.exists(), "{tries}");
        let came = reads(&apart().left_open(), &file).await;
        assert!(succeeded(&came), "left open, it can: {tries}: {came:?}");
        wrote |= fs::remove_file(&written).is_ok();
    }
    assert!(wrote);
}

#[tokio::test]
async fn memory_work_and_time_each_have_an_end() {
    let memory = taken_over("memory 600");
    assert_eq!(reads(&apart(), &memory).await, Came::Lost(Lost::Signal(libc::SIGABRT)));
    assert!(succeeded(&reads(&apart().left_open(), &memory).await));
    assert!(succeeded(&reads(&apart(), &taken_over("memory 300")).await), "less is there");

    let (work, wait) = (taken_over("work"), taken_over("wait"));
    let short = Duration::from_millis(1_500);
    let begun = Instant::now();
    let (worked, worked_open, waited) = tokio::join!(
        async { (reads(&apart(), &work).await, begun.elapsed()) },
        async { reads(&apart().left_open().within(Duration::from_secs(8)), &work).await },
        async { (reads(&apart().within(short), &wait).await, begun.elapsed()) },
    );
    assert_eq!(worked.0, Came::Lost(Lost::TooMuchWork));
    assert!(worked.1 >= Duration::from_secs(4), "{:?}", worked.1);
    assert_eq!(worked_open, Came::Lost(Lost::TooLong), "left open, it goes on");
    assert_eq!(waited.0, Came::Lost(Lost::TooLong));
    assert!(waited.1 < short * 4, "{:?}", waited.1);
}

#[tokio::test]
async fn what_it_never_says_is_not_believed() {
    for tries in ["nonsense", "flood"] {
        assert_eq!(reads(&apart(), &taken_over(tries)).await, Came::Lost(Lost::NotBelieved), "{tries}");
    }
    assert_eq!(reads(&apart(), &taken_over("fall")).await, Came::Lost(Lost::Status(101)));
    // The files are no pictures: where nothing is tried, they are damaged.
    assert_eq!(reads(&apart(), &taken_over("nothing")).await, Came::Read(Err(Refused::Damaged)));
}

#[tokio::test]
async fn what_stops_the_whole_machine_loses_no_photo() {
    let folder = tempfile::tempdir().unwrap();
    let (apart, name) = by_another_name(folder.path(), "stopped");
    let waits = tokio::spawn(async move { reads(&apart, &taken_over("wait")).await });
    let process = loop {
        if let Some(process) = living(&name).first() {
            break *process;
        }
        tokio::time::sleep(Duration::from_millis(5)).await;
    };
    kill_process(Pid::from_raw(process.cast_signed()).unwrap(), Signal::TERM).unwrap();
    let came = waits.await.unwrap();
    assert!(matches!(came, Came::NotRead(_)), "the photo was given up: {came:?}");
}

/// The program by a name that no other test uses, so that its processes are found.
fn by_another_name(folder: &Path, name: &str) -> (Apart, String) {
    let path = folder.join(name);
    std::os::unix::fs::symlink(PROGRAM, &path).unwrap();
    (Apart::new(path.clone()), path.to_str().unwrap().to_owned())
}

/// Processes that were begun by this name and have not ended.
fn living(name: &str) -> Vec<u32> {
    let entries = fs::read_dir("/proc").unwrap();
    let processes = entries.filter_map(|entry| entry.ok()?.file_name().to_str()?.parse::<u32>().ok());
    // One that has ended and is only not waited for yet has no words left.
    let is_it = |process: &u32| {
        fs::read_to_string(format!("/proc/{process}/cmdline")).is_ok_and(|words| words.starts_with(name))
    };
    processes.filter(is_it).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_the_server_has_open_is_open_in_it() {
    let place = Place::sqlite();
    let practice = support::Practice::open(&place).await;
    let _listens = TcpListener::bind("127.0.0.1:0").unwrap();
    let lock = fs::File::create(place.folder.path().join("lock")).unwrap();
    rustix::fs::flock(&lock, rustix::fs::FlockOperation::NonBlockingLockExclusive).unwrap();
    let _reads = practice.desk().db.read().await.unwrap();
    let open_here = fs::read_dir("/proc/self/fd").unwrap().count();
    assert!(open_here > 10, "{open_here}: books, their log, sockets and the lock");
    let Came::Read(Err(Refused::TooLarge { width_px, height_px })) =
        reads(&apart(), &taken_over("descriptors")).await
    else {
        panic!("it cannot tell");
    };
    let inherited = inherited_here();
    assert_eq!(width_px as usize, 3 + inherited.len(), "the highest is {height_px}");
}

/// Descriptors beyond the first three that every program begun here gets, because whoever began this one left them open: number and
/// what they lead to.
fn inherited_here() -> BTreeSet<(u32, PathBuf)> {
    left_open_by(std::process::id())
}

/// Descriptors that stay open in what this process begins.
fn left_open_by(process: u32) -> BTreeSet<(u32, PathBuf)> {
    const CLOSED_ON_EXEC: u32 = 0o2_000_000;
    let entries = fs::read_dir(format!("/proc/{process}/fdinfo")).unwrap();
    let numbers = entries.filter_map(|entry| entry.ok()?.file_name().to_str()?.parse::<u32>().ok());
    let stays = |number: &u32| {
        let about = fs::read_to_string(format!("/proc/{process}/fdinfo/{number}")).unwrap_or_default();
        let flags = about.lines().find_map(|line| line.strip_prefix("flags:"));
        flags.is_some_and(|flags| u32::from_str_radix(flags.trim(), 8).unwrap() & CLOSED_ON_EXEC == 0)
    };
    let leads_to =
        |number: u32| (number, fs::read_link(format!("/proc/{process}/fd/{number}")).unwrap_or_default());
    numbers.filter(|number| *number > 2).filter(stays).map(leads_to).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn every_descriptor_of_a_working_server_closes_in_what_it_begins() {
    let place = Place::sqlite();
    let phones = senders(&place, 1).await;
    let mut served = Served::start(&place);
    served.until_ready();
    let told = Told::default();
    assert!(send_check(&served.address, &phones[0], &told, "first", 1).await);
    let held = std::net::TcpStream::connect(&served.address).unwrap();
    assert!(served.get("/live").is_some());
    let stay = left_open_by(served.id());
    let inherited: BTreeSet<PathBuf> = inherited_here().into_iter().map(|(_, to)| to).collect();
    let own: Vec<_> = stay.into_iter().filter(|(_, to)| !inherited.contains(to)).collect();
    assert_eq!(own, []);
    drop(held);
}

#[tokio::test]
async fn every_sample_comes_out_the_same_as_without_a_process_of_its_own() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/truth/photo");
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| !name.ends_with(".md") && !name.ends_with(".json"))
        .collect();
    names.sort();
    assert!(names.len() > 25);
    for name in names {
        let whole = sample(&name);
        for bytes in [&whole[..], &whole[..whole.len() / 2], &whole[..20]] {
            let expected = photo::clean(bytes, &Limits::default());
            assert_eq!(reads(&apart(), bytes).await, Came::Read(expected), "{name}, {} bytes", bytes.len());
        }
    }
    for bytes in [&b""[..], b"%PDF-1.7", b"GIF89a", &[0; 100]] {
        assert_eq!(reads(&apart(), bytes).await, Came::Read(photo::clean(bytes, &Limits::default())));
    }
}

/// Progressive, in as many scans as its writer makes.
fn progressive(width: u16, height: u16) -> Vec<u8> {
    let rgb = noisy(width.into(), height.into());
    let mut bytes = Vec::new();
    let mut encoder = jpeg_encoder::Encoder::new(&mut bytes, 80);
    encoder.set_sampling_factor(jpeg_encoder::SamplingFactor::F_2_2);
    encoder.set_progressive(true);
    encoder.encode(&rgb, width, height, jpeg_encoder::ColorType::Rgb).unwrap();
    bytes
}

fn noisy(width: usize, height: usize) -> Vec<u8> {
    let mut state = 0x9E37_79B9_u32;
    (0..3 * width * height)
        .map(|at| {
            state ^= state << 13;
            state ^= state >> 17;
            state ^= state << 5;
            (at / 3 % width / 16) as u8 ^ (state & 7) as u8
        })
        .collect()
}

/// The last scan of a progressive JPEG once more, so many times.
fn with_scans(jpeg: &[u8], more: usize) -> Vec<u8> {
    let last_scan = jpeg.windows(2).rposition(|pair| pair == [0xFF, 0xDA]).unwrap();
    let (start, scan) = (&jpeg[..last_scan], &jpeg[last_scan..jpeg.len() - 2]);
    [start, &scan.repeat(1 + more), &[0xFF, 0xD9]].concat()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_jpeg_of_a_thousand_scans_ends_within_its_time_and_holds_nobody_up() {
    let file = progressive(4_000, 3_000);
    let scans = file.windows(2).filter(|pair| *pair == [0xFF, 0xDA]).count();
    for more in [99 - scans, 1_000] {
        let bomb = with_scans(&file, more);
        let begun = Instant::now();
        let for_bomb = apart();
        let (came, other) = tokio::join!(reads(&for_bomb, &bomb), async {
            let came = reads(&apart(), &jpeg(1)).await;
            (came, begun.elapsed())
        });
        let took = begun.elapsed();
        println!("{} scans, {} bytes: {took:?}", scans + more, bomb.len());
        let ends = matches!(came, Came::Read(_) | Came::Lost(Lost::TooMuchWork));
        assert!(ends && took < Duration::from_secs(25), "{took:?}: {came:?}");
        assert!(matches!(other, (Came::Read(Ok(_)), after) if after < Duration::from_secs(5)), "{other:?}");
    }
}

/// The program under a smaller limit of memory than its own.
fn with_memory(folder: &Path, mib: u64) -> Apart {
    let path = folder.join(format!("with-{mib}"));
    let script = format!("#!/bin/sh\nexec /usr/bin/prlimit --as={} -- {PROGRAM} \"$@\"\n", mib << 20);
    fs::write(&path, script).unwrap();
    fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).unwrap();
    Apart::new(path)
}

/// Zeros, which are fast to write: what decoding takes depends on the size alone.
fn png16(width: u32, height: u32) -> Vec<u8> {
    let pixels = vec![0; width as usize * height as usize * 8];
    let mut bytes = Vec::new();
    let encoder = image::codecs::png::PngEncoder::new(&mut bytes);
    encoder.write_image(&pixels, width, height, ColorType::Rgba16.into()).unwrap();
    bytes
}

fn webp(width: u32, height: u32) -> Vec<u8> {
    let pixels = vec![90; width as usize * height as usize * 4];
    let mut bytes = Vec::new();
    let encoder = image::codecs::webp::WebPEncoder::new_lossless(&mut bytes);
    encoder.write_image(&pixels, width, height, ColorType::Rgba8.into()).unwrap();
    bytes
}

#[tokio::test(flavor = "multi_thread")]
async fn the_largest_photos_that_are_taken_are_read_with_memory_to_spare() {
    let folder = tempfile::tempdir().unwrap();
    let (enough, little) = (with_memory(folder.path(), 448), with_memory(folder.path(), 128));
    let mut baseline = Vec::new();
    let rgb = noisy(8_000, 5_000);
    let encoder = jpeg_encoder::Encoder::new(&mut baseline, 70);
    encoder.encode(&rgb, 8_000, 5_000, jpeg_encoder::ColorType::Rgb).unwrap();
    drop(rgb);
    for (what, file) in [
        ("a JPEG of 40 megapixels", baseline),
        ("a progressive JPEG of 40 megapixels", progressive(8_000, 5_000)),
        ("a PNG of 16 bits and 33 megapixels", png16(8_000, 4_190)),
        ("a WebP without loss of 33 megapixels", webp(8_000, 4_190)),
    ] {
        let begun = Instant::now();
        let came = reads(&enough, &file).await;
        println!("{what}: {:?}", begun.elapsed());
        assert!(matches!(came, Came::Read(Ok(_))), "{what}: {came:?}");
        let came = reads(&little, &file).await;
        assert_eq!(
            came,
            Came::Lost(Lost::Signal(libc::SIGABRT)),
            "the limit is not the one that was set: {what}"
        );
    }
}

#[tokio::test]
async fn a_program_that_cannot_be_started_or_is_none_of_ours_is_given_nothing() {
    for (program, words) in
        [("/no/such/program", "no process could be started"), ("/bin/true", "ended at once")]
    {
        let came = reads(&Apart::new(program.into()), &jpeg(1)).await;
        assert!(matches!(&came, Came::NotRead(why) if why.contains(words)), "{program}: {came:?}");
    }
    let decoder = Decoder::Apart(Apart::new("/bin/true".into()));
    assert!(decoder.try_out(&Limits::default()).await.is_err());
    assert_eq!(Decoder::Apart(apart()).try_out(&Limits::default()).await, Ok(()));
}

#[tokio::test]
async fn a_photo_that_ends_its_process_is_a_damaged_one_and_the_check_is_in() {
    on_each_engine(async |practice| {
        let practice = practice.decoded_by(Decoder::Apart(apart()));
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let pictures = [jpeg(1), taken_over("exec"), jpeg(2)];
        let receipt = phone.sends("form", no_danger(), &pictures).await;
        assert_eq!(receipt.photos_here, 3);
        let mut books = practice.books().await;
        let kept = photos::of_check(&mut books, practice.id, receipt.check).await.unwrap();
        let readable: Vec<bool> = kept.iter().map(|photo| photo.renditions.is_some()).collect();
        assert_eq!(readable, [true, false, true]);
        assert_eq!(kept[1].flags, ["damaged"]);
        // The same as in this process.
        let expected = photo::clean(&jpeg(1), &Limits::default()).unwrap();
        assert_eq!(kept[0].sent_sha256, expected.sent_sha256());
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_tells_the_patient_kindly_writes_a_line_and_goes_on() {
    let place = Place::sqlite();
    let phones = senders(&place, 1).await;
    let mut served = Served::start(&place);
    served.until_ready();
    let address = served.address.clone();
    let receipt = send_answers(&address, &phones[0], "form").await.expect("a receipt");
    let (status, body) =
        post_photo(&address, &phones[0], "form", &taken_over("memory 900")).await.expect("an answer");
    assert_eq!(status, 200, "{body}");
    assert!(body.contains("The file was broken. Take the photo again."), "{body}");
    assert!(body.contains("\"ok\":false"), "{body}");
    let told = Told::default();
    assert!(send_check(&address, &phones[0], &told, "next", 2).await, "the next photo is read");
    assert_eq!(served.ended(), None);
    let words = served.words();
    let line = words.lines().find(|line| line.contains("that photo is lost")).expect("a line in the log");
    assert!(line.contains("signal 6 ended it"), "{line}");
    served.kill();
    let db = Db::open(&place.url).await.unwrap();
    let check =
        checks::by_form_key(&mut db.read().await.unwrap(), phones[0].link, "form").await.unwrap().unwrap();
    assert_eq!(check.receipt, receipt);
    db.close().await;
}

#[test]
fn a_server_does_not_start_where_no_process_can_be_shut_in() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_owned();
    // The filter stands on one thread, and on whatever that thread begins.
    let ended = std::thread::spawn(move || {
        let refused = [(libc::SYS_seccomp, Vec::new())].into_iter().collect();
        let not_allowed = SeccompAction::Errno(libc::EPERM as u32);
        let machine = std::env::consts::ARCH.try_into().unwrap();
        let filter = SeccompFilter::new(refused, SeccompAction::Allow, not_allowed, machine).unwrap();
        let program: BpfProgram = filter.try_into().unwrap();
        seccompiler::apply_filter(&program).unwrap();
        let mut command = Command::new(PROGRAM);
        command.args(["serve", "--port", "0", "--data"]).arg(data).stdin(Stdio::null()).output().unwrap()
    });
    let ended = ended.join().unwrap();
    assert_eq!(ended.status.code(), Some(2), "{:?}", ended.status.signal());
    let words = String::from_utf8_lossy(&ended.stderr).into_owned();
    assert!(words.contains("cannot be shut in: the kernel takes no list of calls"), "{words}");
    assert!(words.contains("Nothing is served without."), "{words}");
    assert!(!String::from_utf8_lossy(&ended.stdout).contains("listens"), "it listened first");
}

#[tokio::test]
async fn a_request_that_is_given_up_leaves_no_process_behind() {
    let folder = tempfile::tempdir().unwrap();
    let (apart, name) = by_another_name(folder.path(), "given-up");
    let reading = tokio::spawn(async move { reads(&apart, &taken_over("wait")).await });
    while living(&name).is_empty() {
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    reading.abort();
    let begun = Instant::now();
    while !living(&name).is_empty() {
        assert!(begun.elapsed() < Duration::from_secs(5), "it still runs");
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
}
