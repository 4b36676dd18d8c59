//! The invented practice: what `demo` and the tests start from. Everything happens through the same steps as in
//! earnest, at the times the stories say, so that it is assessed, audited and durable like anything else.

use std::collections::BTreeMap;

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Deserialize;
use serde_json::Value;
use sha2::Digest;
use sha2::Sha256;

use crate::care::CareError;
use crate::care::LinkHolder;
use crate::care::callback;
use crate::care::callback::Attempting;
use crate::care::enrol;
use crate::care::enrol::Enrolment;
use crate::care::enrol::IssuedLink;
use crate::care::enrol::NewPatient;
use crate::care::intake;
use crate::care::intake::Sending;
use crate::care::measuring;
use crate::care::record::Actor;
use crate::care::review;
use crate::care::review::Deciding;
use crate::care::second_step::app::Seed;
use crate::care::second_step::setting_up;
use crate::care::staff;
use crate::care::staff::NewMember;
use crate::care::staff::NewPractice;
use crate::care::thread;
use crate::cli::Failure;
use crate::cli::ahead::Ahead;
use crate::cli::ahead::SeedPhoto;
use crate::cli::past;
use crate::cli::past::Past;
use crate::cli::seed_duty;
use crate::cli::seed_duty::DutyPage;
use crate::cli::staff::in_words;
use crate::cli::story::CallLine;
use crate::cli::story::Story;
use crate::ids::Chance;
use crate::ids::Moment;
use crate::ids::StaffId;
use crate::ids::WoundCheckId;
use crate::jobs;
use crate::plan::Operation;
use crate::plan::Packing;
use crate::plan::WoundSize;
use crate::store::callbacks;
use crate::store::jobs as kept_jobs;
use crate::store::jobs::JobKind;
use crate::store::photos::Tap;
use crate::store::staff::Roles;
use crate::store::staff::StaffMember;
use crate::store::thread as messages;
use crate::store::thread::Sender;
use crate::triage::Answers;
use crate::web::App;

#[derive(rust_embed::Embed)]
#[folder = "seed-data/"]
struct SeedData;

/// What the seeding leaves for whoever looks around.
#[derive(Debug)]
pub struct Seeded {
    pub staff: Vec<SignInCard>,
    pub links: Vec<LinkCard>,
}

/// One sign-in, in the clear: printed once.
#[derive(Debug)]
pub struct SignInCard {
    pub member: StaffMember,
    pub password: String,
}

/// One patient link, in the clear: printed once.
#[derive(Debug)]
pub struct LinkCard {
    pub patient_name: String,
    pub issued: IssuedLink,
}

#[derive(Deserialize)]
struct Book {
    practice: PracticePage,
    staff: Vec<StaffLine>,
    taps: BTreeMap<String, (i64, i64)>,
    quiet_answers: Value,
    patients: Vec<Story>,
    past: Past,
    duty: DutyPage,
}

#[derive(Deserialize)]
struct PracticePage {
    name: String,
    phone: String,
    emergency_number: String,
    time_zone: String,
    paper: String,
}

#[derive(Deserialize)]
struct StaffLine {
    key: String,
    name: String,
    sign_in_name: String,
    roles: Vec<String>,
}

/// One thing that happens in a story.
enum Event {
    Enrol,
    Send(usize),
    Decide(usize),
    Read,
    Ask(String),
    Call(usize, CallLine),
}

/// What has happened in a story so far.
#[derive(Default)]
struct Progress {
    holder: Option<LinkHolder>,
    sent: BTreeMap<usize, WoundCheckId>,
}

/// The zone of the invented practice.
pub fn zone() -> Result<TimeZone, Failure> {
    Ok(TimeZone::get(&read_book()?.practice.time_zone)?)
}

