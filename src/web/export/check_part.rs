//! The wound checks: what was answered, the photos and what was measured on them, and what a surgeon said.

use std::collections::BTreeMap;

use crate::care::export::Checked;
use crate::care::export::Pictured;
use crate::ids::PhotoId;
use crate::plan::day_number;
use crate::store::measurements::Author;
use crate::store::measurements::KeptMeasurement;
use crate::store::reviews::ComeInAnswer;
use crate::store::reviews::Review;
use crate::triage::Answers;
use crate::triage::Decision;
use crate::triage::QUESTIONS;
use crate::triage::Said;
use crate::web::chart_words;
use crate::web::export::document::Block;
use crate::web::export::document::Section;
use crate::web::export::document::Shown;
use crate::web::export::record_check;
use crate::web::export::teller::Teller;
use crate::web::patient::last_time;
use crate::web::patient::questions::option;
use crate::web::surgeon::answer_words;
use crate::web::surgeon::measure_words;
use crate::words::patient_export::ExportWords;
use crate::words::patient_questions::QuestionWords;
use crate::words::patient_questions::named;
use crate::wound::Measurement;
use crate::wound::Redness;
use crate::wound::Standing;

/// Where each photo of the copy lies, and its small picture as a `data:` address. One that is missing could not be read.
pub type Pictures = BTreeMap<PhotoId, (String, String)>;

/// Every check, oldest first.
pub fn checks(teller: &Teller<'_>, pictures: &Pictures) -> Section {
    let (words, episode) = (teller.words, teller.episode);
    let mut section = Section::new(words.checks());
    if episode.checks.is_empty() {
        section.lines(vec![words.no_checks()]);
    }
    for one in &episode.checks {
        check(teller, &mut section, one, pictures);
    }
    section
}

fn check(teller: &Teller<'_>, section: &mut Section, one: &Checked, pictures: &Pictures) {
    let (words, episode, check) = (teller.words, teller.episode, &one.check);
    let day = day_number(episode.wound.operation.operated, check.received, &episode.practice.zone);
    section.head(words.check(day, &teller.time(check.received)));
    section.lines(vec![words.receipt(&check.receipt)]);
    if teller.is_record() {
        section.lines(record_check::came(teller, check));
    }
    section.table([words.question(), words.answer()], answers(teller, &check.answers_shown()));
    for correction in episode.corrections.iter().filter(|of| of.check == check.id && of.review.is_none()) {
        section.quote(teller.corrected(correction), &teller.typed(&correction.words));
    }
    let earlier = one.versions.len().saturating_sub(1);
    for (sent, said) in one.versions.iter().take(earlier) {
        section.head(words.before_that(&teller.time(*sent)));
        section.table([words.question(), words.answer()], answers(teller, said));
    }
    if one.photos.is_empty() {
        section.lines(vec![words.no_photo()]);
    }
    for picture in &one.photos {
        section.blocks.push(Block::Photo(photo(teller, picture, pictures)));
    }
    if teller.is_record() {
        record_check::assessed(teller, section, one);
    }
    if one.reviews.is_empty() {
        section.lines(vec![words.not_decided()]);
    }
    for review in &one.reviews {
        decided(teller, section, review);
    }
}

/// Every question that was answered, in its order: in the patient's own words, or in the staff's for the record.
fn answers(teller: &Teller<'_>, answers: &Answers) -> Vec<[String; 2]> {
    let of = |id: &str| match teller.is_record() {
        true => answer_words::answer(answers, id).map(|said| (answer_words::label(id).to_owned(), said)),
        false => Some((title(id, teller.words), in_own_words(teller, answers, id))),
    };
    QUESTIONS
        .iter()
        .filter_map(|question| of(question.id))
        .filter(|(_, said)| !said.is_empty())
        .map(|(question, said)| [question, said])
        .collect()
}

fn title(id: &str, words: ExportWords) -> String {
    match id {
        "danger" => words.danger(),
        _ => named(QuestionWords::ALL, id, words.language()).unwrap_or(id).to_owned(),
    }
}

/// What was answered, as the patient's pages say it; empty: nothing.
fn in_own_words(teller: &Teller<'_>, answers: &Answers, id: &str) -> String {
    let language = teller.language();
    let not_sure = || option(id, "not_sure", language);
    match id {
        "words" => teller.typed_among_others(answers.words.trim()),
        "phone" => match &answers.phone {
            Said::Blank => String::new(),
            Said::NotSure => not_sure(),
            Said::Is(phone) => phone.entered.clone(),
        },
        "voicemail" | "who" => {
            let written = serde_json::to_value(answers).unwrap_or_default();
            let code = written.get(id).and_then(serde_json::Value::as_str).unwrap_or_default();
            if code.is_empty() { String::new() } else { option(id, code, language) }
        }
        _ => last_time::words(answers, id, language),
    }
}

