//! `closewatch restore`: a back-up comes back into an empty folder, is checked line by line, and is held until somebody arms
//! it; or, with `--verify-only`, all of it is tried in a folder of its own that is gone afterwards.

use std::fs;
use std::path::Path;
use std::path::PathBuf;
use std::time::Instant;

use crate::care::backup;
use crate::care::backup::Backup;
use crate::care::backup::Fault;
use crate::care::backup::PutBack;
use crate::care::backup::noted;
use crate::care::backup::verified;
use crate::care::backup::verified::Chain;
use crate::care::backup::verified::Opened;
use crate::care::record_head::RecordPublicKey;
use crate::cli::BadInput;
use crate::cli::Failure;
use crate::cli::verify;
use crate::config::Settings;
use crate::ids::Chance;
use crate::ids::Moment;
use crate::store::Blobs;
use crate::store::Db;
use crate::store::backup_key::BackupIdentity;
use crate::store::books::PhotoFile;
use crate::store::keyring::KeyRing;
use crate::web::Clock;

#[derive(Debug, clap::Args)]
pub struct Restore {
    #[command(flatten)]
    settings: Settings,

    /// The back-up's folder, or the folder of back-ups: then the newest.
    #[arg(long)]
    from: PathBuf,

    /// File with the private half of the key that the back-up was made for.
    #[arg(long)]
    identity: PathBuf,

    /// Public key (PEM) of the record, from another machine: shows that nobody else wrote the back-up. Without it, the one that
    /// lies in the back-up.
    #[arg(long)]
    public_key: Option<PathBuf>,

    /// Version of a sealing key of which no copy is left anywhere: what it sealed stays closed, and nothing is wrong with that. May
    /// be given more than once.
    #[arg(long = "lost-key", value_name = "VERSION")]
    lost_keys: Vec<u32>,

    /// Only try: everything is restored into a folder of its own below the folder for temporary files, and taken away again.
    #[arg(long)]
    verify_only: bool,
}

/// Says each thing that was looked at, and counts what is wrong.
#[derive(Default)]
struct Told {
    wrong: usize,
}

impl Told {
    fn well(&self, what: &str, told: impl std::fmt::Display) {
        println!("{what:<14} ok     {told}");
    }

    fn wrong(&mut self, what: &str, told: impl std::fmt::Display) {
        println!("{what:<14} WRONG  {told}");
        self.wrong += 1;
    }

    /// `how`: what else is said of those that were opened.
    fn opened(&mut self, what: &str, opened: &Opened, how: &str) {
        let closed = match opened.closed {
            0 => String::new(),
            closed => format!("; {closed} stay closed, for their key is lost"),
        };
        if opened.broken.is_empty() {
            self.well(what, format!("{} opened{how}{closed}", opened.whole));
        }
        for name in &opened.broken {
            self.wrong(what, format!("{name} cannot be opened"));
        }
    }

    fn end(&self, then: &str) -> Result<(), Failure> {
        match self.wrong {
            0 => Ok(()),
            1 => Err(format!("1 check failed: {then}").into()),
            many => Err(format!("{many} checks failed: {then}").into()),
        }
    }
}

/// A folder for trying, gone when it was tried.
struct Trial(PathBuf);

