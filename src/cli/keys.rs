//! `closewatch keys`: a new key for what is sealed, the old wraps made anew while the server runs, and the old key taken out.

use std::fs;
use std::path::Path;
use std::path::PathBuf;

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::sealing_keys;
use crate::cli::BadInput;
use crate::cli::Failure;
use crate::cli::rewrap;
use crate::cli::serve;
use crate::config::Settings;
use crate::ids::Chance;
use crate::store::Db;
use crate::store::key_file;
use crate::store::keyring::KeyRing;
use crate::store::server;
use crate::store::server::Noted;
use crate::web::Clock;

/// A server reads its keys again within this long; a key is not taken out while one may still seal with it.
const SETTLES_WITHIN: SignedDuration = SignedDuration::from_secs(120);

#[derive(Debug, clap::Subcommand)]
pub enum Keys {
    /// Show which keys there are and how much each opens.
    Show(Settings),
    /// Make the keys that a first start would make, there where the settings name them: for a server that gets them as credentials.
    /// Where the books hold something sealed and the file with its keys is lost for good, the key to go on with.
    New(Settings),
    /// Add a key: everything that comes from now on is sealed with it, as soon as the servers have it.
    Add(Settings),
    /// Wrap the keys of everything that is there by the newest key, once every server has it. Harmless when done twice or cut off.
    Rewrap(Settings),
    /// Take a key out of the file that opens nothing any more.
    Remove(Remove),
    /// Show the copy of the key file that is kept elsewhere: until then every start asks for it.
    Copied(Copied),
}

#[derive(Debug, clap::Args)]
pub struct Copied {
    #[command(flatten)]
    settings: Settings,
    /// The copy, as it can be read from here just now, such as on a stick.
    #[arg(long)]
    copy: PathBuf,
}

#[derive(Debug, clap::Args)]
pub struct Remove {
    #[command(flatten)]
    settings: Settings,
    /// The key's version, as `closewatch keys show` names it.
    version: u32,
}

pub async fn run(command: Keys) -> Result<(), Failure> {
    match command {
        Keys::Show(settings) => show(&settings).await,
        Keys::New(settings) => new(&settings).await,
        Keys::Add(settings) => add(&settings).await,
        Keys::Rewrap(settings) => rewrap::run(&settings).await,
        Keys::Copied(copied) => note_copy(&copied.settings, &copied.copy).await,
        Keys::Remove(remove) => take_out(&remove.settings, remove.version).await,
    }
}

/// The key file as it is, and the keys in it.
pub fn read(path: &Path) -> Result<(String, KeyRing), BadInput> {
    let told = |why: &dyn std::fmt::Display| BadInput(format!("{}: {why}", path.display()));
    let text = fs::read_to_string(path).map_err(|fault| told(&fault))?;
    let ring = KeyRing::from_text(&text).map_err(|why| told(&why))?;
    Ok((text, ring))
}

/// The books, where there are any already: asking what they hold makes none.
async fn books(settings: &Settings) -> Result<Option<Db>, Failure> {
    let url = settings.database_url();
    if !Db::can_be_there(&url) {
        return Ok(None);
    }
    Ok(Some(Db::open(&url).await?))
}

/// What the books say of keys: a new one must be above whatever they name, or two keys of one version were to come about.
enum Named {
    /// There are no books where the settings say.
    NoBooks,
    /// Nothing was ever sealed in them.
    Nothing,
    UpTo(u32),
}

async fn named(settings: &Settings) -> Result<Named, Failure> {
    let Some(db) = books(settings).await? else { return Ok(Named::NoBooks) };
    let newest = sealing_keys::newest_named(&mut *db.read().await?).await?;
    db.close().await;
    Ok(newest.map_or(Named::Nothing, Named::UpTo))
}

/// Why a start makes no keys.
pub fn no_file(path: &Path) -> BadInput {
    let path = path.display();
    BadInput(format!(
        "{path} is not there, and what the books hold is sealed with keys of such a file. New keys would open none of it: none were \
         made, and nothing is served. If the file lies elsewhere, name it with CLOSEWATCH_SEALING_KEYS_FILE. If it is gone, put its \
         copy there. Only if no copy is left anywhere: the README says under \"Keys\" what is lost then, and how to go on."
    ))
}