fn photo(teller: &Teller<'_>, picture: &Pictured, pictures: &Pictures) -> Shown {
    let (words, photo) = (teller.words, &picture.photo);
    let mut lines = Vec::new();
    let (file, small) = match (pictures.get(&photo.id), &photo.renditions) {
        (Some((file, small)), Some(_)) => (file.clone(), small.clone()),
        (None, Some(_)) => {
            lines.push(words.photo_lost());
            (String::new(), String::new())
        }
        (_, None) => {
            lines.push(words.photo_unreadable());
            (String::new(), String::new())
        }
    };
    if teller.is_record() {
        lines.extend(photo.flags.iter().map(|flag| format!("Flag: {}", chart_words::photo_flag(flag))));
        lines.extend(
            picture
                .measured
                .iter()
                .enumerate()
                .flat_map(|(place, kept)| record_check::measured(teller, kept, place == 0)),
        );
    } else if photo.renditions.is_some() {
        match picture.measured.first() {
            Some(kept) => lines.extend(measured(teller, kept)),
            None => lines.push(words.not_measured()),
        }
    }
    Shown { caption: words.photo(photo.position), small, file, open: words.photo_open(), lines }
}

/// What was measured, with how far it can be off.
fn measured(teller: &Teller<'_>, kept: &KeptMeasurement) -> Vec<String> {
    let (words, found) = (teller.words, &kept.measurement);
    let lines = match found.standing {
        Standing::Refused => return vec![words.not_measured()],
        Standing::LowConfidence => return vec![words.not_sure()],
        Standing::Ok => figures(words, found),
    };
    let by = match kept.author {
        Author::Program => words.measured_by_program(),
        Author::Staff(id) => words.measured_by(&teller.name(id)),
    };
    let ranges = (!lines.is_empty()).then(|| words.ranges());
    std::iter::once(by).chain(lines).chain(ranges).collect()
}

fn figures(words: ExportWords, found: &Measurement) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(size) = found.counted_size() {
        lines.push(words.area(&measure_words::area_with_range(&size.area_mm2)));
        let [length, width] = [&size.length_mm, &size.width_mm].map(measure_words::length_with_range);
        lines.push(words.length_width(&length, &width));
    }
    match &found.redness {
        Redness::Reach(reach) => {
            lines.push(words.redness(&measure_words::length_with_range(&reach.p95_mm)));
        }
        Redness::CannotTell | Redness::NoContrast { .. } => lines.push(words.redness_unclear()),
        Redness::NotGiven { .. } => {}
    }
    if let Some(bed) = &found.bed {
        let [red, yellow, dark] =
            [&bed.granulation, &bed.yellow, &bed.dark].map(measure_words::share_with_range);
        lines.push(words.bed(&red, &yellow, &dark));
    }
    lines.extend(found.probed.depth_mm.map(|mm| words.depth(&measure_words::length(mm))));
    lines.extend(found.probed.undermining_mm.map(|mm| words.undermining(&measure_words::length(mm))));
    lines
}

fn decided(teller: &Teller<'_>, section: &mut Section, review: &Review) {
    let words = teller.words;
    let mut lines = vec![decision(review.decision, words)];
    lines.extend(review.come_in.map(|at| words.come_in_at(&teller.time(at))));
    lines.extend(review.come_in_answer.map(|answer| match answer {
        ComeInAnswer::WillCome => words.come_in_yes(),
        ComeInAnswer::CannotThen => words.come_in_no(),
    }));
    section.head(words.decided(&teller.name(review.surgeon), &teller.time(review.decided)));
    section.lines(lines);
    if teller.is_record() {
        section.rows(record_check::decided(teller, review));
    }
    let replies = teller.episode.thread.iter().filter(|message| message.review == Some(review.id));
    for reply in replies {
        section.quote(words.from_practice(), &teller.typed(&reply.body));
    }
    for correction in teller.episode.corrections.iter().filter(|of| of.review == Some(review.id)) {
        section.quote(teller.corrected(correction), &teller.typed(&correction.words));
    }
}

fn decision(decision: Decision, words: ExportWords) -> String {
    match decision {
        Decision::HealingAsExpected => words.decision_healing(),
        Decision::ChangeHomeCare => words.decision_home_care(),
        Decision::Antibiotic => words.decision_antibiotic(),
        Decision::ComeIn => words.decision_come_in(),
        Decision::CallByOffice => words.decision_call(),
        Decision::GoToEmergency => words.decision_emergency(),
        Decision::AnotherPhoto => words.decision_photo(),
    }
}
