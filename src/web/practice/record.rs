//! The record, newest first: who did or saw what.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use crate::care::CareError;
use crate::care::envelope;
use crate::care::record;
use crate::ids::LookId;
use crate::store::staff::StaffMember;
use crate::store::staff::of_practice;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;

/// Lines on the page.
const LINES: i64 = 200;

struct Line {
    sequence: i64,
    at: String,
    who: String,
    did: String,
    to_what: String,
    detail: String,
}

#[derive(Template)]
#[template(path = "practice/record.html")]
struct RecordPage {
    frame: Frame,
    lines: Vec<Line>,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    let now = app.now();
    let entries = record::newest(&app.desk, &member.member, LINES).await?;
    let staff = {
        let mut conn = app.desk.db.read().await.map_err(CareError::from)?;
        of_practice(&mut conn, member.member.practice).await.map_err(CareError::from)?
    };
    let looks = envelope::names(&app.desk, &member.member).await?;
    let frame = Frame::of(&app, &member, Part::Practice, "Record").await?;
    let lines = entries
        .into_iter()
        .map(|entry| Line {
            sequence: entry.sequence,
            at: time_words::clock_time(entry.at, now, &frame.practice.zone, STAFF_LANGUAGE),
            who: actor_words(&entry.actor, &staff, &looks),
            did: action_words(&entry.action),
            to_what: subject_words(&entry.subject, &staff),
            detail: entry.detail.replace('_', " ").replace('=', ": "),
        })
        .collect();
    page(StatusCode::OK, &RecordPage { frame, lines })
}

/// `looks`: the names that were typed with sealed codes.
fn actor_words(actor: &str, staff: &[StaffMember], looks: &[(LookId, String)]) -> String {
    match actor.split_once(':') {
        Some(("look", id)) => {
            let name = looks.iter().find(|(look, _)| look.to_string() == id).map(|(_, name)| name.as_str());
            format!("{} (sealed code)", name.unwrap_or("somebody"))
        }
        Some(("staff", id)) => staff_name(id, staff),
        Some(("link", id)) => format!("patient link {}", short(id)),
        Some(_) | None => actor.to_owned(),
    }
}

fn subject_words(subject: &str, staff: &[StaffMember]) -> String {
    match subject.split_once(':') {
        Some(("staff", id)) => staff_name(id, staff),
        // Read out to whoever looks into the log: whole.
        Some(("reference", id)) => format!("reference {id}"),
        Some((kind, id)) => format!("{} {}", kind.replace('_', " "), short(id)),
        None => subject.to_owned(),
    }
}

fn staff_name(id: &str, staff: &[StaffMember]) -> String {
    staff
        .iter()
        .find(|member| member.id.to_string() == id)
        .map_or_else(|| format!("staff member {}", short(id)), |member| member.name.clone())
}

/// The end of an id, which tells apart what was made in the same moment.
fn short(id: &str) -> &str {
    id.get(id.len().saturating_sub(6)..).unwrap_or(id)
}

