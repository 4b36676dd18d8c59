//! What a check comes to: its facts gathered from answers, enrolment, clock and photos, then assessed by the protocol in
//! force.

use std::sync::Arc;

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::protocols;
use crate::store::Conn;
use crate::store::checks::WoundCheck;
use crate::store::patients;
use crate::store::photos;
use crate::store::photos::Photo;
use crate::store::practices;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::triage;
use crate::triage::Answers;
use crate::triage::Assessment;
use crate::triage::CheckFacts;
use crate::triage::Enrolled;
use crate::triage::Facts;
use crate::triage::Protocol;
use crate::triage::Value;

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
    let pictures = photos::of_check(conn, check.practice, check.id).await?;
    assess(desk, conn, wound, &answers, photo_usable(&pictures), check.received).await
}

/// What a check is assessed by, worked out anew: for checks received before facts were kept.
pub(in crate::care) async fn facts_of(desk: &Desk, conn: &mut Conn, check: &WoundCheck) -> Done<CheckFacts> {
    let wound = wounds::find(conn, check.practice, check.wound).await?.ok_or(CareError::NotFound)?;
    let pictures = photos::of_check(conn, check.practice, check.id).await?;
    Ok(assess(desk, conn, &wound, &check.answers, photo_usable(&pictures), check.received).await?.facts)
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

/// Assesses answers for a wound, as received then, by the protocol in force.
pub(in crate::care) async fn assess(
    desk: &Desk,
    conn: &mut Conn,
    wound: &Wound,
    answers: &Answers,
    photo_usable: Option<bool>,
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
    let mut measured = Facts::default();
    if let Some(usable) = photo_usable {
        measured.set("photo_ok", Value::Flag(usable)).unwrap_or(());
    }
    let facts = CheckFacts { answered, measured };
    let assessment = triage::assess_check(&protocol, &facts);
    let due = protocol.targets().due(assessment.urgency, received, &practice.zone);
    Ok(Assessed { facts, assessment, due, protocol })
}

/// Whether any photo can be judged by; `None` while none has come.
pub(in crate::care) fn photo_usable(pictures: &[Photo]) -> Option<bool> {
    if pictures.is_empty() {
        return None;
    }
    Some(pictures.iter().any(|picture| picture.renditions.is_some() && picture.flags.is_empty()))
}
