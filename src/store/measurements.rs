//! Measurements: what each photo was found to say about its wound, by the program and by hand. Rows are added, never
//! changed.

use std::collections::BTreeMap;

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::MeasurementId;
use crate::ids::PhotoId;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::ids::WoundCheckId;
use crate::ids::WoundId;
use crate::photo::CardIssue;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::store::row::to_json;
use crate::wound::Because;
use crate::wound::Measurement;

/// Who measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Author {
    Program,
    /// Drew the outline, or confirmed the program's.
    Staff(StaffId),
}

/// One measurement of one photo.
#[derive(Clone, Debug, PartialEq)]
pub struct KeptMeasurement {
    pub id: MeasurementId,
    pub practice: PracticeId,
    pub wound: WoundId,
    pub check: WoundCheckId,
    pub photo: PhotoId,
    pub author: Author,
    pub made: Timestamp,
    /// When the photo was received.
    pub taken: Timestamp,
    pub measurement: Measurement,
}

impl KeptMeasurement {
    /// The program broke off, so that this says nothing about the photo itself.
    pub fn broke_off(&self) -> bool {
        self.measurement
            .because
            .iter()
            .any(|because| matches!(because, Because::TookTooLong | Because::Failed))
    }

    /// What makes one measurement of a photo stand before another: a person before the program, a result before one
    /// that broke off, the newest.
    fn standing_order(&self) -> (bool, bool, Timestamp, MeasurementId) {
        let by_hand = matches!(self.author, Author::Staff(_));
        (by_hand, !self.broke_off(), self.made, self.id)
    }
}

/// Of each photo the measurement that stands, ordered by the time the photos were taken: the newest by hand before the
/// newest automatic one.
pub fn standing(list: Vec<KeptMeasurement>) -> Vec<KeptMeasurement> {
    let mut of_photo: BTreeMap<PhotoId, KeptMeasurement> = BTreeMap::new();
    for kept in list {
        match of_photo.get(&kept.photo) {
            Some(stands) if stands.standing_order() >= kept.standing_order() => {}
            Some(_) | None => {
                of_photo.insert(kept.photo, kept);
            }
        }
    }
    let mut standing: Vec<KeptMeasurement> = of_photo.into_values().collect();
    standing.sort_by_key(|kept| (kept.taken, kept.photo));
    standing
}

fn kept(row: &AnyRow) -> Stored<KeptMeasurement> {
    Ok(KeptMeasurement {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        wound: row.parsed("wound_id")?,
        check: row.parsed("check_id")?,
        photo: row.parsed("photo_id")?,
        author: row.parsed_maybe("staff_id")?.map_or(Author::Program, Author::Staff),
        made: row.time("made_ms")?,
        taken: row.time("taken_ms")?,
        measurement: row.json("measurement")?,
    })
}

/// What the cards are called that count in a measurement: ids and printed edge.
fn cards_code(cards: &CardIssue) -> String {
    format!("{}-{} {:.3}", cards.ids.start(), cards.ids.end(), cards.tag_edge_mm)
}

/// Keeps a measurement. False: the program has measured this photo with this method and these cards before, and that
/// one is kept.
pub async fn insert(conn: &mut Conn, kept: &KeptMeasurement, cards: &CardIssue) -> Stored<bool> {
    const SQL: &str = "INSERT INTO measurement (id, practice_id, wound_id, check_id, photo_id, staff_id, method, cards, \
                       taken_ms, made_ms, measurement) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11) \
                       ON CONFLICT (photo_id, method, cards) WHERE staff_id IS NULL DO NOTHING";
    let staff = match kept.author {
        Author::Program => None,
        Author::Staff(id) => Some(id.to_string()),
    };
    let inserted = sqlx::query(SQL)
        .bind(kept.id.to_string())
        .bind(kept.practice.to_string())
        .bind(kept.wound.to_string())
        .bind(kept.check.to_string())
        .bind(kept.photo.to_string())
        .bind(staff)
        .bind(&kept.measurement.method)
        .bind(cards_code(cards))
        .bind(kept.taken.as_millisecond())
        .bind(kept.made.as_millisecond())
        .bind(to_json(&kept.measurement)?)
        .execute(conn)
        .await?;
    Ok(inserted.rows_affected() == 1)
}

