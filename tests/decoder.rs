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

use axum::http::StatusCode;
use axum::http::header;
use futures::future::join_all;
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
use closewatch::photo::told;
use closewatch::store::Db;
use closewatch::store::checks;
use closewatch::store::photos;

use photo_samples::sample;
use support::File;
use support::Page;
use support::Phone;
use support::Place;
use support::Practice;
use support::Served;
use support::Told;
use support::form_with_files;
use support::jpeg;
use support::no_danger;
use support::on_each_engine;
use support::post_photo;
use support::presses;
use support::send;
use support::send_answers;
use support::send_check;
use support::senders;
use support::status_number;

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
        // However busy the machine is: it is given its eight seconds of a core.
        async { (reads(&apart().within(Duration::from_secs(120)), &work).await, begun.elapsed()) },
        async { reads(&apart().left_open().within(Duration::from_secs(9)), &work).await },
        async { (reads(&apart().within(short), &wait).await, begun.elapsed()) },
    );
    assert_eq!(worked.0, Came::Lost(Lost::TooMuchWork));
    assert!(worked.1 >= Duration::from_secs(7), "{:?}", worked.1);
    assert_eq!(worked_open, Came::Lost(Lost::TooLong), "left open, it goes on");
    assert_eq!(waited.0, Came::Lost(Lost::TooLong));
    assert!(waited.1 >= short * 2, "it was not given a second try: {:?}", waited.1);
    assert!(waited.1 < short * 6, "{:?}", waited.1);
}

#[tokio::test]
async fn a_wrong_address_is_told_as_one_and_not_as_an_attack() {
    assert_eq!(reads(&apart(), &taken_over("segfault")).await, Came::Lost(Lost::Signal(libc::SIGSEGV)));
}

/// These lines in the shell, started as the program would be.
fn script(folder: &Path, name: &str, lines: &str) -> Apart {
    let path = folder.join(name);
    fs::write(&path, format!("#!/bin/sh\n{lines}\n")).unwrap();
    fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).unwrap();
    Apart::new(path)
}

/// A line of the shell that notes each start, and how many were noted.
fn counted(folder: &Path, name: &str) -> (String, impl Fn() -> usize) {
    let noted = folder.join(format!("{name}.starts"));
    let line = format!("echo start >> {}", noted.display());
    (line, move || fs::read_to_string(&noted).unwrap_or_default().lines().count())
}

#[tokio::test]
async fn what_is_not_ready_in_time_was_given_nothing_and_loses_no_photo() {
    let folder = tempfile::tempdir().unwrap();
    let sleeps = script(folder.path(), "sleeps", "exec /bin/sleep 600").within(Duration::from_millis(500));
    let came = reads(&sleeps, &jpeg(1)).await;
    assert!(matches!(&came, Came::NotRead(why) if why.contains("not ready in time")), "{came:?}");
}

#[tokio::test]
async fn what_the_machine_may_have_done_is_tried_once_more_and_then_the_photo_is_given_up() {
    let folder = tempfile::tempdir().unwrap();
    let within = Duration::from_secs(4);
    let ready = "printf 'shut in\\n'";
    for (name, fails, lost) in [
        ("killed", "kill -9 $$", Lost::Signal(libc::SIGKILL)),
        ("starved", "exec /bin/sleep 600", Lost::TooLong),
    ] {
        let (noted, starts) = counted(folder.path(), name);
        let first = folder.path().join(format!("{name}.first"));
        let lines = format!(
            "{noted}\nif /bin/mkdir {} 2>/dev/null; then {ready}; {fails}; fi\nexec {PROGRAM} \"$@\"",
            first.display()
        );
        let came = reads(&script(folder.path(), name, &lines).within(within), &jpeg(1)).await;
        assert!(matches!(came, Came::Read(Ok(_))), "{name} once, the photo was given up: {came:?}");
        assert_eq!(starts(), 2, "{name} once");

        let always = format!("{name}-always");
        let (noted, starts) = counted(folder.path(), &always);
        let lines = format!("{noted}\n{ready}\n{fails}");
        let came = reads(&script(folder.path(), &always, &lines).within(within), &jpeg(1)).await;
        assert_eq!((came, starts()), (Came::Lost(lost), 2), "{always}");
    }
    for (name, fails, lost) in
        [("wrong", "kill -11 $$", Lost::Signal(libc::SIGSEGV)), ("falls", "exit 7", Lost::Status(7))]
    {
        let (noted, starts) = counted(folder.path(), name);
        let lines = format!("{noted}\n{ready}\n{fails}");
        let came = reads(&script(folder.path(), name, &lines).within(within), &jpeg(1)).await;
        assert_eq!((came, starts()), (Came::Lost(lost), 1), "{name}: the file's own fault");
    }
}

