//! `closewatch backup`: the books and the photos, encrypted to a key whose private half is not here.

use std::path::Path;
use std::path::PathBuf;
use std::time::Instant;

use jiff::Timestamp;

use crate::care::backup;
use crate::care::backup::Taken;
use crate::care::backup::Taking;
use crate::care::backup::noted;
use crate::cli::BadInput;
use crate::cli::Failure;
use crate::cli::serve;
use crate::config::Settings;
use crate::ids::Chance;
use crate::ids::Moment;
use crate::store::Db;
use crate::store::backup_key::BackupIdentity;
use crate::store::backup_key::BackupKey;
use crate::store::key_file::write_new;
use crate::store::tombstones;
use crate::web::Clock;

#[derive(Debug, clap::Args)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
pub struct Backup {
    #[command(subcommand)]
    other: Option<Other>,

    #[command(flatten)]
    settings: Settings,

    /// Folder that takes the back-ups, best on another disk. Photos that lie there already are not carried again.
    #[arg(long, env = "CLOSEWATCH_BACKUP_TO", required = true)]
    to: Option<PathBuf>,

    /// Public key that the back-up is encrypted to (age1…), or the file it stands in.
    #[arg(long, env = "CLOSEWATCH_BACKUP_RECIPIENT", required = true)]
    recipient: Option<String>,
}

#[derive(Debug, clap::Subcommand)]
enum Other {
    /// Make a key pair for back-ups. The private half must not stay on this machine.
    NewKey {
        /// File that takes the private half. It must not be there yet.
        #[arg(long)]
        to: PathBuf,
    },
    /// Tell the server that a back-up was restored elsewhere, by the code that restoring it showed.
    Prove {
        #[command(flatten)]
        settings: Box<Settings>,
        /// As `closewatch restore` shows it.
        code: String,
    },
}

pub async fn run(backup: Backup) -> Result<(), Failure> {
    match backup {
        Backup { other: Some(Other::NewKey { to }), .. } => new_key(&to),
        Backup { other: Some(Other::Prove { settings, code }), .. } => prove(&settings, &code).await,
        Backup { other: None, settings, to: Some(to), recipient: Some(recipient) } => {
            take(&settings, &to, &recipient).await
        }
        Backup { other: None, .. } => {
            Err(BadInput("say where the back-up goes (--to) and who can read it (--recipient)".to_owned())
                .into())
        }
    }
}

fn new_key(path: &Path) -> Result<(), Failure> {
    if path.exists() {
        return Err(BadInput(format!("{} is there already: name another file", path.display())).into());
    }
    let made = BackupIdentity::make();
    write_new(path, &made.to_text(), 0o600).map_err(|fault| format!("{}: {fault}", path.display()))?;
    println!("{}", made.public());
    println!();
    println!("This is the public half: give it to `closewatch backup --recipient`. It is no secret.");
    println!(
        "The private half is in {}. Take it off this machine now, and keep two copies in two",
        path.display()
    );
    println!(
        "places: on paper in a safe is good. Whoever finds it can read every back-up. If all copies are lost,"
    );
    println!(
        "no back-up made for this key can ever be read again, by anybody: then make a new pair, and a new"
    );
    println!("back-up at once.");
    Ok(())
}

async fn prove(settings: &Settings, code: &str) -> Result<(), Failure> {
    let db = Db::open(&settings.database_url()).await?;
    let proved = noted::prove(&db, code, Clock::Machine.now()).await?;
    db.close().await;
    match proved {
        Some(taken) => {
            println!("Noted: the back-up of {} can be restored.", taken.strftime("%Y-%m-%d %H:%M UTC"));
            Ok(())
        }
        None => {
            Err(BadInput("this code is in no back-up that this server made in the last 100 days".to_owned())
                .into())
        }
    }
}

/// Names the back-ups that still hold what has gone since.
fn tell_older(target: &Path, taken: &Taken, went: Timestamp) -> Result<(), Failure> {
    let mut older = backup::from_before(target, went).map_err(|fault| fault.to_string())?;
    older.retain(|path| *path != taken.folder);
    if older.is_empty() {
        return Ok(());
    }
    println!("  These can still show photos that were cleared away on {}:", went.strftime("%Y-%m-%d"));
    for path in older {
        println!("    {}", path.display());
    }
    println!(
        "  Delete them, or change the sealing keys: `closewatch keys add`, `rewrap`, a new back-up, `remove`."
    );
    Ok(())
}

async fn take(settings: &Settings, to: &Path, recipient: &str) -> Result<(), Failure> {
    let key = BackupKey::read(recipient).map_err(BadInput)?;
    if !settings.photo_folder().is_dir() {
        let folder = settings.data_folder().display();
        return Err(BadInput(format!("{folder} is no data folder of a server: name it with --data")).into());
    }
    if std::path::absolute(to)?.starts_with(std::path::absolute(settings.data_folder())?) {
        println!("Take care: a back-up within the data folder is lost with it.");
    }
    #[expect(clippy::disallowed_methods, reason = "how long it took, said once")]
    let begun = Instant::now();
    let (record_key, _) = serve::record_files(settings).open_key(&Chance::OperatingSystem)?;
    let db = Db::open(&settings.database_url()).await?;
    let taking =
        Taking { db: &db, photos: &settings.photo_folder(), target: to, key: &key, record_key: &record_key };
    let moment = Moment::new(Clock::Machine.now(), Chance::OperatingSystem);
    let taken = backup::take(taking, &moment).await?;
    let went = tombstones::photos_last_went(&mut *db.read().await?).await?;
    db.close().await;
    let manifest = &taken.manifest;
    let rows: i64 = manifest.tables.iter().map(|table| table.rows).sum();
    let photos = &manifest.photos;
    println!("{}: {} tables with {rows} rows,", taken.folder.display(), manifest.tables.len());
    println!(
        "  {} photo files of {} bytes, {} of them new, in {:.1} s.",
        photos.files,
        photos.bytes,
        taken.new_photos,
        begun.elapsed().as_secs_f64()
    );
    if !manifest.sealing_keys.is_empty() {
        let keys: Vec<String> = manifest.sealing_keys.iter().map(u32::to_string).collect();
        println!(
            "  Its photos and texts need sealing keys {}; they are not in it. Keep their copies.",
            keys.join(", ")
        );
    }
    if let Some(went) = went {
        tell_older(to, &taken, went)?;
    }
    if photos.lost.is_empty() {
        return Ok(());
    }
    for file in &photos.lost {
        println!("  {file}: cannot be read, and no earlier back-up has it.");
    }
    let told = format!("the back-up is made, but {} photo files are not in it", photos.lost.len());
    Err(told.into())
}
