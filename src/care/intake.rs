//! Intake: a wound check comes in, in one piece or answers first and photos after, and is acknowledged only when it
//! is durable: photos synced and renamed, then one transaction with answers, assessment, record and notices.

use jiff::Timestamp;
use sha2::Digest;
use sha2::Sha256;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::LinkHolder;
use crate::care::assessing;
use crate::care::assessing::Again;
use crate::care::assessing::Assessed;
use crate::care::decoder::NotRead;
use crate::care::flood;
use crate::care::gates::DECODING_AGAIN;
use crate::care::knock;
use crate::care::measuring;
use crate::care::measuring::Hints;
use crate::care::plan;
use crate::care::protocols;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::room;
use crate::care::room::Room;
use crate::care::secrets;
use crate::care::strip_out;
use crate::ids::Moment;
use crate::ids::PhotoId;
use crate::ids::WoundCheckId;
use crate::photo::CardIssue;
use crate::photo::CleanPhoto;
use crate::photo::Refused;
use crate::store::BlobName;
use crate::store::Conn;
use crate::store::KeptBlob;
use crate::store::StoreError;
use crate::store::Tx;
use crate::store::answer_versions;
use crate::store::assessments;
use crate::store::check_drafts;
use crate::store::checks;
use crate::store::checks::CheckState;
use crate::store::checks::SentFrom;
use crate::store::checks::WordsKept;
use crate::store::checks::WoundCheck;
use crate::store::photos;
use crate::store::photos::Camera;
use crate::store::photos::MOST_PHOTOS;
use crate::store::photos::Photo;
use crate::store::photos::Renditions;
use crate::store::photos::Size;
use crate::store::photos::Tap;
use crate::store::practices;
use crate::store::sealed_blobs;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::triage::Answers;
use crate::triage::Facts;
use crate::triage::StripAnswer;
use crate::triage::Urgency;

/// Longest form key taken; ours have 22 letters.
const LONGEST_FORM_KEY: usize = 64;

/// One body of a check form. `form_key` was made when the form opened: every retry is the same check.
#[derive(Clone, Debug)]
pub struct Sending {
    pub form_key: String,
    pub answers: Answers,
    /// How many photos the phone means to send, 0–6.
    pub photos_expected: i64,
}

/// A photo that is clean and durable, waiting to be tied to its check.
#[derive(Clone, Debug)]
pub struct PreparedPhoto {
    position: i64,
    sent_sha256: String,
    renditions: Option<Renditions>,
    /// The blobs of its renditions: full, review, small.
    kept: Vec<KeptBlob>,
    tap: Option<Tap>,
    camera: Camera,
    flags: Vec<String>,
}

impl PreparedPhoto {
    /// Why this picture cannot be used, or may not be: codes for the page's words.
    pub fn flags(&self) -> &[String] {
        &self.flags
    }

    /// The blob of one rendition; `None`: what was sent is no picture.
    pub fn blob(&self, size: Size) -> Option<&KeptBlob> {
        let name = self.renditions.as_ref()?.blob(size);
        self.kept.iter().find(|kept| kept.name == *name)
    }

    pub fn is_readable(&self) -> bool {
        self.renditions.is_some()
    }

    /// `None`: what was sent is no picture.
    pub fn renditions(&self) -> Option<&Renditions> {
        self.renditions.as_ref()
    }

    /// What is known of it for measuring by these cards.
    pub fn hints(&self, cards: CardIssue) -> Hints {
        Hints { tap: self.tap, cards, camera: self.camera }
    }
}

/// The receipt: the check is durable.
#[derive(Clone, Debug)]
pub struct Receipt {
    pub check: WoundCheckId,
    pub code: String,
    pub received: Timestamp,
    /// By when a person answers.
    pub due: Timestamp,
    pub urgency: Urgency,
    pub photos_here: usize,
}

