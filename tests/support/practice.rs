//! The practice under test: its server without a socket, its clock, and the people who work there.

use std::path::Path;
use std::path::PathBuf;

use argon2::Algorithm;
use argon2::Argon2;
use argon2::Params;
use argon2::PasswordHasher;
use argon2::Version;
use axum::Router;
use jiff::SignedDuration;
use jiff::Timestamp;

use closewatch::care::Desk;
use closewatch::care::decoder::Decoder;
use closewatch::care::second_step::app::Seed;
use closewatch::care::staff::NewPractice;
use closewatch::config::NotifySettings;
use closewatch::ids::Chance;
use closewatch::ids::Moment;
use closewatch::ids::PracticeId;
use closewatch::ids::StaffId;
use closewatch::jobs::runner;
use closewatch::jobs::runner::Doorway;
use closewatch::notify::Post;
use closewatch::photo::Limits;
use closewatch::sheet::Paper;
use closewatch::store::Blobs;
use closewatch::store::Conn;
use closewatch::store::Db;
use closewatch::store::key_file;
use closewatch::store::staff;
use closewatch::store::staff::Roles;
use closewatch::store::staff::StaffMember;
use closewatch::triage::Protocol;
use closewatch::web;
use closewatch::web::App;
use closewatch::web::Clock;

use super::Place;
use super::Staff;

/// A Tuesday, eleven in the morning in New York.
pub const START: &str = "2026-03-10T15:00:00Z";
/// What every member of staff signs in with.
pub const PASSWORD: &str = "correct horse battery";

/// What everybody's app was set up with.
pub fn app_seed() -> Seed {
    Seed::new(*b"a seed of 20 letters")
}

/// Cheap to clone.
#[derive(Clone)]
pub struct Practice {
    pub app: App,
    pub router: Router,
    pub id: PracticeId,
    /// Where letters land.
    pub letters: PathBuf,
}

impl Practice {
    /// The first practice of a fresh server, at eleven in the morning.
    pub async fn open(place: &Place) -> Practice {
        Practice::open_by(place, Clock::by_hand(START.parse().unwrap())).await
    }

    /// The same, by another clock: the machine's, when a real program is to work on the same books.
    pub async fn open_by(place: &Place, clock: Clock) -> Practice {
        place.lay_blank_books().await;
        let db = Db::open(&place.url).await.unwrap();
        let key_path = place.folder.path().join("sealing-keys");
        let keys = match key_file::read_keys(&key_path).unwrap() {
            Some(keys) => keys,
            None => key_file::make_keys(&key_path, None, &Chance::seeded(12)).unwrap(),
        };
        let blobs = Blobs::in_folder(&place.folder.path().join("photos")).unwrap();
        let blobs = blobs.sealed_by(keys, &key_path, Chance::seeded(13));
        let desk = Desk::new(db, blobs, Protocol::built_in().clone(), Limits::default());
        let letters = place.folder.path().join("letters");
        let doorway = to_folder(&letters);
        let app = App::new(desk, clock, Chance::seeded(7), "https://wounds.example");
        let app = app.with_post(doorway.post(), doorway.outside());
        Practice::found(app, "Harbor Surgery", letters).await
    }

    /// Another practice on the same server.
    pub async fn neighbour(&self) -> Practice {
        Practice::found(self.app.clone(), "Hill Surgery", self.letters.clone()).await
    }

    async fn found(app: App, name: &str, letters: PathBuf) -> Practice {
        let new = NewPractice {
            name: name.to_owned(),
            phone: "202-555-0100".to_owned(),
            emergency_number: "911".to_owned(),
            time_zone: "America/New_York".to_owned(),
            paper: Paper::Letter,
        };
        let id = closewatch::care::staff::add_practice(&app.desk, &new, &app.moment()).await.unwrap().id;
        Practice { router: web::router(&app), app, id, letters }
    }

    /// The same books after a restart: nothing is remembered but what was kept.
    pub fn started_anew(&self) -> Practice {
        let old = self.desk();
        let desk =
            Desk::new(old.db.clone(), old.blobs.clone(), Protocol::built_in().clone(), Limits::default());
        let app = App::new(desk, self.app.clock.clone(), Chance::seeded(8), "https://wounds.example");
        let app = app.with_post(self.app.post.clone(), self.app.outside.clone());
        Practice { router: web::router(&app), app, id: self.id, letters: self.letters.clone() }
    }

