//! Review: a surgeon opens a check, sees everything about it, decides, and answers with one press.

use std::collections::BTreeMap;

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::antibiotic;
use crate::care::antibiotic::Starting;
use crate::care::asking::ask_for_call;
use crate::care::asking::call_due;
use crate::care::assessing;
use crate::care::explain;
use crate::care::ladder;
use crate::care::measuring;
use crate::care::measuring::PhotosSay;
use crate::care::plan;
use crate::care::progress::Extent;
use crate::care::progress::SEEN_IN_PART;
use crate::care::protocols;
use crate::care::record;
use crate::care::record::Actor;
use crate::guards;
use crate::guards::Guard;
use crate::ids::MessageId;
use crate::ids::Moment;
use crate::ids::PhotoId;
use crate::ids::PracticeId;
use crate::ids::ReviewId;
use crate::ids::WoundCheckId;
use crate::plan::PlanStep;
use crate::store::Conn;
use crate::store::answer_versions;
use crate::store::callbacks;
use crate::store::callbacks::Callback;
use crate::store::checks;
use crate::store::checks::CheckState;
use crate::store::checks::Claim;
use crate::store::checks::WoundCheck;
use crate::store::claims;
use crate::store::corrections;
use crate::store::corrections::Correction;
use crate::store::measurements::KeptMeasurement;
use crate::store::measuring_jobs;
use crate::store::notices;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::patients;
use crate::store::patients::Patient;
use crate::store::photos;
use crate::store::photos::Photo;
use crate::store::photos::Size;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::replies;
use crate::store::replies::ReplyText;
use crate::store::reviews;
use crate::store::reviews::Review;
use crate::store::sealed_blobs;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::store::thread;
use crate::store::thread::Message;
use crate::store::thread::Sender;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::triage;
use crate::triage::Answers;
use crate::triage::CouldRaise;
use crate::triage::Decision;
use crate::triage::Urgency;
use crate::words::Language;

/// A surgeon who opens a check has it for this long; then it is anybody's again.
pub const CLAIM_LIMIT: SignedDuration = SignedDuration::from_mins(15);
const LONGEST_REPLY: usize = 4_000;

/// Claims a check for a surgeon. Refused while somebody else's claim runs.
pub async fn open(desk: &Desk, surgeon: &StaffMember, id: WoundCheckId, now: Timestamp) -> Done<()> {
    if !surgeon.roles.surgeon {
        return Err(CareError::NotAllowed);
    }
    let mut tx = desk.db.write().await?;
    let check = checks::hold(&mut tx, surgeon.practice, id).await?.ok_or(CareError::NotFound)?;
    let claim = Claim { by: surgeon.id, until: now + CLAIM_LIMIT };
    if matches!(check.state, CheckState::Queued | CheckState::InReview) {
        if !claims::claim_for(&mut tx, surgeon.practice, id, claim, now).await? {
            return Err(claimed_by_other(&mut tx, &check).await?);
        }
        ladder::stop(&mut tx, surgeon, &format!("check:{id}"), now).await?;
        record::note(
            &mut tx,
            surgeon.practice,
            Actor::Staff(surgeon.id),
            "check.claim",
            &format!("check:{id}"),
            "",
            now,
        )
        .await?;
    }
    tx.commit().await?;
    desk.tell(surgeon.practice);
    Ok(())
}

/// Gives a claimed check back to the queue.
pub async fn release(desk: &Desk, surgeon: &StaffMember, id: WoundCheckId, moment: &Moment) -> Done<()> {
    let now = moment.now;
    let mut tx = desk.db.write().await?;
    let check = checks::hold(&mut tx, surgeon.practice, id).await?.ok_or(CareError::NotFound)?;
    if check.state == CheckState::InReview && check.claim.is_some_and(|claim| claim.by == surgeon.id) {
        checks::set_state(&mut tx, &check, CheckState::Queued, now).await?;
        let waiting = WoundCheck { state: CheckState::Queued, claim: None, ..check };
        assessing::note_urgent(&mut tx, &waiting, moment).await?;
        let subject = format!("check:{id}");
        record::note(&mut tx, surgeon.practice, Actor::Staff(surgeon.id), "check.release", &subject, "", now)
            .await?;
    }
    tx.commit().await?;
    desk.tell(surgeon.practice);
    Ok(())
}

