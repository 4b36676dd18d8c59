//! `closewatch measure --again`: the photos of the past measured by the method of today, beside what was measured then.
//! Safe while a server works on the same books: each photo is leased to one of them.

use crate::care::measuring;
use crate::care::measuring::Method;
use crate::care::measuring::Queued;
use crate::cli::BadInput;
use crate::cli::Failure;
use crate::cli::serve;
use crate::config::Settings;
use crate::jobs;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::web::App;
use crate::wound::METHOD;

/// As many as the machine decodes at once.
const LANES: usize = 2;

#[derive(Debug, clap::Args)]
pub struct Again {
    #[command(flatten)]
    settings: Settings,
    /// With --again: only this practice, by its name or id.
    #[arg(long)]
    practice: Option<String>,
}

pub async fn run(again: Again) -> Result<(), Failure> {
    let app = serve::open(&again.settings).await?;
    for practice in chosen(&app, again.practice.as_deref()).await? {
        queue(&app, &practice).await?;
    }
    let tally = jobs::measuring::until_idle(&app.desk, &Method::default(), &|| app.moment(), LANES).await?;
    println!(
        "Measured: {} with figures, {} to be confirmed by a surgeon, {} that cannot be measured, {} given up.",
        tally.measured, tally.low_confidence, tally.refused, tally.gave_up
    );
    if tally.put_off > 0 {
        println!("{} could not be measured now; the server tries them again.", tally.put_off);
    }
    app.desk.db.close().await;
    Ok(())
}

async fn chosen(app: &App, named: Option<&str>) -> Result<Vec<Practice>, Failure> {
    let mut known = practices::all(&mut *app.desk.db.read().await?).await?;
    let Some(named) = named else { return Ok(known) };
    known.retain(|practice| practice.name == named || practice.id.to_string() == named);
    if known.is_empty() {
        return Err(BadInput(format!("there is no practice named {named} on this server")).into());
    }
    Ok(known)
}

async fn queue(app: &App, practice: &Practice) -> Result<(), Failure> {
    match measuring::queue_past(&app.desk, practice.id, &app.moment()).await? {
        Queued::Photos { new, already } => {
            let waiting = if already > 0 { format!(", {already} were waiting") } else { String::new() };
            println!("{}: photos to measure by method {METHOD}: {new}{waiting}.", practice.name);
        }
        Queued::SwitchedOff => println!("{}: measuring is switched off.", practice.name),
    }
    Ok(())
}
