//! `closewatch fail-page`: the page for the proxy to show while the server does not answer.

use std::fs;
use std::path::PathBuf;

use crate::cli::BadInput;
use crate::cli::Failure;
use crate::config::Settings;
use crate::store::Db;
use crate::store::practices;
use crate::web::fail_page;

#[derive(Debug, clap::Args)]
pub struct FailPage {
    #[command(flatten)]
    settings: Settings,

    /// File to write; without it, standard output.
    #[arg(long)]
    to: Option<PathBuf>,
}

pub async fn run(page: FailPage) -> Result<(), Failure> {
    let db = Db::open(&page.settings.database_url()).await?;
    let practices = practices::all(&mut *db.read().await?).await?;
    db.close().await;
    if practices.is_empty() {
        let told =
            "no practice is set up yet: nobody's number could stand on the page. Set it up, then ask again.";
        return Err(BadInput(told.to_owned()).into());
    }
    let html = fail_page(&practices)?;
    let Some(path) = page.to else {
        print!("{html}");
        return Ok(());
    };
    fs::write(&path, html).map_err(|fault| BadInput(format!("{}: {fault}", path.display())))?;
    println!("Written to {}. Write it anew when a number changes.", path.display());
    Ok(())
}
