//! `closewatch serve`: open the books and listen.

use std::fs::File;
use std::sync::Arc;
use std::time::Duration;

use data_encoding::HEXLOWER;
use rustix::fs::FlockOperation;
use rustix::fs::flock;
use tokio::net::TcpListener;
use tokio::task::JoinError;
use tokio::task::JoinHandle;

use crate::care::Desk;
use crate::care::decoder::Decoder;
use crate::care::measuring::Method;
use crate::care::sealing_keys;
use crate::care::sealing_keys::Beside;
use crate::care::staff;
use crate::care::sweep;
use crate::care::text_sealing;
use crate::care::vitals::MIB;
use crate::care::vitals::Machine;
use crate::cli::BadInput;
use crate::cli::Failure;
use crate::cli::keys;
use crate::cli::shut_in;
use crate::cli::watchdog;
use crate::config::Settings;
use crate::ids::Chance;
use crate::jobs;
use crate::jobs::downtime_list;
use crate::jobs::downtime_list::ListFolder;
use crate::jobs::record_head;
use crate::jobs::record_head::RecordFiles;
use crate::jobs::runner::Doorway;
use crate::notify::Heart;
use crate::notify::Post;
use crate::photo::Limits;
use crate::store::Blobs;
use crate::store::Db;
use crate::store::Stored;
use crate::store::backup_key::BackupKey;
use crate::store::disk_fault;
use crate::store::key_file;
use crate::store::keyring::KeyRing;
use crate::store::log_whole;
use crate::store::log_whole::CutShort;
use crate::store::practices;
use crate::store::server;
use crate::store::whole;
use crate::store::whole::Depth;
use crate::triage::Protocol;
use crate::web;
use crate::web::App;
use crate::web::Clock;
use crate::web::listen::ListenLimits;
use crate::web::tls::Tls;

/// So long a start waits to hear that the books hang together. Those of most practices are read in less; 200,000 checks took 38 s
/// on a slow disk, in which nobody could have sent one.
const LOOKED_AT_WITHIN: Duration = Duration::from_secs(3);

/// Opens the database and the photo folder the settings name.
pub async fn open(settings: &Settings) -> Result<App, Failure> {
    std::fs::create_dir_all(settings.data_folder())?;
    disk_fault::from_the_disk(&settings.database_url())?;
    if let Some(cut) = log_is_cut_short(&settings.database_url()).await? {
        return Err(damaged(&[cut.to_string()]));
    }
    let db = match Db::open(&settings.database_url()).await {
        Err(fault) if fault.is_damage() => return Err(damaged(&[fault.to_string()])),
        opened => opened?,
    };
    if let Some(looking) = look_at_pages(&db, LOOKED_AT_WITHIN).await? {
        tracing::info!("the books are large: whether they are whole is looked at while the program works");
        let db = db.clone();
        tokio::spawn(async move {
            if let Err(fault) = looked_at(&db, looking.await).await {
                eprintln!("{fault}");
                std::process::exit(1);
            }
        });
    }
    let keys = open_keys(&db, settings).await?;
    let blobs = Blobs::in_folder(&settings.photo_folder())?;
    let blobs = blobs.sealed_by(keys, &settings.sealing_keys(), Chance::OperatingSystem);
    let desk = Desk::new(db, blobs, Protocol::built_in().clone(), Limits::default())
        .decoded_by(Decoder::this_program())
        .on(machine(settings));
    let clock = if settings.speed > 1.0 { Clock::fast(settings.speed) } else { Clock::Machine };
    for practice in practices::all(&mut *desk.db.read().await?).await? {
        desk.vitals.remember(&practice);
    }
    let doorway = Doorway::new(Post::from_settings(&settings.notify)?, &settings.public_url());
    let app = App::new(desk, clock, Chance::OperatingSystem, &settings.public_url());
    Ok(app.with_post(doorway.post(), doorway.outside()))
}

/// Looks whether the books hang together, and moves what stands in their log into them. `Some`: it takes longer than `within`, and
/// goes on; [`looked_at`] is for its end.
async fn look_at_pages(
    db: &Db,
    within: Duration,
) -> Result<Option<JoinHandle<Stored<Vec<String>>>>, Failure> {
    let looked = db.clone();
    let mut looking = tokio::spawn(async move { whole::faults(&looked, Depth::Pages).await });
    match tokio::time::timeout(within, &mut looking).await {
        Ok(ended) => looked_at(db, ended).await.map(|()| None),
        Err(_) => Ok(Some(looking)),
    }
}