/// Why a start does not work with the keys it found.
pub fn another_file(path: &Path, version: u32) -> BadInput {
    let path = path.display();
    BadInput(format!(
        "{path} holds another key {version} than the one that what is in the books was sealed with: it opens none of it. Nothing is \
         served, and nothing was changed. Name the right file with CLOSEWATCH_SEALING_KEYS_FILE, or put its copy there. Keep this \
         file as well: other books may need it."
    ))
}

/// Refuses for as long as a server works with another key than the newest of the file: it could not open what was wrapped by it, and
/// goes on sealing with its own.
pub async fn servers_must_have(db: &Db, path: &Path, newest: u32) -> Result<(), Failure> {
    let other = sealing_keys::other_in_use(&mut *db.read().await?, newest, Clock::Machine.now()).await?;
    let Some(other) = other else { return Ok(()) };
    let path = path.display();
    let why = format!(
        "a server that runs seals with key {other}, and the newest of {path} is key {newest}. One that reads the file itself has it \
         within a minute. One that was handed a copy when it started, as the shipped unit does, never has it: restart the server, then \
         run this again (on PostgreSQL, two minutes after the last old server ended)"
    );
    Err(BadInput(why).into())
}

async fn show(settings: &Settings) -> Result<(), Failure> {
    let path = settings.sealing_keys();
    let ring = key_file::read_keys(&path).map_err(BadInput)?;
    match &ring {
        Some(ring) => println!("{}: keys {}; {} seals.", path.display(), listed(ring), ring.newest()),
        None => println!("{}: the file is MISSING.", path.display()),
    }
    let db = Db::open(&settings.database_url()).await?;
    let mut conn = db.read().await?;
    for practice in sealing_keys::counted(&mut conn).await? {
        let holds = |version: u32| ring.as_ref().is_some_and(|ring| ring.holds(version));
        let missing = |version: u32| match version > 0 && !holds(version) {
            true => ", and this key is MISSING",
            false => "",
        };
        let name = &practice.name;
        for (version, many) in practice.objects {
            match version {
                0 => println!("{name}: {many} objects from before anything was sealed."),
                _ => println!("{name}: {many} objects are opened by key {version}{}.", missing(version)),
            }
        }
        for (version, many) in practice.texts {
            println!("{name}: {many} texts are opened by key {version}{}.", missing(version));
        }
    }
    if server::noted(&mut conn, Noted::TextsSealed).await?.is_none() {
        println!("Texts of before lie open still: a server that is started seals them.");
    }
    drop(conn);
    db.close().await;
    Ok(())
}

fn listed(ring: &KeyRing) -> String {
    ring.versions().map(|version| version.to_string()).collect::<Vec<_>>().join(", ")
}

/// What is there stays as it is.
async fn new(settings: &Settings) -> Result<(), Failure> {
    let sealing = settings.sealing_keys();
    let record = serve::record_files(settings);
    match key_file::read_keys(&sealing).map_err(BadInput)? {
        Some(_) => println!("{}: was there already", sealing.display()),
        None => make(settings, &sealing).await?,
    }
    let (_, is_new) = record.open_key(&Chance::OperatingSystem).map_err(BadInput)?;
    println!("{}: {}", record.key.display(), if is_new { "made" } else { "was there already" });
    println!("Keep a copy of both, and of {}, away from this machine.", record.public_key().display());
    Ok(())
}

async fn make(settings: &Settings, path: &Path) -> Result<(), Failure> {
    let named = named(settings).await?;
    let before = match named {
        Named::NoBooks | Named::Nothing => None,
        Named::UpTo(newest) => Some(newest),
    };
    let ring = key_file::make_keys(path, before, &Chance::OperatingSystem).map_err(BadInput)?;
    println!("{}: made", path.display());
    match named {
        Named::NoBooks => println!(
            "  It holds key {}, for a first start: no books are at {} yet. If there are books elsewhere, take the file away again and \
             name them with --data or --database-url.",
            ring.newest(),
            settings.database_url()
        ),
        Named::Nothing => {}
        Named::UpTo(newest) => println!(
            "  It holds key {}. WHAT IS SEALED ALREADY STAYS CLOSED: the books name keys up to {newest}, and none of them is in it. \
             Whenever an old file is found, add its lines to this one: all of it opens again.",
            ring.newest()
        ),
    }
    Ok(())
}