    /// The same practice on a server that decodes photos there.
    pub fn decoded_by(&self, decoder: Decoder) -> Practice {
        let mut app = self.app.clone();
        app.desk = app.desk.decoded_by(decoder);
        Practice { router: web::router(&app), app, ..self.clone() }
    }

    pub fn desk(&self) -> &Desk {
        &self.app.desk
    }

    pub fn now(&self) -> Timestamp {
        self.app.now()
    }

    pub fn moment(&self) -> Moment {
        self.app.moment()
    }

    pub fn minutes_pass(&self, minutes: i64) {
        self.app.clock.pass(SignedDuration::from_mins(minutes));
    }

    pub fn seconds_pass(&self, seconds: i64) {
        self.app.clock.pass(SignedDuration::from_secs(seconds));
    }

    /// Letters of this practice land in a folder of the test's own.
    pub fn doorway(&self) -> Doorway {
        to_folder(&self.letters)
    }

    /// The same practice on a server with these ways out.
    pub fn with_ways(&self, settings: &NotifySettings) -> Practice {
        let doorway = Doorway::new(Post::from_settings(settings).unwrap(), "https://wounds.example");
        let app = self.app.clone().with_post(doorway.post(), doorway.outside());
        Practice { router: web::router(&app), app, ..self.clone() }
    }

    /// Works off whatever is due now, by the ways of this server in place of the folder.
    pub async fn works_in_earnest(&self) -> runner::Tally {
        let doorway = Doorway::new(self.app.post.clone(), "https://wounds.example");
        runner::until_idle(self.desk(), &doorway, &|| self.moment(), 1).await.unwrap()
    }

    /// Works off whatever is due now.
    pub async fn works(&self) -> runner::Tally {
        runner::until_idle(self.desk(), &self.doorway(), &|| self.moment(), 1).await.unwrap()
    }

    /// Minutes pass, and whatever comes due in them is worked off when it does.
    pub async fn minutes_of_work_pass(&self, minutes: i64) {
        for _ in 0..minutes * 2 {
            self.works().await;
            self.seconds_pass(30);
        }
        self.works().await;
    }

    /// A connection to look into the books with.
    pub async fn books(&self) -> impl std::ops::DerefMut<Target = Conn> {
        self.app.desk.db.read().await.unwrap()
    }

    /// A surgeon, signed in.
    pub async fn surgeon(&self) -> Staff {
        self.staff("Dr. Rosa Lind", Roles { surgeon: true, ..Roles::default() }).await
    }

    /// Someone of the office, signed in.
    pub async fn office(&self) -> Staff {
        self.staff("Pat Moss", Roles { office: true, ..Roles::default() }).await
    }

    /// A lead who is neither surgeon nor office, signed in.
    pub async fn lead(&self) -> Staff {
        self.staff("Lee Park", Roles { lead: true, ..Roles::default() }).await
    }

    /// A new member of staff with these roles, signed in.
    pub async fn staff(&self, name: &str, roles: Roles) -> Staff {
        let member = self.hires(name, roles).await;
        Staff::signs_in(self, member).await
    }

    /// A new member of staff who has not signed in.
    pub async fn hires(&self, name: &str, roles: Roles) -> StaffMember {
        let moment = self.moment();
        let id = StaffId::mint(&moment);
        let member = StaffMember {
            id,
            practice: self.id,
            name: name.to_owned(),
            sign_in_name: format!("s{id}"),
            roles,
            active: true,
            sees_photos: false,
        };
        let mut tx = self.desk().db.write().await.unwrap();
        staff::insert(&mut tx, &member, &cheap_phc(PASSWORD), moment.now).await.unwrap();
        tx.commit().await.unwrap();
        member
    }
}

fn to_folder(letters: &Path) -> Doorway {
    let settings = NotifySettings { notify_folder: Some(letters.to_owned()), ..NotifySettings::default() };
    Doorway::new(Post::from_settings(&settings).unwrap(), "https://wounds.example")
}

/// A password hash that costs next to nothing: its own parameters are written in it, and the program obeys them.
fn cheap_phc(password: &str) -> String {
    let params = Params::new(8, 1, 1, None).unwrap();
    let argon2 = Argon2::new(Algorithm::Argon2id, Version::V0x13, params);
    argon2.hash_password_with_salt(password.as_bytes(), b"only for tests!!").unwrap().to_string()
}
