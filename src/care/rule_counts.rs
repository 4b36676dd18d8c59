//! How often each rule fired in a month, and how often the surgeon agreed that the check was at least that urgent.

use std::collections::HashMap;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::figures::judged;
use crate::care::must_judge_ranking;
use crate::ids::WoundCheckId;
use crate::store::assessments;
use crate::store::figures;
use crate::store::practices;
use crate::store::staff::StaffMember;
use crate::triage::Urgency;

/// One rule's month.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RuleCount {
    /// Checks in which it fired.
    pub fired: u64,
    /// Of those, how many a surgeon judged.
    pub judged: u64,
    /// Of those, how many the surgeon judged at least as urgent as the rule's class at that time.
    pub agreed: u64,
}

/// The counts of the calendar month that `now` falls into, in the practice's time zone, by rule id. A rule that did
/// not fire is not in it.
pub async fn this_month(
    desk: &Desk,
    member: &StaffMember,
    now: Timestamp,
) -> Done<HashMap<String, RuleCount>> {
    must_judge_ranking(member)?;
    let mut conn = desk.db.read().await?;
    let practice = practices::find(&mut conn, member.practice).await?.ok_or(CareError::NotFound)?;
    let begins = month_begins(now, &practice.zone);
    let mut judgements: HashMap<WoundCheckId, Urgency> = HashMap::new();
    figures::each_check(&mut conn, member.practice, begins, |check| {
        let gravest = check.reviews.iter().filter_map(|review| judged(review, &practice.zone));
        if let Some(gravest) = gravest.map(|one| one.judged).max() {
            judgements.insert(check.id, gravest);
        }
    })
    .await?;
    let mut counts: HashMap<String, RuleCount> = HashMap::new();
    assessments::each_fired(&mut conn, member.practice, begins, |check, rule, class| {
        let count = counts.entry(rule).or_default();
        count.fired += 1;
        if let Some(judged) = judgements.get(&check) {
            count.judged += 1;
            count.agreed += u64::from(*judged >= class);
        }
    })
    .await?;
    Ok(counts)
}

/// The first moment of the month; `now` itself where the calendar has none.
fn month_begins(now: Timestamp, zone: &TimeZone) -> Timestamp {
    let first = now.to_zoned_datetime(zone.clone()).date().first_of_month();
    first.to_zoned_datetime(zone.clone()).map_or(now, |begins| begins.timestamp())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_month_begins_at_local_midnight_of_its_first_day() {
        let zone = TimeZone::get("America/New_York").unwrap();
        let begins = |now: &str| month_begins(now.parse().unwrap(), &zone).to_string();
        assert_eq!(begins("2026-03-10T15:00:00Z"), "2026-03-01T05:00:00Z");
        // Still February in New York.
        assert_eq!(begins("2026-03-01T04:59:59Z"), "2026-02-01T05:00:00Z");
    }
}