/// Cleans a picture and keeps its renditions durably. A picture that cannot be read is no error: the check goes on
/// without it, and the reason is kept. `position` from 1. [`CareError::NoRoom`]: the disk takes no photos just now;
/// [`CareError::Busy`]: more pictures wait than can be read soon, or none can be read just now. One that its decoder does not survive
/// is a damaged picture.
pub async fn prepare_photo(
    desk: &Desk,
    bytes: Vec<u8>,
    position: i64,
    tap: Option<Tap>,
) -> Done<PreparedPhoto> {
    if room::now(desk) == Room::AnswersOnly {
        return Err(CareError::NoRoom);
    }
    let position = position.clamp(1, MOST_PHOTOS);
    let sent_sha256 = data_encoding::HEXLOWER.encode(&Sha256::digest(&bytes));
    let place = desk.gates.decoding.enter().ok_or(CareError::Busy { again: DECODING_AGAIN })?;
    let turn = place.turn().await?;
    match desk.decoder.clean(bytes, desk.limits, turn).await {
        Ok(Ok(clean)) => keep_renditions(desk, clean, sent_sha256, position, tap).await,
        Ok(Err(refused)) => Ok(refused_photo(&refused, sent_sha256, position)),
        Err(NotRead) => Err(CareError::Busy { again: DECODING_AGAIN }),
    }
}

async fn keep_renditions(
    desk: &Desk,
    clean: CleanPhoto,
    sent_sha256: String,
    position: i64,
    tap: Option<Tap>,
) -> Done<PreparedPhoto> {
    let flags = clean.flags().iter().map(|flag| flag.code().to_owned()).collect();
    let (width_px, height_px) = (clean.full().width_px, clean.full().height_px);
    let camera = Camera { focal_35mm: clean.focal_35mm(), time: clean.capture_time() };
    let (full, review, small) = clean.into_renditions();
    let mut kept: Vec<KeptBlob> = Vec::new();
    let mut names = Vec::new();
    for jpeg in [full.jpeg, review.jpeg, small.jpeg] {
        let name = BlobName::of(&jpeg);
        // Of a small picture the larger renditions are one and the same.
        if !kept.iter().any(|blob| blob.name == name) {
            kept.push(desk.blobs.put(jpeg).await.map_err(no_room_or_fault)?);
        }
        names.push(name);
    }
    let [full, review, small] =
        names.try_into().map_err(|_| CareError::Work("a photo has three renditions".to_owned()))?;
    let renditions = Renditions { full, review, small, width_px, height_px };
    Ok(PreparedPhoto { position, sent_sha256, renditions: Some(renditions), kept, tap, camera, flags })
}

/// A disk that was full in the middle of a photo: the watermark came too late.
fn no_room_or_fault(fault: StoreError) -> CareError {
    if fault.is_no_room() { CareError::NoRoom } else { fault.into() }
}

fn refused_photo(refused: &Refused, sent_sha256: String, position: i64) -> PreparedPhoto {
    PreparedPhoto {
        position,
        sent_sha256,
        renditions: None,
        kept: Vec::new(),
        tap: None,
        camera: Camera::default(),
        flags: vec![refused.code().to_owned()],
    }
}

/// Takes a check in: answers, and the photos that came with them. The same form key and the same body give the same
/// receipt; the same key and another body are an amendment, kept beside the first.
pub async fn receive(
    desk: &Desk,
    holder: &LinkHolder,
    sending: Sending,
    prepared: Vec<PreparedPhoto>,
    moment: &Moment,
) -> Done<Receipt> {
    let mut tx = desk.db.write().await?;
    let receipt = receive_in(desk, &mut tx, holder, sending, prepared, moment).await?;
    tx.commit().await?;
    desk.tell(holder.practice);
    Ok(receipt)
}

