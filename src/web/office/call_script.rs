//! What to say on a call: in the patient's language, with the English beside it where that is another.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::store::patients::Patient;
use crate::store::practices::Practice;
use crate::triage::SilenceKind;
use crate::web::patient::clock;
use crate::words::Language;
use crate::words::call_script::ScriptWords;

/// One sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    pub says: String,
    /// The same for the caller; empty: the patient speaks English.
    pub english: String,
}

/// What a call is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum About {
    /// Something that did not come. `when`: of the visit, where there is one.
    Silence { kind: SilenceKind, when: Option<Timestamp> },
    /// What a surgeon decided.
    Decision,
}

/// The call from greeting to good-bye.
#[derive(Clone, Debug)]
pub struct Script {
    /// Code of the language it is said in.
    pub lang: &'static str,
    pub open: Vec<Line>,
    pub why: Vec<Line>,
    /// Any yes to these: what `if_yes` says.
    pub danger: Vec<Line>,
    pub if_yes: Line,
    pub close: Vec<Line>,
    pub voicemail: Line,
    pub others: Line,
}

/// What the words are filled with.
#[derive(Clone, Copy, Debug)]
pub struct Facts<'a> {
    pub practice: &'a Practice,
    pub patient: &'a Patient,
    pub caller: &'a str,
    pub now: Timestamp,
}

pub fn script(about: About, facts: Facts<'_>) -> Script {
    let Facts { practice, patient, caller, now } = facts;
    let language = patient.language;
    let line = |say: &dyn Fn(ScriptWords) -> String| Line {
        says: say(ScriptWords(language)),
        english: match language {
            Language::English => String::new(),
            Language::Spanish => say(ScriptWords(Language::English)),
        },
    };
    let (phone, emergency) = (practice.phone.as_str(), practice.emergency_number.as_str());
    let mut open = vec![
        line(&|words| words.open(caller, &practice.name)),
        line(&|words| words.who(&patient.name)),
        line(&|words| words.born()),
    ];
    if needs_interpreter(patient) {
        open.push(line(&|words| words.interpreter()));
    }
    let when = |at: Option<Timestamp>, words: ScriptWords| {
        at.map_or_else(String::new, |at| spoken(at, now, &practice.zone, words.language()))
    };
    let mut why = vec![line(&|words| match about {
        About::Decision => words.why_decision(),
        About::Silence { kind, when: at } => match kind {
            SilenceKind::Check => words.why_check(),
            SilenceKind::Strip => words.why_strip(),
            SilenceKind::ComeIn => words.why_come_in(&when(at, words)),
            SilenceKind::Visit => words.why_visit(&when(at, words)),
            SilenceKind::Reply => words.why_reply(),
            SilenceKind::Arrival => words.why_arrival(),
            SilenceKind::Culture => words.why_culture(),
        },
    })];
    match about {
        About::Silence { kind: SilenceKind::Check, .. } => why.push(line(&|words| words.will_you())),
        About::Silence { kind: SilenceKind::Strip, .. } => why.push(line(&|words| words.strip_how())),
        About::Silence { .. } | About::Decision => {}
    }
    Script {
        lang: language.code(),
        open,
        why,
        danger: vec![
            line(&|words| words.ask_worse()),
            line(&|words| words.ask_fever()),
            line(&|words| words.ask_bleed()),
            line(&|words| words.ask_ill()),
        ],
        if_yes: line(&|words| words.if_yes(emergency)),
        close: vec![line(&|words| words.say_back()), line(&|words| words.close(phone, emergency))],
        voicemail: line(&|words| words.voicemail(&practice.name, phone)),
        others: line(&|words| words.others(phone)),
    }
}

/// As entered; without that, whoever does not speak English.
pub fn needs_interpreter(patient: &Patient) -> bool {
    patient.interpreter.unwrap_or(patient.language != Language::English)
}

fn spoken(at: Timestamp, now: Timestamp, zone: &TimeZone, language: Language) -> String {
    clock::when(at, now, zone, language)
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;
    use crate::ids::Chance;
    use crate::ids::Moment;
    use crate::ids::PatientId;
    use crate::ids::PracticeId;
    use crate::sheet::Paper;

    fn spanish(interpreter: Option<bool>) -> Script {
        let now: Timestamp = "2026-03-04T15:00:00Z".parse().unwrap();
        let moment = Moment::new(now, Chance::seeded(1));
        let practice = Practice {
            id: PracticeId::mint(&moment),
            name: "Alder Street Surgery".to_owned(),
            phone: "202-555-0144".to_owned(),
            emergency_number: "911".to_owned(),
            zone: TimeZone::UTC,
            paper: Paper::Letter,
            opens_minute: 480,
            closes_minute: 1_020,
        };
        let patient = Patient {
            id: PatientId::mint(&moment),
            practice: practice.id,
            name: "Rosa Ibarra".to_owned(),
            born: date(1970, 5, 1),
            phone: "202-555-0101".to_owned(),
            language: Language::Spanish,
            helper_name: None,
            helper_phone: None,
            interpreter,
        };
        let about = About::Silence { kind: SilenceKind::Strip, when: None };
        script(about, Facts { practice: &practice, patient: &patient, caller: "Noor", now })
    }

    #[test]
    fn the_script_is_in_the_patients_language_with_english_beside_it() {
        let script = spanish(None);
        assert_eq!(script.why[0].says, "La tira de gasa ya debe estar afuera. ¿Salió toda?");
        assert_eq!(script.why[0].english, "The gauze strip should be out by now. Is all of it out?");
        assert_eq!(script.open.len(), 4, "an interpreter is offered");
        assert_eq!(spanish(Some(false)).open.len(), 3);
    }

    #[test]
    fn who_it_is_comes_before_why_and_a_voice_message_says_neither_name_nor_matter() {
        let script = spanish(None);
        assert!(script.open[2].english.contains("date of birth"));
        for said in [&script.voicemail, &script.others] {
            for text in [&said.says, &said.english] {
                for secret in ["Rosa", "Ibarra", "gauze", "gasa", "wound", "herida", "surgeon"] {
                    assert!(!text.contains(secret), "{text}");
                }
            }
        }
    }
}