/// Fills an empty server with the invented practice, as if its stories had led up to `now`.
pub async fn seed(app: &App, now: Timestamp) -> Result<Seeded, Failure> {
    let mut book = read_book()?;
    let zone = TimeZone::get(&book.practice.time_zone)?;
    let past_from = book.patients.len();
    book.patients.extend(book.past.stories(now, &zone)?);
    let opened = Moment::new(before(now, 120.0 * 24.0), app.chance.clone());
    let staff = hire(app, &book, &opened).await?;
    let who = |key: &str| called(&book, &staff, key);
    let lead = staff.iter().find(|card| card.member.roles.lead).ok_or("the practice has no lead")?;
    seed_duty::enter(app, &book.duty, &lead.member, who, &opened, now, &zone).await?;
    let mut seeded = Seeded { staff, links: Vec::new() };
    let settings = measuring::settings(&app.desk, &seeded.staff[0].member).await?;
    let events = calendar(&book, now);
    let mut ahead = Ahead::begin(&app.desk, &settings.cards, photos(&book, &events)?);
    let mut progress: Vec<Progress> = book.patients.iter().map(|_| Progress::default()).collect();
    for (at, who, event) in events {
        let moment = Moment::new(at, app.chance.clone());
        let happening =
            Happening { app, book: &book, staff: &seeded.staff, story: &book.patients[who], moment };
        let taken = happening.take_place(event, &mut progress[who], &mut ahead).await;
        if let Some(card) = taken.map_err(in_words)? {
            seeded.links.push(card);
        }
    }
    let mut tx = app.desk.db.write().await?;
    let practice = seeded.staff[0].member.practice;
    let healed =
        progress[past_from..].iter().filter_map(|past| past.holder.as_ref().map(|holder| holder.wound));
    let by =
        seeded.staff.iter().find(|card| card.member.roles.surgeon).ok_or("the practice has no surgeon")?;
    past::end(&mut tx, &by.member, healed, now).await?;
    kept_jobs::end_undone(&mut tx, practice, &[JobKind::AddressNotice, JobKind::SendLetter], now).await?;
    tx.commit().await?;
    Ok(seeded)
}

fn called(book: &Book, staff: &[SignInCard], key: &str) -> Option<StaffId> {
    let line = book.staff.iter().find(|line| line.key == key)?;
    let card = staff.iter().find(|card| card.member.sign_in_name == line.sign_in_name)?;
    Some(card.member.id)
}

fn read_book() -> Result<Book, Failure> {
    let file = SeedData::get("practice.json").ok_or("the seed data have no practice.json")?;
    Ok(serde_json::from_slice(&file.data)?)
}

/// Everything that happens, in the order it happens.
fn calendar(book: &Book, now: Timestamp) -> Vec<(Timestamp, usize, Event)> {
    let mut events = Vec::new();
    for (who, story) in book.patients.iter().enumerate() {
        // Patients are enrolled two hours after the operation, on their way home.
        events.push((before(now, story.operated_h_ago - 2.0), who, Event::Enrol));
        for (number, check) in story.checks.iter().enumerate() {
            let sent = before(now, check.h_ago);
            events.push((sent, who, Event::Send(number)));
            let Some(line) = &check.decided else { continue };
            let decided = sent + SignedDuration::from_mins(line.after_min);
            events.push((decided, who, Event::Decide(number)));
            let after = |minutes: i64| decided + SignedDuration::from_mins(minutes);
            events.extend(line.read_after_min.map(|minutes| (after(minutes), who, Event::Read)));
            let asked = line.asked.clone().zip(line.asked_after_min);
            events.extend(asked.map(|(words, minutes)| (after(minutes), who, Event::Ask(words))));
            events.extend(
                line.call.iter().map(|call| (after(call.after_min), who, Event::Call(number, call.clone()))),
            );
        }
    }
    events.sort_by_key(|(at, who, _)| (*at, *who));
    events
}

/// The photos that are sent, in the order they are sent.
fn photos(book: &Book, events: &[(Timestamp, usize, Event)]) -> Result<Vec<SeedPhoto>, Failure> {
    let mut photos = Vec::new();
    for (_, who, event) in events {
        let Event::Send(number) = event else { continue };
        for (position, name) in (1_i64..).zip(&book.patients[*who].checks[*number].photos) {
            let file = SeedData::get(&format!("photos/{name}")).ok_or("a photo is not in the seed data")?;
            let tap = book.taps.get(name).map(|tap| Tap { x_per_10_000: tap.0, y_per_10_000: tap.1 });
            photos.push(SeedPhoto { name: name.clone(), bytes: file.data.to_vec(), tap, position });
        }
    }
    Ok(photos)
}

fn before(now: Timestamp, hours: f64) -> Timestamp {
    now - SignedDuration::from_secs((hours * 3_600.0) as i64)
}

