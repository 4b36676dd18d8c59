//! How far a check has come: what its patient is told of it, and how much of it a surgeon must have seen to decide it.

use std::fmt;
use std::str::FromStr;

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::LinkHolder;
use crate::guards;
use crate::guards::Guard;
use crate::ids::PracticeId;
use crate::ids::WoundCheckId;
use crate::store::Conn;
use crate::store::answer_versions;
use crate::store::audit;
use crate::store::callbacks;
use crate::store::callbacks::Callback;
use crate::store::checks;
use crate::store::checks::CheckState;
use crate::store::checks::WoundCheck;
use crate::store::photos;
use crate::store::reviews;
use crate::store::silences;
use crate::store::silences::Silence;
use crate::store::silences::SilenceState;
use crate::store::thread;
use crate::store::thread::Message;
use crate::store::thread::Sender;
use crate::triage::CallResult;

/// How much there is of a check, to tell whether something came while a surgeon was reading. Written `versions.photos.questions`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Extent {
    /// Bodies its form sent.
    versions: usize,
    photos: usize,
    /// What the patient wrote in the thread of the wound.
    questions: usize,
}

impl Extent {
    /// Of what was read of a check and its wound.
    pub(in crate::care) fn of(versions: usize, photos: usize, thread: &[Message]) -> Extent {
        let questions = thread.iter().filter(|message| message.sender == Sender::Patient).count();
        Extent { versions, photos, questions }
    }

    pub(in crate::care) async fn read(conn: &mut Conn, check: &WoundCheck) -> Done<Extent> {
        let versions = answer_versions::of_check(conn, check).await?.len();
        let photos = photos::of_check(conn, check.practice, check.id).await?.len();
        Ok(Extent::of(versions, photos, &thread::of_wound(conn, check.practice, check.wound).await?))
    }
}

impl fmt::Display for Extent {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{}.{}.{}", self.versions, self.photos, self.questions)
    }
}

/// Not three whole numbers with points between.
#[derive(Clone, Copy, Debug, thiserror::Error)]
#[error("not an extent")]
pub struct NotAnExtent;

impl FromStr for Extent {
    type Err = NotAnExtent;
    fn from_str(text: &str) -> Result<Extent, NotAnExtent> {
        let parts: Vec<usize> =
            text.split('.').map(str::parse).collect::<Result<_, _>>().map_err(|_| NotAnExtent)?;
        match parts[..] {
            [versions, photos, questions] => Ok(Extent { versions, photos, questions }),
            _ => Err(NotAnExtent),
        }
    }
}

/// The detail of a view during which more came than was shown.
pub(in crate::care) const SEEN_IN_PART: &str = "more_came";

/// Whether a person has looked at a check.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seen {
    NotYet,
    All,
    /// Only at what was there before its patient added to it.
    Part,
}

impl Seen {
    pub const ALL: [Seen; 3] = [Seen::NotYet, Seen::All, Seen::Part];
}

/// Whether a person has looked at a check, by the practice's record.
pub(in crate::care) async fn seen(conn: &mut Conn, practice: PracticeId, id: WoundCheckId) -> Done<Seen> {
    let mut seen = Seen::NotYet;
    for line in audit::about(conn, practice, &format!("check:{id}")).await? {
        seen = match (line.action.as_str(), seen) {
            ("check.view", _) if line.detail == SEEN_IN_PART => Seen::Part,
            ("check.view" | "check.decide", _) => Seen::All,
            ("check.claim", Seen::NotYet) if !guards::stands(Guard::OnlyALookIsSeen) => Seen::All,
            ("check.amend", Seen::All) if guards::stands(Guard::AddedIsUnseen) => Seen::Part,
            (_, seen) => seen,
        };
    }
    Ok(seen)
}

/// What the record says of a check, as far as its patient is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    pub state: CheckState,
    pub seen: Seen,
    /// The newest call about it or about its answer; `None`: nobody rang.
    pub call: Option<Rung>,
}

/// One time somebody of the practice rang the patient or their helper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rung {
    pub at: Timestamp,
    pub result: CallResult,
}

/// How far a check has come that was sent through this link. `NotFound`: it was not.
pub async fn of_check(desk: &Desk, holder: &LinkHolder, id: WoundCheckId) -> Done<Progress> {
    let mut conn = desk.db.read().await?;
    let check = checks::find(&mut conn, holder.practice, id).await?.filter(|check| check.link == holder.link);
    let check = check.ok_or(CareError::NotFound)?;
    let calls = callbacks::of_check(&mut conn, holder.practice, id).await?;
    // An answer nobody reads, or a visit nobody answers, is rung about too.
    let messages = thread::of_wound(&mut conn, holder.practice, holder.wound).await?;
    let answers = messages.iter().filter(|message| message.check == Some(id));
    let mut about: Vec<String> = answers.map(|answer| format!("message:{}", answer.id)).collect();
    let reviewed = reviews::of_check(&mut conn, holder.practice, id).await?;
    about.extend(reviewed.iter().map(|review| format!("review:{}", review.id)));
    let mut missing = silences::of_wound(&mut conn, holder.practice, holder.wound).await?;
    missing.retain(|silence| about.contains(&silence.about));
    let call = newest_call(&mut conn, holder, &calls, &missing).await?;
    let seen = seen(&mut conn, holder.practice, id).await?;
    Ok(Progress { state: check.state, seen, call })
}

/// When the practice last rang this wound's patient or helper in vain about something that is still open; `None`: it did
/// not, or has spoken with them since.
pub async fn missed_call(desk: &Desk, holder: &LinkHolder) -> Done<Option<Timestamp>> {
    let mut conn = desk.db.read().await?;
    let calls = callbacks::open_of_wound(&mut conn, holder.practice, holder.wound).await?;
    let mut missing = silences::of_wound(&mut conn, holder.practice, holder.wound).await?;
    missing.retain(|silence| silence.state == SilenceState::Open);
    let newest = newest_call(&mut conn, holder, &calls, &missing).await?;
    Ok(newest.filter(|call| call.result != CallResult::Spoke).map(|call| call.at))
}

async fn newest_call(
    conn: &mut Conn,
    holder: &LinkHolder,
    calls: &[Callback],
    missing: &[Silence],
) -> Done<Option<Rung>> {
    let mut rung = Vec::new();
    for callback in calls {
        let attempts = callbacks::attempts(conn, holder.practice, callback.id).await?;
        rung.extend(attempts.into_iter().map(|attempt| Rung { at: attempt.at, result: attempt.result }));
    }
    for silence in missing {
        let attempts = silences::calls(conn, holder.practice, silence.id).await?;
        rung.extend(attempts.into_iter().map(|call| Rung { at: call.at, result: call.result }));
    }
    Ok(rung.into_iter().max_by_key(|call| call.at))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_extent_is_read_as_it_was_written_and_nothing_else_is_one() {
        let extent = Extent { versions: 2, photos: 6, questions: 0 };
        assert_eq!(extent.to_string(), "2.6.0");
        assert_eq!("2.6.0".parse::<Extent>().unwrap(), extent);
        for wrong in ["", "2", "2.6", "2.6.0.1", "2.6.-1", "a.b.c"] {
            assert!(wrong.parse::<Extent>().is_err(), "{wrong}");
        }
    }
}