/// The end of a look: books that are damaged are an error, and nothing more is served from them.
async fn looked_at(db: &Db, ended: Result<Stored<Vec<String>>, JoinError>) -> Result<(), Failure> {
    let faults = ended??;
    if !faults.is_empty() {
        return Err(damaged(&faults));
    }
    // While somebody reads, the log stays where it is.
    Ok(db.settle().await?)
}

/// The keys that seal; on a first start they are made. Where anything was ever sealed, a file that is not there is lost or named
/// wrongly: another first key would seal beside it, and one of the two could never be used again. A file of other books is as bad.
async fn open_keys(db: &Db, settings: &Settings) -> Result<KeyRing, Failure> {
    let path = settings.sealing_keys();
    if let Some(keys) = key_file::read_keys(&path)? {
        return match sealing_keys::of_another_file(&mut *db.read().await?, &keys).await? {
            Some(version) => Err(keys::another_file(&path, version).into()),
            None => Ok(keys),
        };
    }
    if sealing_keys::newest_named(&mut *db.read().await?).await?.is_some() {
        return Err(keys::no_file(&path).into());
    }
    let keys = key_file::make_keys(&path, None, &Chance::OperatingSystem)?;
    println!("Photos and texts are sealed with new keys in {}.", path.display());
    Ok(keys)
}

/// Looks twice: a server may be writing the log just now, while a command beside it opens the books.
async fn log_is_cut_short(database_url: &str) -> Result<Option<CutShort>, Failure> {
    let first = log_whole::cut_short(database_url)?;
    if first.is_none() {
        return Ok(None);
    }
    tokio::time::sleep(Duration::from_millis(300)).await;
    let second = log_whole::cut_short(database_url)?;
    Ok(second.filter(|cut| first.is_some_and(|first| first.frame == cut.frame)))
}

/// Nobody is shown anything out of damaged books.
fn damaged(faults: &[String]) -> Failure {
    let found = faults.join("; ");
    format!(
        "the books are damaged ({found}). Nothing is served from them. Keep the whole data folder as it is, bring back the last \
         back-up into another folder, and start on that one. Then ring everybody who may have sent \
         something since."
    )
    .into()
}

/// What the program stands on, as the settings say.
pub fn machine(settings: &Settings) -> Machine {
    Machine {
        data_folder: Some(settings.photo_folder()),
        key_files: settings.key_files(),
        least_free_bytes: settings.least_free_mib.saturating_mul(MIB),
        photos_need_bytes: settings.photos_need_mib.saturating_mul(MIB),
        photo_checks_a_day: usize::try_from(settings.photo_checks_a_day).unwrap_or(usize::MAX),
        speed: settings.speed,
        backups_elsewhere: settings.backups_elsewhere,
        ..Machine::default()
    }
}

/// Where the key of the record is, and its signed heads.
pub fn record_files(settings: &Settings) -> RecordFiles {
    RecordFiles { key: settings.record_key(), heads: settings.heads() }
}

pub async fn run(settings: Settings) -> Result<(), Failure> {
    settings.check_nobody_listens_in().map_err(BadInput)?;
    shut_in::has_memory().map_err(|why| cannot_read_apart(&why))?;
    // A pair that cannot be used is said before anything else is.
    let tls = own_tls(&settings)?;
    let (listener, settings) = bind(settings).await?;
    let app = open(&settings).await?;
    app.desk.decoder.try_out(&app.desk.limits).await.map_err(|why| cannot_read_apart(&why))?;
    if let Some(token) = staff::open_set_up(&app.desk, &app.moment()).await? {
        println!("No practice is set up yet. Within 15 minutes, open this address once:");
        println!("  {}/set-up/{}", app.public_url, token.reveal());
    }
    let newest = app.desk.blobs.newest_key();
    let asks = keys::asks_for_copy(&app.desk.db, &settings.sealing_keys(), newest).await?;
    if !asks.is_empty() {
        println!("{asks}");
    }
    let (scheme, address) = (settings.scheme(), settings.listen_on());
    println!("Closewatch listens on {scheme}://{address} and is reached at {}", app.public_url);
    listen(&app, listener, &settings, tls).await
}

