//! Figures: how well the ranking agrees with the surgeons, and how soon they answer, over a period.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::must_judge_ranking;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::WoundCheckId;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::figures;
use crate::store::figures::CountedCheck;
use crate::store::figures::CountedReview;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::staff::StaffMember;
use crate::triage::Decided;
use crate::triage::Decision;
use crate::triage::Urgency;
use crate::triage::figures::Agreement;
use crate::triage::figures::Judged;
use crate::triage::figures::Origin;
use crate::triage::figures::Period;
use crate::triage::figures::Response;
use crate::triage::figures::Timed;

/// Checks on the page's list; whoever wants more takes the table home.
pub const LISTED_ON_PAGE: usize = 50;
/// Checks in the downloaded list.
pub const LISTED_IN_FILE: usize = 1_000;

coded! {
    /// A table that can be downloaded.
    pub enum Table {
        Decisions = "decisions",
        Shares = "shares",
        MovedUp = "moved-up",
        ResponseByClass = "response-by-class",
        ResponseByHour = "response-by-hour",
    }
}

/// Everything the page says.
#[derive(Clone, Debug)]
pub struct Figures {
    pub practice: Practice,
    pub period: Period,
    /// Checks received in the period.
    pub received: u64,
    pub agreement: Agreement,
    pub response: Response,
    /// The newest of those a surgeon judged graver than they were assessed, newest first.
    pub moved_up: Vec<MovedUp>,
}

/// A check that a surgeon judged graver than it was assessed.
#[derive(Clone, Debug)]
pub struct MovedUp {
    pub check: WoundCheckId,
    pub received: Timestamp,
    /// What the patient can read out over the phone.
    pub receipt: String,
    pub judged: Judged,
    /// Ids of the rules that fired, as the check stands now, weightiest first.
    pub rules: Vec<String>,
}

/// The figures as a lead or a surgeon opens them, and a note that they did.
pub async fn read(desk: &Desk, member: &StaffMember, period: Period, now: Timestamp) -> Done<Figures> {
    must_judge_ranking(member)?;
    record::note_list_view(desk, member, "figures.view", now).await?;
    count(desk, member, period, now, LISTED_ON_PAGE).await
}

/// The figures as they go into a file, and a note which table was taken.
pub async fn download(
    desk: &Desk,
    member: &StaffMember,
    table: Table,
    period: Period,
    now: Timestamp,
) -> Done<Figures> {
    must_judge_ranking(member)?;
    let mut tx = desk.db.write().await?;
    let (actor, subject) = (Actor::Staff(member.id), format!("practice:{}", member.practice));
    let detail = format!("table={} period={}", table.code(), period.code());
    record::note(&mut tx, member.practice, actor, "figures.download", &subject, &detail, now).await?;
    tx.commit().await?;
    let listed = match table {
        Table::MovedUp => LISTED_IN_FILE,
        Table::Decisions | Table::Shares | Table::ResponseByClass | Table::ResponseByHour => 0,
    };
    count(desk, member, period, now, listed).await
}

/// What was counted so far, and the checks that were moved up, oldest first.
#[derive(Default)]
struct Count {
    received: u64,
    agreement: Agreement,
    response: Response,
    moved_up: Vec<(WoundCheckId, Timestamp, Judged)>,
}

async fn count(
    desk: &Desk,
    member: &StaffMember,
    period: Period,
    now: Timestamp,
    listed: usize,
) -> Done<Figures> {
    let mut conn = desk.db.read().await?;
    let practice = practices::find(&mut conn, member.practice).await?.ok_or(CareError::NotFound)?;
    let (begins, zone) = (period.begins(now, &practice.zone), &practice.zone);
    let mut count = Count::default();
    figures::each_check(&mut conn, member.practice, begins, |check| count.add(&check, now, zone)).await?;
    let newest = count.moved_up.iter().rev().take(listed);
    let mut moved_up = Vec::new();
    for (check, received, judged) in newest {
        moved_up.extend(name(&mut conn, member, *check, *received, *judged).await?);
    }
    let Count { received, agreement, response, .. } = count;
    Ok(Figures { practice, period, received, agreement, response, moved_up })
}