/// As [`receive`], within a transaction that also holds what the check comes of.
pub(in crate::care) async fn receive_in(
    desk: &Desk,
    tx: &mut Tx,
    holder: &LinkHolder,
    mut sending: Sending,
    prepared: Vec<PreparedPhoto>,
    moment: &Moment,
) -> Done<Receipt> {
    let form_key = sending.form_key.trim().to_owned();
    if form_key.is_empty() || form_key.len() > LONGEST_FORM_KEY {
        return Err(CareError::NotFound);
    }
    let wound = wounds::hold(tx, holder.practice, holder.wound).await?.ok_or(CareError::NotFound)?;
    knock::must_be_open(tx, holder, moment.now).await?;
    let found = checks::by_form_key(tx, holder.link, &form_key).await?;
    let known = found.as_ref().map(|check| check.id);
    let said = strip_out::join(tx, &wound, known, &mut sending.answers, moment.now).await?;
    let mut check = match found {
        Some(check) => check,
        None => open_check(desk, tx, holder, &wound, &sending, moment).await?,
    };
    strip_out::tie(tx, said, check.id).await?;
    let kept = answer_versions::keep(tx, &check, &sending.answers, moment.now).await?;
    let mut changed = kept && check.answers != sending.answers;
    if changed {
        check.answers = sending.answers;
    }
    if sending.photos_expected > check.photos_expected {
        check.photos_expected = sending.photos_expected.min(MOST_PHOTOS);
        changed = true;
    }
    changed |= tie_photos(desk, tx, &check, prepared, moment).await?;
    if changed {
        let again = Again::Amended(Actor::Link(check.link));
        assessing::assess_again(desk, tx, &wound, &mut check, again, moment).await?;
    }
    note_strip(tx, &wound, &check).await?;
    check_drafts::forget(tx, holder.practice, holder.link, &form_key).await?;
    receipt(tx, &check).await
}

/// Adds a photo to a check whose answers came first. `None`: no check has this form key yet; the phone sends its
/// answers again before the photo.
pub async fn add_photo(
    desk: &Desk,
    holder: &LinkHolder,
    form_key: &str,
    prepared: PreparedPhoto,
    moment: &Moment,
) -> Done<Option<Receipt>> {
    let mut tx = desk.db.write().await?;
    let wound = wounds::hold(&mut tx, holder.practice, holder.wound).await?.ok_or(CareError::NotFound)?;
    knock::must_be_open(&mut tx, holder, moment.now).await?;
    let Some(mut check) = checks::by_form_key(&mut tx, holder.link, form_key).await? else { return Ok(None) };
    if tie_photos(desk, &mut tx, &check, vec![prepared], moment).await? {
        let again = Again::Amended(Actor::Link(check.link));
        assessing::assess_again(desk, &mut tx, &wound, &mut check, again, moment).await?;
    }
    let receipt = receipt(&mut tx, &check).await?;
    tx.commit().await?;
    desk.tell(holder.practice);
    Ok(Some(receipt))
}

/// The receipt of a check this link sent; `None` when it sent none with that code.
pub async fn receipt_of(desk: &Desk, holder: &LinkHolder, code: &str) -> Done<Option<(WoundCheck, Receipt)>> {
    let mut conn = desk.db.read().await?;
    let found = checks::of_wound(&mut conn, holder.practice, holder.wound).await?;
    let Some(check) = found.into_iter().find(|check| check.receipt == code && check.link == holder.link)
    else {
        return Ok(None);
    };
    let receipt = receipt(&mut conn, &check).await?;
    Ok(Some((check, receipt)))
}

/// What the check with this form key says so far; `None`: there is none yet.
pub async fn answers_so_far(desk: &Desk, holder: &LinkHolder, form_key: &str) -> Done<Option<Answers>> {
    let check = checks::by_form_key(&mut *desk.db.read().await?, holder.link, form_key).await?;
    Ok(check.map(|check| check.answers))
}

/// The photos of a check this link sent, in order.
pub async fn photos_of(desk: &Desk, holder: &LinkHolder, check: &WoundCheck) -> Done<Vec<Photo>> {
    if check.link != holder.link {
        return Err(CareError::NotFound);
    }
    Ok(photos::of_check(&mut *desk.db.read().await?, holder.practice, check.id).await?)
}

