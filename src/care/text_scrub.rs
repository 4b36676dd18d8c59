//! Every text is opened once a day, and with them what is mixed into PINs: words that can no longer be read are found before
//! somebody needs them, and while a back-up still has them. So are words that lie there unsealed when everything is sealed.

use std::collections::BTreeSet;
use std::collections::VecDeque;

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::Desk;
use crate::care::Done;
use crate::care::pins;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;
use crate::store::practices;
use crate::store::seals::Seals;
use crate::store::text_columns;
use crate::store::text_columns::KeptText;
use crate::store::text_columns::TextColumn;
use crate::store::unreadable_texts;
use crate::store::unreadable_texts::PIN_PEPPER;

/// Texts of one column that lie there unsealed and are named; one is enough for the alarm.
const STRANGE_NAMED: i64 = 100;
/// From the beginning of one round to the next: one night.
const EVERY: SignedDuration = SignedDuration::from_hours(20);

/// How far a round through all texts has come. It is in memory: a start begins a new one.
#[derive(Debug, Default)]
pub struct Round {
    /// `None`: there was none yet.
    began: Option<Timestamp>,
    /// What is still to be gone through, the column at hand first.
    ahead: VecDeque<(PracticeId, &'static TextColumn)>,
    /// The row of that column that was tried last; empty: none.
    after: String,
    /// Its rows that cannot be read.
    broken: BTreeSet<String>,
}

/// What one pass came to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tried {
    pub opened: usize,
    /// Found unreadable in this pass, and not before.
    pub unreadable: usize,
}

/// Goes on with a round by about so many texts, or begins one when it is time.
pub async fn pass(desk: &Desk, round: &mut Round, most: usize, moment: &Moment) -> Done<Tried> {
    let mut done = Tried::default();
    let Some(seals) = desk.blobs.seals() else { return Ok(done) };
    if round.ahead.is_empty() {
        if round.began.is_some_and(|began| moment.now.duration_since(began) < EVERY) {
            return Ok(done);
        }
        done.unreadable += begin(desk, round, moment).await?;
    }
    while done.opened < most
        && let Some((practice, column)) = round.ahead.front().copied()
    {
        let limit = i64::try_from(most - done.opened).unwrap_or(i64::MAX);
        let mut conn = desk.db.read().await?;
        let texts = text_columns::after(&mut conn, practice, column, &round.after, limit).await?;
        drop(conn);
        let Some(last) = texts.last().map(|text| text.row_id.clone()) else {
            done.unreadable += finish(desk, round, practice, column, moment).await?;
            continue;
        };
        round.after = last;
        done.opened += texts.len();
        for text in broken(&seals, column, &texts) {
            done.unreadable += meets(desk, round, practice, column, text, moment).await?;
        }
    }
    Ok(done)
}

/// A round comes upon a text that is not to be read: 1 if it was not known before.
async fn meets(
    desk: &Desk,
    round: &mut Round,
    practice: PracticeId,
    column: &TextColumn,
    row_id: String,
    moment: &Moment,
) -> Done<usize> {
    let is_new = note(desk, practice, column.name, &row_id, moment).await?;
    round.broken.insert(row_id);
    Ok(usize::from(is_new))
}

/// Begins a round, with what is mixed into PINs. How many practices cannot open theirs, and could before.
async fn begin(desk: &Desk, round: &mut Round, moment: &Moment) -> Done<usize> {
    let practices = practices::all(&mut *desk.db.read().await?).await?;
    round.ahead = practices
        .iter()
        .flat_map(|practice| text_columns::ALL.iter().map(|column| (practice.id, *column)))
        .collect();
    (round.began, round.after) = (Some(moment.now), String::new());
    round.broken.clear();
    let mut unreadable = 0;
    for practice in practices {
        let row_id = practice.id.to_string();
        if !pins::pepper_opens(desk, practice.id).await? {
            unreadable += usize::from(note(desk, practice.id, PIN_PEPPER, &row_id, moment).await?);
            continue;
        }
        let known = unreadable_texts::rows(&mut *desk.db.read().await?, practice.id, PIN_PEPPER).await?;
        mend(desk, practice.id, PIN_PEPPER, &known, moment).await?;
    }
    Ok(unreadable)
}

/// The rows whose texts do not open.
fn broken(seals: &Seals, column: &TextColumn, texts: &[KeptText]) -> Vec<String> {
    texts
        .iter()
        .filter(|text| text.sealed.open(seals, column, &text.sealed_for).is_err())
        .map(|text| text.row_id.clone())
        .collect()
}

fn subject(place: &str, row_id: &str) -> String {
    format!("text:{place}:{row_id}")
}

/// Notes a text that cannot be read, with its alarm; true: it could be read before.
async fn note(desk: &Desk, practice: PracticeId, place: &str, row_id: &str, moment: &Moment) -> Done<bool> {
    let mut tx = desk.db.write().await?;
    let is_new = unreadable_texts::note(&mut tx, practice, place, row_id, moment.now).await?;
    let about = format!("practice:{practice}");
    alarms::raise(&mut tx, practice, AlarmKind::TextUnreadable, &about, moment).await?;
    if is_new {
        let subject = subject(place, row_id);
        record::note(&mut tx, practice, Actor::Program, "text.unreadable", &subject, "", moment.now).await?;
    }
    tx.commit().await?;
    if is_new {
        desk.tell(practice);
    }
    Ok(is_new)
}

/// A column is through but for what lies in it unsealed, which is no more to be read than what does not open. Gives how many were
/// not known before.
async fn finish(
    desk: &Desk,
    round: &mut Round,
    practice: PracticeId,
    column: &'static TextColumn,
    moment: &Moment,
) -> Done<usize> {
    let strange = text_columns::strange(&mut *desk.db.read().await?, practice, column, STRANGE_NAMED).await?;
    let mut new = 0;
    let is_sure = strange.is_some();
    for row_id in strange.unwrap_or_default() {
        new += meets(desk, round, practice, column, row_id, moment).await?;
    }
    let known = unreadable_texts::rows(&mut *desk.db.read().await?, practice, column.name).await?;
    // While an older program's texts are still being sealed, nobody knows which lie there unsealed by right.
    let mended: Vec<String> =
        known.into_iter().filter(|row_id| is_sure && !round.broken.contains(row_id)).collect();
    mend(desk, practice, column.name, &mended, moment).await?;
    round.ahead.pop_front();
    round.after.clear();
    round.broken.clear();
    Ok(new)
}

/// What could not be read before and can be now, or is gone, is forgotten; with the last one the alarm ends.
async fn mend(
    desk: &Desk,
    practice: PracticeId,
    place: &str,
    mended: &[String],
    moment: &Moment,
) -> Done<()> {
    if mended.is_empty() {
        return Ok(());
    }
    let mut tx = desk.db.write().await?;
    for row_id in mended {
        unreadable_texts::forget(&mut tx, practice, place, row_id).await?;
        let subject = subject(place, row_id);
        record::note(&mut tx, practice, Actor::Program, "text.readable", &subject, "", moment.now).await?;
    }
    if unreadable_texts::count(&mut tx, practice).await? == 0 {
        let about = format!("practice:{practice}");
        alarms::end(&mut tx, practice, AlarmKind::TextUnreadable, &about, moment.now).await?;
    }
    tx.commit().await?;
    desk.tell(practice);
    Ok(())
}
