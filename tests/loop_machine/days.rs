//! A day is lived step by step, every step is judged, and in the end fair staff see to whatever is left.

use std::path::Path;

use crate::action::Action;
use crate::action::Chosen;
use crate::action::Clock;
use crate::action::Mood;
use crate::action::Rang;
use crate::action::Step;
use crate::books::Books;
use crate::laws::Act;
use crate::laws::Fault;
use crate::laws::Seen;
use crate::model::CallStands;
use crate::model::Expected;
use crate::model::Model;
use crate::model::Stands;
use crate::model::at;
use crate::pages::page;
use crate::rest::is_at_rest;
use crate::rest::laws_of_rest;
use crate::rest::reading_order;
use crate::tally::Tally;
use crate::town::Town;
use crate::unread::Unread;
use crate::world::Outcome;
use crate::world::World;

/// Lives one day from the town's books on; the first broken law ends it. `sabotage`: a trigger that does in the books what a
/// program without some guard would do; empty: none.
pub async fn live(
    town: &Town,
    folder: &Path,
    day: &[Step],
    sabotage: &'static str,
    tally: &mut Tally,
) -> Result<(), Fault> {
    let mut world = World::open(town, folder).await;
    if !sabotage.is_empty() {
        sqlx::query(sabotage).execute(&mut *world.db.read().await.unwrap()).await.unwrap();
    }
    let mut lived = Day {
        model: Model::default(),
        seen: Seen::default(),
        unread: Unread::default(),
        books: world.books().await,
        tally,
    };
    let came_to = lived.all_of(&mut world, day).await;
    world.db.close().await;
    came_to
}

struct Day<'a> {
    model: Model,
    seen: Seen,
    unread: Unread,
    books: Books,
    tally: &'a mut Tally,
}

