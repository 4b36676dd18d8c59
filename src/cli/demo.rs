//! `closewatch demo`: the server with an invented practice, in a fresh temporary folder.

use std::net::IpAddr;
use std::path::PathBuf;

use crate::cli::Failure;
use crate::cli::seed;
use crate::cli::seed::Seeded;
use crate::cli::serve;
use crate::config::Settings;
use crate::store::practices;
use crate::web::App;

#[derive(Debug, clap::Args)]
pub struct Demo {
    /// Address to listen on.
    #[arg(long, env = "CLOSEWATCH_ADDRESS", default_value = "127.0.0.1")]
    address: IpAddr,

    /// Port to listen on; 0 takes a free one.
    #[arg(long, env = "CLOSEWATCH_PORT", default_value_t = 8080)]
    port: u16,

    /// Folder for the demo's database and photos; without it, a new temporary folder.
    #[arg(long, env = "CLOSEWATCH_DATA")]
    data: Option<PathBuf>,

    /// Empty database to use instead of an SQLite file: `postgres://…` or `sqlite:PATH`.
    #[arg(long, env = "CLOSEWATCH_DATABASE_URL", hide_env_values = true)]
    database_url: Option<String>,
}

pub async fn run(demo: Demo) -> Result<(), Failure> {
    let data = demo
        .data
        .unwrap_or_else(|| std::env::temp_dir().join(format!("closewatch-demo-{}", std::process::id())));
    let settings = Settings {
        address: demo.address,
        port: demo.port,
        data,
        database_url: demo.database_url,
        public_url: None,
    };
    let (listener, settings) = serve::bind(settings).await?;
    let app = serve::open(&settings).await?;
    let known = practices::all(&mut *app.desk.db.read().await?).await?;
    if !known.is_empty() {
        let folder = settings.data_folder().display();
        return Err(format!(
            "{folder} already holds a practice: `closewatch serve --data {folder}` opens it."
        )
        .into());
    }
    println!("Painting an invented practice (some twenty seconds) …");
    let seeded = seed::seed(&app, app.now()).await?;
    print_way_in(&app, &settings, &seeded);
    serve::listen(&app, listener).await
}

fn print_way_in(app: &App, settings: &Settings, seeded: &Seeded) {
    let home = &app.public_url;
    println!();
    println!("Closewatch demo: everything here is invented.");
    println!();
    println!("Staff sign in at {home}/sign-in");
    for card in &seeded.staff {
        let roles = card.member.roles;
        let role = if roles.surgeon {
            "surgeon"
        } else if roles.office {
            "office"
        } else {
            "lead"
        };
        println!("  {role:<8} {:<10} {:<34} {}", card.member.sign_in_name, card.password, card.member.name);
    }
    println!();
    println!("Patients open a link; reading answers also needs the PIN");
    for card in &seeded.links {
        println!(
            "  {home}/k/{}  PIN {}  {}",
            card.issued.token.reveal(),
            card.issued.pin.reveal(),
            card.patient_name
        );
    }
    println!();
    println!("Data are in {}. Ctrl-C stops.", settings.data_folder().display());
}