#[tokio::test]
async fn a_sample_that_fails_in_passing_is_tried_again_and_one_that_cannot_be_shut_in_is_not() {
    let folder = tempfile::tempdir().unwrap();
    let limits = Limits::default();
    let (noted, starts) = counted(folder.path(), "passing");
    let first = folder.path().join("passing.first");
    let lines = format!(
        "{noted}\nif /bin/mkdir {} 2>/dev/null; then exit 1; fi\nexec {PROGRAM} \"$@\"",
        first.display()
    );
    let decoder = Decoder::Apart(script(folder.path(), "passing", &lines));
    assert_eq!((decoder.try_out(&limits).await, starts()), (Ok(()), 2));

    let (noted, starts) = counted(folder.path(), "never");
    let lines = format!("{noted}\nprintf 'cannot be shut in: no'\nexit {}", told::NOT_SHUT_IN);
    let decoder = Decoder::Apart(script(folder.path(), "never", &lines));
    let why = decoder.try_out(&limits).await.unwrap_err();
    assert!(why.contains("cannot be shut in: no"), "{why}");
    assert_eq!(starts(), 1);
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
    let practice = Practice::open(&place).await;
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

/// The program under a smaller limit of memory than its own, and the name by which its processes are found.
fn with_memory(folder: &Path, mib: u64) -> (Apart, String) {
    let (_, name) = by_another_name(folder, &format!("program-with-{mib}"));
    let line = format!("exec /usr/bin/prlimit --as={} -- {name} \"$@\"", mib << 20);
    (script(folder, &format!("with-{mib}"), &line), name)
}

/// What a process was seen to use, at most.
#[derive(Clone, Copy, Debug, Default)]
struct Used {
    addresses_mib: u64,
    cpu_s: f64,
}

impl Used {
    /// Looks at the process of this name until nobody waits for it any more.
    async fn by(name: &str, waited_for: &tokio::task::JoinHandle<Came>) -> Used {
        let mut used = Used::default();
        let mut found = None;
        while !waited_for.is_finished() {
            found = found.or_else(|| living(name).first().copied());
            if let Some(process) = found {
                used.see(process);
            }
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        used
    }

    fn see(&mut self, process: u32) {
        let about = |what: &str| fs::read_to_string(format!("/proc/{process}/{what}")).unwrap_or_default();
        if let Some(kib) = status_number(&about("status"), "VmPeak:") {
            self.addresses_mib = self.addresses_mib.max(kib / 1_024);
        }
        let stat = about("stat");
        let fields: Vec<&str> =
            stat.rsplit_once(')').map_or("", |(_, rest)| rest).split_whitespace().collect();
        // User and system time, fields 14 and 15 of proc(5), in hundredths of a second.
        let ticks = |at: usize| fields.get(at).and_then(|field| field.parse::<f64>().ok()).unwrap_or(0.0);
        self.cpu_s = self.cpu_s.max((ticks(11) + ticks(12)) / 100.0);
    }
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

/// No HEIC is among them, nor a WebP with loss: nothing written in Rust makes one, and the samples are small. README says that they
/// may be too large.
#[tokio::test(flavor = "multi_thread")]
async fn the_largest_photos_that_are_taken_are_read_with_memory_to_spare() {
    let folder = tempfile::tempdir().unwrap();
    let (enough, name) = with_memory(folder.path(), 448);
    let (little, _) = with_memory(folder.path(), 128);
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
        let (by, whole) = (enough.clone(), file.clone());
        let reading = tokio::spawn(async move { reads(&by, &whole).await });
        let used = Used::by(&name, &reading).await;
        let came = reading.await.unwrap();
        let Used { addresses_mib, cpu_s } = used;
        println!("{what}: {addresses_mib} MiB of addresses, {cpu_s} s of a core, {:?}", begun.elapsed());
        assert!(matches!(came, Came::Read(Ok(_))), "{what}: {came:?}");
        assert!(addresses_mib > 128 && cpu_s > 0.0, "nobody looked: {used:?}");
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

/// Posts one photo of a check, as our script does, to the server of this practice.
async fn sends_photo(to: &Practice, phone: &Phone, form_key: &str, position: usize, bytes: &[u8]) -> Page {
    let position = position.to_string();
    let fields = [("form_key", form_key), ("position", position.as_str())];
    let files = [File { name: "wound.jpg", bytes }];
    let mut request = form_with_files("/my/check/photo", &phone.cookie, &fields, &files);
    request.headers_mut().insert(header::ACCEPT, "application/json".parse().unwrap());
    send(&to.router, request).await
}

async fn sends_answers(to: &Practice, phone: &Phone, form_key: &str, photos: &str) {
    let fields =
        [("form_key", form_key), ("danger", "none"), ("better", "same"), ("photos_expected", photos)];
    let page = presses(to, "/my/check/answers", &phone.cookie, &fields).await;
    assert_eq!(page.status, StatusCode::OK, "answers are never turned away");
}

#[tokio::test]
async fn a_photo_that_cannot_be_read_just_now_is_asked_for_again_with_the_answers_kept() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let nobody_reads = practice.decoded_by(Decoder::Apart(Apart::new("/no/such/program".into())));
        sends_answers(&nobody_reads, &phone, "form", "1").await;
        let page = sends_photo(&nobody_reads, &phone, "form", 1, &jpeg(1)).await;
        assert_eq!(page.status, StatusCode::SERVICE_UNAVAILABLE);
        assert_eq!(page.headers[header::RETRY_AFTER], "5");
        let checks = phone.checks().await;
        assert_eq!(checks.len(), 1, "the answers are in");
        let kept = photos::of_check(&mut *practice.books().await, practice.id, checks[0].id).await.unwrap();
        assert!(kept.is_empty(), "nothing is known of it, damaged or not: {kept:?}");

        let read_again = practice.decoded_by(Decoder::Apart(apart()));
        let page = sends_photo(&read_again, &phone, "form", 1, &jpeg(1)).await;
        assert_eq!(page.status, StatusCode::OK);
        assert_eq!(phone.checks().await.len(), 1);
        let kept = photos::of_check(&mut *practice.books().await, practice.id, checks[0].id).await.unwrap();
        assert_eq!(kept.len(), 1);
        assert!(kept[0].renditions.is_some(), "{kept:?}");
        assert!(!kept[0].flags.iter().any(|flag| flag == "damaged"), "{:?}", kept[0].flags);
    })
    .await;
}

/// Two are read at once, eight seconds of a core each; on a machine that has no core for them, each ends after two tries of 25 seconds.
const BEHIND_THREE: Duration = Duration::from_secs(60);

#[tokio::test(flavor = "multi_thread")]
async fn three_photos_that_work_without_end_hold_another_patients_up_for_seconds() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await.decoded_by(Decoder::Apart(apart()));
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let hostile = office.enrols("Ann Reed", &surgeon).await.opens_link().await;
    let patient = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    let scans = with_scans(&progressive(4_000, 3_000), 700);
    assert!(scans.len() < usize::try_from(Limits::default().bytes).unwrap(), "{} bytes", scans.len());
    for (form_key, file) in [("scans", scans), ("work", taken_over("work"))] {
        sends_answers(&practice, &hostile, form_key, "3").await;
        sends_answers(&practice, &patient, form_key, "1").await;
        let begun = Instant::now();
        let three = (1..=3).map(|position| sends_photo(&practice, &hostile, form_key, position, &file));
        let (pages, (page, waited)) = tokio::join!(join_all(three), async {
            tokio::time::sleep(Duration::from_millis(200)).await;
            let page = sends_photo(&practice, &patient, form_key, 1, &jpeg(1)).await;
            (page, begun.elapsed())
        });
        println!("{form_key}: a photo behind three was in after {waited:?}, all after {:?}", begun.elapsed());
        assert!(pages.iter().all(|page| page.status == StatusCode::OK), "{form_key}");
        assert_eq!(page.status, StatusCode::OK, "{form_key}");
        assert!(waited < BEHIND_THREE, "{form_key}: {waited:?}");
        let checks = patient.checks().await;
        let check = checks.iter().find(|check| check.form_key == form_key).expect("the answers are in");
        let kept = photos::of_check(&mut *practice.books().await, practice.id, check.id).await.unwrap();
        assert!(kept.len() == 1 && kept[0].renditions.is_some(), "{form_key}: {kept:?}");
    }
    place.clear().await;
}

