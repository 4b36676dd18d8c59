//! `closewatch arm`: a server that came out of a back-up sends again.

use crate::care::backup::noted;
use crate::cli::BadInput;
use crate::cli::Failure;
use crate::config::Settings;
use crate::ids::Chance;
use crate::ids::Moment;
use crate::store::Db;
use crate::web::Clock;

pub async fn run(settings: &Settings) -> Result<(), Failure> {
    let db = Db::open(&settings.database_url()).await?;
    let moment = Moment::new(Clock::Machine.now(), Chance::OperatingSystem);
    let armed = noted::arm(&db, &moment).await?;
    db.close().await;
    let Some(armed) = armed else {
        return Err(BadInput("nothing is held here: this server sends what is due".to_owned()).into());
    };
    println!("Armed. A server that runs sends again within a second.");
    println!(
        "  {} messages that waited when the back-up was made were put aside and are never sent.",
        armed.letters
    );
    println!(
        "  {} ladders that ran then were ended; whatever is open climbs anew within a minute.",
        armed.ladders
    );
    println!(
        "  Checks and calls from before the restore are marked \"Restored: verify\" until they are dealt with."
    );
    Ok(())
}