/// Everything about one check.
#[derive(Clone, Debug)]
pub struct Opened {
    pub practice: Practice,
    pub check: WoundCheck,
    pub photos: Vec<Photo>,
    /// When files of these photos came with an earlier check, by the SHA-256 of what was sent.
    pub sent_before: BTreeMap<String, Timestamp>,
    /// The check before on the same wound, with its photos.
    pub before: Option<(WoundCheck, Vec<Photo>)>,
    pub patient: Patient,
    pub wound: Wound,
    pub plan: Vec<PlanStep>,
    /// All checks of the wound, newest first, this one among them.
    pub history: Vec<WoundCheck>,
    /// Every decision on any of those checks, oldest first.
    pub reviews: Vec<Review>,
    pub thread: Vec<Message>,
    pub callbacks: Vec<Callback>,
    /// What the form said over time, oldest first; one entry when it was never amended.
    pub versions: Vec<(Timestamp, Answers)>,
    pub replies: Vec<ReplyText>,
    pub staff: Vec<StaffMember>,
    /// About the wound's checks and their decisions, oldest first.
    pub corrections: Vec<Correction>,
    /// The smallest sets of unknown facts that could raise the check; `None`: its facts or its protocol were not kept.
    pub could_raise: Option<Vec<CouldRaise>>,
    /// Of each photo of the wound the measurement that stands, by the time the photos were taken.
    pub measured: Vec<KeptMeasurement>,
    /// What the photos of this check say, and the healing course of the wound.
    pub photos_say: PhotosSay,
    /// Photos of this check that wait to be measured.
    pub to_measure: Vec<PhotoId>,
    /// Photos of this check and the one before whose files were found damaged, and since when.
    pub damaged: BTreeMap<PhotoId, Timestamp>,
}

impl Opened {
    /// How much there was to see.
    pub fn extent(&self) -> Extent {
        Extent::of(self.versions.len(), self.photos.len(), &self.thread)
    }
}

/// Reads everything about a check, and notes that the surgeon saw it.
pub async fn view(desk: &Desk, surgeon: &StaffMember, id: WoundCheckId, now: Timestamp) -> Done<Opened> {
    if !surgeon.roles.surgeon {
        return Err(CareError::NotAllowed);
    }
    let opened = gather(desk, surgeon.practice, id).await?;
    let mut tx = desk.db.write().await?;
    // Something may have come while this was read.
    let there_is = Extent::read(&mut tx, &opened.check).await?;
    let detail = if there_is == opened.extent() { "" } else { SEEN_IN_PART };
    let (actor, subject) = (Actor::Staff(surgeon.id), format!("check:{id}"));
    record::note(&mut tx, surgeon.practice, actor, "check.view", &subject, detail, now).await?;
    tx.commit().await?;
    Ok(opened)
}

/// Reads everything about a check, and notes nothing.
pub(in crate::care) async fn gather(desk: &Desk, practice_id: PracticeId, id: WoundCheckId) -> Done<Opened> {
    let mut conn = desk.db.read().await?;
    let check = checks::find(&mut conn, practice_id, id).await?.ok_or(CareError::NotFound)?;
    let wound = wounds::find(&mut conn, practice_id, check.wound).await?.ok_or(CareError::NotFound)?;
    let before = match checks::before(&mut conn, &check).await? {
        Some(earlier) => {
            let pictures = photos::of_check(&mut conn, practice_id, earlier.id).await?;
            Some((earlier, pictures))
        }
        None => None,
    };
    let version = &check.assessment.protocol_version;
    let protocol = protocols::of_version(desk, &mut conn, practice_id, version).await?;
    let could_raise =
        explain::could_have_raised(protocol.as_ref(), &check.assessment, check.facts.as_ref()).await?;
    let pictures = photos::of_check(&mut conn, practice_id, id).await?;
    let mut damaged = sealed_blobs::damaged_photos(&mut conn, practice_id, id).await?;
    if let Some((earlier, _)) = &before {
        damaged.extend(sealed_blobs::damaged_photos(&mut conn, practice_id, earlier.id).await?);
    }
    let mut to_measure = Vec::new();
    for picture in &pictures {
        if measuring_jobs::is_waiting(&mut conn, practice_id, picture.id).await? {
            to_measure.push(picture.id);
        }
    }
    Ok(Opened {
        could_raise,
        damaged,
        measured: measuring::of_wound(&mut conn, practice_id, wound.id).await?,
        photos_say: measuring::photos_say(&mut conn, &wound, &check).await?,
        to_measure,
        practice: practices::find(&mut conn, practice_id).await?.ok_or(CareError::NotFound)?,
        sent_before: photos::sent_before(&mut conn, &check).await?,
        photos: pictures,
        before,
        patient: patients::find(&mut conn, practice_id, wound.patient).await?.ok_or(CareError::NotFound)?,
        plan: wounds::plan(&mut conn, practice_id, wound.id).await?,
        history: checks::of_wound(&mut conn, practice_id, wound.id).await?,
        reviews: reviews::of_wound(&mut conn, practice_id, wound.id).await?,
        thread: thread::of_wound(&mut conn, practice_id, wound.id).await?,
        callbacks: callbacks::of_check(&mut conn, practice_id, id).await?,
        versions: answer_versions::of_check(&mut conn, &check).await?,
        replies: replies::of_practice(&mut conn, practice_id).await?,
        staff: staff::of_practice(&mut conn, practice_id).await?,
        corrections: corrections::of_wound(&mut conn, practice_id, wound.id).await?,
        check,
        wound,
    })
}