async fn open_check(
    desk: &Desk,
    conn: &mut Conn,
    holder: &LinkHolder,
    wound: &Wound,
    sending: &Sending,
    moment: &Moment,
) -> Done<WoundCheck> {
    let Assessed { facts, assessment, due, protocol } =
        assessing::assess(desk, conn, wound, &sending.answers, Facts::default(), moment.now).await?;
    protocols::keep_program(conn, holder.practice, &protocol, moment.now).await?;
    let check = WoundCheck {
        id: WoundCheckId::mint(moment),
        practice: holder.practice,
        wound: holder.wound,
        link: holder.link,
        sequence: practices::next_check_sequence(conn, holder.practice).await?,
        form_key: sending.form_key.trim().to_owned(),
        receipt: secrets::receipt_code(&moment.chance),
        state: CheckState::Queued,
        received: moment.now,
        answers: sending.answers.clone(),
        words: WordsKept::Readable,
        assessment,
        facts: Some(facts),
        due,
        photos_expected: sending.photos_expected.clamp(0, MOST_PHOTOS),
        claim: None,
        phone: SentFrom { borrowed: holder.borrowed, other_initials: holder.other_initials.clone() },
    };
    checks::insert(conn, &check).await?;
    assessments::add(conn, &check, moment.now).await?;
    wounds::note_check(conn, wound, moment.now).await?;
    let practice = practices::find(conn, holder.practice).await?.ok_or(CareError::NotFound)?;
    plan::note_check(conn, &practice, wound.id, moment.now).await?;
    let detail = format!("urgency={}", check.assessment.urgency.code());
    let subject = format!("check:{}", check.id);
    record::note(
        conn,
        holder.practice,
        Actor::Link(holder.link),
        "check.receive",
        &subject,
        &detail,
        moment.now,
    )
    .await?;
    assessing::note_urgent(conn, &check, moment).await?;
    Ok(check)
}

/// Ties photos to their check. True when one of them was new.
async fn tie_photos(
    desk: &Desk,
    conn: &mut Conn,
    check: &WoundCheck,
    prepared: Vec<PreparedPhoto>,
    moment: &Moment,
) -> Done<bool> {
    let mut here = photos::of_check(conn, check.practice, check.id).await?.len() as i64;
    let mut any_new = false;
    if prepared.is_empty() || flood::is_too_much(desk, conn, check, moment).await? {
        return Ok(false);
    }
    for photo in prepared {
        if here >= MOST_PHOTOS {
            break;
        }
        let kept = photo.kept;
        let photo = Photo {
            id: PhotoId::mint(moment),
            practice: check.practice,
            check: check.id,
            position: photo.position,
            sent_sha256: photo.sent_sha256,
            renditions: photo.renditions,
            tap: photo.tap,
            camera: photo.camera,
            flags: photo.flags,
            received: moment.now,
        };
        if photos::insert(conn, &photo).await? {
            any_new = true;
            here += 1;
            for blob in &kept {
                sealed_blobs::insert(conn, check.practice, blob, moment.now).await?;
            }
            measuring::queue(conn, &photo, moment.now).await?;
            let detail = format!("flags={}", photo.flags.join("+"));
            let subject = format!("photo:{}", photo.id);
            record::note(
                conn,
                check.practice,
                Actor::Link(check.link),
                "photo.receive",
                &subject,
                &detail,
                moment.now,
            )
            .await?;
        }
    }
    Ok(any_new)
}

async fn note_strip(conn: &mut Conn, wound: &Wound, check: &WoundCheck) -> Done<()> {
    match check.answers.strip.known() {
        Some(StripAnswer::AllOut) => Ok(plan::note_strip_out(conn, wound, check.received).await?),
        Some(StripAnswer::PartOut | StripAnswer::Unsure | StripAnswer::StillIn | StripAnswer::Stuck) => {
            Ok(plan::note_strip_in(conn, wound, check.received).await?)
        }
        Some(StripAnswer::NeverHad | StripAnswer::FellOut) | None => Ok(()),
    }
}

/// The receipt of a check that is in.
pub(in crate::care) async fn receipt(conn: &mut Conn, check: &WoundCheck) -> Done<Receipt> {
    Ok(Receipt {
        check: check.id,
        code: check.receipt.clone(),
        received: check.received,
        due: check.due,
        urgency: check.assessment.urgency,
        photos_here: photos::of_check(conn, check.practice, check.id).await?.len(),
    })
}
