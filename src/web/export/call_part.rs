//! Messages, calls, antibiotics, and words left at a closed link.

use crate::care::export::Call;
use crate::care::export::Quiet;
use crate::store::antibiotics::Culture;
use crate::store::thread::Sender;
use crate::triage::CallOutcome;
use crate::triage::CallResult;
use crate::triage::Whom;
use crate::web::export::document::Row;
use crate::web::export::document::Section;
use crate::web::export::record_part;
use crate::web::export::teller::Teller;

/// The thread, oldest first.
pub fn messages(teller: &Teller<'_>) -> Section {
    let (words, episode) = (teller.words, teller.episode);
    let mut section = Section::new(words.messages_heading());
    if episode.thread.is_empty() {
        section.lines(vec![words.no_messages()]);
    }
    for message in &episode.thread {
        let from = match (message.sender, message.staff) {
            (Sender::Patient, _) => words.from_you(),
            (Sender::Practice, Some(id)) => teller.name(id),
            (Sender::Practice, None) => words.from_practice(),
        };
        let mut above = format!("{from}: {}", teller.time(message.sent));
        if message.sender == Sender::Practice
            && let Some(read) = message.read
        {
            above = format!("{above} · {}", words.read_at(&teller.time(read)));
        }
        section.quote(above, &teller.typed(&message.body));
    }
    let left: Vec<_> = episode.knocks.iter().filter(|knock| !knock.words.trim().is_empty()).collect();
    if !left.is_empty() {
        section.head(words.knocks());
        for knock in left {
            section.quote(teller.time(knock.last), &teller.typed(&knock.words));
        }
    }
    section
}

/// Every call about a check, and about something that did not come.
pub fn calls(teller: &Teller<'_>) -> Section {
    let (words, episode) = (teller.words, teller.episode);
    let mut section = Section::new(words.calls());
    let begins = section.blocks.len();
    for call in episode.checks.iter().flat_map(|one| &one.calls) {
        of_check(teller, &mut section, call);
    }
    for quiet in &episode.silences {
        of_silence(teller, &mut section, quiet);
    }
    if section.blocks.len() == begins {
        section.lines(vec![words.no_calls()]);
    }
    section
}

fn of_check(teller: &Teller<'_>, section: &mut Section, call: &Call) {
    let words = teller.words;
    if call.attempts.is_empty() && !teller.is_record() {
        return;
    }
    if teller.is_record() {
        section.head(format!("Call asked for: {}", teller.time(call.callback.created)));
        section.rows(record_part::callback(teller, &call.callback));
    }
    for attempt in &call.attempts {
        section.head(teller.time(attempt.at));
        let mut lines = vec![whom(teller, attempt.whom), result(teller, attempt.result)];
        if !attempt.spoke_with.is_empty() {
            lines.push(words.call_spoke_with(&teller.typed(&attempt.spoke_with)));
        }
        if teller.is_record() {
            lines.extend(record_part::attempt(teller, attempt.staff, attempt.interpreter, &attempt.note));
        }
        section.lines(lines);
    }
    let ask = teller.typed(&call.callback.ask);
    let told: Vec<String> =
        ask.lines().map(str::trim).filter(|line| !line.is_empty()).map(str::to_owned).collect();
    // What was to be said was said once somebody spoke.
    if call.attempts.iter().any(|attempt| attempt.result == CallResult::Spoke) || teller.is_record() {
        section.list(words.call_told(), told);
    }
    let callback = &call.callback;
    let ended = callback.outcome.map(|outcome| match outcome {
        CallOutcome::WillFollowAdvice => words.outcome_follows(),
        CallOutcome::VisitBooked => words.outcome_visit(&teller.time_maybe(callback.visit)),
        CallOutcome::WentToEmergency => words.outcome_emergency(&teller.typed(&callback.emergency_place)),
        CallOutcome::CouldNotReach => words.outcome_not_reached(),
    });
    section.rows(vec![Row::new(words.outcome(), ended.unwrap_or_default())]);
}

fn of_silence(teller: &Teller<'_>, section: &mut Section, quiet: &Quiet) {
    let words = teller.words;
    if teller.is_record() {
        section.head(format!("Silence since {}", teller.time(quiet.silence.since)));
        section.rows(record_part::silence(teller, &quiet.silence));
    }
    for call in &quiet.calls {
        section.head(teller.time(call.at));
        let mut lines = vec![whom(teller, call.whom), words.call_why_missing(), result(teller, call.result)];
        if !call.spoke_with.is_empty() {
            lines.push(words.call_spoke_with(&teller.typed(&call.spoke_with)));
        }
        if teller.is_record() {
            lines.extend(record_part::attempt(teller, call.staff, call.interpreter, &call.note));
        }
        section.lines(lines);
    }
}

fn whom(teller: &Teller<'_>, whom: Whom) -> String {
    match whom {
        Whom::Patient => teller.words.call_to_you(),
        Whom::SecondContact => teller.words.call_to_helper(),
        Whom::Elsewhere => teller.words.call_elsewhere(),
    }
}

fn result(teller: &Teller<'_>, result: CallResult) -> String {
    match result {
        CallResult::NoAnswer => teller.words.call_no_answer(),
        CallResult::MessageLeft => teller.words.call_message(),
        CallResult::Spoke => teller.words.call_spoke(),
    }
}

/// Recorded antibiotics. `None`: there were none.
pub fn antibiotics(teller: &Teller<'_>) -> Option<Section> {
    let (words, episode) = (teller.words, teller.episode);
    if episode.courses.is_empty() {
        return None;
    }
    let mut section = Section::new(words.antibiotics());
    for course in &episode.courses {
        section.head(teller.typed(&course.drug));
        let mut lines = vec![words.started(&teller.time(course.started)), words.days(course.days)];
        lines.extend(course.doses_per_day.map(|times| words.doses(times)));
        lines.extend(course.stopped.map(|at| words.stopped(&teller.time(at))));
        if course.culture != Culture::None {
            lines.push(words.culture_sent());
        }
        section.lines(lines);
        if teller.is_record() {
            section.rows(record_part::course(teller, course));
        }
    }
    Some(section)
}