/// Every measurement of a wound's photos, by the time the photos were taken, each photo's oldest first.
pub async fn of_wound(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Stored<Vec<KeptMeasurement>> {
    const SQL: &str = "SELECT * FROM measurement WHERE practice_id = $1 AND wound_id = $2 \
                       ORDER BY taken_ms, photo_id, made_ms, id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(wound.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(kept)
        .collect()
}

/// Every measurement of a photo, newest first.
pub async fn of_photo(conn: &mut Conn, practice: PracticeId, photo: PhotoId) -> Stored<Vec<KeptMeasurement>> {
    const SQL: &str =
        "SELECT * FROM measurement WHERE practice_id = $1 AND photo_id = $2 ORDER BY made_ms DESC, id DESC";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(photo.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(kept)
        .collect()
}

/// Photos that the program has not measured with this method and these cards, oldest first.
pub async fn photos_without(
    conn: &mut Conn,
    practice: PracticeId,
    method: &str,
    cards: &CardIssue,
) -> Stored<Vec<PhotoId>> {
    const SQL: &str = "SELECT id FROM photo WHERE practice_id = $1 AND review_sha256 IS NOT NULL \
                       AND NOT EXISTS (SELECT 1 FROM measurement WHERE measurement.photo_id = photo.id \
                       AND measurement.practice_id = $1 AND staff_id IS NULL AND method = $2 AND cards = $3) \
                       ORDER BY received_ms, id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(method)
        .bind(cards_code(cards))
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| row.parsed("id"))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::Chance;
    use crate::ids::Moment;

    fn at(second: i64) -> Moment {
        Moment::new(Timestamp::from_second(1_700_000_000 + second).unwrap(), Chance::seeded(second as u64))
    }

    fn kept(photo: u8, author: Author, made_second: i64, because: Vec<Because>) -> KeptMeasurement {
        let taken = at(i64::from(photo) * 100);
        KeptMeasurement {
            id: MeasurementId::mint(&at(made_second)),
            practice: crate::ids::PracticeId::mint(&at(1)),
            wound: WoundId::mint(&at(1)),
            check: WoundCheckId::mint(&at(1)),
            photo: PhotoId::mint(&Moment::new(taken.now, Chance::seeded(1))),
            author,
            made: at(made_second).now,
            taken: taken.now,
            measurement: Measurement::refused(because),
        }
    }

    fn stands(list: &[&KeptMeasurement]) -> Vec<MeasurementId> {
        standing(list.iter().map(|one| (*one).clone()).collect()).into_iter().map(|one| one.id).collect()
    }

    #[test]
    fn the_newest_by_hand_stands_before_the_newest_automatic_one() {
        let surgeon = Author::Staff(StaffId::mint(&at(2)));
        let old = kept(1, Author::Program, 1_000, vec![Because::Blurred]);
        let drawn = kept(1, surgeon, 2_000, Vec::new());
        let redrawn = kept(1, surgeon, 3_000, Vec::new());
        let new = kept(1, Author::Program, 4_000, vec![Because::Blurred]);
        assert_eq!(stands(&[&old]), [old.id]);
        assert_eq!(stands(&[&new, &old]), [new.id]);
        assert_eq!(stands(&[&old, &drawn, &redrawn, &new]), [redrawn.id]);
        assert_eq!(stands(&[&redrawn, &new, &drawn, &old]), [redrawn.id]);
    }

    #[test]
    fn a_try_that_broke_off_displaces_no_result() {
        let result = kept(1, Author::Program, 1_000, vec![Because::CardNotSeen]);
        for because in [Because::TookTooLong, Because::Failed] {
            let broken = kept(1, Author::Program, 2_000, vec![because]);
            assert_eq!(stands(&[&result, &broken]), [result.id]);
            assert_eq!(stands(&[&broken]), [broken.id]);
        }
    }

    #[test]
    fn each_photo_has_one_in_the_order_they_were_taken() {
        let late = kept(2, Author::Program, 1_000, Vec::new());
        let early = kept(1, Author::Program, 2_000, Vec::new());
        assert_eq!(stands(&[&late, &early]), [early.id, late.id]);
        assert!(stands(&[]).is_empty());
    }
}
