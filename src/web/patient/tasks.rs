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

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;
    use jiff::tz::TimeZone;

    use crate::ids::Chance;
    use crate::ids::Moment;
    use crate::ids::PatientId;
    use crate::ids::PlanStepId;
    use crate::ids::PracticeId;
    use crate::ids::StaffId;
    use crate::ids::WoundId;
    use crate::plan::Operation;
    use crate::plan::Packing;
    use crate::plan::PlanText;
    use crate::plan::RiskFactors;
    use crate::plan::Side;
    use crate::plan::Site;
    use crate::plan::care_plan_by;
    use crate::sheet::Paper;
    use crate::store::patients::Patient;
    use crate::store::plan::Pause;
    use crate::store::plan::Standing;
    use crate::store::practices::Practice;
    use crate::store::wounds::Wound;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    /// Operated and packed on Monday 2 March 2026 at 13:00 in New York.
    fn home() -> Home {
        let operated = at("2026-03-02T18:00:00Z");
        let moment = Moment::new(operated, Chance::seeded(3));
        let practice = Practice {
            id: PracticeId::mint(&moment),
            name: "Harbor Surgery".to_owned(),
            phone: "202-555-0143".to_owned(),
            emergency_number: "911".to_owned(),
            zone: TimeZone::get("America/New_York").unwrap(),
            paper: Paper::Letter,
            opens_minute: 480,
            closes_minute: 1020,
        };
        let patient = Patient {
            id: PatientId::mint(&moment),
            practice: practice.id,
            name: "Rosa".to_owned(),
            born: date(1970, 1, 2),
            phone: "202-555-0100".to_owned(),
            language: Language::English,
            helper_name: None,
            helper_phone: None,
        };
        let operation = Operation {
            site: Site::Thigh,
            side: Side::Left,
            procedure: "abscess drained".to_owned(),
            operated,
            size: None,
            packing: Some(Packing { pieces: 2, length_cm: Some(60.4), placed: operated }),
            pen_line: None,
        };
        let wound = Wound {
            id: WoundId::mint(&moment),
            practice: practice.id,
            patient: patient.id,
            surgeon: StaffId::mint(&moment),
            operation,
            risk: RiskFactors::default(),
            strip_out: None,
            last_check: None,
            state: WoundState::Open,
            enrolled: operated,
        };
        Home { practice, wound, patient, unread: 0 }
    }

    /// The plan as enrolled, for somebody who takes an antibiotic.
    fn plan(home: &Home) -> PlanToday {
        let moment = Moment::new(home.wound.enrolled, Chance::seeded(4));
        let risk = RiskFactors { takes_antibiotic: Some(true), ..RiskFactors::default() };
        let text = PlanText::built_in().clone();
        let steps = care_plan_by(&home.wound.operation, &risk, &text.numbers, &home.practice.zone);
        let keep = |step| KeptStep {
            id: PlanStepId::mint(&moment),
            wound: home.wound.id,
            step,
            done: None,
            cancelled: None,
            sequence: 0,
            changed: None,
        };
        PlanToday { steps: steps.into_iter().map(keep).collect(), standing: Standing::default(), text }
    }

    fn titles(home: &Home, now: &str) -> (Vec<String>, Vec<String>) {
        titles_of(home, &plan(home), now)
    }

    fn titles_of(home: &Home, plan: &PlanToday, now: &str) -> (Vec<String>, Vec<String>) {
        let tasks = tasks(home, plan, TodayWords(Language::English), at(now));
        let titles = |tasks: Vec<Task>| {
            tasks.into_iter().map(|task| format!("{} {}", task.mark, task.title)).collect::<Vec<_>>()
        };
        (titles(tasks.now), titles(tasks.next))
    }

    #[test]
    fn on_the_first_day_the_strip_stays_and_a_check_is_due() {
        let (now, next) = titles(&home(), "2026-03-03T15:00:00Z");
        assert_eq!(
            now,
            ["wait Leave the gauze strip in", "due Take your antibiotic", "due Send a wound check today"]
        );
        assert_eq!(next, ["wait Start to wash the wound", "wait Next wound check"]);
    }

    #[test]
    fn the_strip_pages_open_when_the_strip_may_come_out_and_close_when_it_is_out() {
        let words = TodayWords(Language::English);
        let mut home = home();
        let pages = |home: &Home, now: &str| tasks(home, &plan(home), words, at(now)).strip_pages;
        assert_eq!(pages(&home, "2026-03-04T09:59:59Z"), None);
        assert_eq!(pages(&home, "2026-03-04T10:00:00Z"), Some(STRIP_PAGES));
        assert_eq!(pages(&home, "2026-03-06T10:00:00Z"), Some(STRIP_PAGES));
        home.wound.strip_out = Some(at("2026-03-04T18:30:00Z"));
        assert_eq!(pages(&home, "2026-03-06T10:00:00Z"), None);
    }

    #[test]
    fn a_moved_strip_is_late_six_hours_after_its_new_time() {
        let home = home();
        let mut plan = plan(&home);
        for kept in plan.steps.iter_mut().filter(|kept| kept.step.kind == StepKind::PackingRemoval) {
            kept.step = kept.step.moved_to(at("2026-03-05T18:00:00Z"));
        }
        let first = |now: &str| titles_of(&home, &plan, now).0.remove(0);
        assert_eq!(first("2026-03-05T00:00:01Z"), "wait Leave the gauze strip in");
        assert_eq!(first("2026-03-06T00:00:00Z"), "due Take the gauze strip out");
        assert_eq!(first("2026-03-06T00:00:01Z"), "late The gauze strip is late: take it out now");
    }

    #[test]
    fn a_paused_plan_asks_for_no_check_and_no_washing_but_still_for_pills() {
        let mut home = home();
        home.wound.strip_out = Some(at("2026-03-04T18:30:00Z"));
        let mut plan = plan(&home);
        let pause = Pause { since: at("2026-03-05T12:00:00Z"), until: at("2026-03-08T12:00:00Z") };
        plan.standing.pause = Some(pause);
        let (now, next) = titles_of(&home, &plan, "2026-03-08T11:59:59Z");
        assert_eq!(now, ["due Take your antibiotic", "wait Your plan has a break"]);
        assert!(next.is_empty());
        let (now, _) = titles_of(&home, &plan, "2026-03-08T12:00:00Z");
        assert!(now.contains(&"due Send a wound check today".to_owned()), "{now:?}");
    }

    #[test]
    fn a_visit_is_next_until_its_day_and_then_now() {
        let home = home();
        let mut plan = plan(&home);
        let when = at("2026-03-06T15:00:00Z");
        let mut visit = plan.steps[0].clone();
        visit.step = PlanStep { kind: StepKind::Visit, from: when, due: when };
        plan.steps.push(visit);
        assert!(titles_of(&home, &plan, "2026-03-05T15:00:00Z").1[0].contains("Come to the practice"));
        assert!(titles_of(&home, &plan, "2026-03-06T12:00:00Z").0[1].contains("due Come to the practice"));
    }

    #[test]
    fn an_overdue_strip_comes_first_and_is_marked_late() {
        let (now, _) = titles(&home(), "2026-03-05T00:00:00Z");
        assert_eq!(now[0], "due Take the gauze strip out");
        let (now, _) = titles(&home(), "2026-03-05T00:00:01Z");
        assert_eq!(now[0], "late The gauze strip is late: take it out now");
    }

    #[test]
    fn washing_is_twice_a_day_in_the_first_week_and_then_once() {
        let mut home = home();
        home.wound.strip_out = Some(at("2026-03-04T18:30:00Z"));
        let (now, _) = titles(&home, "2026-03-05T15:00:00Z");
        assert_eq!(now[1..3], ["due Wash the wound 2 times today", "due Put on clean gauze"]);
        let (now, _) = titles(&home, "2026-03-12T15:00:00Z");
        assert_eq!(now[1], "due Wash the wound once today");
    }

    #[test]
    fn a_check_sent_today_is_done_and_one_after_hours_is_late() {
        let mut home = home();
        home.wound.last_check = Some(at("2026-03-03T14:00:00Z"));
        let (now, _) = titles(&home, "2026-03-03T15:00:00Z");
        assert!(now.contains(&"done Today's wound check is sent".to_owned()));
        let (now, _) = titles(&home, "2026-03-05T01:00:01Z");
        assert!(now.contains(&"late Send a wound check today".to_owned()), "{now:?}");
    }

    #[test]
    fn a_plan_that_ended_and_a_wound_that_was_closed_say_so() {
        let mut home = home();
        home.wound.strip_out = Some(at("2026-03-04T18:30:00Z"));
        let (now, next) = titles(&home, "2026-06-10T15:00:00Z");
        assert_eq!(now, ["due The plan has come to its end"]);
        assert!(next.is_empty());
        home.wound.state = WoundState::Closed;
        let (now, _) = titles(&home, "2026-03-05T15:00:00Z");
        assert_eq!(now, ["done Your surgeon has closed this plan"]);
    }
}
