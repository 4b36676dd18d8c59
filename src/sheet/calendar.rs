//! The care plan as dated lines in the patient's language.

use jiff::SignedDuration;

use crate::plan::Packing;
use crate::plan::PlanStep;
use crate::plan::StepKind;
use crate::sheet::contents::SheetContents;
use crate::words::calendar::day_and_hour;
use crate::words::calendar::long_day;
use crate::words::calendar::short_day;
use crate::words::sheet::SheetWords;

/// Centimetres in an inch.
const CM_PER_INCH: f64 = 2.54;

/// One row of the plan: a label, when, and what to do then.
pub struct PlanRow {
    pub label: String,
    pub when: String,
    pub how: Vec<String>,
    /// Days to tick off; only the photo row has some.
    pub days: Vec<String>,
}

/// Strip and washing in order of their dates, then the photo days, then the plan's end.
pub fn plan_rows(contents: &SheetContents) -> Vec<PlanRow> {
    let mut care = Vec::new();
    let mut photo_days = Vec::new();
    let mut end = Vec::new();
    for step in &contents.plan {
        match step.kind {
            StepKind::PackingRemoval | StepKind::WashTwiceDaily | StepKind::WashDaily => {
                care.push(care_row(contents, step));
            }
            // Standing things the sheet says elsewhere, and dates that come up later.
            StepKind::Dressing
            | StepKind::PainPill
            | StepKind::Antibiotic
            | StepKind::AntibioticCheck
            | StepKind::AntibioticEnd
            | StepKind::Visit => {}
            StepKind::Photo => photo_days.push(short_day(contents.language, contents.local(step.from))),
            StepKind::PlanEnd => end.push(care_row(contents, step)),
        }
    }
    if !photo_days.is_empty() {
        let words = SheetWords(contents.language);
        care.push(PlanRow {
            label: words.photo_label(),
            when: words.photo_when(),
            how: Vec::new(),
            days: photo_days,
        });
    }
    care.extend(end);
    care
}

fn care_row(contents: &SheetContents, step: &PlanStep) -> PlanRow {
    let words = SheetWords(contents.language);
    let long = |when| long_day(contents.language, contents.local(when));
    // A period ends at midnight, which is the day after its last.
    let last_moment = step.due.checked_sub(SignedDuration::from_secs(1)).unwrap_or(step.due);
    let (label, when, how) = match step.kind {
        StepKind::PackingRemoval => (
            words.strip_out_label(),
            words.strip_out_when(&day_and_hour(contents.language, contents.local(step.due))),
            strip_removal(words, contents.packing),
        ),
        StepKind::WashTwiceDaily => {
            (words.wash_label(), words.wash_twice(&long(step.from), &long(last_moment)), Vec::new())
        }
        StepKind::WashDaily => {
            (words.wash_label(), words.wash_once(&long(step.from)), vec![words.wash_how()])
        }
        StepKind::Photo
        | StepKind::Dressing
        | StepKind::PainPill
        | StepKind::Antibiotic
        | StepKind::AntibioticCheck
        | StepKind::AntibioticEnd
        | StepKind::Visit => (words.photo_label(), words.photo_when(), Vec::new()),
        StepKind::PlanEnd => (words.end_label(), words.end_when(&long(step.due)), Vec::new()),
    };
    PlanRow { label, when, how, days: Vec::new() }
}

fn strip_removal(words: SheetWords, packing: Option<Packing>) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(packing) = packing {
        let mut strips = match packing.pieces {
            1 => words.strip_one(),
            pieces => words.strip_many(pieces),
        };
        if let Some(length_cm) = packing.length_cm {
            let inches = (length_cm / CM_PER_INCH).round() as i64;
            strips = format!("{strips} {}", words.strip_length(length_cm.round() as i64, inches));
        }
        lines.push(strips);
    }
    lines.push(words.strip_pill());
    lines.push(format!("{} {}", words.strip_soak(), words.strip_pull()));
    lines.push(words.strip_blood());
    lines.push(words.strip_all_out());
    lines
}
