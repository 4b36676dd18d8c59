//! The checklist's questions as a page shows them: from the rules' own list, so that none is missing.

use crate::triage::AnswerKind;
use crate::triage::Answers;
use crate::triage::Context;
use crate::triage::Fault;
use crate::triage::FaultKind;
use crate::triage::Question;
use crate::triage::Stage;
use crate::triage::is_optional;
use crate::web::patient::faults::about;
use crate::web::patient::last_time;
use crate::web::patient::typed::Typed;
use crate::words::Language;
use crate::words::patient_options::OptionWords;
use crate::words::patient_questions::QuestionWords;
use crate::words::patient_questions::named;

/// One question, ready to show.
#[derive(Clone, Debug)]
pub struct QuestionView {
    pub id: &'static str,
    pub title: String,
    /// Empty: none.
    pub hint: String,
    /// Who should answer; empty: everybody.
    pub only: String,
    /// Opened by what was answered before this page was made.
    pub open: bool,
    /// Nobody has to answer it.
    pub optional: bool,
    /// The answer in the check before; empty: none, or not to be shown on this phone.
    pub last: String,
    pub faults: Vec<String>,
    pub parts: Vec<Part>,
}

/// A piece of a question.
#[derive(Clone, Debug)]
pub enum Part {
    Choices(Choices),
    Entry(Entry),
    /// An entry few people need, behind its own label.
    Folded(Entry),
}

/// Things to tap.
#[derive(Clone, Debug)]
pub struct Choices {
    /// Empty: the question's title says it.
    pub label: String,
    pub name: &'static str,
    /// `radio` or `checkbox`.
    pub kind: &'static str,
    /// `rows`, `numbers`, `short` or `pictures`.
    pub layout: &'static str,
    pub options: Vec<OptionView>,
}

#[derive(Clone, Debug)]
pub struct OptionView {
    pub value: String,
    pub label: String,
    pub checked: bool,
}

/// Something to type.
#[derive(Clone, Debug)]
pub struct Entry {
    pub name: &'static str,
    pub label: String,
    pub value: String,
    /// Which keys a phone shows: `decimal`, `numeric` or `tel`.
    pub keys: &'static str,
    pub wrong: bool,
}

/// What the questions are made from.
pub struct Form<'a> {
    pub context: &'a Context,
    pub language: Language,
    pub typed: &'a Typed,
    /// As read from what was typed.
    pub answers: &'a Answers,
    pub faults: &'a [Fault],
    /// What was answered in the check before; `None`: there was none, or this phone may not read it.
    pub before: Option<&'a Answers>,
    /// How many strips went in; `None`: no strip.
    pub strips: Option<u8>,
}