async fn hire(app: &App, book: &Book, moment: &Moment) -> Result<Vec<SignInCard>, Failure> {
    let page = &book.practice;
    let practice = NewPractice {
        name: page.name.clone(),
        phone: page.phone.clone(),
        emergency_number: page.emergency_number.clone(),
        time_zone: page.time_zone.clone(),
        paper: page.paper.parse()?,
    };
    let practice = staff::add_practice(&app.desk, &practice, moment).await?;
    let mut cards = Vec::new();
    for line in &book.staff {
        let has = |role: &str| line.roles.iter().any(|given| given == role);
        let new = NewMember {
            name: line.name.clone(),
            sign_in_name: line.sign_in_name.clone(),
            password: pass_phrase(&app.chance),
            roles: Roles { surgeon: has("surgeon"), office: has("office"), lead: has("lead") },
        };
        let member = staff::add(&app.desk, practice.id, &new, Actor::Program, moment).await?;
        setting_up::give_app(&app.desk, &member, &app_seed(&line.sign_in_name), moment.now).await?;
        seed_duty::is_reached(app, &member, cards.len(), moment).await?;
        cards.push(SignInCard { member, password: new.password });
    }
    Ok(cards)
}

/// The seed of an invented person's app: known to everybody, as its code stands on the page.
fn app_seed(sign_in_name: &str) -> Seed {
    let digest = Sha256::digest(format!("the app of {sign_in_name}"));
    Seed::new(std::array::from_fn(|place| digest[place]))
}

/// Four plain words: easy to type from a terminal, drawn anew for every demo.
fn pass_phrase(chance: &Chance) -> String {
    const WORDS: [&str; 32] = [
        "amber", "birch", "candle", "delta", "ember", "fable", "garden", "harvest", "island", "jacket",
        "kettle", "lantern", "meadow", "needle", "orchard", "pebble", "quarry", "river", "saddle", "timber",
        "umbrella", "velvet", "willow", "yonder", "zephyr", "anchor", "basket", "copper", "dapple", "engine",
        "feather", "granite",
    ];
    let words: Vec<&str> = (0..4).map(|_| WORDS[chance.below(32) as usize]).collect();
    words.join("-")
}

/// One event about to happen.
struct Happening<'a> {
    app: &'a App,
    book: &'a Book,
    staff: &'a [SignInCard],
    story: &'a Story,
    moment: Moment,
}

