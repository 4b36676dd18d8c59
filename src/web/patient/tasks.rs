//! What to do now and next, in order, from the care plan.

use jiff::Timestamp;

use crate::care::thread::Home;
use crate::plan::PlanStep;
use crate::plan::StepKind;
use crate::plan::Strip;
use crate::plan::care_plan;
use crate::plan::strip_state;
use crate::store::wounds::WoundState;
use crate::web::patient::clock;
use crate::words::patient_today::TodayWords;

/// One thing to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Task {
    /// `late`, `due`, `wait` or `done`: the mark beside it.
    pub mark: &'static str,
    pub title: String,
    pub lines: Vec<String>,
}

/// The lists of one moment.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tasks {
    pub now: Vec<Task>,
    pub next: Vec<Task>,
    /// The strip is to come out now: show how.
    pub strip_help: Option<StripHelp>,
}

/// What to count the strip against.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StripHelp {
    pub pieces: u8,
    /// All pieces together; `None`: not noted at surgery.
    pub length_cm: Option<i64>,
}

struct Day<'a> {
    home: &'a Home,
    words: TodayWords,
    now: Timestamp,
    tasks: Tasks,
}

pub fn tasks(home: &Home, words: TodayWords, now: Timestamp) -> Tasks {
    let mut day = Day { home, words, now, tasks: Tasks::default() };
    match home.wound.state {
        WoundState::Closed => day.now("done", words.wound_closed_title(), vec![words.wound_closed()]),
        WoundState::Open => {
            let plan = care_plan(&home.wound.operation, &home.practice.zone);
            let packing = home.wound.operation.packing;
            let strip = strip_state(packing, home.wound.strip_out, now);
            day.strip(strip);
            day.washing(&plan, strip);
            day.photo(&plan);
            day.end(&plan);
        }
    }
    day.tasks
}

