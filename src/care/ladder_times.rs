//! How soon who is told of something urgent: a lead changes it, within what is safe, and the surgeons hear of it.

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::must_judge_ranking;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::Moment;
use crate::store::audit;
use crate::store::audit::AuditEntry;
use crate::store::notices;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::practices;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::triage::LadderKind;
use crate::triage::LadderTimes;
use crate::triage::RungTime;

/// What the record calls a change.
const ACTION: &str = "ladder_times.keep";
const HISTORY_SHOWN: i64 = 10;

/// The times in force, and the lines of the record that tell how they came about, newest first.
pub async fn view(desk: &Desk, member: &StaffMember) -> Done<(LadderTimes, Vec<AuditEntry>)> {
    must_judge_ranking(member)?;
    let mut conn = desk.db.read().await?;
    let times = practices::ladder_times(&mut conn, member.practice).await?.ok_or(CareError::NotFound)?;
    Ok((times, audit::newest_of(&mut conn, member.practice, ACTION, HISTORY_SHOWN).await?))
}

/// Keeps new times, as typed by `typed(kind, number of the rung)`. They count from the next rung of whatever runs.
pub async fn keep(
    desk: &Desk,
    lead: &StaffMember,
    typed: impl Fn(LadderKind, usize) -> String,
    moment: &Moment,
) -> Done<()> {
    if !lead.roles.lead {
        return Err(CareError::NotAllowed);
    }
    let times = read(typed).map_err(CareError::Entered)?;
    let mut tx = desk.db.write().await?;
    practices::hold(&mut tx, lead.practice).await?;
    let before = practices::ladder_times(&mut tx, lead.practice).await?.ok_or(CareError::NotFound)?;
    if before == times {
        return Ok(());
    }
    practices::set_ladder_times(&mut tx, lead.practice, &times).await?;
    let (actor, subject) = (Actor::Staff(lead.id), format!("practice:{}", lead.practice));
    let detail = difference(&before, &times);
    record::note(&mut tx, lead.practice, actor, ACTION, &subject, &detail, moment.now).await?;
    let about = format!("ladder_times:{}", moment.now.as_millisecond());
    for surgeon in staff::of_practice(&mut tx, lead.practice).await? {
        if surgeon.active && surgeon.roles.surgeon && surgeon.id != lead.id {
            let (kind, to) = (NoticeKind::LadderTimes, Recipient::Staff(surgeon.id));
            notices::enqueue(&mut tx, lead.practice, kind, to, &about, moment).await?;
        }
    }
    tx.commit().await?;
    desk.tell(lead.practice);
    Ok(())
}

fn read(typed: impl Fn(LadderKind, usize) -> String) -> Result<LadderTimes, Vec<Fault>> {
    let (mut faults, mut all) = (Vec::new(), Vec::new());
    for kind in LadderKind::ALL {
        let (mut minutes, rungs) = (Vec::new(), of_kind(&LadderTimes::default(), *kind));
        for rung in &rungs {
            let (least, most) = (*rung.safe.start(), *rung.safe.end());
            // The first rung has no choice, and no field.
            let text = if least == most { least.to_string() } else { typed(*kind, rung.number) };
            match text.trim().parse::<u32>() {
                Ok(found) if rung.safe.contains(&found) => minutes.push(found),
                Ok(_) | Err(_) => {
                    let words = format!("Enter whole minutes from {least} to {most}.");
                    faults.push(Fault::new(field(*kind, rung.number), words));
                }
            }
        }
        if let Some(at) = (1..minutes.len()).find(|at| minutes[*at] < minutes[*at - 1])
            && minutes.len() == rungs.len()
        {
            let words = format!("This comes after the one above it: at least {} minutes.", minutes[at - 1]);
            faults.push(Fault::new(field(*kind, at), words));
        }
        all.push((*kind, minutes));
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    LadderTimes::checked(&all).map_err(|words| vec![Fault::new(field(LadderKind::GoNow, 1), words)])
}

/// The times of one ladder, rung by rung.
pub fn of_kind(times: &LadderTimes, kind: LadderKind) -> Vec<RungTime> {
    times.all().into_iter().filter(|rung| rung.kind == kind).collect()
}

/// The name of the field that holds a rung's time.
pub fn field(kind: LadderKind, number: usize) -> &'static str {
    const GO_NOW: [&str; 6] = ["go_now_0", "go_now_1", "go_now_2", "go_now_3", "go_now_4", "go_now_5"];
    const RING_NOW: [&str; 6] =
        ["ring_now_0", "ring_now_1", "ring_now_2", "ring_now_3", "ring_now_4", "ring_now_5"];
    const OVERDUE: [&str; 6] = ["overdue_0", "overdue_1", "overdue_2", "overdue_3", "overdue_4", "overdue_5"];
    let names = match kind {
        LadderKind::GoNow => GO_NOW,
        LadderKind::RingNow => RING_NOW,
        LadderKind::Overdue => OVERDUE,
    };
    names.get(number).copied().unwrap_or("ladder")
}

/// What changed, such as `go_now=0,5,10,20,30,30→0,4,10,20,30,30`.
fn difference(before: &LadderTimes, after: &LadderTimes) -> String {
    let listed = |times: &LadderTimes, kind| {
        let minutes: Vec<String> = of_kind(times, kind).iter().map(|rung| rung.minutes.to_string()).collect();
        minutes.join(",")
    };
    let changed = LadderKind::ALL.iter().filter_map(|kind| {
        let (was, is) = (listed(before, *kind), listed(after, *kind));
        (was != is).then(|| format!("{}={was}→{is}", kind.code()))
    });
    changed.collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rung_has_a_field_of_its_own() {
        let all = LadderTimes::default().all();
        let names: std::collections::BTreeSet<&str> =
            all.iter().map(|rung| field(rung.kind, rung.number)).collect();
        assert_eq!(names.len(), all.len());
        assert!(!names.contains("ladder"));
    }

    #[test]
    fn times_are_read_within_their_ranges_and_in_order() {
        let times = LadderTimes::default();
        let as_it_is = |kind, number: usize| of_kind(&times, kind)[number].minutes.to_string();
        assert_eq!(read(as_it_is), Ok(LadderTimes::default()));
        let with = |name: &'static str, text: &'static str| {
            read(
                move |kind, number| {
                    if field(kind, number) == name { text.to_owned() } else { as_it_is(kind, number) }
                },
            )
        };
        assert!(with("go_now_1", "2").is_ok() && with("go_now_1", "5").is_ok());
        for (name, text) in [("go_now_1", "1"), ("go_now_1", "6"), ("overdue_1", "soon"), ("ring_now_2", "")]
        {
            assert_eq!(with(name, text).unwrap_err()[0].field, name);
        }
        // 60 minutes are safe for the second rung, and later than the third's 20.
        let unordered = read(|kind, number| match field(kind, number) {
            "overdue_1" => "60".to_owned(),
            "overdue_2" => "20".to_owned(),
            _ => as_it_is(kind, number),
        });
        assert_eq!(unordered.unwrap_err()[0].field, "overdue_2");
    }
}