async fn name(
    conn: &mut Conn,
    member: &StaffMember,
    check: WoundCheckId,
    received: Timestamp,
    judged: Judged,
) -> Done<Option<MovedUp>> {
    let found = figures::named(conn, member.practice, check).await?;
    Ok(found.map(|(receipt, assessment)| MovedUp {
        check,
        received,
        receipt,
        judged,
        rules: assessment.reasons.into_iter().map(|reason| reason.rule_id).collect(),
    }))
}

impl Count {
    fn add(&mut self, check: &CountedCheck, now: Timestamp, zone: &TimeZone) {
        self.received += 1;
        self.response.count(&timed(check, now, zone));
        if check.reviews.is_empty() {
            self.agreement.count_not_reviewed();
            return;
        }
        let judgements: Vec<Judged> =
            check.reviews.iter().filter_map(|review| judged(review, zone)).collect();
        let counted = self.agreement.count_reviewed(&judgements);
        if let Some(one) = counted.filter(|one| one.is_moved_up()) {
            self.moved_up.push((check.id, check.received, *one));
        }
    }
}

/// The times of a check up to its first review: class and due time as that surgeon saw them.
fn timed(check: &CountedCheck, now: Timestamp, zone: &TimeZone) -> Timed {
    let first = check.reviews.first();
    let class = first.map_or(check.urgency, |review| review.urgency_shown);
    let due = first.and_then(|review| review.due_shown).unwrap_or(check.due);
    Timed::of(class, check.received, due, first.map(|review| review.decided), now, zone)
}

/// How urgent a review says the check was; `None`: it does not say.
pub(in crate::care) fn judged(review: &CountedReview, zone: &TimeZone) -> Option<Judged> {
    let decided = Decided { at: review.decided, come_in: review.come_in, call_due: review.call_due };
    let read = |decision: Decision| -> Option<(Urgency, Origin)> {
        Some((decision.judged(&decided, zone)?, Origin::Read))
    };
    let said = review.urgency_judged.map(|class| (class, Origin::Said));
    let (judged, origin) = said.or_else(|| read(review.decision))?;
    Some(Judged { decision: review.decision, assessed: review.urgency_shown, judged, origin })
}

#[cfg(test)]
mod tests {
    use super::*;

    const RECEIVED: &str = "2026-03-10T15:00:00Z";

    fn minutes(after: i64) -> Timestamp {
        RECEIVED.parse::<Timestamp>().unwrap() + jiff::SignedDuration::from_mins(after)
    }

    fn reviewed(after_min: i64, decision: Decision, judged: Option<Urgency>) -> CountedReview {
        CountedReview {
            decision,
            come_in: None,
            urgency_shown: Urgency::Today,
            due_shown: Some(minutes(240)),
            urgency_judged: judged,
            call_due: None,
            decided: minutes(after_min),
        }
    }

    #[test]
    fn what_the_surgeon_says_overrules_what_the_decision_says() {
        let read = judged(&reviewed(1, Decision::Antibiotic, None), &TimeZone::UTC).unwrap();
        assert_eq!((read.judged, read.origin), (Urgency::Today, Origin::Read));
        let said =
            judged(&reviewed(1, Decision::Antibiotic, Some(Urgency::OnTrack)), &TimeZone::UTC).unwrap();
        assert_eq!((said.judged, said.origin), (Urgency::OnTrack, Origin::Said));
        assert_eq!(judged(&reviewed(1, Decision::AnotherPhoto, None), &TimeZone::UTC), None);
        let photo = reviewed(1, Decision::AnotherPhoto, Some(Urgency::GoNow));
        assert_eq!(judged(&photo, &TimeZone::UTC).map(|one| one.judged), Some(Urgency::GoNow));
    }

    #[test]
    fn a_question_asked_back_changes_nothing_of_how_soon_the_first_answer_came() {
        use crate::triage::figures::Answered;
        let check = CountedCheck {
            id: CHECK_ID.parse().unwrap(),
            // Both as they stand now: the question made the check wait again.
            urgency: Urgency::RingNow,
            due: minutes(3_000),
            received: minutes(0),
            reviews: vec![
                reviewed(241, Decision::HealingAsExpected, None),
                reviewed(2_900, Decision::HealingAsExpected, None),
            ],
        };
        let times = timed(&check, minutes(9_000), &TimeZone::UTC);
        assert_eq!((times.class, times.answered), (Urgency::Today, Answered::Late));
        assert_eq!(times.waited_min, 241.0);
    }

    const CHECK_ID: &str = "018f0000-0000-7000-8003-100000000001";
}
