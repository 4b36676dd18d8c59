//! One day: the books, the program on them, the outside, and a clock that is set; each action done for real.

use std::collections::BTreeMap;
use std::path::Path;

use jiff::SignedDuration;
use jiff::Timestamp;
use tempfile::TempDir;

use closewatch::care::CareError;
use closewatch::care::Desk;
use closewatch::care::Done;
use closewatch::care::callback;
use closewatch::care::callback::Attempting;
use closewatch::care::clock;
use closewatch::care::intake;
use closewatch::care::intake::Sending;
use closewatch::care::ladder;
use closewatch::care::progress;
use closewatch::care::progress::Extent;
use closewatch::care::progress::Progress;
use closewatch::care::review;
use closewatch::care::review::Deciding;
use closewatch::care::silence;
use closewatch::care::silence::Calling;
use closewatch::care::silence::Said;
use closewatch::care::thread;
use closewatch::care::watch;
use closewatch::care::working;
use closewatch::ids::Chance;
use closewatch::ids::Moment;
use closewatch::jobs::runner;
use closewatch::jobs::runner::Doorway;
use closewatch::photo::Limits;
use closewatch::store::BlobName;
use closewatch::store::Blobs;
use closewatch::store::Db;
use closewatch::store::checks;
use closewatch::store::checks::QueueFilter;
use closewatch::store::deliveries;
use closewatch::store::jobs::Job;
use closewatch::store::keyring::KeyRing;
use closewatch::store::silences::Interpreter;
use closewatch::store::staff;
use closewatch::store::staff::Activity;
use closewatch::triage::CallOutcome;
use closewatch::triage::CallResult;
use closewatch::triage::Decision;
use closewatch::triage::Protocol;
use closewatch::triage::Whom;

use crate::action::Action;
use crate::action::Chosen;
use crate::action::Clock;
use crate::action::Killed;
use crate::action::Rang;
use crate::action::Says;
use crate::books::Books;
use crate::model::When;
use crate::model::at;
use crate::outside::Shared;
use crate::support::START;
use crate::support::in_danger;
use crate::support::no_danger;
use crate::support::until_it_dies;
use crate::support::until_killed;
use crate::support::with_temperature;
use crate::town::Town;

pub struct World<'a> {
    pub town: &'a Town,
    pub db: Db,
    desk: Desk,
    doorway: Doorway,
    pub outside: Shared,
    chance: Chance,
    pub when: When,
    in_hand: [Option<Job>; 2],
    /// Questions asked so far: each has a key of its own.
    asked: u32,
    /// What the page said of how much it showed, by surgeon and check.
    shown: BTreeMap<(usize, usize), Extent>,
    /// Where this day's photos are.
    photos: TempDir,
}

/// What became of an action.
#[derive(Debug)]
pub enum Outcome {
    Done,
    Refused,
    Failed(String),
    Killed,
}