#[test]
fn a_server_with_less_memory_than_reading_a_photo_may_take_says_so_and_does_not_start() {
    let folder = tempfile::tempdir().unwrap();
    let mut command = Command::new("prlimit");
    command.arg(format!("--as={}", 448_u64 << 20)).args(["--", PROGRAM, "serve", "--port", "0", "--data"]);
    let ended = command.arg(folder.path()).stdin(Stdio::null()).output().unwrap();
    let words = String::from_utf8_lossy(&ended.stderr).into_owned();
    assert_eq!(ended.status.code(), Some(2), "{words}");
    assert!(words.contains("the limit of addresses is 448 MiB"), "{words}");
    assert!(words.contains("may take 512"), "{words}");
    assert!(!String::from_utf8_lossy(&ended.stdout).contains("listens"), "it listened first");
}

/// Processes that this one began, are shut in and have not ended.
fn shut_in_by(parent: u32) -> Vec<u32> {
    let entries = fs::read_dir("/proc").unwrap();
    let processes = entries.filter_map(|entry| entry.ok()?.file_name().to_str()?.parse::<u32>().ok());
    let is_one = |process: &u32| {
        let status = fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
        status_number(&status, "PPid:") == Some(parent.into()) && is_shut_in(&status)
    };
    processes.filter(is_one).collect()
}

