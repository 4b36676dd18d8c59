//! The record in words: who, what they did, to what, and which kind of line it is.

use crate::ids::LookId;
use crate::store::staff::StaffMember;

/// A kind of line, as the page offers it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Kind {
    pub code: &'static str,
    pub words: &'static str,
    /// What the actions of these lines begin with; [`crate::store::audit_search::MOST_BEGINNINGS`] at most.
    pub beginnings: &'static [&'static str],
}

/// Every kind. Each action belongs to one of them.
pub const KINDS: &[Kind] = &[
    Kind {
        code: "sign_ins",
        words: "Signing in and out",
        beginnings: &[
            "sign_in",
            "sign_out",
            "second_step.",
            "passkey.",
            "password.",
            "session.",
            "envelope.",
        ],
    },
    Kind {
        code: "refused",
        words: "Turned away, and limits",
        beginnings: &["door.", "limit.", "links.", "photos.", "provider."],
    },
    Kind { code: "exports", words: "Copies and exports", beginnings: &["export.", "figures.download"] },
    Kind {
        code: "lists",
        words: "Looks at lists and figures",
        beginnings: &[
            "queue.",
            "patients.",
            "callbacks.",
            "alarms.",
            "figures.view",
            "hand_over.",
            "record.",
        ],
    },
    Kind {
        code: "patients",
        words: "Patients and their plans",
        beginnings: &["patient.", "plan.", "strip.", "calendar.", "antibiotic.", "hand_off.", "come_in."],
    },
    Kind {
        code: "links",
        words: "Links and phones",
        beginnings: &["link.", "late_knock.", "pin.", "opt_out.", "push."],
    },
    Kind {
        code: "checks",
        words: "Wound checks and photos",
        beginnings: &["check.", "photo.", "measurement.", "correction.", "draft.", "answers."],
    },
    Kind {
        code: "messages",
        words: "Messages, calls and silences",
        beginnings: &["message.", "thread.", "callback.", "silence."],
    },
    Kind {
        code: "ladders",
        words: "Alarms, calling and letters",
        beginnings: &["ladder.", "alarm.", "letter.", "notice.", "job.", "drill."],
    },
    Kind { code: "duty", words: "Duty", beginnings: &["duty.", "holiday.", "hours."] },
    Kind {
        code: "settings",
        words: "Staff and settings",
        beginnings: &[
            "staff.",
            "address.",
            "protocol.",
            "reply_text.",
            "plan_text.",
            "ladder_times.",
            "watch.",
            "measuring.",
        ],
    },
    Kind {
        code: "server",
        words: "The server and its back-ups",
        beginnings: &["disk.", "books.", "backup.", "server.", "clock.", "practice.", "text.", "list."],
    },
    Kind {
        code: "keeping",
        words: "How long things are kept, and holds",
        beginnings: &["keeping.", "hold.", "letters.", "passing."],
    },
];

/// The kind of this code; `None`: every kind.
pub fn kind(code: &str) -> Option<&'static Kind> {
    KINDS.iter().find(|kind| kind.code == code)
}