impl Drop for Trial {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// Where it goes.
struct Place {
    data: PathBuf,
    url: String,
    _trial: Option<Trial>,
}

pub async fn run(restore: Restore) -> Result<(), Failure> {
    #[expect(clippy::disallowed_methods, reason = "how long it took, said once")]
    let begun = Instant::now();
    let identity = BackupIdentity::read(&restore.identity).map_err(BadInput)?;
    let public_key = restore.public_key.as_deref().map(read_public_key).transpose()?;
    let from = Backup::open(&restore.from).map_err(|fault| BadInput(fault.to_string()))?;
    let place = place(&restore)?;
    let mut told = Told::default();
    println!("{}, of {}", from.folder.display(), from.manifest.taken.strftime("%Y-%m-%d %H:%M:%S UTC"));
    let (files, code) = before(&restore, &from, &identity, public_key.as_ref(), &mut told)?;
    let moment = Moment::new(Clock::Machine.now(), Chance::OperatingSystem);
    let db = match backup::put_back(&from, &identity, &place.url, &moment).await? {
        PutBack::Done { db, rows } => {
            told.well(
                "counts",
                format!("{} tables, {rows} rows, as the manifest says", from.manifest.tables.len()),
            );
            db
        }
        PutBack::NotEmpty => {
            let why = "the database holds something already. Name an empty one: nothing there was touched";
            return Err(BadInput(why.to_owned()).into());
        }
        PutBack::Refused(fault) => {
            told.wrong("counts", fault);
            return told.end("nothing was restored; take an earlier back-up");
        }
    };
    let photos = if restore.verify_only {
        from.photos()
    } else {
        let carried = backup::put_back_photos(&from, &files, &place.data.join("photos"), &identity)?;
        println!(
            "{:<14}        {} files of {} bytes were brought back",
            "photos", carried.new, carried.bytes
        );
        place.data.join("photos")
    };
    let ring = read_keys(&restore.settings)?;
    let blobs = Blobs::in_folder(&photos)?.sealed_with(ring, Chance::OperatingSystem);
    after(&from, &db, &blobs, public_key.as_ref(), &restore.lost_keys, &mut told).await?;
    if told.wrong == 0 {
        noted::note_restored(&db, from.manifest.taken, moment.now).await?;
    }
    db.close().await;
    if told.wrong > 0 {
        return told.end("do not work with these books; take an earlier back-up, or ask for help");
    }
    println!("Everything was checked in {:.1} s.", begun.elapsed().as_secs_f64());
    if restore.verify_only {
        println!("Tell the server that it can be restored, there: closewatch backup prove {code}");
    } else {
        println!(
            "Start the server on {}: it sends nothing until you run `closewatch arm` there.",
            place.data.display()
        );
        println!("  Switch the old server off first, and for good: two would call the same people.");
    }
    Ok(())
}

fn read_public_key(path: &Path) -> Result<RecordPublicKey, BadInput> {
    let told = |why: &dyn std::fmt::Display| BadInput(format!("{}: {why}", path.display()));
    let pem = fs::read_to_string(path).map_err(|fault| told(&fault))?;
    RecordPublicKey::from_pem(&pem).map_err(|why| told(&why))
}

fn read_keys(settings: &Settings) -> Result<KeyRing, BadInput> {
    let path = settings.sealing_keys();
    let told = |why: &dyn std::fmt::Display| {
        BadInput(format!(
            "{}: {why}. Put the copy of the sealing keys there, or name it with --sealing-keys-file: without them no photo and no text can \
             be opened.",
            path.display()
        ))
    };
    let text = fs::read_to_string(&path).map_err(|fault| told(&fault))?;
    KeyRing::from_text(&text).map_err(|why| told(&why))
}

fn place(restore: &Restore) -> Result<Place, Failure> {
    if restore.verify_only {
        let unique = data_encoding::HEXLOWER.encode(&Chance::OperatingSystem.bytes::<8>());
        let data = std::env::temp_dir().join(format!("closewatch-restore-{unique}"));
        make_private(&data)?;
        let url = format!("sqlite:{}", data.join("closewatch.sqlite").display());
        return Ok(Place { url, _trial: Some(Trial(data.clone())), data });
    }
    let data = restore.settings.data_folder().to_owned();
    let keys: Vec<PathBuf> = vec![
        restore.settings.sealing_keys(),
        restore.settings.record_key(),
        restore.settings.record_key().with_extension("pub.pem"),
    ];
    if data.is_dir() {
        for entry in fs::read_dir(&data)? {
            let path = entry?.path();
            if !keys.contains(&path) {
                let told = format!(
                    "{} is not empty: {} is in it. Name an empty folder with --data; only the files with the keys may be there.",
                    data.display(),
                    path.file_name().unwrap_or_default().display()
                );
                return Err(BadInput(told).into());
            }
        }
    } else {
        make_private(&data)?;
    }
    Ok(Place { data, url: restore.settings.database_url(), _trial: None })
}

fn make_private(folder: &Path) -> Result<(), Failure> {
    use std::os::unix::fs::DirBuilderExt;
    let made = fs::DirBuilder::new().recursive(true).mode(0o700).create(folder);
    Ok(made.map_err(|fault| format!("{}: {fault}", folder.display()))?)
}

/// Everything that can be seen before a row is written: nothing is touched unless all of it is well.
fn before(
    restore: &Restore,
    from: &Backup,
    identity: &BackupIdentity,
    public_key: Option<&RecordPublicKey>,
    told: &mut Told,
) -> Result<(Vec<PhotoFile>, String), Failure> {
    let manifest = &from.manifest;
    match (from.is_vouched_for(public_key), public_key) {
        (true, Some(key)) => told.well("manifest", format!("signed by the record's key {}", key.name())),
        (true, None) => told.well(
            "manifest",
            "signed by the key that lies beside it; --public-key with a copy from elsewhere would show by whom",
        ),
        (false, _) => told.wrong("manifest", "its signature is wrong: somebody else wrote or changed it"),
    }
    let changed = from.changed_parts();
    match changed.as_slice() {
        [] => told.well("parts", format!("{} files, every hash right", manifest.parts().count())),
        changed => changed.iter().for_each(|part| told.wrong("parts", part)),
    }
    told.end("nothing was restored; take an earlier back-up")?;
    if manifest.schema_version > Db::newest_schema() {
        let why = format!("it was made by a newer program ({}): use that one", manifest.program);
        return Err(BadInput(why).into());
    }
    let listed = from.list(identity).map_err(|fault| match fault {
        Fault::OtherKey(_) => Failure::from(BadInput(fault.to_string())),
        Fault::File(..) | Fault::NoBackup(..) | Fault::Changed(_) => fault.into(),
    })?;
    told.well("identity", "opens it");
    let ring = read_keys(&restore.settings)?;
    let is_lost = |key: &u32| restore.lost_keys.contains(key);
    let (lost, missing): (Vec<u32>, Vec<u32>) =
        manifest.sealing_keys.iter().copied().filter(|key| !ring.holds(*key)).partition(is_lost);
    let missing: Vec<String> = missing.iter().map(u32::to_string).collect();
    if !missing.is_empty() {
        let held: Vec<String> = ring.versions().map(|key| key.to_string()).collect();
        let why = format!(
            "sealing key {} is missing: {} holds {}. Put the copy of the keys of that time there; only if no copy is left anywhere, \
             say --lost-key for each of them",
            missing.join(", "),
            restore.settings.sealing_keys().display(),
            held.join(", ")
        );
        return Err(BadInput(why).into());
    }
    match lost.len() {
        0 => told.well("sealing keys", format!("all {} it needs are there", manifest.sealing_keys.len())),
        lost => {
            let needed = manifest.sealing_keys.len();
            told.well("sealing keys", format!("{} of the {needed} it needs are there", needed - lost));
        }
    }
    let lost = backup::lost_photos(from, &listed.files, identity)?;
    if lost.is_empty() && listed.files.len() == manifest.photos.files {
        told.well("photo files", format!("{}, every hash right", listed.files.len()));
    }
    for file in &lost {
        let known = manifest.photos.lost.contains(file);
        let why = if known {
            "it could not be read when the back-up was made"
        } else {
            "it is gone or was changed"
        };
        told.wrong("photo files", format!("{file}: {why}"));
    }
    // What the server itself had lost is no reason to do without the rest.
    if lost.iter().any(|file| !manifest.photos.lost.contains(file)) {
        told.end("nothing was restored; take an earlier back-up")?;
    }
    Ok((listed.files, listed.code))
}

/// Everything that can be seen once it is back.
async fn after(
    from: &Backup,
    db: &Db,
    blobs: &Blobs,
    public_key: Option<&RecordPublicKey>,
    lost_keys: &[u32],
    told: &mut Told,
) -> Result<(), Failure> {
    match verified::damage(db).await? {
        None => told.well("database", "whole by its own account"),
        Some(damage) => told.wrong("database", damage),
    }
    let own = from.own_key();
    let Some(key) = public_key.or(own.as_ref()) else {
        told.wrong("record", "the back-up names no key of the record");
        return Ok(());
    };
    for (practice, chain) in verified::records(db, &from.manifest.heads, key).await? {
        match chain {
            Chain::Whole { lines } => {
                told.well(
                    "record",
                    format!("{practice}: {lines} lines, whole, and the last is the signed one"),
                );
            }
            Chain::Broken(flaw) => {
                let words = verify::words(flaw);
                told.wrong("record", format!("{practice}: broken at line {}: {words}", flaw.place()));
            }
            Chain::OtherEnd { noted, signed } => {
                told.wrong(
                    "record",
                    format!("{practice}: it ends with line {noted}, and line {signed} was signed"),
                );
            }
            Chain::NotSigned(wrong) => told.wrong("record", format!("{practice}: its head: {wrong}")),
            Chain::NoHead => told.wrong("record", format!("{practice}: no signed head is in the back-up")),
        }
    }
    let photos = verified::photos(db, blobs, lost_keys).await?;
    told.opened("photos", &photos, ", every hash right");
    if let Some(seals) = blobs.seals() {
        told.opened("texts", &verified::texts(db, &seals, lost_keys).await?, "");
    }
    told.opened("PINs and apps", &verified::for_entering(db, blobs, lost_keys).await?, "");
    match verified::leads(db).await? {
        0 => told.wrong("sign-in", "no lead with a password is active: nobody could let others in"),
        leads => told.well("sign-in", format!("{leads} active leads with a password")),
    }
    Ok(())
}
