//! `closewatch demo`: the server with an invented practice, in a fresh temporary folder.

use std::net::IpAddr;
use std::net::Ipv4Addr;
use std::net::Ipv6Addr;
use std::path::PathBuf;

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::civil::Time;
use jiff::tz::TimeZone;

use crate::care::decoder::Decoder;
use crate::cli::Failure;
use crate::cli::seed;
use crate::cli::seed::Seeded;
use crate::cli::serve;
use crate::cli::shut_in;
use crate::config::CONNECTIONS;
use crate::config::HeartbeatSettings;
use crate::config::LEAST_FREE_MIB;
use crate::config::NotifySettings;
use crate::config::PHOTO_CHECKS_A_DAY;
use crate::config::PHOTOS_NEED_MIB;
use crate::config::Settings;
use crate::config::speed;
use crate::store::clock as store_clock;
use crate::store::practices;
use crate::web::App;
use crate::web::Clock;

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

    /// How much faster than the wall's the demo's clock goes once it is painted: at 60 an hour takes a minute.
    #[arg(long, default_value_t = 1.0, value_parser = speed)]
    speed: f64,

    /// What the practice's clock shows when the demo starts, such as 22:30: how a night goes. Without it, the time it is.
    #[arg(long, value_parser = clock_time)]
    at: Option<Time>,

    /// Goes on with a demo that was stopped: its data, at the time its clock showed last.
    #[arg(long, requires = "data")]
    go_on: bool,
}

fn clock_time(typed: &str) -> Result<Time, String> {
    typed.parse().map_err(|_| "give a time of day such as 22:30".to_owned())
}

/// The last moment at which this clock showed that time; nothing of the demo then lies in the future.
fn last_time_of(at: Time, now: Timestamp, zone: &TimeZone) -> Timestamp {
    let today = now.to_zoned_datetime(zone.clone()).date();
    let on = |date: Date| {
        date.to_datetime(at).to_zoned_datetime(zone.clone()).map_or(now, |then| then.timestamp())
    };
    if on(today) <= now { on(today) } else { on(today.yesterday().unwrap_or(today)) }
}

pub async fn run(demo: Demo) -> Result<(), Failure> {
    let data = demo
        .data
        .unwrap_or_else(|| std::env::temp_dir().join(format!("closewatch-demo-{}", std::process::id())));
    let settings = Settings {
        address: demo.address,
        port: demo.port,
        tls_cert: None,
        tls_key: None,
        data: data.clone(),
        database_url: demo.database_url,
        public_url: None,
        photos_need_mib: PHOTOS_NEED_MIB,
        photo_checks_a_day: PHOTO_CHECKS_A_DAY,
        connections: CONNECTIONS,
        least_free_mib: LEAST_FREE_MIB,
        // The past is painted by the machine's clock.
        speed: 1.0,
        proxies: vec![Ipv4Addr::LOCALHOST.into(), Ipv6Addr::LOCALHOST.into()],
        sealing_keys_file: None,
        record_key_file: None,
        heads_folder: None,
        // Nothing in it is worth one.
        backups_elsewhere: true,
        downtime_folder: None,
        downtime_key: None,
        heartbeat: HeartbeatSettings::default(),
        notify: NotifySettings { notify_folder: Some(data.join("letters")), ..NotifySettings::default() },
    };
    let (listener, settings) = serve::bind(settings).await?;
    // By a name rather than a number: passkeys are bound to one.
    let by_name = demo.address.is_loopback().then(|| format!("http://localhost:{}", settings.port));
    let settings = Settings { public_url: by_name, ..settings };
    let mut app = serve::open(&settings).await?;
    app.shows_codes = true;
    let is_read_apart = match shut_in::has_memory() {
        Ok(()) => app.desk.decoder.try_out(&app.desk.limits).await,
        Err(why) => Err(why),
    };
    if let Err(why) = is_read_apart {
        println!(
            "Photos are read without a process of its own, for here {why}. `closewatch serve` would not start."
        );
        app.desk = app.desk.decoded_by(Decoder::InProcess);
    }
    let (known, seen) = {
        let mut conn = app.desk.db.read().await?;
        (practices::all(&mut conn).await?, store_clock::seen(&mut conn).await?)
    };
    if demo.go_on {
        let shown = seen.unwrap_or(app.now());
        app.clock = Clock::Fast { start: app.now(), shown, speed: demo.speed };
        app.desk = app.desk.on(serve::machine(&Settings { speed: demo.speed, ..settings.clone() }));
        println!("Data are in {}. Ctrl-C stops.", settings.data_folder().display());
        return serve::listen(&app, listener, &settings, None).await;
    }
    if !known.is_empty() {
        let folder = settings.data_folder().display();
        return Err(format!(
            "{folder} already holds a practice: `closewatch serve --data {folder}` opens it, and `closewatch demo \
             --go-on --data {folder}` goes on with a demo."
        )
        .into());
    }
    println!("Painting an invented practice (some twenty seconds) …");
    let shown = match demo.at {
        Some(at) => last_time_of(at, app.now(), &seed::zone()?),
        None => app.now(),
    };
    let seeded = seed::seed(&app, shown).await?;
    if demo.speed > 1.0 || demo.at.is_some() {
        // Painting took its time, which is not the practice's.
        let shown = if demo.at.is_some() { shown } else { app.now() };
        app.clock = Clock::Fast { start: app.now(), shown, speed: demo.speed };
        app.desk = app.desk.on(serve::machine(&Settings { speed: demo.speed, ..settings.clone() }));
    }
    print_way_in(&app, &settings, &seeded);
    serve::listen(&app, listener, &settings, None).await
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
    println!("  The second step is a code of an app; for these people the page shows it.");
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
    let letters = settings.data_folder().join("letters");
    println!("Texts, calls and mails of the demo land in {}.", letters.display());
    println!("Data are in {}. Ctrl-C stops.", settings.data_folder().display());
}
