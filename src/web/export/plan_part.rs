//! The patient, the operation, the care plan and what came of it.

use crate::plan::EndWhy;
use crate::plan::StepShape;
use crate::store::plan::ChangeKind;
use crate::store::plan::KeptStep;
use crate::store::plan::PlanChange;
use crate::store::strip_attempts::StripAttempt;
use crate::web::export::document::Row;
use crate::web::export::document::Section;
use crate::web::export::teller::Teller;
use crate::web::patient::questions::option;
use crate::web::wound_words;
use crate::words::Language;

/// Who it is about.
pub fn patient(teller: &Teller<'_>) -> Section {
    let (words, episode) = (teller.words, teller.episode);
    let (patient, operation) = (&episode.patient, &episode.wound.operation);
    let mut section = Section::new(words.patient());
    let helper = [&patient.helper_name, &patient.helper_phone];
    let helper: Vec<&str> = helper.into_iter().flatten().map(String::as_str).collect();
    section.rows(vec![
        Row::new(words.patient(), patient.name.clone()),
        Row::new(words.born(), patient.born.to_string()),
        Row::new(words.phone(), patient.phone.clone()),
        Row::new(words.helper(), helper.join(", ")),
        Row::new(words.place(), wound_words::place(operation, teller.language())),
        Row::new(words.procedure(), teller.typed_among_others(&operation.procedure)),
        Row::new(words.operated(), teller.time(operation.operated)),
        Row::new(words.surgeon(), teller.name(episode.wound.surgeon)),
        Row::new(words.strip_out(), teller.time_maybe(episode.wound.strip_out)),
    ]);
    if let Some(packing) = operation.packing {
        let mut lines = vec![words.strips(packing.pieces)];
        lines.extend(packing.length_cm.map(|cm| words.strip_length(&format!("{cm:.0}"))));
        section.lines(lines);
    }
    section
}

/// The plan's steps, what was changed in it, and each try at the strip.
pub fn plan(teller: &Teller<'_>) -> Section {
    let (words, episode) = (teller.words, teller.episode);
    let mut section = Section::new(words.plan());
    if let Some(ended) = episode.standing.ended {
        let why = match ended.why {
            EndWhy::Healed => words.ended_healed(),
            EndWhy::Transferred => words.ended_transferred(),
            EndWhy::Lost => words.ended_lost(),
        };
        section.rows(vec![Row::new(words.plan_ended(), format!("{}\n{why}", teller.time(ended.at)))]);
    }
    let steps = episode.steps.iter().map(|kept| step(teller, kept)).collect();
    section.table([words.step(), words.when(), words.became()], steps);
    section.list(words.changes(), episode.changes.iter().map(|one| change(teller, one)).collect());
    let tries = episode.strip_tries.iter().flat_map(|one| strip_try(teller, one)).collect();
    section.list(words.tries(), tries);
    section
}

fn step(teller: &Teller<'_>, kept: &KeptStep) -> [String; 3] {
    let words = teller.words;
    let text = teller.episode.plan_text.of(kept.step.kind);
    let title = match teller.language() {
        Language::English => text.title.en,
        Language::Spanish => text.title.es,
    };
    let shape = kept.step.kind.shape();
    let when = match shape {
        StepShape::Once => teller.time(kept.step.due),
        StepShape::Standing => words.from_to(&teller.day(kept.step.from), &teller.day(kept.step.due)),
    };
    let became = match (kept.done, kept.cancelled, shape) {
        (Some(done), _, _) => words.done(&teller.time(done)),
        (None, Some(cancelled), _) => words.dropped(&teller.time(cancelled)),
        (None, None, StepShape::Once) if kept.step.kind.is_awaited() => words.still_open(),
        (None, None, StepShape::Once) => String::new(),
        (None, None, StepShape::Standing) => words.goes_on(),
    };
    [teller.episode.plan_text.fill(&title), when, became]
}

fn change(teller: &Teller<'_>, change: &PlanChange) -> String {
    let (words, becomes) = (teller.words, teller.time_maybe(change.becomes));
    let what = match change.kind {
        ChangeKind::Moved => words.change_moved(&teller.time_maybe(change.was), &becomes),
        ChangeKind::Done => words.change_done(),
        ChangeKind::Paused => words.change_paused(&becomes),
        ChangeKind::Resumed => words.change_resumed(),
        ChangeKind::WashTwice => words.change_wash_twice(),
        ChangeKind::WashOnce => words.change_wash_once(),
        ChangeKind::Visit => words.change_visit(&becomes),
        ChangeKind::Ended => words.change_ended(),
    };
    let mut line = format!("{}: {what}", teller.time(change.at));
    // Reasons are written for colleagues.
    if teller.is_record() {
        line.push_str(&format!(" ({})", teller.name(change.by)));
        if !change.reason.is_empty() {
            line.push_str(&format!(" — {}", change.reason));
        }
    }
    line
}

fn strip_try(teller: &Teller<'_>, tried: &StripAttempt) -> Vec<String> {
    let words = teller.words;
    let mut lines = vec![words.try_began(&teller.time(tried.began))];
    if let Some((said, at)) = tried.said {
        lines.push(format!("{}: {}", teller.time(at), option("strip", said.code(), teller.language())));
    }
    lines.extend(tried.counted.pieces.map(|pieces| words.try_counted(pieces)));
    lines.extend(tried.counted.length_cm.map(|cm| words.try_length(cm)));
    lines
}