/// In whose name and in which language an answer to this check is written.
pub async fn writes_to(desk: &Desk, surgeon: &StaffMember, id: WoundCheckId) -> Done<(Practice, Language)> {
    let mut conn = desk.db.read().await?;
    let practice = practices::find(&mut conn, surgeon.practice).await?.ok_or(CareError::NotFound)?;
    let check = checks::find(&mut conn, surgeon.practice, id).await?.ok_or(CareError::NotFound)?;
    let wound = wounds::find(&mut conn, surgeon.practice, check.wound).await?.ok_or(CareError::NotFound)?;
    let patient =
        patients::find(&mut conn, surgeon.practice, wound.patient).await?.ok_or(CareError::NotFound)?;
    Ok((practice, patient.language))
}

/// A photo's row, for a surgeon: where it belongs, nothing that is to be seen on it.
pub async fn photo_named(desk: &Desk, surgeon: &StaffMember, id: PhotoId) -> Done<Photo> {
    if !surgeon.roles.surgeon {
        return Err(CareError::NotAllowed);
    }
    photos::find(&mut *desk.db.read().await?, surgeon.practice, id).await?.ok_or(CareError::NotFound)
}

/// A photo's bytes for whoever may see it, and a note that they were seen. `None`: no such photo, or it could not be read.
pub async fn photo(
    desk: &Desk,
    surgeon: &StaffMember,
    id: PhotoId,
    size: Size,
    now: Timestamp,
) -> Done<Option<bytes::Bytes>> {
    if !surgeon.may_see_photos() {
        return Err(CareError::NotAllowed);
    }
    let Some(found) = photos::find(&mut *desk.db.read().await?, surgeon.practice, id).await? else {
        return Ok(None);
    };
    let bytes = bytes_of(desk, &found, size).await?;
    if bytes.is_some() && size != Size::Small {
        record::note_view(desk, surgeon, "photo.view", &format!("photo:{id}"), now).await?;
    }
    Ok(bytes)
}

/// A photo's bytes, with nothing noted. `None`: it could not be read when it came, or its file is gone.
pub(in crate::care) async fn bytes_of(desk: &Desk, photo: &Photo, size: Size) -> Done<Option<bytes::Bytes>> {
    let Some(renditions) = &photo.renditions else { return Ok(None) };
    Ok(desk.blobs.get(&mut *desk.db.read().await?, photo.practice, renditions.blob(size)).await?)
}

/// What the surgeon pressed.
#[derive(Clone, Debug)]
pub struct Deciding {
    pub decision: Decision,
    /// To the patient, in their language; empty: nothing is written, the office speaks.
    pub reply: String,
    /// For staff only.
    pub note: String,
    /// For "come in": when.
    pub come_in: Option<Timestamp>,
    /// What the office is to ask or say on the phone; empty: the decision's own words.
    pub ask: String,
    /// How urgent the surgeon says it was; `None`: as the decision says. Kept for the figures: it changes nothing of
    /// what the patient was told, the office's call or the due times.
    pub judged: Option<Urgency>,
    /// With an antibiotic: what is started; `None`: recorded without, nothing is followed.
    pub antibiotic: Option<Starting>,
    /// How much of the check the surgeon had before them; `None`: all there is.
    pub extent: Option<Extent>,
}