impl<'a> World<'a> {
    pub async fn open(town: &'a Town, folder: &Path) -> World<'a> {
        let (books, photos) = (folder.join("day.sqlite"), tempfile::tempdir_in(folder).unwrap());
        town.copy_to(&books);
        let db = Db::open(&format!("sqlite:{}", books.display())).await.unwrap();
        let outside = Shared::new();
        let mut world = World {
            town,
            desk: desk(&db, photos.path()),
            db,
            photos,
            shown: BTreeMap::new(),
            doorway: Doorway::new(outside.post(), "https://wounds.example"),
            outside,
            chance: Chance::seeded(11),
            when: When { truth: START.parse::<Timestamp>().unwrap().as_millisecond(), behind: 0 },
            in_hand: [None, None],
            asked: 0,
        };
        world.begins_anew().await.unwrap();
        world
    }

    pub async fn books(&self) -> Books {
        Books::read(&mut self.db.read().await.unwrap()).await
    }

    /// The checks that wait, as a surgeon's queue has them.
    pub async fn queue(&self) -> Vec<String> {
        let (mut conn, now) = (self.db.read().await.unwrap(), self.moment().now);
        let rows = checks::waiting(&mut conn, self.town.practice, &QueueFilter::default(), now, 100).await;
        rows.unwrap().iter().map(|row| row.id.to_string()).collect()
    }

    /// What the page of a check tells its patient.
    pub async fn progress(&self, patient: usize, check: &str) -> Progress {
        let holder = &self.town.patients[patient];
        progress::of_check(&self.desk, holder, check.parse().unwrap()).await.unwrap()
    }

    /// Whether a rendition is there, and is what its name says: the SHA-256 of its bytes.
    pub async fn keeps(&self, rendition: &str) -> bool {
        let name = rendition.parse().unwrap();
        let mut conn = self.db.read().await.unwrap();
        let kept = self.desk.blobs.get(&mut conn, self.town.practice, &name).await.unwrap();
        kept.is_some_and(|bytes| BlobName::of(&bytes) == name)
    }

    pub fn moment(&self) -> Moment {
        Moment::new(Timestamp::from_millisecond(self.when.wall()).unwrap(), self.chance.clone())
    }

    /// Does it, or is killed; then the program begins anew on the same books.
    pub async fn does(&mut self, action: Action, killed: Option<Killed>, seen: &Books) -> Outcome {
        let outside = self.outside.clone();
        let came_to = match killed {
            None => Some(self.acts(action, seen).await),
            Some(Killed::At(place)) => until_killed(self.acts(action, seen), place).await,
            Some(Killed::Sending) => {
                until_it_dies(self.acts(action, seen), || outside.is_being_asked()).await
            }
        };
        let outcome = match came_to {
            Some(Ok(())) => return Outcome::Done,
            Some(Err(CareError::NotFound | CareError::AlreadyDone | CareError::NotAllowed)) => {
                return Outcome::Refused;
            }
            Some(Err(CareError::Entered(_) | CareError::Claimed { .. })) => return Outcome::Refused,
            Some(Err(fault)) => Outcome::Failed(fault.to_string()),
            None => Outcome::Killed,
        };
        // What the dead program had in flight ends before anyone else gets to write.
        drop(self.db.write().await.unwrap());
        let runner =
            if let Action::Works { runner } | Action::Takes { runner } = action { runner } else { 0 };
        self.in_hand[runner] = None;
        self.begins_anew().await.unwrap();
        outcome
    }

    async fn begins_anew(&mut self) -> Done<()> {
        self.desk = desk(&self.db, self.photos.path());
        let moment = self.moment();
        watch::ensure(&self.desk, &moment).await?;
        clock::at_start(&self.desk, &moment).await?;
        Ok(())
    }

    async fn acts(&mut self, action: Action, seen: &Books) -> Done<()> {
        let moment = self.moment();
        match action {
            Action::Sends { .. } | Action::Asks { .. } | Action::Reads { .. } => {
                self.patient_acts(action, seen, &moment).await
            }
            Action::Opens { .. } | Action::Looks { .. } | Action::Leaves { .. } | Action::Decides { .. } => {
                self.surgeon_acts(action, seen, &moment).await
            }
            Action::Rings { .. } | Action::GivesUp { .. } | Action::HandsBack { .. } => {
                self.office_acts(action, seen, &moment).await
            }
            Action::RingsSilent { .. } | Action::EndsSilence { .. } => {
                self.office_looks_for_the_silent(action, seen, &moment).await
            }
            Action::Acknowledges { who, ladder } => {
                let running: Vec<_> =
                    seen.ladders.iter().filter(|ladder| ladder.state == "running").collect();
                let Some(ladder) = at(ladder, running.len()) else { return Ok(()) };
                let id = running[ladder].id.parse().unwrap();
                ladder::acknowledge(&self.desk, &self.town.staff[who], id, moment.now).await
            }
            Action::Goes { who } => self.is_made(who, Activity::Gone).await,
            Action::Comes { who } => self.is_made(who, Activity::Active).await,
            Action::Outside(mood) => {
                self.outside.set(mood);
                Ok(())
            }
            Action::Reports => self.outside_reports(seen, &moment).await,
            Action::Takes { runner } => {
                if self.in_hand[runner].is_none() {
                    self.in_hand[runner] = working::claim(&self.desk, &moment).await?;
                }
                Ok(())
            }
            Action::Works { runner } => {
                let Some(job) = self.in_hand[runner].take() else { return Ok(()) };
                runner::work(&self.desk, &self.doorway, &job, &|| moment.clone()).await.map(drop)
            }
            Action::Runs => {
                runner::until_idle(&self.desk, &self.doorway, &|| moment.clone(), 1).await.map(drop)
            }
            Action::Passes(clock) => self.time_passes(clock).await,
            Action::Restarts => {
                self.in_hand[0] = None;
                self.begins_anew().await
            }
        }
    }

    async fn patient_acts(&mut self, action: Action, seen: &Books, moment: &Moment) -> Done<()> {
        match action {
            Action::Sends { patient, form, says, photo } => {
                let answers = match says {
                    Says::Fine => no_danger(),
                    Says::Fever => with_temperature(390),
                    Says::Danger => in_danger(),
                };
                let photos_expected = i64::from(photo.is_some());
                let sending = Sending { form_key: format!("form {form}"), answers, photos_expected };
                let holder = &self.town.patients[patient];
                let mut photos = Vec::new();
                if let Some(photo) = photo {
                    let bytes = self.town.pictures[photo].bytes.clone();
                    photos.push(intake::prepare_photo(&self.desk, bytes, 1, None).await?);
                }
                intake::receive(&self.desk, holder, sending, photos, moment).await.map(drop)
            }
            Action::Asks { patient, says } => {
                self.asked += 1;
                let key = format!("question {}", self.asked);
                let words = if says == Says::Danger { "I cannot breathe" } else { "May I shower?" };
                thread::ask(&self.desk, &self.town.patients[patient], &key, words, moment).await
            }
            Action::Reads { patient } => {
                let holder = &self.town.patients[patient];
                let link = holder.link.to_string();
                for reply in seen.replies.iter().filter(|reply| !reply.is_read && seen.link_of(reply) == link)
                {
                    thread::mark_read(&self.desk, holder, reply.id.parse().unwrap(), moment.now).await?;
                }
                Ok(())
            }
            _ => unreachable!("not a patient's"),
        }
    }

    async fn surgeon_acts(&mut self, action: Action, seen: &Books, moment: &Moment) -> Done<()> {
        let (Action::Opens { surgeon, check }
        | Action::Looks { surgeon, check }
        | Action::Leaves { surgeon, check }
        | Action::Decides { surgeon, check, .. }) = action
        else {
            unreachable!("not a surgeon's")
        };
        let Some(check) = at(check, seen.checks.len()) else { return Ok(()) };
        let (desk, who, id) = (&self.desk, &self.town.staff[surgeon], seen.checks[check].id.parse().unwrap());
        match action {
            Action::Looks { .. } => {
                self.shown.remove(&(surgeon, check));
                let opened = review::view(desk, who, id, moment.now).await?;
                self.shown.insert((surgeon, check), opened.extent());
                Ok(())
            }
            Action::Opens { .. } => review::open(desk, who, id, moment.now).await,
            Action::Leaves { .. } => review::release(desk, who, id, moment).await,
            Action::Decides { chosen, .. } => {
                let decision = match chosen {
                    Chosen::Fine => Decision::HealingAsExpected,
                    Chosen::Call => Decision::CallByOffice,
                    Chosen::Emergency => Decision::GoToEmergency,
                    Chosen::ComeIn => Decision::ComeIn,
                };
                let deciding = Deciding {
                    decision,
                    reply: "The wound looks as I expect.".to_owned(),
                    note: String::new(),
                    come_in: (decision == Decision::ComeIn).then_some(moment.now),
                    ask: String::new(),
                    judged: None,
                    antibiotic: None,
                    extent: self.shown.get(&(surgeon, check)).copied(),
                };
                review::decide(desk, who, id, deciding, moment).await.map(drop)
            }
            _ => unreachable!("not a surgeon's"),
        }
    }

    async fn office_acts(&mut self, action: Action, seen: &Books, moment: &Moment) -> Done<()> {
        let (Action::Rings { call, .. } | Action::GivesUp { call } | Action::HandsBack { call }) = action
        else {
            unreachable!("not the office's")
        };
        let Some(call) = at(call, seen.calls.len()) else { return Ok(()) };
        let (desk, who, id) = (&self.desk, &self.town.staff[2], seen.calls[call].id.parse().unwrap());
        match action {
            Action::Rings { rang, .. } => {
                let (result, outcome) = match rang {
                    Rang::NoAnswer => (CallResult::NoAnswer, None),
                    Rang::SpokeAndOpen => (CallResult::Spoke, None),
                    Rang::SpokeAndDone => (CallResult::Spoke, Some(CallOutcome::WillFollowAdvice)),
                };
                let attempting = Attempting { outcome, ..Attempting::of(result) };
                callback::log_attempt(desk, who, id, attempting, moment).await
            }
            Action::GivesUp { .. } => callback::could_not_reach(desk, who, id, moment.now).await,
            Action::HandsBack { .. } => {
                callback::hand_back(desk, who, id, "Please look again.", moment.now).await
            }
            _ => unreachable!("not the office's"),
        }
    }

    async fn office_looks_for_the_silent(
        &mut self,
        action: Action,
        seen: &Books,
        moment: &Moment,
    ) -> Done<()> {
        let (Action::RingsSilent { silence, .. } | Action::EndsSilence { silence }) = action else {
            unreachable!("nobody is looked for")
        };
        let open = seen.open_silences();
        let Some(place) = at(silence, open.len()) else { return Ok(()) };
        let (desk, who, id) = (&self.desk, &self.town.staff[2], open[place].id.parse().unwrap());
        let Action::RingsSilent { rang, .. } = action else {
            return silence::end(desk, who, id, "Their sister says that all is well.", moment).await;
        };
        let (result, said) = match rang {
            Rang::NoAnswer => (CallResult::NoAnswer, None),
            Rang::SpokeAndOpen => (CallResult::Spoke, Some(Said::WillDo)),
            Rang::SpokeAndDone => (CallResult::Spoke, Some(Said::Done)),
        };
        let calling = Calling {
            whom: Whom::Patient,
            result,
            spoke_with: String::new(),
            interpreter: Interpreter::NotNeeded,
            note: String::new(),
            said,
            wait_until: None,
        };
        silence::log_call(desk, who, id, calling, moment).await
    }

    async fn is_made(&mut self, who: usize, activity: Activity) -> Done<()> {
        let mut tx = self.db.write().await?;
        staff::set_active(&mut tx, self.town.practice, self.town.staff[who].id, activity).await?;
        Ok(tx.commit().await?)
    }

    async fn outside_reports(&mut self, seen: &Books, moment: &Moment) -> Done<()> {
        for delivery in seen.deliveries.iter().filter(|delivery| delivery.state == "sent") {
            for _ in 0..2 {
                let mut tx = self.db.write().await?;
                let id = delivery.id.parse().unwrap();
                deliveries::note_delivered(&mut tx, self.town.practice, id, moment.now).await?;
                tx.commit().await?;
            }
        }
        Ok(())
    }

    async fn time_passes(&mut self, clock: Clock) -> Done<()> {
        let minutes = |minutes: u8| i64::from(minutes) * 60_000;
        match clock {
            Clock::Seconds(seconds) => self.when.truth += i64::from(seconds) * 1_000,
            Clock::Minutes(some) => self.when.truth += minutes(some),
            Clock::Hours(hours) => self.when.truth += minutes(hours) * 60,
            Clock::Week => self.when.truth += 7 * 24 * 60 * 60_000,
            Clock::Back(some) => {
                self.when.behind += minutes(some);
                let back = SignedDuration::from_millis(minutes(some));
                return clock::set_back(&self.desk, back, &self.moment()).await;
            }
            Clock::BackWhileDown(some) => {
                self.when.behind += minutes(some);
                self.in_hand = [None, None];
                return self.begins_anew().await;
            }
        }
        clock::see(&self.desk, &self.moment()).await
    }
}

fn desk(db: &Db, photos: &Path) -> Desk {
    // The town's keys, each day anew.
    let ring = KeyRing::from_text(&KeyRing::new_line(None, &Chance::seeded(5))).unwrap();
    let blobs = Blobs::in_folder(photos).unwrap().sealed_with(ring, Chance::seeded(6));
    Desk::new(db.clone(), blobs, Protocol::built_in().clone(), Limits::default())
}
