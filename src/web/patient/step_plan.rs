//! The wound check cut into steps: danger first, then the questions part by part, each only when it is asked.

use crate::triage::Answers;
use crate::triage::Context;
use crate::triage::QUESTIONS;
use crate::triage::question;
use crate::web::patient::check_page::PARTS;

/// One step of the form.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Step {
    /// In the address: `danger`, `last`, or a part's name.
    pub code: &'static str,
    /// The questions asked here, after what was answered so far. Empty for the last: it asks for photos and words.
    pub asked: Vec<&'static str>,
}

impl Step {
    /// The form fields of everything this step can ask, asked now or not.
    pub fn fields(&self) -> Vec<&'static str> {
        let ids: Vec<&str> = match self.code {
            DANGER => vec!["who", "danger"],
            LAST => vec!["words", "phone", "voicemail"],
            code => part(code).map(|(_, ids)| ids.to_vec()).unwrap_or_default(),
        };
        QUESTIONS
            .iter()
            .filter(|question| ids.contains(&question.id))
            .flat_map(|question| question.fields)
            .copied()
            .collect()
    }
}

/// The step with this code, whether it is asked of this patient now or not; `None`: there is none.
pub fn called(code: &str) -> Option<Step> {
    let parts = PARTS.iter().filter_map(|(name, _)| name.strip_prefix("part_"));
    let known = [DANGER, LAST].into_iter().chain(parts).find(|known| *known == code)?;
    Some(Step { code: known, asked: Vec::new() })
}

pub const DANGER: &str = "danger";
pub const LAST: &str = "last";

fn part(code: &str) -> Option<&'static (&'static str, &'static [&'static str])> {
    PARTS.iter().find(|(name, _)| name.strip_prefix("part_") == Some(code))
}

/// The steps this patient goes through, after what was answered so far. A part nothing is asked of is left out.
pub fn plan(answers: &Answers, context: &Context) -> Vec<Step> {
    let is_asked = |id: &&&str| question(id).is_some_and(|question| question.asked(answers, context));
    let parts = PARTS.iter().filter_map(|(name, ids)| {
        let asked: Vec<&'static str> = ids.iter().filter(is_asked).copied().collect();
        let code = name.strip_prefix("part_").unwrap_or(name);
        (!asked.is_empty()).then_some(Step { code, asked })
    });
    std::iter::once(Step { code: DANGER, asked: vec!["who", "danger"] })
        .chain(parts)
        .chain(std::iter::once(Step { code: LAST, asked: Vec::new() }))
        .collect()
}

/// Where to go on: at the first step that has a question nobody has seen yet.
pub fn resume(steps: &[Step], shown: &[String]) -> usize {
    let is_new = |step: &Step| step.asked.iter().any(|id| !shown.iter().any(|seen| seen == id));
    steps.iter().position(is_new).unwrap_or(steps.len().saturating_sub(1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Diabetes;
    use crate::plan::Site;
    use crate::triage::StripKnown;
    use crate::triage::is_optional;
    use crate::triage::read;

    fn context(site: Site) -> Context {
        Context {
            site,
            diabetes: Some(Diabetes::None),
            sglt2: Some(false),
            blood_thinner: Some(false),
            antibiotic: Some(false),
            strip: StripKnown::NeverPlaced,
        }
    }

    fn answered(fields: &[(&str, &str)], context: &Context) -> Answers {
        let fields: Vec<(String, String)> =
            fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        read(&fields, context).answers
    }

    fn codes(steps: &[Step]) -> Vec<&str> {
        steps.iter().map(|step| step.code).collect()
    }

    #[test]
    fn danger_comes_first_and_sending_last_and_only_what_is_asked_is_a_step() {
        let steps = plan(&Answers::default(), &context(Site::Thigh));
        assert_eq!(codes(&steps), ["danger", "feel", "skin", "pain", "fluid", "care", "body", "last"]);
        let everything =
            Context { diabetes: Some(Diabetes::T1), antibiotic: Some(true), ..context(Site::Perianal) };
        let steps = plan(&Answers::default(), &everything);
        assert_eq!(
            codes(&steps),
            ["danger", "feel", "skin", "pain", "fluid", "care", "pills", "sugar", "site", "body", "last"]
        );
    }

    #[test]
    fn a_branch_is_asked_in_the_step_that_opens_it_or_in_a_later_one() {
        let context =
            Context { diabetes: Some(Diabetes::T1), antibiotic: Some(true), ..context(Site::Perianal) };
        // Where each question stands, and every question its answer opens.
        let opened: &[(&str, &[(&str, &str)])] = &[
            ("temp_again", &[("temp", "35.0")]),
            ("feels_feverish", &[("temp", "none")]),
            ("fever_pill", &[("chills", "hot_cold")]),
            ("edge_hours", &[("edge_move", "bigger")]),
            ("warm_hard_trend", &[("warm_hard", "hot")]),
            ("streaks", &[("warm_hard", "hot")]),
            ("pain_just_packed", &[("pain", "7")]),
            ("drain_amount", &[("drain", "clear")]),
            ("lump_back", &[("drain", "clear"), ("drain_amount", "more")]),
            ("stool_blood", &[("loose_stools", "3")]),
            ("ketones", &[("better", "worse")]),
        ];
        for (id, fields) in opened {
            let closed = plan(&Answers::default(), &context);
            let open = plan(&answered(fields, &context), &context);
            let place = |steps: &[Step], id: &str| steps.iter().position(|step| step.asked.contains(&id));
            assert_eq!(place(&closed, id), None, "{id}");
            let opener = crate::triage::QUESTIONS
                .iter()
                .find(|question| question.fields.contains(&fields[0].0))
                .unwrap()
                .id;
            assert!(place(&open, id) >= place(&open, opener), "{id}");
        }
    }

    #[test]
    fn going_on_begins_at_the_first_question_nobody_has_seen() {
        let context = context(Site::Thigh);
        let steps = plan(&Answers::default(), &context);
        assert_eq!(resume(&steps, &[]), 0);
        let seen: Vec<String> =
            steps[..3].iter().flat_map(|step| step.asked.iter().map(|id| (*id).to_owned())).collect();
        assert_eq!(steps[resume(&steps, &seen)].code, "pain");
        // A branch in a step that was seen leads back to it.
        let opened = plan(&answered(&[("edge_move", "bigger")], &context), &context);
        assert_eq!(opened[resume(&opened, &seen)].code, "skin");
        let all: Vec<String> =
            steps.iter().flat_map(|step| step.asked.iter().map(|id| (*id).to_owned())).collect();
        assert_eq!(steps[resume(&steps, &all)].code, "last");
    }

    #[test]
    fn every_field_of_the_form_belongs_to_one_step() {
        let everything =
            Context { diabetes: Some(Diabetes::T1), antibiotic: Some(true), ..context(Site::Hand) };
        let mut fields: Vec<&str> =
            plan(&Answers::default(), &everything).iter().flat_map(Step::fields).collect();
        let count = fields.len();
        fields.sort_unstable();
        fields.dedup();
        assert_eq!(fields.len(), count);
        let all: usize = QUESTIONS.iter().map(|question| question.fields.len()).sum();
        assert_eq!(count, all);
        assert!(is_optional("phone"));
    }
}
