//! What a check comes to: its facts gathered from answers, enrolment, clock and measured photos, then assessed by the
//! protocol in force; and assessed anew when one of them changes.

use std::sync::Arc;

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::ladder;
use crate::care::measuring;
use crate::care::protocols;
use crate::care::record;
use crate::care::record::Actor;
use crate::guards;
use crate::guards::Guard;
use crate::ids::Moment;
use crate::store::Conn;
use crate::store::assessments;
use crate::store::checks;
use crate::store::checks::CheckState;
use crate::store::checks::WoundCheck;
use crate::store::duty;
use crate::store::measurements::KeptMeasurement;
use crate::store::patients;
use crate::store::photos;
use crate::store::photos::Photo;
use crate::store::practices;
use crate::store::thread;
use crate::store::thread::Sender;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::triage;
use crate::triage::ASKED_BACK;
use crate::triage::Answers;
use crate::triage::Assessment;
use crate::triage::CheckFacts;
use crate::triage::Enrolled;
use crate::triage::Facts;
use crate::triage::Protocol;
use crate::triage::Value;
use crate::triage::ladder_of;
use crate::wound::Because;
use crate::wound::Standing;

/// What a check comes to when these words are added to what was said in it.
pub(in crate::care) async fn assess_with_words(
    desk: &Desk,
    conn: &mut Conn,
    wound: &Wound,
    check: &WoundCheck,
    words: &str,
) -> Done<Assessed> {
    let mut answers = check.answers.clone();
    answers.words = format!("{}\n{words}", answers.words);
    let measured = measured_facts(conn, wound, check).await?;
    assess(desk, conn, wound, &answers, measured, check.received).await
}

/// What a check is assessed by, worked out anew: for checks received before facts were kept.
pub(in crate::care) async fn facts_of(desk: &Desk, conn: &mut Conn, check: &WoundCheck) -> Done<CheckFacts> {
    let wound = wounds::find(conn, check.practice, check.wound).await?.ok_or(CareError::NotFound)?;
    let measured = measured_facts(conn, &wound, check).await?;
    Ok(assess(desk, conn, &wound, &check.answers, measured, check.received).await?.facts)
}

/// What answers came to, and by what.
pub(in crate::care) struct Assessed {
    pub(in crate::care) facts: CheckFacts,
    pub(in crate::care) assessment: Assessment,
    /// By when a person answers.
    pub(in crate::care) due: Timestamp,
    /// The protocol it was assessed by.
    pub(in crate::care) protocol: Arc<Protocol>,
}

/// Assesses answers for a wound, as received then, with what its photos say, by the protocol in force.
pub(in crate::care) async fn assess(
    desk: &Desk,
    conn: &mut Conn,
    wound: &Wound,
    answers: &Answers,
    measured: Facts,
    received: Timestamp,
) -> Done<Assessed> {
    let practice = practices::find(conn, wound.practice).await?.ok_or(CareError::NotFound)?;
    let patient = patients::find(conn, wound.practice, wound.patient).await?.ok_or(CareError::NotFound)?;
    let protocol = protocols::in_force(desk, conn, wound.practice).await?;
    let today = received.to_zoned_datetime(practice.zone.clone()).date();
    let enrolled = Enrolled {
        operation: &wound.operation,
        risk: &wound.risk,
        age_years: u16::try_from(patient.age_years(today)).ok(),
        strip_out_confirmed: wound.strip_out,
    };
    let answered = Facts::from_check(answers, &enrolled, received, &practice.zone);
    let facts = CheckFacts { answered, measured };
    let assessment = triage::assess_check(&protocol, &facts);
    let hours = duty::hours(conn, wound.practice).await?;
    let due = protocol.targets().due_around(assessment.urgency, received, &hours);
    Ok(Assessed { facts, assessment, due, protocol })
}

/// What a check's photos say by themselves and beside the wound's earlier ones, as measured so far.
async fn measured_facts(conn: &mut Conn, wound: &Wound, check: &WoundCheck) -> Done<Facts> {
    let pictures = photos::of_check(conn, check.practice, check.id).await?;
    let say = measuring::photos_say(conn, wound, check).await?;
    let mut measured = say.from_photo.facts;
    if let Some(usable) = photo_usable(&pictures, &say.standing) {
        measured.set("photo_ok", Value::Flag(usable)).unwrap_or(());
    }
    Ok(measured)
}

/// Whether any photo is good enough not to ask for another; `None` while none has come.
///
/// One that was too blurred, dark, bright or colourless to find the wound in is not, nor is one without a scale that can
/// be read: the rule that asks again says "without scale". A photo that nobody has measured yet has nothing against it.
fn photo_usable(pictures: &[Photo], standing: &[KeptMeasurement]) -> Option<bool> {
    if pictures.is_empty() {
        return None;
    }
    let spoilt = |picture: &Photo| {
        let measured = standing.iter().find(|kept| kept.photo == picture.id).map(|kept| &kept.measurement);
        measured.is_some_and(|found| {
            found.standing == Standing::Refused
                && found.because.iter().any(|because| asks_for_another(*because))
        })
    };
    let usable =
        |picture: &Photo| picture.renditions.is_some() && picture.flags.is_empty() && !spoilt(picture);
    Some(pictures.iter().any(usable))
}

