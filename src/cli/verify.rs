//! `closewatch verify`: is the record whole, and does it agree with the heads that were signed?

use std::fs;
use std::path::Path;
use std::path::PathBuf;

use crate::care::record_head::RecordPublicKey;
use crate::care::record_head::SignedHead;
use crate::cli::BadInput;
use crate::cli::Failure;
use crate::cli::serve;
use crate::config::Settings;
use crate::store::Db;
use crate::store::audit;
use crate::store::audit_chain::Flaw;
use crate::store::audit_chain::RecordHead;
use crate::store::practices;

#[derive(Debug, clap::Args)]
pub struct Verify {
    #[command(flatten)]
    settings: Settings,

    /// Folder with signed heads, or one of them; may be given several times. Best is a copy that lay on another machine.
    /// Without it, the folder the server writes to.
    #[arg(long = "heads")]
    heads_at: Vec<PathBuf>,

    /// Public key (PEM) that the heads are checked with. Without it, the one beside the server's key.
    #[arg(long)]
    public_key: Option<PathBuf>,
}

pub async fn run(verify: Verify) -> Result<(), Failure> {
    let files = serve::record_files(&verify.settings);
    let places = if verify.heads_at.is_empty() { vec![files.heads.clone()] } else { verify.heads_at };
    let key_file = verify.public_key.unwrap_or_else(|| files.public_key());
    let (heads, mut faults) = read_heads(&places, &key_file)?;
    let db = Db::open(&verify.settings.database_url()).await?;
    let mut conn = db.read().await?;
    let practices = practices::all(&mut conn).await?;
    for practice in &practices {
        let start = audit::start(&mut conn, practice.id).await?;
        let is_asked = |head: &&RecordHead| head.practice == practice.id && head.sequence >= start.sequence;
        let signed = heads.iter().filter(is_asked);
        let told = match signed.clone().max_by_key(|head| head.sequence) {
            Some(newest) => format!(
                "{} signed heads agree, the newest of {} up to line {}",
                signed.count(),
                newest.at.strftime("%Y-%m-%d %H:%M UTC"),
                newest.sequence
            ),
            None => "no signed head to hold it against: an end that was cut off would not be seen".to_owned(),
        };
        match audit::read_chain(&mut conn, practice.id, &heads).await? {
            Ok(lines) if start.sequence > 0 => println!(
                "{}: {lines} lines, whole; those up to line {} went for their age, and the record says so; {told}.",
                practice.name, start.sequence
            ),
            Ok(lines) => println!("{}: {lines} lines, whole; {told}.", practice.name),
            Err(flaw) => {
                println!("{}: BROKEN at line {}: {}.", practice.name, flaw.place(), words(flaw));
                faults += 1;
            }
        }
    }
    for head in heads.iter().filter(|head| !practices.iter().any(|practice| practice.id == head.practice)) {
        println!("BROKEN: a head of practice {} was signed, and there is no such practice.", head.practice);
        faults += 1;
    }
    drop(conn);
    db.close().await;
    match faults {
        0 => Ok(()),
        1 => Err("the record is not whole: 1 fault".into()),
        faults => Err(format!("the record is not whole: {faults} faults").into()),
    }
}

/// The heads that are believed, and how many are not.
fn read_heads(places: &[PathBuf], key_file: &Path) -> Result<(Vec<RecordHead>, usize), Failure> {
    let mut files = Vec::new();
    for place in places {
        if place.is_dir() {
            for entry in fs::read_dir(place)? {
                files.push(entry?.path());
            }
        } else if place.exists() {
            files.push(place.clone());
        }
    }
    files.retain(|path| path.extension().is_some_and(|ending| ending == "json"));
    files.sort();
    if files.is_empty() {
        return Ok((Vec::new(), 0));
    }
    let pem = fs::read_to_string(key_file).map_err(|fault| {
        BadInput(format!("{}: {fault}. Name the key with --public-key.", key_file.display()))
    })?;
    let key =
        RecordPublicKey::from_pem(&pem).map_err(|why| BadInput(format!("{}: {why}", key_file.display())))?;
    let (mut heads, mut faults) = (Vec::new(), 0);
    for file in files {
        let read = fs::read_to_string(&file)?;
        let signed = serde_json::from_str::<SignedHead>(&read).map_err(|fault| fault.to_string());
        match signed.and_then(|signed| signed.checked(&key).map_err(|wrong| wrong.to_string())) {
            Ok(head) => heads.push(head),
            Err(why) => {
                println!("{}: not believed: {why}.", file.display());
                faults += 1;
            }
        }
    }
    Ok((heads, faults))
}

/// What is wrong, in words.
pub(in crate::cli) fn words(flaw: Flaw) -> String {
    match flaw {
        Flaw::Missing { first, last } if first == last => format!("line {first} is gone"),
        Flaw::Missing { first, last } => format!("lines {first} to {last} are gone"),
        Flaw::Doubled { line } => format!("line {line} stands there twice"),
        Flaw::Changed { line } => format!("line {line} says something else than was written"),
        Flaw::Unlinked { line } => {
            format!("line {line} does not follow from line {}, which was written anew", line - 1)
        }
        Flaw::Cut { last, noted } => format!("it ends with line {last} and once went on to line {noted}"),
        Flaw::Added { first } => format!("line {first} was slipped in behind the last one noted"),
        Flaw::Replaced { line } => format!("line {line} is not the last one that was noted"),
        Flaw::Unnoted { last } => {
            format!("lines up to {last} are gone, and the record does not say that they went for their age")
        }
        Flaw::Rewritten { after, line } => {
            format!(
                "line {line} is not the one that was signed; something behind line {after} was written anew"
            )
        }
    }
}