/// Who did it. `looks`: the names that were typed with sealed codes.
pub fn actor(actor: &str, staff: &[StaffMember], looks: &[(LookId, String)]) -> String {
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

/// What it was done to.
pub fn subject(subject: &str, staff: &[StaffMember]) -> String {
    match subject.split_once(':') {
        Some(("staff", id)) => staff_name(id, staff),
        // Read out to whoever looks into the log: whole.
        Some(("reference", id)) => format!("reference {id}"),
        Some((kind, id)) => format!("{} {}", kind.replace('_', " "), short(id)),
        None => subject.to_owned(),
    }
}

/// Codes and counts, readable.
pub fn detail(detail: &str) -> String {
    detail.replace('_', " ").replace('=', ": ")
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

/// What was done; an action without words of its own is still readable.
pub fn action(action: &str) -> String {
    spoken(action).map_or_else(|| action.replace(['.', '_'], " "), str::to_owned)
}

fn spoken(action: &str) -> Option<&'static str> {
    Some(match action {
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
        "list.unwritten" => "could not write the downtime list of",
        "list.written" => "could write the downtime list again of",
        "books.damaged" => "found damage in the books of",
        "books.whole_again" => "found the books whole again of",
        "photo.damaged" => "cannot read",
        "photo.whole_again" => "can read again",
        "text.unreadable" => "cannot read the words of",
        "text.readable" => "no longer misses the words of",
        "keeping.set" => "said how long things are kept in",
        "keeping.wait" => "waits, for nobody had looked for days, before anything goes in",
        "patient.purge" => "cleared away, for it was kept long enough,",
        "letters.purge" => "cleared away what was sent long ago, and failed work, of",
        "passing.purge" => "cleared away half-filled checks and ended staff sessions of",
        "record.cut" => "cleared away the oldest lines of the record of",
        "hold.place" => "placed a legal hold on",
        "hold.nobody" => "sought, for a legal hold, somebody who is no patient of",
        "hold.ask_release" => "asked for the end of a legal hold on",
        "hold.release" => "ended, as the second of two, a legal hold on",
        "envelope.print" => "printed a code for the envelope:",
        "envelope.open" => "opened the envelope:",
        "envelope.wrong" => "turned a wrong or used code away at the envelope:",
        "envelope.guessed" => "saw one wrong sealed code after another tried at",
        "envelope.quiet" => "saw no more sealed codes tried at",
        "envelope.end" => "ended",
        "envelope.note" => "noted what happened at",
        "server.fell_over" => "fell over while it answered",
        "backup.make" => "made a back-up of",
        "backup.prove" => "learned that a back-up can be restored of",
        "server.restore" => "came out of a back-up:",
        "server.arm" => "was armed again after the restore of",
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
        "sign_in.unknown" => "counted tries to sign in with names nobody has in",
        "door.refused" => "was turned away at a door of",
        "door.second_step" => "was asked for the second step at a door of",
        "door.elsewhere" => "refused changes that did not come from the pages of",
        "door.strangers" => "turned strangers away at doors of",
        "limit.hit" => "came up against a limit of",
        "export.make" => "took a copy of",
        "export.ask" => "asked for everything to be taken out:",
        "export.agree" => "agreed that everything is taken out:",
        "export.withdraw" => "took back what was agreed:",
        "export.take" => "took everything out:",
        "export.refused" => "was refused that everything is taken out:",
        "correction.add" => "noted a correction beside",
        "record.view" => "looked at the record of",
        "queue.view" => "looked at the queue of",
        "patients.view" => "looked at the patients of",
        "callbacks.view" => "looked at the calls of",
        "pin.right" => "gave the PIN of",
        "pin.begin_anew" => "began PINs anew, for what the old ones are known by is lost, in",
        "pin.wrong" => "gave a wrong PIN of",
        "plan.visit" => "put a visit into the plan of",
        "photo.measure" => "measured",
        "measurement.draw" => "drew an outline on",
        "measurement.confirm" => "confirmed the outline on",
        "measuring.set" => "changed how photos are measured in",
        "measuring.again" => "had photos measured again in",
        "check.reassess" => "ranked again",
        "clock.set_back" => "found the clock set back of",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;
    use std::fs;
    use std::path::Path;
    use std::path::PathBuf;

    use super::*;
    use crate::store::audit_search::MOST_BEGINNINGS;

    #[test]
    fn a_line_reads_as_a_sentence_and_an_unknown_action_is_still_readable() {
        assert_eq!(actor("program", &[], &[]), "program");
        assert_eq!(subject("reply_text:0000-abcdef", &[]), "reply text abcdef");
        assert_eq!(action("check.view"), "looked at");
        assert_eq!(action("new_thing.do"), "new thing do");
        assert_eq!(detail("door=/patients/{id} times=2"), "door: /patients/{id} times: 2");
    }

    fn sources(folder: &Path) -> Vec<PathBuf> {
        let mut found = Vec::new();
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                found.extend(sources(&path));
            } else if path.extension().is_some_and(|ending| ending == "rs") {
                found.push(path);
            }
        }
        found
    }

    /// Every action that the sources note: `object.verb` in quotes, in the room that writes the record.
    fn noted() -> BTreeSet<String> {
        let care = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/care");
        let mut actions = BTreeSet::new();
        for path in sources(&care) {
            let text = fs::read_to_string(path).unwrap();
            let text = text.split("#[cfg(test)]\nmod tests {").next().unwrap().to_owned();
            for literal in text.split('"').skip(1).step_by(2) {
                let is_word = |word: &str| {
                    word.len() > 1 && word.chars().all(|letter| letter.is_ascii_lowercase() || letter == '_')
                };
                if literal.split_once('.').is_some_and(|(object, verb)| is_word(object) && is_word(verb)) {
                    actions.insert(literal.to_owned());
                }
            }
        }
        // Names of files.
        for no_action in ["manifest.json", "manifest.signature", "photos.age"] {
            actions.remove(no_action);
        }
        actions
    }

    #[test]
    fn every_action_that_is_noted_has_words_and_belongs_to_one_kind() {
        let noted = noted();
        assert!(noted.len() > 120 && noted.contains("sign_in.wrong") && noted.contains("export.make"));
        let speechless: Vec<&String> = noted.iter().filter(|action| spoken(action).is_none()).collect();
        assert!(speechless.is_empty(), "without words: {speechless:?}");
        for action in &noted {
            let kinds: Vec<&str> = KINDS
                .iter()
                .filter(|kind| kind.beginnings.iter().any(|begins| action.starts_with(begins)))
                .map(|kind| kind.code)
                .collect();
            assert_eq!(kinds.len(), 1, "{action}: {kinds:?}");
        }
        assert!(KINDS.iter().all(|kind| kind.beginnings.len() <= MOST_BEGINNINGS));
    }
}
