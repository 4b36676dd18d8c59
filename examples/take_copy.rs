//! Fills an invented practice and takes copies of one of its wounds, for checks with other tools.
//!
//! `cargo run --example take_copy -- DIRECTORY` writes `patient.zip`, `record.zip`, and every kept photo as it lies in the
//! practice as `kept/RECEIPT-POSITION.jpg`.

use std::error::Error;
use std::fs;
use std::path::Path;
use std::pin::pin;

use closewatch::care::Desk;
use closewatch::care::export;
use closewatch::care::export::CopyFor;
use closewatch::cli::seed;
use closewatch::ids::Chance;
use closewatch::photo::Limits;
use closewatch::store::Blobs;
use closewatch::store::Db;
use closewatch::store::key_file;
use closewatch::store::wounds;
use closewatch::triage::Protocol;
use closewatch::web;
use closewatch::web::App;
use closewatch::web::Clock;
use futures::StreamExt;

#[tokio::main]
async fn main() -> Result<(), Box<dyn Error + Send + Sync>> {
    let directory = std::env::args().nth(1).ok_or("usage: take_copy DIRECTORY")?;
    let directory = Path::new(&directory);
    fs::create_dir_all(directory.join("kept"))?;
    let db = Db::open(&format!("sqlite:{}", directory.join("books.sqlite").display())).await?;
    let key_path = directory.join("sealing-keys");
    let keys = key_file::make_keys(&key_path, None, &Chance::seeded(1))?;
    let blobs = Blobs::in_folder(&directory.join("photos"))?;
    let blobs = blobs.sealed_by(keys, &key_path, Chance::seeded(2));
    let desk = Desk::new(db, blobs, Protocol::built_in().clone(), Limits::default());
    let app = App::new(desk, Clock::Machine, Chance::seeded(3), "https://wounds.example");
    let seeded = seed::seed(&app, app.now()).await?;
    let surgeon = seeded.staff.iter().find(|card| card.member.roles.surgeon).ok_or("no surgeon")?;
    let (desk, practice) = (&app.desk, surgeon.member.practice);

    // The wound with the most photos.
    let mut best = None;
    for wound in wounds::all(&mut *desk.db.read().await?, practice).await? {
        let episode = export::of_wound(desk, &surgeon.member, wound, CopyFor::Record, app.now()).await?;
        let photos = episode.pictures().count();
        if best.as_ref().is_none_or(|(most, _)| photos > *most) {
            best = Some((photos, wound));
        }
    }
    let (_, wound) = best.ok_or("no wound")?;
    for copy in [CopyFor::Patient, CopyFor::Record] {
        let episode = export::of_wound(desk, &surgeon.member, wound, copy, app.now()).await?;
        for (checked, photo) in episode.pictures() {
            let Some(renditions) = &photo.renditions else { continue };
            let bytes =
                export::picture(desk, practice, &renditions.full).await.ok_or("a photo is missing")?;
            let name = format!("{}-{}.jpg", checked.check.receipt.replace('-', ""), photo.position);
            fs::write(directory.join("kept").join(name), &bytes)?;
        }
        let mut zip = Vec::new();
        let mut pieces = pin!(web::episode_zip(desk.clone(), episode));
        while let Some(piece) = pieces.next().await {
            zip.extend_from_slice(&piece?);
        }
        fs::write(directory.join(format!("{}.zip", copy.code())), zip)?;
    }
    Ok(())
}