impl Day<'_> {
    async fn all_of(&mut self, world: &mut World<'_>, day: &[Step]) -> Result<(), Fault> {
        for step in day {
            self.step(world, *step).await?;
        }
        self.tally.note_books(&self.books);
        self.fair_end(world).await?;
        self.tally.days += 1;
        self.tally.note_books(&self.books);
        Ok(())
    }

    async fn step(&mut self, world: &mut World<'_>, step: Step) -> Result<(), Fault> {
        let action = step.action;
        let acts = self.acts_of(action, world);
        let outcome = world.does(action, step.killed, &self.books).await;
        let before = std::mem::replace(&mut self.books, world.books().await);
        self.tally.steps += 1;
        if self.books.ladders.len() + before.ladders.len() > 0 || !acts.is_empty() {
            self.seen.acts.extend(acts);
        }
        let mut after = self.model.clone();
        let expected = after.does(action, world.when, &before, &self.books);
        if matches!(action, Action::Runs | Action::Works { .. }) {
            after.takes_over(&self.books)?;
        }
        let behind = world.when.behind;
        let was_done = matches!(outcome, Outcome::Done);
        match outcome {
            Outcome::Failed(fault) => return Err(format!("a step failed: {fault}")),
            Outcome::Done if expected == Expected::Refused => {
                return Err(format!("I9 refused: {action:?} was not"));
            }
            Outcome::Refused if expected == Expected::Done && !may_be_refused(action) => {
                return Err(format!("{action:?} was refused"));
            }
            Outcome::Killed => {
                self.tally.killed += 1;
                self.seen.cut_off += 1;
                match after.differs_from(&self.books, world.town, behind) {
                    None => {
                        self.tally.note("killed with all done");
                        self.model = after;
                    }
                    Some(_) => self.tally.note("killed with nothing done"),
                }
            }
            Outcome::Done if expected == Expected::Done => self.model = after,
            Outcome::Done | Outcome::Refused => {}
        }
        if let Action::Looks { surgeon, check } = action
            && let Some(check) = at(check, before.checks.len())
        {
            self.model.is_read(surgeon, check, was_done.then_some(()));
        }
        if world.outside.mood() == Mood::TakesAndHangs {
            self.seen.cut_off += 1;
        }
        if let Some(difference) = self.model.differs_from(&self.books, world.town, behind) {
            return Err(difference);
        }
        self.seen.after_step(&self.books, &world.outside.took(), world.town, world.when)?;
        let reader = if let Action::Reads { patient } = action { Some(patient) } else { None };
        let reader = reader.map(|patient| world.town.patients[patient].link.to_string());
        self.unread.after_step(&self.books, &self.seen, reader.as_deref(), world.when)?;
        self.note_states();
        self.photos(world, &before).await?;
        self.pages(world, &before, action).await?;
        if action == Action::Runs && step.killed.is_none() && is_at_rest(&self.books, world.when) {
            self.tally.rests += 1;
            laws_of_rest(&self.books, &self.model, &self.seen, world.when)?;
            reading_order(&self.books, &world.queue().await, world.when)?;
            self.unread.at_rest(&self.books, &self.seen, world.when)?;
        }
        Ok(())
    }

    /// I2: whatever a receipt lists can be read, and is what its name says. With each new photo, and once more in the end.
    async fn photos(&mut self, world: &World<'_>, before: &Books) -> Result<(), Fault> {
        for photo in self.books.photos.iter().filter(|photo| !before.photos.contains(photo)) {
            self.tally.note("photo");
            for rendition in &photo.renditions {
                if !world.keeps(rendition).await {
                    return Err(format!("I2 receipt: {rendition} of {photo:?} is not there"));
                }
            }
        }
        Ok(())
    }

    /// I10: what the page of a check tells follows from what was done about it. Whenever that changed, and at rest.
    async fn pages(&mut self, world: &World<'_>, before: &Books, action: Action) -> Result<(), Fault> {
        for (place, kept) in self.books.checks.iter().enumerate() {
            let was = before.checks.get(place);
            let is_same = was.is_some_and(|was| {
                was.state == kept.state && was.looks == kept.looks && was.bodies == kept.bodies
            });
            let is_same = is_same && before.photos.len() == self.books.photos.len();
            if is_same && before.attempts.len() == self.books.attempts.len() && action != Action::Runs {
                continue;
            }
            let patient = self.model.checks[place].patient;
            let told = world.progress(patient, &kept.id).await;
            self.tally.note(format!(
                "page {:?} {:?} {:?}",
                told.state,
                told.seen,
                told.call.map(|call| call.result)
            ));
            page(&self.model, place, &told)?;
        }
        Ok(())
    }

    fn note_states(&mut self) {
        for check in &self.books.checks {
            self.tally.note(format!("check {}", check.state));
        }
        for call in &self.books.calls {
            self.tally.note(format!("call {}", call.state));
            if call.is_instead {
                self.tally.note("call instead of a letter");
            }
        }
        for (kind, _) in &self.books.alarms {
            self.tally.note(format!("alarm {kind}"));
        }
        for silence in &self.books.silences {
            let ended = if silence.ended_by.is_empty() { "came" } else { "ended by a person" };
            self.tally.note(format!("silence {}", if silence.is_open { &silence.step } else { ended }));
        }
    }

    /// What a person does by this action, whether or not it is allowed.
    fn acts_of(&self, action: Action, world: &World<'_>) -> Vec<Act> {
        let (about, who) = match action {
            Action::Opens { surgeon, check } | Action::Decides { surgeon, check, .. } => {
                let check = at(check, self.books.checks.len());
                (check.map(|check| format!("check:{}", self.books.checks[check].id)), surgeon)
            }
            Action::Rings { call, .. } | Action::GivesUp { call } | Action::HandsBack { call } => {
                let call = at(call, self.books.calls.len());
                (call.map(|call| format!("callback:{}", self.books.calls[call].id)), 2)
            }
            Action::RingsSilent { silence, .. } | Action::EndsSilence { silence } => {
                let open = self.books.open_silences();
                let silence = at(silence, open.len());
                (silence.map(|silence| format!("silence:{}", open[silence].id)), 2)
            }
            Action::Acknowledges { who, ladder } => {
                let running: Vec<_> =
                    self.books.ladders.iter().filter(|one| one.state == "running").collect();
                let ladder = at(ladder, running.len());
                (ladder.map(|ladder| running[ladder].about.clone()), who)
            }
            _ => (None, 0),
        };
        let act = |about| Act {
            about,
            by: world.town.names[who].clone(),
            wall: world.when.wall(),
            truth: world.when.truth,
        };
        about.map(act).into_iter().collect()
    }

    /// I14: everyone is there, the outside takes letters, and the surgeons and the office do what their lists say.
    async fn fair_end(&mut self, world: &mut World<'_>) -> Result<(), Fault> {
        let ready = (0..3).filter(|who| !self.books.active.contains(&world.town.names[*who]));
        let ready: Vec<Action> = ready.map(|who| Action::Comes { who }).collect();
        for action in
            ready.into_iter().chain([Action::Outside(Mood::Takes), Action::Passes(Clock::Minutes(16))])
        {
            self.step(world, action.into()).await?;
        }
        self.step(world, Action::Runs.into()).await?;
        for _ in 0..3 {
            for check in 0..self.model.checks.len() {
                if matches!(self.model.checks[check].stands, Stands::Queued | Stands::InReview { .. }) {
                    self.step(world, Action::Opens { surgeon: 0, check }.into()).await?;
                    self.step(world, Action::Looks { surgeon: 0, check }.into()).await?;
                    self.step(world, Action::Decides { surgeon: 0, check, chosen: Chosen::Fine }.into())
                        .await?;
                }
            }
            for call in 0..self.model.calls.len() {
                if self.model.calls[call].stands == CallStands::Open {
                    self.step(world, Action::Rings { call, rang: Rang::SpokeAndDone }.into()).await?;
                }
            }
        }
        for patient in 0..2 {
            self.step(world, Action::Reads { patient }.into()).await?;
        }
        self.step(world, Action::Passes(Clock::Minutes(2)).into()).await?;
        self.step(world, Action::Runs.into()).await?;
        // By a clock that was set back a visit may come due only now.
        for _ in 0..10 {
            if self.books.open_silences().is_empty() {
                break;
            }
            for _ in 0..self.books.open_silences().len() {
                let rings = Action::RingsSilent { silence: 0, rang: Rang::SpokeAndDone };
                self.step(world, rings.into()).await?;
            }
            self.step(world, Action::Passes(Clock::Minutes(2)).into()).await?;
            self.step(world, Action::Runs.into()).await?;
        }
        if let Some(silence) = self.books.open_silences().first() {
            return Err(format!("I14 the end: {silence:?} is still looked for"));
        }
        let is_left = |state: &str| state != "closed" && state != "handed_back";
        let left = self
            .books
            .checks
            .iter()
            .map(|check| &check.state)
            .chain(self.books.calls.iter().map(|call| &call.state));
        if left.into_iter().any(|state| is_left(state)) {
            return Err(format!("I14 the end: {:?}", self.books.checks));
        }
        if let Some(ladder) = self.books.ladders.iter().find(|ladder| ladder.state == "running") {
            return Err(format!("I14 the end: {ladder:?} still climbs"));
        }
        self.photos(world, &Books::default()).await?;
        let over = ["overdue", "unopened", "nobody_to_tell"];
        if let Some(alarm) = self.books.alarms.iter().find(|(kind, _)| over.contains(&kind.as_str())) {
            return Err(format!("I14 the end: {alarm:?} is still on"));
        }
        Ok(())
    }
}

/// Somebody else may have been quicker: then there is nothing left to stop.
fn may_be_refused(action: Action) -> bool {
    matches!(action, Action::Acknowledges { .. })
}