/// Decides a check. Decision, reply, callback, record and notices commit together.
pub async fn decide(
    desk: &Desk,
    surgeon: &StaffMember,
    id: WoundCheckId,
    deciding: Deciding,
    moment: &Moment,
) -> Done<ReviewId> {
    if !surgeon.roles.surgeon {
        return Err(CareError::NotAllowed);
    }
    let faults = deciding_faults(&deciding, moment.now);
    if !faults.is_empty() {
        return Err(CareError::Entered(faults));
    }
    let mut tx = desk.db.write().await?;
    let check = checks::hold(&mut tx, surgeon.practice, id).await?.ok_or(CareError::NotFound)?;
    if matches!(check.state, CheckState::Closed | CheckState::AwaitingCall) {
        return Err(CareError::AlreadyDone);
    }
    let is_others = check.claim.is_some_and(|claim| claim.by != surgeon.id && claim.until > moment.now);
    if is_others && guards::stands(Guard::OneOwner) {
        return Err(claimed_by_other(&mut tx, &check).await?);
    }
    let there_is = Extent::read(&mut tx, &check).await?;
    if deciding.extent.is_some_and(|extent| extent != there_is) && guards::stands(Guard::DecidedAsSeen) {
        let words = "The patient sent more while you were reading: it is on this page now. \
                     Read it, then send your answer.";
        return Err(CareError::Entered(vec![Fault::new("extent", words)]));
    }
    let review = Review {
        id: ReviewId::mint(moment),
        practice: surgeon.practice,
        check: id,
        surgeon: surgeon.id,
        decision: deciding.decision,
        come_in: deciding.come_in,
        note: deciding.note.trim().into(),
        urgency_shown: check.assessment.urgency,
        due_shown: Some(check.due),
        urgency_judged: deciding.judged,
        call_due: call_due(&check, deciding.decision, moment.now),
        decided: moment.now,
        come_in_answer: None,
    };
    reviews::insert(&mut tx, &review).await?;
    plan::add_visit(&mut tx, check.wound, &review, moment).await?;
    if let Some(starting) = &deciding.antibiotic {
        antibiotic::start(&mut tx, surgeon, check.wound, review.id, starting, moment).await?;
    }
    keep_reply(&mut tx, surgeon, &check, &review, deciding.reply.trim(), moment).await?;
    let state = match review.call_due {
        Some(due) => {
            ask_for_call(&mut tx, &check, &review, &deciding, due, moment).await?;
            CheckState::AwaitingCall
        }
        None => CheckState::Closed,
    };
    checks::set_state(&mut tx, &check, state, moment.now).await?;
    ladder::stop(&mut tx, surgeon, &format!("check:{id}"), moment.now).await?;
    thread::note_dealt_with(&mut tx, surgeon.practice, check.wound, moment.now).await?;
    let judged = review.urgency_judged.map_or("as_decided", Urgency::code);
    let detail = format!(
        "decision={} urgency={} judged={judged}",
        review.decision.code(),
        review.urgency_shown.code()
    );
    let (actor, subject) = (Actor::Staff(surgeon.id), format!("check:{id}"));
    record::note(&mut tx, surgeon.practice, actor, "check.decide", &subject, &detail, moment.now).await?;
    tx.commit().await?;
    desk.tell(surgeon.practice);
    Ok(review.id)
}

async fn keep_reply(
    conn: &mut Conn,
    surgeon: &StaffMember,
    check: &WoundCheck,
    review: &Review,
    reply: &str,
    moment: &Moment,
) -> Done<()> {
    if reply.is_empty() {
        return Ok(());
    }
    let message = Message {
        id: MessageId::mint(moment),
        practice: surgeon.practice,
        wound: check.wound,
        check: Some(check.id),
        review: Some(review.id),
        sender: Sender::Practice,
        staff: Some(surgeon.id),
        link: None,
        body: reply.into(),
        sent: moment.now,
        read_by: Some(moment.now + triage::read_within(review.urgency_shown)),
        read: None,
    };
    thread::insert(conn, &message, None).await?;
    let about = format!("message:{}", message.id);
    let recipient = Recipient::Link(check.link);
    notices::enqueue(conn, surgeon.practice, NoticeKind::AnswerReady, recipient, &about, moment).await?;
    Ok(())
}

async fn claimed_by_other(conn: &mut Conn, check: &WoundCheck) -> Done<CareError> {
    let Some(claim) = check.claim else { return Ok(CareError::AlreadyDone) };
    let by = staff::find(conn, check.practice, claim.by).await?;
    Ok(CareError::Claimed { by: by.map_or_else(String::new, |member| member.name), until: claim.until })
}

fn deciding_faults(deciding: &Deciding, now: Timestamp) -> Vec<Fault> {
    let mut faults = Vec::new();
    let reply = deciding.reply.trim();
    if reply.is_empty() && !deciding.decision.needs_a_call() {
        faults.push(Fault::new("reply", "Write an answer, or choose one of the practice's replies."));
    }
    if reply.chars().count() > LONGEST_REPLY {
        faults.push(Fault::new("reply", "Shorten the answer to 4,000 characters."));
    }
    if let Some(start) = triage::first_blank(reply) {
        faults.push(Fault::new("reply", format!("Fill in the blank {start} in the answer.")));
    }
    if let Some(starting) = &deciding.antibiotic {
        faults.extend(starting.faults(now));
    }
    match (deciding.decision, deciding.come_in) {
        (Decision::ComeIn, None) => {
            faults.push(Fault::new("come_in", "Say when the patient should come in."))
        }
        (Decision::ComeIn, Some(when)) if when < now => {
            faults.push(Fault::new("come_in", "That time has passed. Choose a later one."));
        }
        _ => {}
    }
    faults
}