/// Whether a picture refused for this reason should be taken again.
fn asks_for_another(because: Because) -> bool {
    match because {
        Because::Blurred
        | Because::TooDark
        | Because::TooBright
        | Because::Monochrome
        | Because::CardNotSeen
        | Because::CardCovered
        | Because::CardTooSmall
        | Because::CardTooTilted
        | Because::Mirrored
        | Because::OtherCard
        | Because::TwoCards => true,
        Because::Glare
        | Because::ColourCast
        | Because::CutOff
        | Because::TapOutside
        | Because::TapOnCard
        | Because::NotTapped
        | Because::NoWound
        | Because::TwoOutlines
        | Because::NotSkinAround
        | Because::FaintEdge
        | Because::SmallWound
        | Because::TooClose
        | Because::TookTooLong
        | Because::Failed
        | Because::SwitchedOff => false,
    }
}

/// Why a check is assessed again, and by whom.
#[derive(Clone, Copy, Debug)]
pub(in crate::care) enum Again {
    /// The patient amended it, or sent another photo: somebody looks at it again whatever it comes to.
    Amended(Actor),
    /// A photo was measured. Somebody looks again only when the check became graver than what they saw.
    Measured(Actor),
}

/// Assesses a check again. The class never falls and the due time never moves later within one check; a check that was
/// dealt with waits again when there is more to see than before. The check's wound must be held.
pub(in crate::care) async fn assess_again(
    desk: &Desk,
    conn: &mut Conn,
    wound: &Wound,
    check: &mut WoundCheck,
    again: Again,
    moment: &Moment,
) -> Done<()> {
    let measured = measured_facts(conn, wound, check).await?;
    let (actor, action, waits_again) = match again {
        Again::Amended(actor) => (actor, "check.amend", true),
        // The photos say what they said.
        Again::Measured(_) if check.facts.as_ref().is_some_and(|facts| facts.measured == measured) => {
            return Ok(());
        }
        Again::Measured(actor) => (actor, "check.reassess", false),
    };
    let answers = with_questions(conn, check).await?;
    let Assessed { facts, mut assessment, due, protocol } =
        assess(desk, conn, wound, &answers, measured, check.received).await?;
    if guards::stands(Guard::NeverLower) {
        assessment.not_below(&check.assessment);
    }
    if check.assessment.reasons.iter().any(|reason| reason.rule_id == ASKED_BACK) {
        assessment.asked_back();
    }
    let rose = assessment.urgency > check.assessment.urgency;
    check.facts = Some(facts);
    check.assessment = assessment;
    check.due = check.due.min(due);
    if check.state == CheckState::Closed && (waits_again || rose)
        || check.state == CheckState::AwaitingCall && rose
    {
        check.state = CheckState::Queued;
        check.claim = None;
    }
    protocols::keep_program(conn, check.practice, &protocol, moment.now).await?;
    checks::amend(conn, check).await?;
    assessments::add(conn, check, moment.now).await?;
    let detail = format!("urgency={}", check.assessment.urgency.code());
    let subject = format!("check:{}", check.id);
    record::note(conn, check.practice, actor, action, &subject, &detail, moment.now).await?;
    note_urgent(conn, check, moment).await
}

/// The answers with what the patient asked about this check afterwards: alarm words in it raised it, and still do.
async fn with_questions(conn: &mut Conn, check: &WoundCheck) -> Done<Answers> {
    let mut answers = check.answers.clone();
    let messages = thread::of_wound(conn, check.practice, check.wound).await?;
    let asked = messages.iter().filter(|one| one.sender == Sender::Patient && one.check == Some(check.id));
    for message in asked {
        // What cannot be read names no danger here; the class it once gave stays.
        answers.words = format!("{}\n{}", answers.words, message.body.read().unwrap_or_default());
    }
    Ok(answers)
}

/// Begins the ladder of a waiting check of the two most urgent classes, with the change that made it so.
pub(in crate::care) async fn note_urgent(conn: &mut Conn, check: &WoundCheck, moment: &Moment) -> Done<()> {
    match (check.state, ladder_of(check.assessment.urgency)) {
        (CheckState::Queued | CheckState::InReview, Some(kind)) => {
            ladder::begin(conn, check.practice, &format!("check:{}", check.id), kind, moment).await
        }
        (CheckState::AwaitingCall | CheckState::Closed, Some(_)) | (_, None) => Ok(()),
    }
}
