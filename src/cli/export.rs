//! `closewatch export`: everything of a practice into a folder, a zip for each wound, by a code that two people agreed to.

use std::fs;
use std::fs::DirBuilder;
use std::fs::File;
use std::fs::OpenOptions;
use std::io;
use std::io::BufRead;
use std::io::Write;
use std::os::unix::fs::DirBuilderExt;
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::path::PathBuf;
use std::pin::pin;

use futures::StreamExt;

use crate::care::Desk;
use crate::care::export::CopyFor;
use crate::care::export::Episode;
use crate::care::export::bulk;
use crate::cli::BadInput;
use crate::cli::Failure;
use crate::cli::serve;
use crate::config::Settings;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::web;
use crate::web::App;

/// Take everything of a practice out: one zip for each wound. Two people agree to it under Practice → Export; the code they are
/// shown is read from standard input, one line, and works once.
#[derive(Debug, clap::Args)]
pub struct Export {
    #[command(flatten)]
    settings: Settings,
    /// The folder to write into; it is made, or holds nothing yet.
    #[arg(long)]
    to: PathBuf,
    /// `record`: everything the practice keeps. `patient`: what the patients may have, without notes for staff.
    #[arg(long, default_value = "record")]
    copy: String,
    /// The practice, by its name or id, where the server has several.
    #[arg(long)]
    practice: Option<String>,
}

pub async fn run(export: Export) -> Result<(), Failure> {
    let copy: CopyFor = export
        .copy
        .parse()
        .map_err(|_| BadInput(format!("--copy is `record` or `patient`, and not `{}`", export.copy)))?;
    empty_folder(&export.to)?;
    let app = serve::open(&export.settings).await?;
    let done = take_out(&app, &export, copy).await;
    app.desk.db.close().await;
    done
}

async fn take_out(app: &App, export: &Export, copy: CopyFor) -> Result<(), Failure> {
    let practice = chosen(app, export.practice.as_deref()).await?;
    let code = ask_code()?;
    // The clock is read once the code is there: nobody knows how long the question stood, and a code has its day.
    let Some(bulk) = bulk::begin(&app.desk, practice.id, &code, &app.moment()).await? else {
        let words = "this code opens nothing here: it was not agreed to in this practice, was used or taken back, or is more than a \
                     day old";
        return Err(BadInput(words.to_owned()).into());
    };
    let (mut bytes, mut written) = (0, 0);
    for wound in &bulk.wounds {
        // The code is spent: one that was cleared away meanwhile must not end it for the others.
        let Some(episode) = bulk::episode(&app.desk, &bulk, *wound, copy, app.now()).await? else { continue };
        bytes += write(&app.desk, episode, &export.to).await?;
        written += 1;
    }
    File::open(&export.to)?.sync_all()?;
    println!(
        "{}: {} wounds, {} MiB, in {}. The record says so, and everybody on staff is told.",
        practice.name,
        written,
        bytes.div_ceil(1_024 * 1_024),
        export.to.display()
    );
    let gone = bulk.wounds.len() - written;
    if gone > 0 {
        println!(
            "{gone} more were there at the beginning and were cleared away meanwhile: they are not in it."
        );
    }
    println!("Whoever holds this folder holds the patients’ records: encrypt what it is carried on.");
    Ok(())
}

/// A folder that only its owner reads, with nothing in it.
fn empty_folder(folder: &Path) -> Result<(), Failure> {
    match fs::read_dir(folder) {
        Ok(mut entries) => match entries.next() {
            None => Ok(()),
            Some(_) => {
                Err(BadInput(format!("{} holds something already: name an empty folder", folder.display()))
                    .into())
            }
        },
        Err(fault) if fault.kind() == io::ErrorKind::NotFound => {
            Ok(DirBuilder::new().recursive(true).mode(0o700).create(folder)?)
        }
        Err(fault) => Err(BadInput(format!("{}: {fault}", folder.display())).into()),
    }
}

async fn chosen(app: &App, named: Option<&str>) -> Result<Practice, Failure> {
    let known = practices::all(&mut *app.desk.db.read().await?).await?;
    let is_named = |practice: &&Practice| {
        named.is_none_or(|named| practice.name == named || practice.id.to_string() == named)
    };
    let mut found = known.iter().filter(is_named);
    match (found.next(), found.next()) {
        (Some(practice), None) => Ok(practice.clone()),
        (Some(_), Some(_)) => {
            Err(BadInput("there are several practices: name one with --practice".to_owned()).into())
        }
        (None, _) => Err(BadInput("there is no such practice on this server".to_owned()).into()),
    }
}

fn ask_code() -> Result<String, Failure> {
    eprintln!("The code, then Enter:");
    let mut code = String::new();
    io::stdin().lock().read_line(&mut code)?;
    Ok(code)
}

/// Writes one zip under another name first: a half one is never taken for a whole one. How many bytes it has.
async fn write(desk: &Desk, episode: Episode, folder: &Path) -> Result<u64, Failure> {
    let path = folder.join(web::episode_file_name(&episode));
    let begun = path.with_extension("begun");
    let mut file = OpenOptions::new().write(true).create_new(true).mode(0o600).open(&begun)?;
    let mut zip = pin!(web::episode_zip(desk.clone(), episode));
    let mut bytes = 0;
    while let Some(piece) = zip.next().await {
        let piece = piece?;
        file.write_all(&piece)?;
        bytes += piece.len() as u64;
    }
    file.sync_all()?;
    fs::rename(&begun, &path)?;
    Ok(bytes)
}