/// What strangers send is decoded shut in, or not at all.
fn cannot_read_apart(why: &str) -> BadInput {
    BadInput(format!(
        "photos cannot be read in a process of its own here: {why}. It needs Linux with seccomp, /proc and /dev/null, and a container \
         or service that allows the calls `seccomp` and `prlimit64` (deploy/ has both). Nothing is served without."
    ))
}

/// Takes the address and port; the settings come back with the port that was really taken.
pub async fn bind(mut settings: Settings) -> Result<(TcpListener, Settings), Failure> {
    let wanted = settings.listen_on();
    let listener = TcpListener::bind(wanted)
        .await
        .map_err(|fault| format!("cannot listen on {wanted}: {fault}. Choose another --port."))?;
    settings.port = listener.local_addr()?.port();
    Ok((listener, settings))
}

/// On SQLite one server at a time: the lock lies in the data folder for as long as the file is held open, and goes with the
/// process. `None`: a database of its own keeps several servers apart.
fn alone(settings: &Settings) -> Result<Option<File>, Failure> {
    if !settings.database_url().starts_with("sqlite:") {
        return Ok(None);
    }
    let path = settings.data_folder().join("closewatch.lock");
    let file = File::options().write(true).create(true).truncate(false).open(&path)?;
    match flock(&file, FlockOperation::NonBlockingLockExclusive) {
        Ok(()) => Ok(Some(file)),
        Err(_) => {
            let folder = settings.data_folder().display();
            let told = format!("another server works in {folder}. Stop it first, or give another --data.");
            Err(BadInput(told).into())
        }
    }
}

/// `None`: plain http.
fn own_tls(settings: &Settings) -> Result<Option<Arc<Tls>>, BadInput> {
    let Some((certificate, key)) = settings.tls_files() else { return Ok(None) };
    let opened = Tls::open(certificate, key);
    opened.map(|tls| Some(Arc::new(tls))).map_err(|why| BadInput(format!("--tls-cert and --tls-key: {why}.")))
}

/// Serves until Ctrl-C or a termination signal. `tls`: `None` speaks plain http.
pub async fn listen(
    app: &App,
    listener: TcpListener,
    settings: &Settings,
    tls: Option<Arc<Tls>>,
) -> Result<(), Failure> {
    let alone = alone(settings)?;
    let name = HEXLOWER.encode(&Chance::OperatingSystem.bytes::<8>());
    note_keys(&app.desk, &name, if alone.is_some() { Beside::Nobody } else { Beside::Others }).await;
    let post = Post::from_settings(&settings.notify)?;
    let heart = Heart::from_settings(&settings.heartbeat, &settings.notify.notify_hosts)?;
    let doorway = Doorway::new(post.clone(), &app.public_url);
    let stop = Arc::new(tokio::sync::Notify::new());
    let stopped = Arc::clone(&stop);
    tokio::spawn(async move {
        until_told_to_stop().await;
        stopped.notify_waiters();
        // Streams stay open for as long as somebody looks at the queue: give the rest a moment, then go.
        tokio::time::sleep(Duration::from_secs(3)).await;
        std::process::exit(0);
    });
    let clock = app.clone();
    let measuring =
        tokio::spawn(jobs::measuring::run(app.desk.clone(), Method::default(), move || clock.moment()));
    let clock = app.clone();
    let working =
        tokio::spawn(jobs::runner::run(app.desk.clone(), doorway, move || clock.moment(), app.clock.speed()));
    let clock = app.clone();
    let scrubbing = tokio::spawn(jobs::scrub::run(app.desk.clone(), move || clock.moment()));
    let desk = app.desk.clone();
    tokio::spawn(async move {
        if let Err(fault) = sweep::pass(&desk).await {
            tracing::error!(%fault, "the photo folder was not swept at the start");
        }
    });
    tokio::spawn(seal_old_texts(app.clone()));
    let reloading = tokio::spawn(reload_keys(app.desk.clone(), name.clone()));
    let files = record_files(settings);
    let (key, is_new) = files.open_key(&Chance::OperatingSystem)?;
    if is_new {
        let (public, heads) = (files.public_key(), files.heads.display());
        println!(
            "The record is signed with a new key once a day. Keep a copy of {} and of",
            public.display()
        );
        println!("  the folder {heads} on another machine: `closewatch verify` needs them.");
    }
    let clock = app.clone();
    let signing = tokio::spawn(record_head::run(
        app.desk.clone(),
        files,
        key,
        move || clock.moment(),
        app.clock.speed(),
    ));
    let listing = match (&settings.downtime_folder, &settings.downtime_key) {
        (Some(folder), Some(key)) => {
            let to = ListFolder { folder: folder.clone(), key: BackupKey::read(key).map_err(BadInput)? };
            let (clock, desk, speed) = (app.clone(), app.desk.clone(), app.clock.speed());
            Some(tokio::spawn(downtime_list::run(desk, to, move || clock.moment(), speed)))
        }
        _ => None,
    };
    let clock = app.clone();
    let beating = heart.map(|heart| {
        let (desk, speed) = (app.desk.clone(), app.clock.speed());
        tokio::spawn(jobs::heartbeat::run(
            desk,
            post,
            heart,
            move || clock.moment(),
            || Clock::Machine.now(),
            speed,
        ))
    });
    let (proxies, vitals) = (settings.proxies.clone(), app.desk.vitals.clone());
    let looking = tls.clone().map(|tls| tokio::spawn(tls.keep_looking()));
    let connections = usize::try_from(settings.connections).unwrap_or(usize::MAX);
    let limits = ListenLimits { proxies, vitals, tls, connections, ..ListenLimits::default() };
    let limits = server::most_files().map_or_else(|| limits.clone(), |most| limits.clone().within(most));
    let telling = tokio::spawn(watchdog::keep_telling());
    watchdog::listens();
    web::listen::serve(listener, web::router(app), limits, async move { stop.notified().await }).await?;
    measuring.abort();
    working.abort();
    signing.abort();
    reloading.abort();
    scrubbing.abort();
    telling.abort();
    for task in [beating, listing, looking].into_iter().flatten() {
        task.abort();
    }
    if let Err(fault) = sealing_keys::forget_server(&app.desk, &name).await {
        tracing::warn!(%fault, "for two minutes more the books say that this server runs");
    }
    app.desk.db.close().await;
    drop(alone);
    Ok(())
}