impl Form<'_> {
    /// One question; `None` when this patient never meets it.
    pub fn question(&self, id: &str) -> Option<QuestionView> {
        let question = crate::triage::question(id)?;
        let asked = question.asked(self.answers, self.context);
        let can_open = match question.stage {
            Stage::Danger | Stage::Core | Stage::Optional | Stage::Close => asked,
            Stage::Branch => true,
            Stage::Special => asked || self.can_be_opened(question.id),
        };
        can_open.then(|| QuestionView {
            id: question.id,
            title: self.title(question.id),
            hint: self.hint(question.id),
            only: self.sentence(&format!("{}_only", question.id)),
            open: asked,
            optional: is_optional(question.id),
            last: self.last(question.id),
            faults: self.faults_of(question),
            parts: self.parts(question),
        })
    }

    /// Whether an answer on the page can open this question for this patient.
    fn can_be_opened(&self, id: &str) -> bool {
        match id {
            "sugar_sick" | "ketones" => {
                self.context.has_diabetes() == Some(true) || self.context.sglt2 == Some(true)
            }
            "stool_blood" => self.context.antibiotic == Some(true),
            _ => false,
        }
    }

    fn sentence(&self, name: &str) -> String {
        named(QuestionWords::ALL, name, self.language).unwrap_or_default().to_owned()
    }

    /// "Last time: …", or empty.
    pub fn last(&self, id: &str) -> String {
        let said = self.before.map(|before| last_time::words(before, id, self.language)).unwrap_or_default();
        if said.is_empty() { said } else { QuestionWords(self.language).last_time(&said) }
    }

    pub fn title(&self, id: &str) -> String {
        self.sentence(id)
    }

    fn hint(&self, id: &str) -> String {
        match (id, self.strips) {
            ("strip", Some(1)) => QuestionWords(self.language).strip_one(),
            ("strip", Some(pieces)) => QuestionWords(self.language).strip_many(pieces),
            _ => self.sentence(&format!("{id}_hint")),
        }
    }

    fn faults_of(&self, question: &Question) -> Vec<String> {
        let own = |fault: &&Fault| question.fields.contains(&fault.field);
        self.faults.iter().filter(own).map(|fault| about(fault, self.language)).collect()
    }

    fn parts(&self, question: &Question) -> Vec<Part> {
        match question.kind {
            AnswerKind::One(codes) => {
                let not_sure: &[&str] =
                    if matches!(question.id, "who" | "strip" | "voicemail") { &[] } else { &["not_sure"] };
                let layout = if codes.len() <= 3 { "short" } else { "rows" };
                vec![self.choices(question.id, "radio", layout, &[codes, not_sure].concat())]
            }
            AnswerKind::Many(codes) => {
                vec![self.choices(question.id, "checkbox", "rows", &[codes, &["none", "not_sure"]].concat())]
            }
            AnswerKind::Whole { .. } => self.whole_numbers(question),
            AnswerKind::Temperature => self.temperature(question),
            AnswerKind::BandOrRuler(codes) => vec![
                self.choices(question.id, "radio", "pictures", &[codes, &["not_sure"]].concat()),
                Part::Folded(self.entry("edge_mm", "edge_mm", "numeric")),
            ],
            AnswerKind::Pace => vec![
                Part::Entry(self.entry("edge_cm", "edge_cm", "decimal")),
                Part::Entry(self.entry("edge_hours", "edge_in_hours", "numeric")),
                self.choices("edge_hours", "checkbox", "rows", &["not_sure"]),
            ],
            AnswerKind::Sugar => self.sugar(),
            AnswerKind::Ketones(codes) => vec![
                Part::Entry(self.entry("ketones", "ketones_blood", "decimal")),
                self.labelled("ketones_urine", "radio", "rows", &[codes, &["not_sure"]].concat()),
            ],
            AnswerKind::Phone => vec![Part::Entry(self.entry("phone", "phone_number", "tel"))],
            AnswerKind::Words => Vec::new(),
        }
    }

    /// Pain and washes are tapped: 0 to 10, and for washes 0 to 6, where 6 also stands for more (nobody washes more
    /// often). Other numbers are typed, with "not sure" beside them but where nobody has to measure.
    fn whole_numbers(&self, question: &Question) -> Vec<Part> {
        let tapped: &[&str] = match question.id {
            "wash" => &["0", "1", "2", "3", "4", "5", "6", "not_sure"],
            "pain" => &["0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "not_sure"],
            _ => {
                let label = format!("{}_number", question.id);
                let mut parts = vec![Part::Entry(self.entry(question.id, &label, "numeric"))];
                if question.stage != Stage::Optional {
                    parts.push(self.choices(question.id, "checkbox", "rows", &["not_sure"]));
                }
                return parts;
            }
        };
        vec![self.choices(question.id, "radio", "numbers", tapped)]
    }

    fn temperature(&self, question: &Question) -> Vec<Part> {
        let mut parts = Vec::new();
        for field in question.fields {
            match *field {
                "temp" | "temp_again" => {
                    parts.push(Part::Entry(self.entry(field, "temp_number", "decimal")));
                }
                unit => parts.push(self.labelled(unit, "radio", "short", &["f", "c"])),
            }
        }
        if question.id == "temp" {
            parts.push(self.choices("temp", "checkbox", "rows", &["none", "not_sure"]));
        }
        parts
    }

    fn sugar(&self) -> Vec<Part> {
        let unit_is_asked =
            self.faults.iter().any(|fault| fault.field == "sugar_unit" && fault.kind == FaultKind::WhichUnit)
                || !self.typed.text("sugar_unit_checked").is_empty();
        let mut parts = vec![
            Part::Entry(self.entry("sugar", "sugar_number", "decimal")),
            self.labelled("sugar_unit", "radio", "short", &["mg_dl", "mmol_l"]),
        ];
        if unit_is_asked {
            parts.push(self.labelled("sugar_unit_checked", "radio", "short", &["mg_dl", "mmol_l"]));
        }
        parts.push(Part::Entry(self.entry("sugar_hours", "sugar_hours", "numeric")));
        parts.push(self.choices("sugar", "checkbox", "rows", &["lo", "hi", "not_sure"]));
        parts
    }

    fn entry(&self, name: &'static str, label: &str, keys: &'static str) -> Entry {
        Entry {
            name,
            label: self.sentence(label),
            value: self.typed.text(name).to_owned(),
            keys,
            wrong: self.faults.iter().any(|fault| fault.field == name),
        }
    }

    fn choices(&self, name: &'static str, kind: &'static str, layout: &'static str, codes: &[&str]) -> Part {
        let options = codes.iter().map(|code| OptionView {
            value: (*code).to_owned(),
            label: option(name, code, self.language),
            checked: self.typed.has(name, code),
        });
        Part::Choices(Choices { label: String::new(), name, kind, layout, options: options.collect() })
    }

    fn labelled(&self, name: &'static str, kind: &'static str, layout: &'static str, codes: &[&str]) -> Part {
        let mut part = self.choices(name, kind, layout, codes);
        if let Part::Choices(choices) = &mut part {
            choices.label = self.sentence(if name == "temp_again_unit" { "temp_unit" } else { name });
        }
        part
    }
}

