//! Alarms about a whole practice that come and go with what is found: whether the disk fills, the books are damaged, links are
//! guessed at.

use crate::care::Desk;
use crate::care::Done;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;

/// What the record calls the beginning of an alarm, and its end.
#[derive(Clone, Copy, Debug)]
pub(in crate::care) struct Actions {
    pub begins: &'static str,
    pub ends: &'static str,
}

/// Raises the alarm where it `is_so`, or ends it. Only a change is noted, with `detail`, and told to open pages.
pub(in crate::care) async fn set(
    desk: &Desk,
    practice: PracticeId,
    kind: AlarmKind,
    is_so: bool,
    actions: Actions,
    detail: &str,
    moment: &Moment,
) -> Done<()> {
    let about = format!("practice:{practice}");
    let mut tx = desk.db.write().await?;
    let (changed, action) = match is_so {
        true => (alarms::raise(&mut tx, practice, kind, &about, moment).await?, actions.begins),
        false => (alarms::end(&mut tx, practice, kind, &about, moment.now).await?, actions.ends),
    };
    if changed {
        record::note(&mut tx, practice, Actor::Program, action, &about, detail, moment.now).await?;
    }
    tx.commit().await?;
    if changed {
        desk.tell(practice);
    }
    Ok(())
}