async fn add(settings: &Settings) -> Result<(), Failure> {
    let path = settings.sealing_keys();
    let (text, ring) = read(&path)?;
    let before = match named(settings).await? {
        Named::NoBooks | Named::Nothing => ring.newest(),
        Named::UpTo(newest) => newest.max(ring.newest()),
    };
    let line = KeyRing::new_line(Some(before), &Chance::OperatingSystem);
    let text = format!("{}\n{line}", text.trim_end());
    let added = KeyRing::from_text(&text).map_err(BadInput)?;
    key_file::write_new(&path, &text, 0o600)?;
    println!("Key {} was added. Copy {} to where its copy is kept, now.", added.newest(), path.display());
    println!(
        "A server that reads this file itself uses it within a minute. One that was handed a copy when it started, as the shipped unit \
         does, must be restarted: systemctl restart closewatch."
    );
    println!("Then `closewatch keys rewrap` makes the old wraps anew.");
    Ok(())
}

/// Believes the copy only when every key is in it.
async fn note_copy(settings: &Settings, copy: &Path) -> Result<(), Failure> {
    let path = settings.sealing_keys();
    let (text, ring) = read(&path)?;
    let (copied, _) = read(copy)?;
    if fs::canonicalize(copy)? == fs::canonicalize(&path)? {
        return Err(BadInput(format!("{} is the file itself, not a copy of it", copy.display())).into());
    }
    let is_key = |line: &&str| !line.is_empty() && !line.starts_with('#');
    let missing = text
        .lines()
        .map(str::trim)
        .filter(is_key)
        .find(|line| !copied.lines().any(|other| other.trim() == *line));
    if let Some(line) = missing {
        let version = line.split_whitespace().next().unwrap_or_default();
        let why = format!(
            "{}: key {version} is not in it as the server has it. Copy the file anew.",
            copy.display()
        );
        return Err(BadInput(why).into());
    }
    let db = Db::open(&settings.database_url()).await?;
    let mut tx = db.write().await?;
    server::note_keys_copied(&mut tx, ring.newest()).await?;
    tx.commit().await?;
    db.close().await;
    println!("The copy holds every key. Keep it away from this machine, and as long as any back-up is kept.");
    Ok(())
}

/// What a start says while nobody has shown a copy of the newest key; empty: somebody did.
pub async fn asks_for_copy(db: &Db, path: &Path, newest: u32) -> Result<String, Failure> {
    if server::keys_copied(&mut *db.read().await?).await? == Some(newest) {
        return Ok(String::new());
    }
    let path = path.display();
    Ok(format!(
        "NO COPY of {path} was shown yet. Without this file nobody can ever read a photo or a word again, and no back-up holds it.\n  \
         Copy it to where it is safe, then show the copy: closewatch keys copied --copy FILE"
    ))
}

async fn take_out(settings: &Settings, version: u32) -> Result<(), Failure> {
    let path = settings.sealing_keys();
    let (text, ring) = read(&path)?;
    if !ring.holds(version) || version == ring.newest() {
        let why = format!(
            "key {version} cannot be taken out: there are {}, and {} seals",
            listed(&ring),
            ring.newest()
        );
        return Err(BadInput(why).into());
    }
    let changed = Timestamp::try_from(fs::metadata(&path)?.modified()?)?;
    if Clock::Machine.now().duration_since(changed) < SETTLES_WITHIN {
        let why = "the key file was changed just now, and a server may still seal with the old key: wait two minutes";
        return Err(BadInput(why.to_owned()).into());
    }
    let db = Db::open(&settings.database_url()).await?;
    servers_must_have(&db, &path, ring.newest()).await?;
    let counts = sealing_keys::counted(&mut *db.read().await?).await?;
    db.close().await;
    let opens: i64 = counts.iter().map(|counted| counted.opened_by(version)).sum();
    if opens > 0 {
        let why = format!("key {version} still opens {opens} objects: run `closewatch keys rewrap` first");
        return Err(BadInput(why).into());
    }
    let begins = format!("{version} ");
    let kept: Vec<&str> = text.lines().filter(|line| !line.trim_start().starts_with(&begins)).collect();
    key_file::write_new(&path, &format!("{}\n", kept.join("\n")), 0o600)?;
    println!(
        "Key {version} was taken out. Back-ups from before need it still: keep its copy as long as they are kept."
    );
    Ok(())
}
