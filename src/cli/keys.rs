//! `closewatch keys`: a new key for what is sealed, the old wraps made anew while the server runs, and the old key taken out.

use std::fs;
use std::path::Path;
use std::path::PathBuf;

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::pins;
use crate::care::second_step::app;
use crate::cli::BadInput;
use crate::cli::Failure;
use crate::cli::serve;
use crate::config::Settings;
use crate::ids::Chance;
use crate::ids::PracticeId;
use crate::store::Db;
use crate::store::canary;
use crate::store::key_file;
use crate::store::keyring::KeyRing;
use crate::store::practices;
use crate::store::sealed_blobs;
use crate::store::seals::Seals;
use crate::store::second_steps;
use crate::store::server;
use crate::store::server::Noted;
use crate::store::text_columns;
use crate::store::text_columns::TextColumn;
use crate::web::Clock;

/// So many wraps are made anew in one transaction: nobody waits for it.
const AT_ONCE: i64 = 200;
/// A server reads its keys again within this long; a key is not taken out while one may still seal with it.
const SETTLES_WITHIN: SignedDuration = SignedDuration::from_secs(120);

#[derive(Debug, clap::Subcommand)]
pub enum Keys {
    /// Show which keys there are and how much each opens.
    Show(Settings),
    /// Make the keys that a first start would make, there where the settings name them: for a server that gets them as credentials.
    New(Settings),
    /// Add a key: everything that comes from now on is sealed with it, within a minute on servers that run.
    Add(Settings),
    /// Wrap the keys of everything that is there by the newest key. Harmless when done twice or cut off.
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
        Keys::New(settings) => new(&settings),
        Keys::Add(settings) => add(&settings),
        Keys::Rewrap(settings) => rewrap(&settings).await,
        Keys::Copied(copied) => note_copy(&copied.settings, &copied.copy).await,
        Keys::Remove(remove) => take_out(&remove.settings, remove.version).await,
    }
}

fn read(path: &Path) -> Result<(String, KeyRing), BadInput> {
    let told = |why: &dyn std::fmt::Display| BadInput(format!("{}: {why}", path.display()));
    let text = fs::read_to_string(path).map_err(|fault| told(&fault))?;
    let ring = KeyRing::from_text(&text).map_err(|why| told(&why))?;
    Ok((text, ring))
}

/// What a practice has that is sealed: how much each key's version opens.
struct Counted {
    practice: PracticeId,
    name: String,
    /// Photos, and the seeds of second steps.
    objects: Vec<(u32, i64)>,
    texts: Vec<(u32, i64)>,
}

impl Counted {
    fn opened_by(&self, version: u32) -> i64 {
        self.objects
            .iter()
            .chain(&self.texts)
            .filter(|(used, _)| *used == version)
            .map(|(_, many)| many)
            .sum()
    }
}

/// Every practice, and the canary's.
async fn counted(db: &Db) -> Result<Vec<Counted>, Failure> {
    let mut conn = db.read().await?;
    let known = practices::all(&mut conn).await?;
    let mut named: Vec<(PracticeId, String)> =
        known.into_iter().map(|practice| (practice.id, practice.name)).collect();
    if let Some(canary) = canary::practice(&mut conn).await? {
        named.push((canary, "The canary".to_owned()));
    }
    let mut all = Vec::new();
    for (practice, name) in named {
        let mut objects = sealed_blobs::count_by_key(&mut conn, practice).await?;
        let seeds = second_steps::seeds(&mut conn, practice).await?;
        let pepper = practices::sealed_pin_pepper(&mut conn, practice).await?;
        for sealed in seeds.into_iter().map(|(_, seed)| seed).chain(pepper) {
            let version = KeyRing::version_of(&sealed).unwrap_or(0);
            match objects.iter_mut().find(|(used, _)| *used == version) {
                Some((_, many)) => *many += 1,
                None => objects.push((version, 1)),
            }
        }
        let texts = text_columns::count_by_key(&mut conn, practice).await?;
        all.push(Counted { practice, name, objects, texts });
    }
    Ok(all)
}

