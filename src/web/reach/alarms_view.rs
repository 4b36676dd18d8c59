//! Running ladders and open alarms in words. Names of patients are for surgeons and the office.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::care::alarms::FiredTo;
use crate::care::alarms::For;
use crate::care::alarms::LetterThing;
use crate::care::alarms::OpenAlarm;
use crate::care::alarms::Running;
use crate::care::alarms::SeenTo;
use crate::care::alarms::Thing;
use crate::care::alarms::Whom;
use crate::care::alarms::ends_by_hand;
use crate::store::staff::Roles;
use crate::triage::LadderKind;
use crate::triage::Told;
use crate::web::reach::words;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::time_words;
use crate::web::wound_words;

/// What something is about, ready to show.
pub struct About {
    /// Such as "Check of Mia Stone"; without the name for those who see none.
    pub title: String,
    /// Such as "left buttock · 202-555-0143"; empty: nothing to add.
    pub more: String,
    /// A page about it; empty: none for this reader.
    pub page: String,
    /// A check that a surgeon opens with a press; empty: none.
    pub check: String,
}

/// A rung that fired.
pub struct RungLine {
    pub at: String,
    pub told: &'static str,
    pub people: Vec<PersonWord>,
    pub nobody: bool,
}

pub struct PersonWord {
    pub name: String,
    pub unreachable: bool,
}

/// A ladder that runs.
pub struct CalledRow {
    pub id: String,
    pub about: About,
    pub kind: &'static str,
    /// For the mark at the row's edge.
    pub edge: &'static str,
    pub began: String,
    pub rungs: Vec<RungLine>,
    /// Such as "11:10: the second person".
    pub next: String,
    pub marks: Vec<&'static str>,
}

/// Something whose ladder somebody stopped a moment ago.
pub struct SeenRow {
    pub about: About,
    pub by: String,
    pub since: String,
    pub until: String,
}

/// An alarm.
pub struct AlarmRow {
    pub id: String,
    pub about: About,
    pub kind: &'static str,
    pub advice: &'static str,
    pub began: String,
    /// Who sees to it, and since when; empty: nobody said so.
    pub taken: String,
    pub ends_by_hand: bool,
}

/// Who reads, and when.
pub struct Reader<'a> {
    pub roles: Roles,
    pub now: Timestamp,
    pub zone: &'a TimeZone,
}

