//! What to do now and next, in order, from the care plan as it is kept: with what was moved, paused and done.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::civil::Date;

use crate::care::plan::PlanToday;
use crate::care::thread::Home;
use crate::plan::PlanStep;
use crate::plan::StepKind;
use crate::plan::Strip;
use crate::plan::strip_state_by;
use crate::store::plan::KeptStep;
use crate::store::wounds::WoundState;
use crate::web::patient::clock;
use crate::words::Language;
use crate::words::patient_today::TodayWords;

/// A visit that passed is still shown for this long: somebody may be on the way.
const VISIT_SHOWN: SignedDuration = SignedDuration::from_hours(12);

/// One thing to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Task {
    /// `late`, `due`, `wait` or `done`: the mark beside it.
    pub mark: &'static str,
    pub title: String,
    pub lines: Vec<String>,
    /// Where its one-event calendar file is; `None`: it goes on, or is over.
    pub calendar: Option<String>,
}

/// The lists of one moment.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tasks {
    pub now: Vec<Task>,
    pub next: Vec<Task>,
    /// Set when the strip is to come out now: the pages that lead through it.
    pub strip_pages: Option<&'static str>,
}

/// Word about an antibiotic is asked for so long after it was due; the next wound check takes over.
const ANTIBIOTIC_CHECK_SHOWN: SignedDuration = SignedDuration::from_hours(24);

/// Where the pages are that lead through taking the strip out.
pub const STRIP_PAGES: &str = "/my/strip";

struct Day<'a> {
    home: &'a Home,
    plan: &'a PlanToday,
    words: TodayWords,
    now: Timestamp,
    tasks: Tasks,
}

pub fn tasks(home: &Home, plan: &PlanToday, words: TodayWords, now: Timestamp) -> Tasks {
    let mut day = Day { home, plan, words, now, tasks: Tasks::default() };
    match home.wound.state {
        WoundState::Closed => day.now("done", words.wound_closed_title(), vec![words.wound_closed()]),
        WoundState::Open => {
            let strip = strip_of(home, plan, now);
            day.strip(strip);
            day.visits();
            day.standing(StepKind::PainPill);
            day.standing(StepKind::Antibiotic);
            match plan.standing.paused(now) {
                Some(pause) => {
                    let until = day.clock(pause.until);
                    day.now(
                        "wait",
                        words.paused_title(),
                        vec![words.paused_until(&until), words.paused_still()],
                    );
                }
                None => {
                    day.washing(strip);
                    day.photo();
                    day.of_the_antibiotic();
                    day.end();
                }
            }
        }
    }
    day.tasks
}

/// How things stand with the strip by its own step.
pub fn strip_of(home: &Home, plan: &PlanToday, now: Timestamp) -> Strip {
    let removal = plan.steps.iter().find(|kept| kept.step.kind == StepKind::PackingRemoval);
    strip_state_by(removal.map(|kept| kept.step), &plan.text.numbers, home.wound.strip_out, now)
}