/// What an older program left as it was typed is sealed while everybody works.
async fn seal_old_texts(app: App) {
    match text_sealing::seal_all(&app.desk, app.now()).await {
        Ok(0) => {}
        Ok(texts) => tracing::info!(texts, "texts that lay open in the books are sealed"),
        Err(fault) => {
            tracing::error!(%fault, "texts lie open in the books; the next start goes on sealing them")
        }
    }
}

/// Reads the sealing keys again now and then: a new one is used within a minute, without a restart; and the books know of it.
async fn reload_keys(desk: Desk, name: String) {
    loop {
        tokio::time::sleep(Duration::from_secs(30)).await;
        if let Err(why) = desk.blobs.reload_keys() {
            tracing::error!(why, "the sealing keys cannot be read; the old ones are used");
        }
        note_keys(&desk, &name, Beside::Others).await;
    }
}

/// Nothing waits for this note: without it, keys are rotated later.
async fn note_keys(desk: &Desk, name: &str, beside: Beside) {
    // By the machine's clock, as the commands beside it look: a demo's own runs ahead.
    if let Err(fault) = sealing_keys::note_server(desk, name, beside, Clock::Machine.now()).await {
        tracing::error!(%fault, "the books do not know which key this server seals with");
    }
}

async fn until_told_to_stop() {
    let interrupt = tokio::signal::ctrl_c();
    match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
        Ok(mut terminate) => {
            tokio::select! { _ = interrupt => {}, _ = terminate.recv() => {} }
        }
        Err(_) => {
            let _ = interrupt.await;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn books_that_take_longer_to_look_at_are_looked_at_while_the_program_works() {
        let folder = tempfile::tempdir().unwrap();
        let url = format!("sqlite:{}", folder.path().join("test.sqlite").display());
        let db = Db::open(&url).await.unwrap();
        let looking = look_at_pages(&db, Duration::ZERO).await.unwrap().expect("it was given no time");
        looked_at(&db, looking.await).await.unwrap();
        let faults = vec!["Page 3 is never used".to_owned()];
        let told = looked_at(&db, Ok(Ok(faults))).await.unwrap_err().to_string();
        assert!(told.contains("Page 3 is never used") && told.contains("Nothing is served"), "{told}");
        assert!(look_at_pages(&db, Duration::from_secs(600)).await.unwrap().is_none());
        db.close().await;
    }
}
