//! `closewatch staff`: the first member of a practice without a browser, and any later one.

use std::io::BufRead;

use crate::care::CareError;
use crate::care::record::Actor;
use crate::care::second_step::setting_up;
use crate::care::staff;
use crate::care::staff::NewMember;
use crate::care::staff::NewPractice;
use crate::cli::BadInput;
use crate::cli::Failure;
use crate::cli::serve;
use crate::config::Settings;
use crate::sheet::Paper;
use crate::store::practices;
use crate::store::staff::Roles;

#[derive(Debug, clap::Subcommand)]
pub enum Staff {
    /// Add a staff member. The password is read from standard input, one line.
    Add(Add),
    /// Take away the second step of somebody who lost it, so that they set up a new one when they sign in. For the only
    /// lead of a practice; for all others a lead does it on the staff page.
    ReEnrol(ReEnrol),
}

#[derive(Debug, clap::Args)]
pub struct ReEnrol {
    #[command(flatten)]
    settings: Settings,
    /// The name they sign in with.
    sign_in_name: String,
}

#[derive(Debug, clap::Args)]
pub struct Add {
    #[command(flatten)]
    settings: Settings,
    /// The person's name.
    #[arg(long)]
    name: String,
    /// The name they sign in with.
    #[arg(long)]
    sign_in_name: String,
    /// Roles, comma-separated: surgeon, office, lead.
    #[arg(long, value_delimiter = ',', required = true)]
    roles: Vec<String>,
    /// Name of the practice, made when the server has none yet.
    #[arg(long)]
    practice_name: Option<String>,
    /// Phone that patients ring; with a new practice.
    #[arg(long, default_value = "")]
    practice_phone: String,
    /// Emergency number where the practice is; with a new practice.
    #[arg(long, default_value = "911")]
    emergency_number: String,
    /// IANA time zone; with a new practice.
    #[arg(long, default_value = "America/New_York")]
    time_zone: String,
    /// `letter` or `a4`; with a new practice.
    #[arg(long, default_value = "letter")]
    paper: String,
}

pub async fn run(command: Staff) -> Result<(), Failure> {
    match command {
        Staff::Add(add) => self::add(add).await,
        Staff::ReEnrol(lost) => re_enrol(&lost).await,
    }
}

async fn re_enrol(lost: &ReEnrol) -> Result<(), Failure> {
    let app = serve::open(&lost.settings).await?;
    let done = setting_up::re_enrol_by_hand(&app.desk, &lost.sign_in_name, app.now()).await;
    app.desk.db.close().await;
    match done {
        Ok(member) => {
            println!("{} sets up a new second step when they sign in next. The record says so.", member.name);
            Ok(())
        }
        Err(CareError::NotFound) => {
            Err(BadInput(format!("nobody who is switched on signs in as {}", lost.sign_in_name)).into())
        }
        Err(other) => Err(other.into()),
    }
}

async fn add(add: Add) -> Result<(), Failure> {
    let roles = read_roles(&add.roles)?;
    let app = serve::open(&add.settings).await?;
    let moment = app.moment();
    let known = practices::all(&mut *app.desk.db.read().await?).await?;
    let new = NewMember { name: add.name, sign_in_name: add.sign_in_name, password: ask_password()?, roles };
    let member = match (known.first(), add.practice_name) {
        (Some(practice), None) => staff::add(&app.desk, practice.id, &new, Actor::Program, &moment).await,
        (Some(_), Some(name)) => {
            let named = known.iter().find(|practice| practice.name == name);
            let practice =
                named.ok_or_else(|| format!("there is no practice named {name} on this server"))?;
            staff::add(&app.desk, practice.id, &new, Actor::Program, &moment).await
        }
        (None, Some(name)) => {
            let practice = NewPractice {
                name,
                phone: add.practice_phone,
                emergency_number: add.emergency_number,
                time_zone: add.time_zone,
                paper: add.paper.parse::<Paper>()?,
            };
            staff::found(&app.desk, &practice, &new, &moment).await
        }
        (None, None) => return Err("this server has no practice yet: name one with --practice-name".into()),
    };
    let member = member.map_err(in_words)?;
    println!("Added {} ({}).", member.name, member.sign_in_name);
    app.desk.db.close().await;
    Ok(())
}

fn ask_password() -> Result<String, Failure> {
    eprintln!("Password (at least 15 characters), then Enter:");
    let mut password = String::new();
    std::io::stdin().lock().read_line(&mut password)?;
    Ok(password.trim_end_matches(['\r', '\n']).to_owned())
}

fn read_roles(names: &[String]) -> Result<Roles, Failure> {
    let mut roles = Roles::default();
    for name in names {
        match name.as_str() {
            "surgeon" => roles.surgeon = true,
            "office" => roles.office = true,
            "lead" => roles.lead = true,
            other => return Err(format!("`{other}` is no role: use surgeon, office, lead").into()),
        }
    }
    Ok(roles)
}

pub(super) fn in_words(fault: CareError) -> Failure {
    match fault {
        CareError::Entered(faults) => {
            faults.into_iter().map(|fault| fault.words).collect::<Vec<_>>().join(" ").into()
        }
        other => Box::new(other),
    }
}