impl Happening<'_> {
    async fn take_place(
        self,
        event: Event,
        progress: &mut Progress,
        ahead: &mut Ahead,
    ) -> Result<Option<LinkCard>, CareError> {
        match event {
            Event::Enrol => return self.enrol(progress).await,
            Event::Send(number) => self.send(number, progress, ahead).await?,
            Event::Decide(number) => self.decide(number, progress).await?,
            Event::Read => self.read(progress).await?,
            Event::Ask(words) => {
                let holder = held(progress)?;
                let form_key = format!("seed-ask-{}", self.moment.now.as_millisecond());
                thread::ask(&self.app.desk, holder, &form_key, &words, &self.moment).await?;
            }
            Event::Call(number, line) => self.ring(number, line, progress).await?,
        }
        Ok(None)
    }

    fn member(&self, wanted: impl Fn(&StaffMember) -> bool) -> Result<&StaffMember, CareError> {
        self.staff.iter().map(|card| &card.member).find(|member| wanted(member)).ok_or(CareError::NotFound)
    }

    fn surgeon(&self) -> Result<&StaffMember, CareError> {
        let line =
            self.book.staff.iter().find(|line| line.key == self.story.surgeon).ok_or(CareError::NotFound)?;
        self.member(|member| member.sign_in_name == line.sign_in_name)
    }

    async fn enrol(&self, progress: &mut Progress) -> Result<Option<LinkCard>, CareError> {
        let story = self.story;
        let operated = self.moment.now - SignedDuration::from_hours(2);
        let form = Enrolment {
            enrol_key: format!("seed-{}", story.phone),
            patient: NewPatient {
                name: story.name.clone(),
                born: story.born,
                phone: story.phone.clone(),
                language: story.language,
                helper_name: story.helper.as_ref().map(|helper| helper.0.clone()),
                helper_phone: story.helper.as_ref().map(|helper| helper.1.clone()),
            },
            surgeon: self.surgeon()?.id,
            operation: Operation {
                site: story.site,
                side: story.side,
                procedure: story.procedure.clone(),
                operated,
                size: story.size.map(|(length_mm, width_mm, depth_mm)| WoundSize {
                    length_mm,
                    width_mm,
                    depth_mm: Some(depth_mm),
                }),
                packing: story.strips.map(|(pieces, length_cm)| Packing {
                    pieces,
                    length_cm: Some(length_cm),
                    placed: operated + SignedDuration::from_mins(20),
                }),
                pen_line: story.pen_line.then(|| operated + SignedDuration::from_mins(40)),
            },
            risk: story.risk.clone(),
        };
        let office = self.member(|member| member.roles.office)?;
        let enrolled = enrol::enrol(&self.app.desk, office, form, &self.moment).await?;
        let issued = enrolled.issued.ok_or(CareError::AlreadyDone)?;
        progress.holder = Some(LinkHolder {
            link: issued.link.id,
            link_name: issued.link.name.clone(),
            practice: enrolled.wound.practice,
            wound: enrolled.wound.id,
            language: story.language,
            may_read: true,
            borrowed: false,
            other_initials: String::new(),
        });
        Ok(story.shown_link.then_some(LinkCard { patient_name: enrolled.patient.name, issued }))
    }

    async fn send(&self, number: usize, progress: &mut Progress, ahead: &mut Ahead) -> Result<(), CareError> {
        let line = &self.story.checks[number];
        let mut prepared = Vec::new();
        for name in &line.photos {
            prepared.push(ahead.photo(name).await?);
        }
        let sending = Sending {
            form_key: format!("seed-{}-{number}", self.story.phone),
            answers: self.answers(&line.answers)?,
            photos_expected: line.photos.len() as i64,
        };
        let receipt =
            intake::receive(&self.app.desk, held(progress)?, sending, prepared, &self.moment).await?;
        progress.sent.insert(number, receipt.check);
        let desk = &self.app.desk;
        jobs::measuring::until_idle(desk, ahead.method(), &|| self.moment.clone(), 1).await?;
        Ok(())
    }

    /// The story's answers laid over the quiet ones.
    fn answers(&self, said: &Value) -> Result<Answers, CareError> {
        let mut answers = self.book.quiet_answers.clone();
        if let (Value::Object(all), Value::Object(said)) = (&mut answers, said) {
            all.extend(said.clone());
        }
        serde_json::from_value(answers)
            .map_err(|fault| CareError::Work(format!("{}: {fault}", self.story.name)))
    }

    async fn decide(&self, number: usize, progress: &Progress) -> Result<(), CareError> {
        let check = *progress.sent.get(&number).ok_or(CareError::NotFound)?;
        let line = self.story.checks[number].decided.clone().ok_or(CareError::NotFound)?;
        let surgeon = self.surgeon()?;
        review::open(&self.app.desk, surgeon, check, self.moment.now).await?;
        let deciding = Deciding {
            decision: line.decision,
            reply: line.reply,
            note: line.note,
            come_in: line.come_in_after_h.map(|hours| before(self.moment.now, -hours)),
            ask: line.ask,
            judged: line.judged,
            antibiotic: None,
            extent: None,
        };
        review::decide(&self.app.desk, surgeon, check, deciding, &self.moment).await?;
        Ok(())
    }

    async fn read(&self, progress: &Progress) -> Result<(), CareError> {
        let holder = held(progress)?;
        let thread =
            messages::of_wound(&mut *self.app.desk.db.read().await?, holder.practice, holder.wound).await?;
        for message in
            thread.iter().filter(|message| message.sender == Sender::Practice && message.read.is_none())
        {
            thread::mark_read(&self.app.desk, holder, message.id, self.moment.now).await?;
        }
        Ok(())
    }

    async fn ring(&self, number: usize, line: CallLine, progress: &Progress) -> Result<(), CareError> {
        let check = *progress.sent.get(&number).ok_or(CareError::NotFound)?;
        let office = self.member(|member| member.roles.office)?;
        let waiting =
            callbacks::of_check(&mut *self.app.desk.db.read().await?, office.practice, check).await?;
        let callback = waiting.last().ok_or(CareError::NotFound)?.id;
        let attempting = Attempting {
            result: line.result,
            note: line.note,
            outcome: line.outcome,
            visit: line.visit_after_h.map(|hours| before(self.moment.now, -hours)),
            ..Attempting::of(line.result)
        };
        callback::log_attempt(&self.app.desk, office, callback, attempting, &self.moment).await
    }
}

fn held(progress: &Progress) -> Result<&LinkHolder, CareError> {
    progress.holder.as_ref().ok_or(CareError::NotFound)
}
