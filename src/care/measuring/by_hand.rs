//! A person draws a wound's outline on a photo, or confirms the one the program was not sure of.

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::measuring::keeping;
use crate::care::measuring::keeping::Dealt;
use crate::care::measuring::work;
use crate::care::measuring::work::Hints;
use crate::ids::Moment;
use crate::ids::PhotoId;
use crate::photo::CardIssue;
use crate::photo::Picture;
use crate::photo::PxPoint;
use crate::photo::ScaleCard;
use crate::photo::find_card;
use crate::store::checks;
use crate::store::checks::WoundCheck;
use crate::store::measurements;
use crate::store::measurements::Author;
use crate::store::measurements::KeptMeasurement;
use crate::store::photos;
use crate::store::photos::Photo;
use crate::store::practices;
use crate::store::staff::StaffMember;
use crate::wound;
use crate::wound::Family;
use crate::wound::HandDrawn;
use crate::wound::Measurement;
use crate::wound::Standing;

/// What is drawn on.
struct Board {
    photo: Photo,
    check: WoundCheck,
    cards: CardIssue,
    /// Every measurement so far, newest first.
    so_far: Vec<KeptMeasurement>,
}

async fn board(desk: &Desk, surgeon: &StaffMember, id: PhotoId) -> Done<Board> {
    if !surgeon.roles.surgeon {
        return Err(CareError::NotAllowed);
    }
    let practice = surgeon.practice;
    let mut conn = desk.db.read().await?;
    let photo = photos::find(&mut conn, practice, id).await?.ok_or(CareError::NotFound)?;
    let check = checks::find(&mut conn, practice, photo.check).await?.ok_or(CareError::NotFound)?;
    let settings = practices::measuring(&mut conn, practice).await?.ok_or(CareError::NotFound)?;
    let so_far = measurements::of_photo(&mut conn, practice, id).await?;
    Ok(Board { photo, check, cards: settings.cards, so_far })
}

/// The scale card that outlines drawn on a photo are measured by: the one of its newest measurement with a card, or
/// found anew. `None`: no card can be read, and nothing can be drawn in millimetres.
pub async fn card_of(desk: &Desk, surgeon: &StaffMember, photo: PhotoId) -> Done<Option<ScaleCard>> {
    let board = board(desk, surgeon, photo).await?;
    if let Some(card) = known_card(&board) {
        return Ok(Some(card));
    }
    on_picture(desk, &board, card_anew).await
}

fn known_card(board: &Board) -> Option<ScaleCard> {
    board.so_far.iter().find_map(|kept| kept.measurement.card.clone())
}

fn card_anew(picture: &Picture, hints: &Hints) -> Option<ScaleCard> {
    let asked = hints.asked(picture);
    let middle = PxPoint { x_px: picture.width() as f64 / 2.0, y_px: picture.height() as f64 / 2.0 };
    find_card(picture, &asked.issue, asked.tap.unwrap_or(middle), asked.focal_35mm).ok()
}

/// Looks at the photo on a thread of its own, holding a place among those that decode.
async fn on_picture<T: Send + 'static>(
    desk: &Desk,
    board: &Board,
    look: impl FnOnce(&Picture, &Hints) -> T + Send + 'static,
) -> Done<T> {
    let bytes = work::review_bytes(desk, &board.photo).await?;
    let hints = Hints::of(&board.photo, board.cards.clone());
    let _place = desk.gates.decoding.turn().await?;
    let looking = tokio::task::spawn_blocking(move || {
        let picture = Picture::from_rendition(&bytes).map_err(|refused| refused.code())?;
        Ok::<T, &'static str>(look(&picture, &hints))
    });
    let looked = looking.await.map_err(|fault| CareError::Work(fault.to_string()))?;
    looked.map_err(|refused| CareError::Work(format!("the photo cannot be read: {refused}")))
}

/// Measures what a person drew, and keeps it: from now on it stands before what the program found. The check is assessed
/// again by it and can rise, never fall. Refused with a sentence where no card can be read. The same drawing sent twice
/// is kept once.
pub async fn by_hand(
    desk: &Desk,
    surgeon: &StaffMember,
    photo: PhotoId,
    drawn: HandDrawn,
    moment: &Moment,
) -> Done<KeptMeasurement> {
    let board = board(desk, surgeon, photo).await?;
    let card = known_card(&board);
    let measured = on_picture(desk, &board, move |picture, hints| {
        let card = card.or_else(|| card_anew(picture, hints))?;
        Some(wound::measure_by_hand(picture, &card, drawn))
    });
    let Some(measurement) = measured.await? else { return Err(refused(NO_CARD)) };
    if measurement.standing == Standing::Refused {
        return Err(refused(NO_FIGURES));
    }
    keep(desk, surgeon, board, measurement, "measurement.draw", moment).await
}

const NO_CARD: &str = "The scale card cannot be read in this photo, so nothing in it can be given in millimetres. Ask \
                       for another photo with the card flat beside the wound.";
const NO_FIGURES: &str = "No figures come of this outline. Draw it around the wound once more.";
const NOTHING_TO_CONFIRM: &str =
    "There is no outline that waits to be confirmed. Draw it, or look at what stands now.";

fn refused(words: &str) -> CareError {
    CareError::Entered(vec![Fault::new("outline", words)])
}

/// A person confirms the outline the program was not sure of: the same figures count from now on, as theirs.
pub async fn confirm(
    desk: &Desk,
    surgeon: &StaffMember,
    photo: PhotoId,
    moment: &Moment,
) -> Done<KeptMeasurement> {
    let board = board(desk, surgeon, photo).await?;
    let stands = measurements::standing(board.so_far.clone()).pop();
    let unsure = stands.map(|kept| kept.measurement).filter(|found| {
        found.standing == Standing::LowConfidence && found.outline.is_some() && found.size.is_some()
    });
    let Some(unsure) = unsure else {
        // Pressed twice: what it made stands already.
        let mine = board.so_far.into_iter().find(|kept| kept.author == Author::Staff(surgeon.id));
        return mine.ok_or(refused(NOTHING_TO_CONFIRM));
    };
    let confirmed = Measurement { family: Family::ByHand, standing: Standing::Ok, ..unsure };
    keep(desk, surgeon, board, confirmed, "measurement.confirm", moment).await
}

async fn keep(
    desk: &Desk,
    surgeon: &StaffMember,
    board: Board,
    measurement: Measurement,
    action: &str,
    moment: &Moment,
) -> Done<KeptMeasurement> {
    let Board { photo, check, cards, .. } = board;
    let kept = keeping::to_keep(&photo, &check, Author::Staff(surgeon.id), measurement, moment);
    let mut tx = desk.db.write().await?;
    checks::hold(&mut tx, surgeon.practice, check.id).await?.ok_or(CareError::NotFound)?;
    let so_far = measurements::of_photo(&mut tx, surgeon.practice, photo.id).await?;
    let mine = so_far.into_iter().find(|one| one.author == kept.author);
    if let Some(same) = mine.filter(|one| one.measurement == as_read(&kept.measurement)) {
        return Ok(same);
    }
    keeping::keep(&mut tx, &kept, &cards, action).await?;
    keeping::reassess(desk, &mut tx, &kept, Dealt::Stays, moment).await?;
    tx.commit().await?;
    desk.tell(surgeon.practice);
    Ok(kept)
}

/// A measurement as it comes back from where it is kept: the last digit of a number may differ from what was put in.
fn as_read(measurement: &Measurement) -> Measurement {
    let written = serde_json::to_string(measurement).unwrap_or_default();
    serde_json::from_str(&written).unwrap_or_else(|_| measurement.clone())
}
