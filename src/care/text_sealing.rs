//! What an older program left in the books as it was typed is sealed, a few rows at a time, while everybody works. Killed
//! anywhere, the next start goes on: each row is sealed in one step, and until then read as it is.

use jiff::Timestamp;

use crate::care::Desk;
use crate::care::Done;
use crate::ids::PracticeId;
use crate::store::canary;
use crate::store::practices;
use crate::store::server;
use crate::store::server::Noted;
use crate::store::text_columns;
use crate::store::text_columns::TextColumn;

/// So many rows are sealed in one transaction: nobody waits for it.
const AT_ONCE: i64 = 100;

/// Seals whatever is not, and says how many texts there were. Then nothing that was typed is left in the books, nor in what
/// SQLite had no more use for, and an unsealed text is not believed from then on. Done once, it is not done again.
pub async fn seal_all(desk: &Desk, now: Timestamp) -> Done<u64> {
    let Some(seals) = desk.blobs.seals() else { return Ok(0) };
    let mut many = 0;
    let (done, practices) = {
        let mut conn = desk.db.read().await?;
        let known = practices::all(&mut conn).await?;
        let mut practices: Vec<PracticeId> = known.iter().map(|practice| practice.id).collect();
        practices.extend(canary::practice(&mut conn).await?);
        (server::noted(&mut conn, Noted::TextsSealed).await?, practices)
    };
    if done.is_none() {
        for practice in practices {
            for column in text_columns::ALL {
                many += seal_column(desk, practice, column, now).await?;
            }
        }
        if server::noted(&mut *desk.db.read().await?, Noted::TextsSealing).await?.is_some() {
            desk.db.clear_remains().await?;
        }
        let mut tx = desk.db.write().await?;
        server::note(&mut tx, Noted::TextsSealed, now).await?;
        tx.commit().await?;
    }
    seals.note_all_sealed();
    Ok(many)
}

async fn seal_column(desk: &Desk, practice: PracticeId, column: &TextColumn, now: Timestamp) -> Done<u64> {
    let (mut after, mut many) = (String::new(), 0);
    loop {
        let mut tx = desk.db.write().await?;
        let step = text_columns::seal_plain(&mut tx, practice, column, &after, AT_ONCE).await?;
        let Some((last, sealed)) = step else { return Ok(many) };
        // Killed before the books are cleared up, the next start knows that they must be.
        server::note(&mut tx, Noted::TextsSealing, now).await?;
        tx.commit().await?;
        (after, many) = (last, many + sealed);
        // Whoever waits to write comes first.
        tokio::task::yield_now().await;
    }
}