async fn show(settings: &Settings) -> Result<(), Failure> {
    let (_, ring) = read(&settings.sealing_keys())?;
    println!("{}: keys {}; {} seals.", settings.sealing_keys().display(), listed(&ring), ring.newest());
    let db = Db::open(&settings.database_url()).await?;
    for practice in counted(&db).await? {
        let missing = |version: u32| match version > 0 && !ring.holds(version) {
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
    if server::noted(&mut *db.read().await?, Noted::TextsSealed).await?.is_none() {
        println!("Texts of before lie open still: a server that is started seals them.");
    }
    db.close().await;
    Ok(())
}

fn listed(ring: &KeyRing) -> String {
    ring.versions().map(|version| version.to_string()).collect::<Vec<_>>().join(", ")
}

/// What is there stays as it is.
fn new(settings: &Settings) -> Result<(), Failure> {
    let sealing = settings.sealing_keys();
    let record = serve::record_files(settings);
    let (_, is_new) = key_file::open_keys(&sealing, &Chance::OperatingSystem).map_err(BadInput)?;
    println!("{}: {}", sealing.display(), if is_new { "made" } else { "was there already" });
    let (_, is_new) = record.open_key(&Chance::OperatingSystem).map_err(BadInput)?;
    println!("{}: {}", record.key.display(), if is_new { "made" } else { "was there already" });
    println!("Keep a copy of both, and of {}, away from this machine.", record.public_key().display());
    Ok(())
}

fn add(settings: &Settings) -> Result<(), Failure> {
    let path = settings.sealing_keys();
    let (text, ring) = read(&path)?;
    let line = KeyRing::new_line(Some(&ring), &Chance::OperatingSystem);
    let text = format!("{}\n{line}", text.trim_end());
    key_file::write_new(&path, &text, 0o600)?;
    println!("Key {} was added. Copy {} to where its copy is kept, now.", ring.newest() + 1, path.display());
    println!("Servers use it within a minute; then `closewatch keys rewrap` makes the old wraps anew.");
    Ok(())
}

async fn rewrap(settings: &Settings) -> Result<(), Failure> {
    let (_, ring) = read(&settings.sealing_keys())?;
    let db = Db::open(&settings.database_url()).await?;
    let mut many = 0;
    let seals = Seals::new(ring.clone(), Chance::OperatingSystem, None);
    let mut unreadable = 0;
    for Counted { practice, .. } in counted(&db).await? {
        loop {
            let mut tx = db.write().await?;
            let old = sealed_blobs::of_other_keys(&mut tx, practice, ring.newest(), AT_ONCE).await?;
            if old.is_empty() {
                break;
            }
            for blob in old {
                let name = blob.name.as_str();
                let wrapped = ring
                    .rewrap(&blob.wrapped_key, name, &Chance::OperatingSystem)
                    .map_err(|fault| format!("blob {name}: {fault}"))?;
                if let Some(wrapped) = wrapped {
                    sealed_blobs::set_key(&mut tx, practice, &blob, ring.newest(), &wrapped).await?;
                    many += 1;
                }
            }
            tx.commit().await?;
        }
        many += rewrap_seeds(&db, practice, &ring).await?;
        for column in text_columns::ALL {
            let (rewrapped, broken) = rewrap_texts(&db, practice, column, &seals).await?;
            many += rewrapped;
            unreadable += broken;
        }
        many += rewrap_pepper(&db, practice, &ring).await?;
    }
    db.close().await;
    println!("{many} keys were wrapped anew by key {}.", ring.newest());
    if unreadable > 0 {
        println!("{unreadable} texts cannot be opened with these keys and were left as they are.");
    }
    Ok(())
}

async fn rewrap_seeds(db: &Db, practice: PracticeId, ring: &KeyRing) -> Result<i64, Failure> {
    let mut tx = db.write().await?;
    let mut many = 0;
    for (staff, seed) in second_steps::seeds(&mut tx, practice).await? {
        let rewrapped = ring
            .rewrapped(&seed, &app::about(staff), &Chance::OperatingSystem)
            .map_err(|fault| format!("the app of {staff}: {fault}"))?;
        if let Some(rewrapped) = rewrapped {
            second_steps::reseal(&mut tx, practice, staff, &seed, &rewrapped).await?;
            many += 1;
        }
    }
    tx.commit().await?;
    Ok(many)
}

/// How many texts of a column were wrapped anew, and how many cannot be opened.
async fn rewrap_texts(
    db: &Db,
    practice: PracticeId,
    column: &TextColumn,
    seals: &Seals,
) -> Result<(i64, i64), Failure> {
    let (mut after, mut many, mut broken) = (String::new(), 0, 0);
    loop {
        let mut tx = db.write().await?;
        let texts = text_columns::after(&mut tx, practice, column, &after, AT_ONCE).await?;
        let Some(last) = texts.last().map(|text| text.row_id.clone()) else { return Ok((many, broken)) };
        for text in texts {
            match text.sealed.rewrapped(seals, column, &text.sealed_for) {
                Ok(Some(sealed)) => {
                    many += i64::from(text_columns::replace(&mut tx, practice, column, &text, sealed).await?);
                }
                Ok(None) => {}
                Err(_) => broken += 1,
            }
        }
        tx.commit().await?;
        after = last;
    }
}

async fn rewrap_pepper(db: &Db, practice: PracticeId, ring: &KeyRing) -> Result<i64, Failure> {
    let mut tx = db.write().await?;
    let Some(sealed) = practices::sealed_pin_pepper(&mut tx, practice).await? else { return Ok(0) };
    let rewrapped = ring
        .rewrapped(&sealed, &pins::about(practice), &Chance::OperatingSystem)
        .map_err(|fault| format!("the pepper of {practice}: {fault}"))?;
    let Some(rewrapped) = rewrapped else { return Ok(0) };
    practices::reseal_pin_pepper(&mut tx, practice, &sealed, &rewrapped).await?;
    tx.commit().await?;
    Ok(1)
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
    let counts = counted(&db).await?;
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