fn is_shut_in(status: &str) -> bool {
    status_number(status, "Seccomp:") == Some(2)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_process_that_does_not_even_listen_ends_with_a_server_that_is_killed() {
    let place = Place::sqlite();
    let phones = senders(&place, 1).await;
    let mut served = Served::start(&place);
    served.until_ready();
    let (address, phone) = (served.address.clone(), phones[0].clone());
    let sending = tokio::spawn(async move {
        send_answers(&address, &phone, "form").await.expect("a receipt");
        post_photo(&address, &phone, "form", &taken_over("wait")).await
    });
    let begun = Instant::now();
    let process = loop {
        if let Some(process) = shut_in_by(served.id()).first() {
            break *process;
        }
        assert!(begun.elapsed() < Duration::from_secs(20), "nobody reads");
        tokio::time::sleep(Duration::from_millis(20)).await;
    };
    // By then it was given the file, and waits for nothing.
    tokio::time::sleep(Duration::from_secs(1)).await;
    served.kill();
    let _ = sending.await;
    let goes_on = || {
        let status = fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
        let has_ended = status.lines().any(|line| line.starts_with("State:") && line.contains('Z'));
        is_shut_in(&status) && !has_ended
    };
    let begun = Instant::now();
    while goes_on() {
        assert!(begun.elapsed() < Duration::from_secs(5), "it outlived the server");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    place.clear().await;
}