impl Day<'_> {
    fn now(&mut self, mark: &'static str, title: String, lines: Vec<String>) {
        self.tasks.now.push(Task { mark, title, lines });
    }

    fn next(&mut self, title: String, lines: Vec<String>) {
        self.tasks.next.push(Task { mark: "wait", title, lines });
    }

    fn clock(&self, at: Timestamp) -> String {
        clock::when(at, self.now, &self.home.practice.zone, self.words.language())
    }

    fn strip(&mut self, strip: Strip) {
        let words = self.words;
        match strip {
            Strip::NeverPlaced | Strip::Out => {}
            Strip::In { due } => {
                let until = words.strip_leave_until(&self.clock(due));
                self.now("wait", words.strip_leave_title(), vec![until]);
            }
            Strip::DueOut { due } if due > self.now => {
                self.now("due", words.strip_due_title(), vec![words.strip_due_by(&self.clock(due))]);
                self.help();
            }
            Strip::DueOut { due } => {
                self.now("due", words.strip_due_title(), vec![words.strip_overdue_by(&self.clock(due))]);
                self.help();
            }
            Strip::Overdue { due } => {
                let lines = vec![words.strip_overdue_by(&self.clock(due)), words.strip_overdue_call()];
                self.now("late", words.strip_overdue_title(), lines);
                self.help();
            }
        }
    }

    fn help(&mut self) {
        self.tasks.strip_help = self.home.wound.operation.packing.map(|packing| StripHelp {
            pieces: packing.pieces,
            length_cm: packing.length_cm.map(|cm| cm.round() as i64),
        });
    }

    fn washing(&mut self, plan: &[PlanStep], strip: Strip) {
        let words = self.words;
        match strip {
            Strip::In { .. } | Strip::DueOut { .. } | Strip::Overdue { .. } => {
                self.next(words.wash_next_title(), vec![words.wash_next_packed()]);
                return;
            }
            Strip::NeverPlaced | Strip::Out => {}
        }
        let washing: Vec<&PlanStep> = plan
            .iter()
            .filter(|step| matches!(step.kind, StepKind::WashTwiceDaily | StepKind::WashDaily))
            .filter(|step| step.due > self.now)
            .collect();
        // A strip that came out early: washing starts with it, not with the plan's hour.
        let started = washing.first().is_some_and(|step| step.from <= self.now) || strip == Strip::Out;
        match washing.first() {
            Some(step) if started && step.kind == StepKind::WashTwiceDaily => {
                self.now("due", words.wash_title_twice(), vec![words.wash_how()]);
            }
            Some(_) if started => self.now("due", words.wash_title_once(), vec![words.wash_how()]),
            Some(step) => {
                let from = words.from(&self.clock(step.from));
                self.next(words.wash_next_title(), vec![from, words.wash_how()]);
            }
            None => {}
        }
    }

    fn photo(&mut self, plan: &[PlanStep]) {
        let words = self.words;
        let zone = self.home.practice.zone.clone();
        let date = |at: Timestamp| at.to_zoned_datetime(zone.clone()).date();
        let today = date(self.now);
        let photos: Vec<&PlanStep> = plan.iter().filter(|step| step.kind == StepKind::Photo).collect();
        let sent_today = self.home.wound.last_check.is_some_and(|sent| date(sent) == today);
        if let Some(step) = photos.iter().find(|step| date(step.from) == today) {
            if sent_today {
                self.now("done", words.photo_done(), Vec::new());
            } else if self.now <= step.due {
                let by = words.photo_by(&self.clock(step.due));
                self.now("due", words.photo_title(), vec![by]);
            } else {
                self.now("late", words.photo_title(), vec![words.photo_late()]);
            }
        }
        if let Some(step) = photos.iter().find(|step| date(step.from) > today) {
            let from = self.clock(step.from);
            self.next(words.photo_next_title(), vec![from]);
        }
    }

    fn end(&mut self, plan: &[PlanStep]) {
        let ended = plan.iter().any(|step| step.kind == StepKind::PlanEnd && step.from <= self.now);
        if ended {
            self.now("due", self.words.plan_end_title(), vec![self.words.plan_end()]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;
    use jiff::tz::TimeZone;

    use crate::ids::Chance;
    use crate::ids::Moment;
    use crate::ids::PatientId;
    use crate::ids::PracticeId;
    use crate::ids::StaffId;
    use crate::ids::WoundId;
    use crate::plan::Operation;
    use crate::plan::Packing;
    use crate::plan::RiskFactors;
    use crate::plan::Side;
    use crate::plan::Site;
    use crate::sheet::Paper;
    use crate::store::patients::Patient;
    use crate::store::practices::Practice;
    use crate::store::wounds::Wound;
    use crate::words::Language;

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

    fn titles(home: &Home, now: &str) -> (Vec<String>, Vec<String>) {
        let tasks = tasks(home, TodayWords(Language::English), at(now));
        let titles = |tasks: Vec<Task>| {
            tasks.into_iter().map(|task| format!("{} {}", task.mark, task.title)).collect::<Vec<_>>()
        };
        (titles(tasks.now), titles(tasks.next))
    }

    #[test]
    fn on_the_first_day_the_strip_stays_and_a_check_is_due() {
        let (now, next) = titles(&home(), "2026-03-03T15:00:00Z");
        assert_eq!(now, ["wait Leave the gauze strip in", "due Send a wound check today"]);
        assert_eq!(next, ["wait Start to wash the wound", "wait Next wound check"]);
    }

    #[test]
    fn the_strip_helper_opens_when_the_strip_may_come_out_and_closes_when_it_is_out() {
        let words = TodayWords(Language::English);
        let mut home = home();
        assert_eq!(tasks(&home, words, at("2026-03-04T09:59:59Z")).strip_help, None);
        let help = StripHelp { pieces: 2, length_cm: Some(60) };
        assert_eq!(tasks(&home, words, at("2026-03-04T10:00:00Z")).strip_help, Some(help));
        assert_eq!(tasks(&home, words, at("2026-03-06T10:00:00Z")).strip_help, Some(help));
        home.wound.strip_out = Some(at("2026-03-04T18:30:00Z"));
        assert_eq!(tasks(&home, words, at("2026-03-06T10:00:00Z")).strip_help, None);
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
        assert_eq!(now[0], "due Wash the wound 2 times today");
        let (now, _) = titles(&home, "2026-03-12T15:00:00Z");
        assert_eq!(now[0], "due Wash the wound once today");
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