fn action_words(action: &str) -> String {
    match action {
        "sign_in" => "signed in",
        "sign_in.wrong" => "typed a wrong password",
        "sign_in.half" => "typed their password right",
        "sign_in.again" => "showed again who they are",
        "second_step.wrong" => "got the second step wrong",
        "second_step.recovery_code" => "used a recovery code",
        "second_step.app" => "set up an app for the second step of",
        "second_step.app_removed" => "took the app away from",
        "second_step.passkey" => "added a passkey to",
        "second_step.passkey_removed" => "took a passkey away from",
        "second_step.codes" => "made new recovery codes for",
        "second_step.taken_away" => "took the second step away from",
        "passkey.copied" => "used a passkey whose count went back: it may have been copied",
        "password.change" => "changed the password of",
        "session.end" => "ended sessions of",
        "sign_out" => "signed out",
        "patient.enrol" => "enrolled",
        "patient.view" => "looked at",
        "link.issue" => "issued",
        "link.revoke" => "revoked",
        "link.late_knock" => "knocked in vain at",
        "link.phone_out" => "put a phone out of",
        "late_knock.deal_with" => "saw to a knock:",
        "link.open" => "opened",
        "check.receive" => "sent",
        "draft.keep" => "went on filling in a check through",
        "draft.forget" => "began a check afresh through",
        "answers.view" => "saw their own answers of",
        "check.amend" => "sent more for",
        "check.view" => "looked at",
        "check.explain" => "read the reasons of",
        "protocol.draft" => "drafted a change of the protocol of",
        "protocol.discard" => "threw away the protocol draft of",
        "protocol.try" => "tried the protocol draft of",
        "protocol.approve" => "approved a protocol for",
        "check.claim" => "took",
        "check.release" => "gave back",
        "check.decide" => "decided",
        "photo.receive" => "sent",
        "photo.view" => "looked at",
        "links.guessed" => "saw one unknown link after another tried at",
        "links.quiet" => "saw no more links guessed at",
        "photos.too_many" => "sent photos with too many checks in a day through",
        "disk.filling" => "found little room on the disk of",
        "disk.room" => "found room again on the disk of",
        "books.damaged" => "found damage in the books of",
        "books.whole_again" => "found the books whole again of",
        "photo.damaged" => "cannot read",
        "photo.whole_again" => "can read again",
        "text.unreadable" => "cannot read the words of",
        "text.readable" => "no longer misses the words of",
        "backup.make" => "made a back-up of",
        "keeping.set" => "said how long things are kept in",
        "keeping.wait" => "waits, for nobody had looked for days, before anything goes in",
        "patient.purge" => "cleared away, for it was kept long enough,",
        "letters.purge" => "cleared away old messages and failed work of",
        "passing.purge" => "cleared away half-filled checks and ended staff sessions of",
        "record.cut" => "cleared away the oldest lines of the record of",
        "hold.place" => "placed a legal hold on",
        "hold.nobody" => "sought, for a legal hold, somebody who is no patient of",
        "hold.ask_release" => "asked for the end of a legal hold on",
        "hold.release" => "ended, as the second of two, a legal hold on",
        "backup.prove" => "learned that a back-up can be restored of",
        "server.restore" => "came out of a back-up:",
        "server.arm" => "was armed again after the restore of",
        "envelope.print" => "printed a code for the envelope:",
        "envelope.open" => "opened the envelope:",
        "envelope.wrong" => "turned a wrong or used code away at the envelope:",
        "envelope.guessed" => "saw one wrong sealed code after another tried at",
        "envelope.quiet" => "saw no more sealed codes tried at",
        "envelope.end" => "ended",
        "envelope.note" => "noted what happened at",
        "queue.view" => "looked at the queue of",
        "server.fell_over" => "fell over while it answered",
        "callback.view" => "looked at",
        "callback.attempt" => "tried",
        "callback.end" => "ended",
        "thread.view" => "read the thread of",
        "message.ask" => "asked in",
        "message.read" => "marked as read",
        "reply_text.keep" => "changed",
        "staff.add" => "added",
        "staff.switch_on" => "switched on",
        "staff.switch_off" => "switched off",
        "staff.photos_on" => "let photos be seen by",
        "staff.photos_off" => "let photos no longer be seen by",
        "silence.begin" => "noticed the silence of",
        "silence.list" => "looked at who is silent in",
        "silence.view" => "looked at the silence of",
        "silence.call" => "rang about the silence of",
        "silence.letter" => "sent a letter about",
        "silence.ask" => "asked the surgeon about",
        "silence.decide" => "decided about the silence of",
        "silence.end" => "ended the silence of",
        "ladder.unneeded" => "ended, as what was due came, the calling about",
        "antibiotic.start" => "recorded the start of",
        "antibiotic.end" => "ended the following of",
        "antibiotic.culture" => "noted the culture of",
        "hand_off.view" => "looked at the hand-off of",
        "patient.contacts" => "changed how to reach",
        "come_in.answer" => "answered about the visit of",
        "plan.view" => "looked at the plan of",
        "plan.move" => "moved a step of",
        "plan.came" => "noted a visit of",
        "plan.pause" => "paused the plan of",
        "plan.resume" => "resumed the plan of",
        "plan.wash" => "changed the washing of",
        "plan.end" => "ended the plan of",
        "plan_text.keep" => "changed the care plan text of",
        "strip.part" => "went on taking the strip out of",
        "strip.say" => "told about the strip of",
        "calendar.make" => "made a calendar address for",
        "calendar.end" => "ended the calendar address of",
        "duty.weekly_add" => "entered a weekly shift for",
        "duty.weekly_remove" => "took a weekly shift back:",
        "duty.dated_add" => "entered a shift on a date for",
        "duty.dated_remove" => "took a shift on a date back:",
        "duty.swap" => "swapped duty to",
        "duty.take_over" => "gave duty over to",
        "duty.away_add" => "entered as away",
        "duty.away_remove" => "took an absence back:",
        "duty.hand_over" => "handed duty over to",
        "duty.hand_over_for" => "handed duty over for",
        "check.hand_over" => "handed over",
        "hand_over.view" => "looked at what is open in",
        "holiday.keep" => "entered a holiday:",
        "holiday.remove" => "took a holiday back:",
        "ladder.begin" => "began calling about",
        "ladder.rung" => "told the next people of",
        "ladder.stop" => "sees to",
        "alarms.view" => "looked at the alarms of",
        "alarm.take" => "sees to the alarm about",
        "alarm.end" => "ended the alarm about",
        "letter.dead" => "gave up",
        "letter.failed" => "learned that it did not arrive:",
        "letter.delivered" => "learned that it arrived:",
        "letter.send_again" => "sent again",
        "letter.not_needed" => "set aside",
        "notice.nobody" => "found no address for",
        "notice.address_again" => "looked again whom to write to for",
        "job.give_up" => "gave up",
        "job.try_now" => "tried at once",
        "address.add" => "added an address of",
        "address.remove" => "removed an address of",
        "address.first" => "put an address first of",
        "address.test" => "tested an address of",
        "address.gone" => "took away a browser that is gone, of",
        "push.begin" => "wants to be told in a browser, through",
        "push.end" => "wants no more to be told in a browser, through",
        "opt_out.keep" => "learned of a STOP by",
        "opt_out.end" => "learned of a START by",
        "provider.refuse" => "refused a provider’s call to",
        "ladder_times.keep" => "changed how soon who is told in",
        "hours.keep" => "set the hours of",
        "drill.begin" => "began",
        "drill.answer" => "answered",
        "watch.set" => "set drills and the longest wait of",
        "practice.add" => "set up",
        "figures.view" => "looked at the figures of",
        "figures.download" => "took figures home of",
        other => return other.replace(['.', '_'], " "),
    }
    .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_reads_as_a_sentence_and_an_unknown_action_is_still_readable() {
        assert_eq!(actor_words("program", &[], &[]), "program");
        assert_eq!(subject_words("reply_text:0000-abcdef", &[]), "reply text abcdef");
        assert_eq!(action_words("check.view"), "looked at");
        assert_eq!(action_words("new_thing.do"), "new thing do");
    }
}
