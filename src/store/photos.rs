//! Photos of wound checks: which blobs hold their renditions, and what is known of their quality.

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::civil::DateTime;
use sqlx::any::AnyRow;

use crate::ids::LinkId;
use crate::ids::PhotoId;
use crate::ids::PracticeId;
use crate::ids::WoundCheckId;
use crate::store::BlobName;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::checks::WoundCheck;
use crate::store::row::Columns;
use crate::store::row::to_json;

/// The most photos one check keeps.
pub const MOST_PHOTOS: i64 = 6;

/// Lengths are kept in whole micrometres: the engines read whole numbers alike.
const UM_IN_MM: f64 = 1_000.0;

/// One picture as kept. `renditions` is `None` when what was sent could not be read as a picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Photo {
    pub id: PhotoId,
    pub practice: PracticeId,
    pub check: WoundCheckId,
    /// From 1, in the order they were chosen on the phone.
    pub position: i64,
    /// SHA-256 of the bytes as sent, 64 hex letters.
    pub sent_sha256: String,
    pub renditions: Option<Renditions>,
    pub tap: Option<Tap>,
    pub camera: Camera,
    /// Codes of quality flags, or the code of the refusal.
    pub flags: Vec<String>,
    pub received: Timestamp,
}

/// The three kept sizes of one picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Renditions {
    pub full: BlobName,
    pub review: BlobName,
    pub small: BlobName,
    /// Size of the full rendition.
    pub width_px: u32,
    pub height_px: u32,
}

/// What the file said of the camera before its metadata were dropped.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Camera {
    /// Focal length as if on 35 mm film, mm. `None`: not said.
    pub focal_35mm: Option<f64>,
    /// Local time on the camera's clock. `None`: not said.
    pub time: Option<DateTime>,
}

/// The middle of the wound as the patient tapped it, in 1/10,000 of the displayed width and height.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tap {
    pub x_per_10_000: i64,
    pub y_per_10_000: i64,
}

/// Which size is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    Full,
    Review,
    Small,
}

impl Renditions {
    pub fn blob(&self, size: Size) -> &BlobName {
        match size {
            Size::Full => &self.full,
            Size::Review => &self.review,
            Size::Small => &self.small,
        }
    }
}

fn photo(row: &AnyRow) -> Stored<Photo> {
    let full = row.parsed_maybe("full_sha256")?;
    let review = row.parsed_maybe("review_sha256")?;
    let small = row.parsed_maybe("small_sha256")?;
    let pixels = |column| {
        Ok::<u32, crate::store::StoreError>(row.whole_maybe(column)?.unwrap_or(0).clamp(0, 100_000) as u32)
    };
    let (width_px, height_px) = (pixels("width_px")?, pixels("height_px")?);
    let renditions = match (full, review, small) {
        (Some(full), Some(review), Some(small)) => {
            Some(Renditions { full, review, small, width_px, height_px })
        }
        _ => None,
    };
    let tap = row.whole_maybe("tap_x")?.zip(row.whole_maybe("tap_y")?);
    Ok(Photo {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        check: row.parsed("check_id")?,
        position: row.whole("position")?,
        sent_sha256: row.text("sent_sha256")?,
        renditions,
        tap: tap.map(|(x_per_10_000, y_per_10_000)| Tap { x_per_10_000, y_per_10_000 }),
        camera: Camera {
            focal_35mm: row.whole_maybe("focal_35mm_um")?.map(|um| um as f64 / UM_IN_MM),
            time: row.parsed_maybe("camera_time")?,
        },
        flags: row.json("flags")?,
        received: row.time("received_ms")?,
    })
}

/// When each file was first sent, of all that came with the wound's checks before this one, by the SHA-256 of what was sent.
pub async fn sent_before(conn: &mut Conn, check: &WoundCheck) -> Stored<BTreeMap<String, Timestamp>> {
    const SQL: &str = "SELECT photo.sent_sha256, MIN(wound_check.received_ms) AS first_ms FROM wound_check \
                       JOIN photo ON photo.check_id = wound_check.id \
                       WHERE wound_check.practice_id = $1 AND wound_check.wound_id = $2 \
                       AND wound_check.sequence < $3 GROUP BY photo.sent_sha256";
    sqlx::query(SQL)
        .bind(check.practice.to_string())
        .bind(check.wound.to_string())
        .bind(check.sequence)
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| Ok((row.text("sent_sha256")?, row.time("first_ms")?)))
        .collect()
}

/// Keeps a photo. False: this very picture is kept with this check already.
pub async fn insert(conn: &mut Conn, photo: &Photo) -> Stored<bool> {
    const SQL: &str = "INSERT INTO photo (id, practice_id, check_id, position, sent_sha256, full_sha256, \
                       review_sha256, small_sha256, width_px, height_px, tap_x, tap_y, flags, received_ms, \
                       focal_35mm_um, camera_time) \
                       VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16) \
                       ON CONFLICT (check_id, sent_sha256) DO NOTHING";
    let kept = photo.renditions.as_ref();
    let inserted = sqlx::query(SQL)
        .bind(photo.id.to_string())
        .bind(photo.practice.to_string())
        .bind(photo.check.to_string())
        .bind(photo.position)
        .bind(&photo.sent_sha256)
        .bind(kept.map(|renditions| renditions.full.to_string()))
        .bind(kept.map(|renditions| renditions.review.to_string()))
        .bind(kept.map(|renditions| renditions.small.to_string()))
        .bind(kept.map(|renditions| i64::from(renditions.width_px)))
        .bind(kept.map(|renditions| i64::from(renditions.height_px)))
        .bind(photo.tap.map(|tap| tap.x_per_10_000))
        .bind(photo.tap.map(|tap| tap.y_per_10_000))
        .bind(to_json(&photo.flags)?)
        .bind(photo.received.as_millisecond())
        .bind(photo.camera.focal_35mm.map(|mm| (mm * UM_IN_MM).round() as i64))
        .bind(photo.camera.time.map(|time| time.to_string()))
        .execute(conn)
        .await?;
    Ok(inserted.rows_affected() == 1)
}

/// A check's photos, in the patient's order.
pub async fn of_check(conn: &mut Conn, practice: PracticeId, check: WoundCheckId) -> Stored<Vec<Photo>> {
    sqlx::query(
        "SELECT * FROM photo WHERE practice_id = $1 AND check_id = $2 ORDER BY position, received_ms, id",
    )
    .bind(practice.to_string())
    .bind(check.to_string())
    .fetch_all(conn)
    .await?
    .iter()
    .map(photo)
    .collect()
}

/// Of a link's checks, without the one of this form: when each had its first photo since `since`, first come first. Checks
/// without one are left out.
pub async fn other_checks_since(
    conn: &mut Conn,
    practice: PracticeId,
    link: LinkId,
    form_key: &str,
    since: Timestamp,
) -> Stored<Vec<Timestamp>> {
    const SQL: &str = "SELECT MIN(photo.received_ms) AS first_ms FROM wound_check \
                       JOIN photo ON photo.check_id = wound_check.id WHERE wound_check.practice_id = $1 \
                       AND wound_check.link_id = $2 AND wound_check.form_key <> $3 AND photo.received_ms > $4 \
                       GROUP BY wound_check.id ORDER BY first_ms";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(link.to_string())
        .bind(form_key)
        .bind(since.as_millisecond())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| row.time("first_ms"))
        .collect()
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: PhotoId) -> Stored<Option<Photo>> {
    sqlx::query("SELECT * FROM photo WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(photo)
        .transpose()
}