impl Day<'_> {
    fn now(&mut self, mark: &'static str, title: String, lines: Vec<String>) {
        self.tasks.now.push(Task { mark, title, lines, calendar: None });
    }

    fn next(&mut self, title: String, lines: Vec<String>) {
        self.tasks.next.push(Task { mark: "wait", title, lines, calendar: None });
    }

    fn clock(&self, at: Timestamp) -> String {
        clock::when(at, self.now, &self.home.practice.zone, self.words.language())
    }

    fn date(&self, at: Timestamp) -> Date {
        at.to_zoned_datetime(self.home.practice.zone.clone()).date()
    }

    /// The practice's own words for a kind of step: title and sentences.
    fn says(&self, kind: StepKind) -> (String, String) {
        let text = self.plan.text.of(kind);
        let (title, body) = match self.words.language() {
            Language::English => (text.title.en, text.body.en),
            Language::Spanish => (text.title.es, text.body.es),
        };
        (self.plan.text.fill(&title), self.plan.text.fill(&body))
    }

    /// The steps of a kind that stand, done ones too, in order.
    fn steps(&self, kind: StepKind) -> Vec<&KeptStep> {
        self.plan.steps.iter().filter(|kept| kept.cancelled.is_none() && kept.step.kind == kind).collect()
    }

    fn strip(&mut self, strip: Strip) {
        let words = self.words;
        let (title, body) = self.says(StepKind::PackingRemoval);
        match strip {
            Strip::NeverPlaced | Strip::Out => return,
            Strip::In { due } => {
                let until = words.strip_leave_until(&self.clock(due));
                self.now("wait", words.strip_leave_title(), vec![until]);
            }
            Strip::DueOut { due } if due > self.now => {
                self.now("due", title, vec![words.strip_due_by(&self.clock(due)), body]);
                self.tasks.strip_pages = Some(STRIP_PAGES);
            }
            Strip::DueOut { due } => {
                self.now("due", title, vec![words.strip_overdue_by(&self.clock(due)), body]);
                self.tasks.strip_pages = Some(STRIP_PAGES);
            }
            Strip::Overdue { due } => {
                let lines = vec![words.strip_overdue_by(&self.clock(due)), words.strip_overdue_call()];
                self.now("late", words.strip_overdue_title(), lines);
                self.tasks.strip_pages = Some(STRIP_PAGES);
            }
        }
        let step = self.steps(StepKind::PackingRemoval).first().copied().cloned();
        if let (Some(step), Some(task)) = (step, self.tasks.now.last_mut()) {
            task.calendar = calendar_of(&step, self.now);
        }
    }

    fn visits(&mut self) {
        let (title, body) = self.says(StepKind::Visit);
        let coming: Vec<KeptStep> = self.steps(StepKind::Visit).into_iter().cloned().collect();
        for visit in coming.iter().filter(|visit| visit.done.is_none()) {
            let at = visit.step.due;
            if self.now.duration_since(at) > VISIT_SHOWN {
                continue;
            }
            let lines = vec![self.words.visit_at(&self.clock(at)), body.clone()];
            let calendar = calendar_of(visit, self.now);
            let (list, mark) = match self.date(at) <= self.date(self.now) {
                true => (&mut self.tasks.now, "due"),
                false => (&mut self.tasks.next, "wait"),
            };
            list.push(Task { mark, title: title.clone(), lines, calendar });
        }
    }

    /// What goes on today, such as pills.
    fn standing(&mut self, kind: StepKind) {
        let (title, body) = self.says(kind);
        let running = |step: &&&KeptStep| step.step.from <= self.now && self.now < step.step.due;
        if self.steps(kind).iter().find(running).is_some() {
            self.now("due", title, vec![body]);
        }
    }

    /// What a recorded antibiotic asks once: word after two days, and its last day.
    fn of_the_antibiotic(&mut self) {
        for kind in [StepKind::AntibioticCheck, StepKind::AntibioticEnd] {
            let (title, body) = self.says(kind);
            let now = self.now;
            let open =
                self.steps(kind).into_iter().find(|kept| kept.is_open() && kept.step.from <= now).cloned();
            let shown = match kind {
                StepKind::AntibioticCheck => ANTIBIOTIC_CHECK_SHOWN,
                _ => SignedDuration::ZERO,
            };
            let is_over = |kept: &KeptStep| kept.step.due + shown <= now;
            if let Some(kept) = open.filter(|kept| !is_over(kept)) {
                let calendar = calendar_of(&kept, now);
                let mark = if kept.step.due <= now { "late" } else { "due" };
                self.tasks.now.push(Task { mark, title, lines: vec![body], calendar });
            }
        }
    }

    fn washing(&mut self, strip: Strip) {
        let words = self.words;
        match strip {
            Strip::In { .. } | Strip::DueOut { .. } | Strip::Overdue { .. } => {
                self.next(words.wash_next_title(), vec![words.wash_next_packed()]);
                return;
            }
            Strip::NeverPlaced | Strip::Out => {}
        }
        let now = self.now;
        let first = |kinds: &[StepKind]| -> Option<PlanStep> {
            let ahead = self.plan.steps.iter().filter(|kept| kept.is_open() && kept.step.due > now);
            ahead.map(|kept| kept.step).find(|step| kinds.contains(&step.kind))
        };
        let washing = first(&[StepKind::WashTwiceDaily, StepKind::WashDaily]);
        let dressing = first(&[StepKind::Dressing]);
        // A strip that came out early: washing starts with it, not with the plan's hour.
        let started = |step: &PlanStep| step.from <= now || strip == Strip::Out;
        match washing {
            Some(step) if started(&step) => {
                let (title, body) = self.says(step.kind);
                self.now("due", title, vec![body]);
            }
            Some(step) => {
                let from = words.from(&self.clock(step.from));
                self.next(words.wash_next_title(), vec![from, self.says(step.kind).1]);
            }
            None => {}
        }
        if dressing.is_some_and(|step| started(&step)) {
            let (title, body) = self.says(StepKind::Dressing);
            self.now("due", title, vec![body]);
        }
    }

    fn photo(&mut self) {
        let words = self.words;
        let today = self.date(self.now);
        let photos: Vec<KeptStep> = self.steps(StepKind::Photo).into_iter().cloned().collect();
        let sent_today = self.home.wound.last_check.is_some_and(|sent| self.date(sent) == today);
        let (title, _) = self.says(StepKind::Photo);
        if let Some(step) = photos.iter().find(|kept| self.date(kept.step.from) == today) {
            if sent_today {
                self.now("done", words.photo_done(), Vec::new());
            } else if self.now <= step.step.due {
                let by = words.photo_by(&self.clock(step.step.due));
                self.now("due", title, vec![by]);
            } else {
                self.now("late", title, vec![words.photo_late()]);
            }
        }
        if let Some(kept) = photos.iter().find(|kept| self.date(kept.step.from) > today) {
            let (from, calendar) = (self.clock(kept.step.from), calendar_of(kept, self.now));
            let title = words.photo_next_title();
            self.tasks.next.push(Task { mark: "wait", title, lines: vec![from], calendar });
        }
    }

    fn end(&mut self) {
        let ended = self.steps(StepKind::PlanEnd).iter().any(|kept| kept.step.from <= self.now);
        if ended {
            let (title, body) = self.says(StepKind::PlanEnd);
            self.now("due", title, vec![body]);
        }
    }
}

/// Where the calendar file of a step that is still to come is.
fn calendar_of(step: &KeptStep, now: Timestamp) -> Option<String> {
    (step.is_open() && step.step.due > now).then(|| format!("/my/calendar/{}", step.id))
}