impl Reader<'_> {
    fn clock(&self, at: Timestamp) -> String {
        time_words::clock_time(at, self.now, self.zone, STAFF_LANGUAGE)
    }

    fn sees_names(&self) -> bool {
        self.roles.surgeon || self.roles.office
    }

    pub fn called(&self, one: &Running) -> CalledRow {
        CalledRow {
            id: one.ladder.id.to_string(),
            about: self.about(&one.thing),
            kind: words::ladder(one.ladder.kind),
            edge: match one.ladder.kind {
                LadderKind::GoNow => "go_now",
                LadderKind::RingNow => "ring_now",
                LadderKind::Overdue => "today",
            },
            began: format!(
                "{}, {}",
                self.clock(one.ladder.begun),
                time_words::ago(one.ladder.begun, self.now)
            ),
            rungs: one.rungs.iter().map(|rung| self.rung(rung)).collect(),
            next: match one.next {
                Some(next) if next.due <= self.now => format!("now: {}", words::told(next.told)),
                Some(next) => format!("{}: {}", self.clock(next.due), words::told(next.told)),
                None => "is being done".to_owned(),
            },
            marks: marks(one),
        }
    }

    fn rung(&self, fired: &FiredTo) -> RungLine {
        let people = fired
            .people
            .iter()
            .map(|person| PersonWord { name: person.name.clone(), unreachable: person.unreachable });
        RungLine {
            at: self.clock(fired.rung.fired),
            told: words::told(fired.rung.told),
            people: people.collect(),
            nobody: fired.rung.reached == 0 && fired.rung.told != Told::Patient,
        }
    }

    pub fn seen(&self, one: &SeenTo) -> SeenRow {
        SeenRow {
            about: self.about(&one.thing),
            by: one.by.clone(),
            since: self.clock(one.since),
            until: self.clock(one.until),
        }
    }

    pub fn alarm(&self, one: &OpenAlarm) -> AlarmRow {
        AlarmRow {
            id: one.alarm.id.to_string(),
            about: self.about(&one.thing),
            kind: words::alarm(one.alarm.kind),
            advice: words::advice(one.alarm.kind),
            began: format!("{}, {}", self.clock(one.alarm.begun), time_words::ago(one.alarm.begun, self.now)),
            taken: match (&one.taken_by, one.alarm.taken) {
                (Some(by), Some(since)) => format!("{by} sees to it since {}", self.clock(since)),
                (Some(_) | None, _) => String::new(),
            },
            ends_by_hand: ends_by_hand(one.alarm.kind),
        }
    }

    fn about(&self, thing: &Thing) -> About {
        match thing {
            Thing::Check(check) => About {
                title: self.named("Check of", check.whom.as_ref()),
                more: format!("{} · due {}", self.place(check.whom.as_ref()), self.clock(check.due))
                    .trim_start_matches(" · ")
                    .to_owned(),
                page: self.patient_page(check.whom.as_ref()),
                check: if self.roles.surgeon { check.id.to_string() } else { String::new() },
            },
            Thing::Call(call) => About {
                title: self.named("Call to", call.whom.as_ref()),
                more: format!("due {}", self.clock(call.due)),
                page: if self.sees_names() { format!("/callbacks/{}", call.id) } else { String::new() },
                check: String::new(),
            },
            Thing::Silent(silent) => About {
                title: self.named("Word from", silent.whom.as_ref()),
                more: self.place(silent.whom.as_ref()),
                page: if self.sees_names() { silent.page.clone() } else { String::new() },
                check: String::new(),
            },
            Thing::Letter(letter) => self.letter(letter),
            Thing::Job(job) => About {
                title: format!("“{}”", words::job(job.kind)),
                more: job.why.clone(),
                page: if self.roles.lead { "/practice/jobs".to_owned() } else { String::new() },
                check: String::new(),
            },
            Thing::Look(look) => About {
                title: format!("{}: {}", look.name, look.reason),
                more: match look.ended {
                    Some((at, _)) => format!("ended by a lead, {}", self.clock(at)),
                    None if look.is_running(self.now) => format!("runs until {}", self.clock(look.until)),
                    None => format!("ended by itself, {}", self.clock(look.until)),
                },
                page: if self.roles.lead { "/practice/envelope".to_owned() } else { String::new() },
                check: String::new(),
            },
            Thing::House => {
                About { title: String::new(), more: String::new(), page: String::new(), check: String::new() }
            }
        }
    }

    fn letter(&self, letter: &LetterThing) -> About {
        let what = words::notice(letter.notice.kind);
        let by = match &letter.delivery {
            Some(delivery) => {
                format!(
                    "{} to the {}",
                    words::channel(delivery.channel),
                    words::masked(delivery.channel, &delivery.address)
                )
            }
            None => "there is no address that works".to_owned(),
        };
        let (title, page) = match &letter.to {
            For::Staff(name) => (format!("“{what}” to {name}"), String::new()),
            For::Office => (format!("“{what}” to the office"), String::new()),
            For::Patient(whom) => {
                let name = whom.as_ref().filter(|_| self.sees_names());
                let to = name.map_or("a patient", |whom| whom.name.as_str());
                (format!("“{what}” to {to}"), self.patient_page(whom.as_deref()))
            }
        };
        About { title, more: by, page, check: String::new() }
    }

    fn named(&self, what: &str, whom: Option<&Whom>) -> String {
        match whom.filter(|_| self.sees_names()) {
            Some(whom) => format!("{what} {}", whom.name),
            None => format!("{what} a patient"),
        }
    }

    fn place(&self, whom: Option<&Whom>) -> String {
        whom.filter(|_| self.sees_names())
            .map_or_else(String::new, |whom| wound_words::place_line(&whom.operation))
    }

    fn patient_page(&self, whom: Option<&Whom>) -> String {
        let whom = whom.filter(|_| self.sees_names());
        whom.map_or_else(String::new, |whom| format!("/patients/{}", whom.patient))
    }
}

/// What else is wrong; that it is late is said by the ladder for what is late.
fn marks(one: &Running) -> Vec<&'static str> {
    let kind = words::ladder(one.ladder.kind);
    one.alarms.iter().map(|alarm| words::alarm(alarm.kind)).filter(|words| *words != kind).collect()
}
