//! What only the practice's record says of calls, silences, antibiotics and links; and who did or saw what.

use crate::ids::StaffId;
use crate::store::antibiotics::AntibioticCourse;
use crate::store::antibiotics::Culture;
use crate::store::callbacks::Callback;
use crate::store::silences::Interpreter;
use crate::store::silences::Silence;
use crate::web::chart_words;
use crate::web::export::document::Row;
use crate::web::export::document::Section;
use crate::web::export::teller::Teller;
use crate::web::office::antibiotics::FITS;
use crate::web::office::silences::ended_words;
use crate::web::office::silences::missing_words;
use crate::web::practice::record_words;

pub fn callback(teller: &Teller<'_>, callback: &Callback) -> Vec<Row> {
    vec![
        Row::new("Urgency", callback.urgency.staff_words()),
        Row::new("Reason", callback.reason.clone()),
        Row::new("Due", teller.time(callback.due)),
        Row::new("Unanswered", callback.missed.to_string()),
        Row::new("Handed back because", callback.hand_back_note.to_string()),
        Row::new("Visit", teller.time_maybe(callback.visit)),
        Row::new("Emergency department", callback.emergency_place.to_string()),
        Row::new("Next try", teller.time_maybe(callback.next_try)),
        Row::new("Ended", teller.time_maybe(callback.closed)),
    ]
}

/// Who rang, with whose help, and what they noted.
pub fn attempt(teller: &Teller<'_>, staff: StaffId, interpreter: Interpreter, note: &str) -> Vec<String> {
    let mut lines = vec![format!("Rung by {}", teller.name(staff))];
    let interpreter = match interpreter {
        Interpreter::NotNeeded => "",
        Interpreter::Used => "With a trained interpreter",
        Interpreter::CallerSpeaks => "The caller speaks the language",
        Interpreter::OwnAdult => "An adult of the patient’s choice translated",
        Interpreter::Declined => "The patient declined an interpreter",
    };
    if !interpreter.is_empty() {
        lines.push(interpreter.to_owned());
    }
    if !note.is_empty() {
        lines.push(format!("Note: {note}"));
    }
    lines
}

pub fn silence(teller: &Teller<'_>, silence: &Silence) -> Vec<Row> {
    let by = |id: Option<StaffId>| id.map_or_else(String::new, |id| teller.name(id));
    vec![
        Row::new("What was missing", missing_words(silence.kind)),
        Row::new("Noticed", teller.time(silence.begun)),
        Row::new("Reminded", teller.time_maybe(silence.reminded)),
        Row::new("Letter", teller.time_maybe(silence.letter)),
        Row::new("Spoke", teller.time_maybe(silence.spoke)),
        Row::new("Agreed to wait until", teller.time_maybe(silence.waits_until)),
        Row::new("Surgeon asked", teller.time_maybe(silence.asked)),
        Row::new("Asked because", silence.asked_note.to_string()),
        Row::new("Surgeon said", silence.decided_note.to_string()),
        Row::new("Said by", by(silence.decided_by)),
        Row::new("Ended", teller.time_maybe(silence.ended)),
        Row::new("Ended because", silence.ended.map_or("", |_| ended_words(silence.ended_why))),
        Row::new("Note", silence.ended_note.to_string()),
        Row::new("Ended by", by(silence.ended_by)),
    ]
}

pub fn course(teller: &Teller<'_>, course: &AntibioticCourse) -> Vec<Row> {
    let culture = match course.culture {
        Culture::None => "none sent",
        Culture::Sent => "sent, nothing heard yet",
        Culture::Noted => "noted",
    };
    let fits = course.culture_fits.and_then(|fits| FITS.iter().find(|(one, _)| *one == fits));
    vec![
        Row::new("Recorded by", teller.name(course.recorded_by)),
        Row::new("Recorded", teller.time(course.recorded)),
        Row::new("To be taken until", teller.time(course.ends)),
        Row::new("Stopped because", course.stopped_why.clone()),
        Row::new("Culture", culture),
        Row::new("The laboratory’s words", course.culture_result.to_string()),
        Row::new("Does it fit", fits.map_or("", |(_, words)| words)),
        Row::new("Noted by", course.culture_by.map_or_else(String::new, |id| teller.name(id))),
        Row::new("Culture noted", teller.time_maybe(course.culture_at)),
    ]
}

/// Risk factors and links.
pub fn known(teller: &Teller<'_>) -> Section {
    let mut section = Section::new("Risk factors and links");
    let risks = chart_words::risks(&teller.episode.wound.risk);
    section.list("Risk factors", risks.present);
    section.list("Not asked", risks.not_asked.into_iter().map(str::to_owned).collect());
    let links = teller.episode.links.iter().map(|link| {
        [
            link.name.clone(),
            teller.time(link.created),
            teller.time_maybe(link.first_used),
            teller.time(link.expires),
            teller.time_maybe(link.revoked),
        ]
    });
    let head = ["Link of", "Issued", "First used", "Expires", "Revoked"].map(str::to_owned);
    section.table(head, links.collect());
    for knock in &teller.episode.knocks {
        section.head(format!("Knocks at a closed link, last {}", teller.time(knock.last)));
        let dealt = knock.dealt.as_ref();
        section.rows(vec![
            Row::new("How often", knock.knocks.to_string()),
            Row::new("First", teller.time(knock.first)),
            Row::new("Words", knock.words.to_string()),
            Row::new("Seen to by", dealt.map_or_else(String::new, |dealt| teller.name(dealt.by))),
            Row::new("Seen to", dealt.map_or_else(String::new, |dealt| teller.time(dealt.at))),
            Row::new("Note", dealt.map_or_else(String::new, |dealt| dealt.note.to_string())),
        ]);
    }
    section
}

/// Who did or saw what, line by line.
pub fn lines(teller: &Teller<'_>) -> Section {
    let mut section = Section::new("Who did or saw what");
    let staff = &teller.episode.staff;
    let rows = teller.episode.lines.iter().map(|line| {
        [
            line.sequence.to_string(),
            teller.time(line.at),
            record_words::actor(&line.actor, staff, &teller.episode.looks),
            format!("{} {}", record_words::action(&line.action), record_words::subject(&line.subject, staff)),
            record_words::detail(&line.detail),
        ]
    });
    let head = ["No.", "When", "Who", "What", "More"].map(str::to_owned);
    section.table(head, rows.collect());
    section
}