/// What an answer's code says: its own words under its question, or the words all questions share.
pub fn option(name: &str, code: &str, language: Language) -> String {
    let question = match name {
        "temp_again_unit" => "temp_unit",
        "sugar_unit_checked" => "sugar_unit",
        "ketones_urine" => "ketones",
        other => other,
    };
    named(OptionWords::ALL, &format!("{question}_{code}"), language)
        .or_else(|| named(OptionWords::ALL, code, language))
        .map_or_else(|| code.to_owned(), str::to_owned)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Diabetes;
    use crate::plan::Site;
    use crate::triage::QUESTIONS;
    use crate::triage::StripKnown;

    fn context() -> Context {
        Context {
            site: Site::Thigh,
            diabetes: Some(Diabetes::T2),
            sglt2: None,
            blood_thinner: None,
            antibiotic: Some(true),
            strip: StripKnown::Unresolved,
        }
    }

    fn is_number(code: &str) -> bool {
        code.chars().all(|sign| sign.is_ascii_digit())
    }

    #[test]
    fn every_question_and_every_answer_has_words_in_both_languages() {
        let (typed, answers) = (Typed::default(), Answers::default());
        for language in Language::ALL {
            let context = context();
            let form = Form {
                context: &context,
                language,
                typed: &typed,
                answers: &answers,
                faults: &[],
                before: None,
                strips: Some(2),
            };
            // The danger screen has words of its own, matched in full.
            for question in QUESTIONS.iter().filter(|question| question.id != "danger") {
                assert!(!form.title(question.id).is_empty(), "{}", question.id);
                for part in form.parts(question) {
                    match part {
                        Part::Entry(entry) | Part::Folded(entry) => assert!(!entry.label.is_empty()),
                        Part::Choices(choices) => {
                            for shown in choices.options {
                                let plain = is_number(&shown.value) || shown.label != shown.value;
                                assert!(plain, "{}: {}", question.id, shown.value);
                            }
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn every_branch_says_who_it_is_for() {
        let (typed, answers, context) = (Typed::default(), Answers::default(), context());
        let language = Language::English;
        let form = Form {
            context: &context,
            language,
            typed: &typed,
            answers: &answers,
            faults: &[],
            before: None,
            strips: None,
        };
        for question in QUESTIONS.iter().filter(|question| question.stage == Stage::Branch) {
            let view = form.question(question.id).unwrap();
            // A second temperature is asked for by the first one's fault, which says why.
            assert!(!view.only.is_empty() || question.id == "temp_again", "{}", question.id);
        }
    }
}
