//! The watch notices who is silent: it begins silences, reminds, tells the office that a call is due, calls a step late,
//! asks the surgeon about a strip nobody can reach, and ends what came. It also reminds of what is due today.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::ladder;
use crate::care::plan::due_and_missing;
use crate::care::protocols;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::silence::about;
use crate::care::silence::missed_as;
use crate::care::silence::second_contact;
use crate::care::silence::set_next;
use crate::care::silence::step_of;
use crate::care::silence::surgeon_decides;
use crate::care::silence::timed;
use crate::ids::LinkId;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::SilenceId;
use crate::ids::WoundId;
use crate::plan::StepKind;
use crate::store::Conn;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;
use crate::store::antibiotics;
use crate::store::antibiotics::Culture;
use crate::store::callbacks;
use crate::store::canary;
use crate::store::links;
use crate::store::notices;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::patients;
use crate::store::plan;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::reviews;
use crate::store::silences;
use crate::store::silences::Beginning;
use crate::store::silences::Ending;
use crate::store::silences::Silence;
use crate::store::silences::SilenceEnd;
use crate::store::silences::SilenceState;
use crate::store::thread;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::store::wounds::WoundState;
use crate::triage;
use crate::triage::Enrolled;
use crate::triage::SilenceKind;
use crate::triage::SilenceStep;
use crate::triage::Tried;

/// "Come in" is to be answered within this long, or half the time that is left until the visit.
const COME_IN_WITHIN: SignedDuration = SignedDuration::from_hours(4);
/// From the enrolment to asking after a strip that was past its time by then (ours, no source).
const ENROLLED_LATE: SignedDuration = SignedDuration::from_hours(2);
/// A culture takes two to three days (common practice, no source).
const CULTURE_WITHIN: SignedDuration = SignedDuration::from_hours(72);
/// A check that has not come is asked for this long before it is due.
const ASKED_BEFORE_DUE: SignedDuration = SignedDuration::from_hours(3);

/// Something that was due and did not come.
struct Missed {
    wound: WoundId,
    kind: SilenceKind,
    about: String,
    since: Timestamp,
}

/// One look at everything that is due from patients.
pub(in crate::care) async fn look(desk: &Desk, id: PracticeId, moment: &Moment) -> Done<()> {
    let (practice, missed, open) = {
        let mut conn = desk.db.read().await?;
        // The canary is nobody: nothing is due from it.
        if canary::practice(&mut conn).await? == Some(id) {
            return Ok(());
        }
        let practice = practices::find(&mut conn, id).await?.ok_or(CareError::NotFound)?;
        let missed = missed(desk, &mut conn, &practice, moment.now).await?;
        (practice, missed, silences::open(&mut conn, id).await?)
    };
    for one in missed {
        if !open.iter().any(|silence| silence.kind == one.kind && silence.about == one.about) {
            begin(desk, &practice, &one, moment).await?;
        }
    }
    for silence in open {
        see_to(desk, &practice, silence.id, moment).await?;
    }
    remind_of_today(desk, id, moment).await
}

async fn missed(desk: &Desk, conn: &mut Conn, practice: &Practice, now: Timestamp) -> Done<Vec<Missed>> {
    let mut all = steps_missed(desk, conn, practice, now).await?;
    for message in thread::unread(conn, practice.id, now).await? {
        // Whoever is rung about it anyway is told on the phone.
        let is_rung = !callbacks::open_of_wound(conn, practice.id, message.wound).await?.is_empty();
        if let Some(since) = message.read_by
            && !is_rung
        {
            let about = format!("message:{}", message.id);
            all.push(Missed { wound: message.wound, kind: SilenceKind::Reply, about, since });
        }
    }
    for (wound, review) in reviews::come_in_unanswered(conn, practice.id, now).await? {
        let ahead = review.come_in.map_or(COME_IN_WITHIN, |when| when.duration_since(review.decided) / 2);
        let since = review.decided + ahead.min(COME_IN_WITHIN);
        let is_rung = !callbacks::open_of_wound(conn, practice.id, wound).await?.is_empty();
        if since <= now && !is_rung {
            let about = format!("review:{}", review.id);
            all.push(Missed { wound, kind: SilenceKind::ComeIn, about, since });
        }
    }
    for course in antibiotics::awaiting_culture(conn, practice.id, now - CULTURE_WITHIN).await? {
        let (about, since) = (format!("antibiotic:{}", course.id), course.recorded + CULTURE_WITHIN);
        all.push(Missed { wound: course.wound, kind: SilenceKind::Culture, about, since });
    }
    Ok(all)
}

/// Steps of plans: a strip and a visit each by themselves, checks once per wound and only past the protocol's limit.
async fn steps_missed(
    desk: &Desk,
    conn: &mut Conn,
    practice: &Practice,
    now: Timestamp,
) -> Done<Vec<Missed>> {
    let mut all = Vec::new();
    let mut asked: Vec<WoundId> = Vec::new();
    for one in due_and_missing(conn, practice.id, now).await? {
        let Some((kind, due)) = missed_as(&one.step) else { continue };
        let wound = wounds::find(conn, practice.id, one.wound).await?.ok_or(CareError::NotFound)?;
        let since = match kind {
            SilenceKind::Check if asked.contains(&one.wound) => continue,
            SilenceKind::Check => {
                asked.push(one.wound);
                due.max(silent_since(desk, conn, practice, &wound, now).await?)
            }
            // Nobody can have said so before they had a link: enrolled late, they have this long from then on.
            SilenceKind::Strip => due.max(wound.enrolled + ENROLLED_LATE),
            SilenceKind::Arrival
            | SilenceKind::ComeIn
            | SilenceKind::Visit
            | SilenceKind::Reply
            | SilenceKind::Culture => due,
        };
        if since <= now {
            all.push(Missed { wound: one.wound, kind, about: format!("step:{}", one.step.id), since });
        }
    }
    Ok(all)
}

/// The end of the time for which a patient may be silent. It never moves later while they are: the limit of the day on
/// which they were last heard of counts as well as today's.
async fn silent_since(
    desk: &Desk,
    conn: &mut Conn,
    practice: &Practice,
    wound: &Wound,
    now: Timestamp,
) -> Done<Timestamp> {
    let resumed = plan::standing(conn, practice.id, wound.id).await?.pause.map(|pause| pause.until);
    let resumed = resumed.filter(|until| *until <= now);
    let heard = wound.last_check.into_iter().chain(resumed).max().unwrap_or(wound.enrolled);
    let protocol = protocols::in_force(desk, conn, practice.id).await?;
    let enrolled = Enrolled {
        operation: &wound.operation,
        risk: &wound.risk,
        age_years: None,
        strip_out_confirmed: wound.strip_out,
    };
    let limit = |at| triage::silent_limit(&protocol, &enrolled, at, &practice.zone);
    Ok(heard + limit(heard).min(limit(now)))
}

async fn begin(desk: &Desk, practice: &Practice, missed: &Missed, moment: &Moment) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let wound = wounds::hold(&mut tx, practice.id, missed.wound).await?.ok_or(CareError::NotFound)?;
    let patient = patients::find(&mut tx, practice.id, wound.patient).await?.ok_or(CareError::NotFound)?;
    let next = triage::next_step(missed.kind, missed.since, &Tried::default(), second_contact(&patient));
    let (step, from, by) = timed(missed.kind, next, &practice.zone);
    let beginning = Beginning {
        practice: practice.id,
        wound: missed.wound,
        kind: missed.kind,
        about: &missed.about,
        since: missed.since,
        next: (step, from),
        by,
    };
    let Some(id) = silences::begin(&mut tx, beginning, moment).await? else { return Ok(()) };
    let detail = format!("kind={} about={}", missed.kind.code(), missed.about);
    record::note(&mut tx, practice.id, Actor::Program, "silence.begin", &about(id), &detail, moment.now)
        .await?;
    tx.commit().await?;
    see_to(desk, practice, id, moment).await
}

/// Takes what the program can take of a silence's next step, and ends it when what was due came.
pub(in crate::care) async fn see_to(
    desk: &Desk,
    practice: &Practice,
    id: SilenceId,
    moment: &Moment,
) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let Some(seen) = silences::find(&mut tx, practice.id, id).await? else { return Ok(()) };
    let wound = wounds::hold(&mut tx, practice.id, seen.wound).await?.ok_or(CareError::NotFound)?;
    let Some(mut silence) = silences::find(&mut tx, practice.id, id).await? else { return Ok(()) };
    if silence.state == SilenceState::Ended {
        return Ok(());
    }
    let (now, before) = (moment.now, silence.clone());
    if let Some(why) = over(&mut tx, &silence, &wound, now).await? {
        silences::end(&mut tx, practice.id, id, Ending { why, note: "", by: None, at: now }).await?;
        ladder::end_unneeded(&mut tx, practice.id, &about(id), now).await?;
        let detail = format!("why={}", why.code());
        record::note(&mut tx, practice.id, Actor::Program, "silence.end", &about(id), &detail, now).await?;
        tx.commit().await?;
        desk.tell(practice.id);
        return Ok(());
    }
    let patient = patients::find(&mut tx, practice.id, wound.patient).await?.ok_or(CareError::NotFound)?;
    if silence.next == SilenceStep::Reminder && silence.next_from <= now {
        if let (Some(kind), Some(link)) =
            (reminder(silence.kind), own_link(&mut tx, practice.id, wound.id, now).await?)
        {
            notices::enqueue(&mut tx, practice.id, kind, Recipient::Link(link), &about(id), moment).await?;
        }
        silence.reminded = Some(now);
        set_next(&mut tx, practice, &mut silence, &patient).await?;
    }
    if silence.next != SilenceStep::Reminder && silence.next_from <= now {
        tell_office(&mut tx, &silence, moment).await?;
    }
    if silence.next != SilenceStep::Reminder && silence.by < now {
        alarms::raise(&mut tx, practice.id, AlarmKind::Overdue, &about(id), moment).await?;
        if !ladder::somebody_sees_to_it(&mut tx, practice.id, &about(id), now).await? {
            ladder::begin(&mut tx, practice.id, &about(id), triage::LadderKind::Overdue, moment).await?;
        }
    }
    if surgeon_decides(&silence, now) && silence.asked.is_none() {
        silence.asked = Some(now);
        silence.asked_note = "The strip is still in, and nobody has reached the patient.".into();
        silences::keep(&mut tx, &silence).await?;
        ask(&mut tx, &silence, &wound, moment).await?;
    }
    tx.commit().await?;
    if silence != before {
        desk.tell(practice.id);
    }
    Ok(())
}

/// The surgeon who operated is asked, and it is an alarm until somebody decides.
pub(super) async fn ask(conn: &mut Conn, silence: &Silence, wound: &Wound, moment: &Moment) -> Done<()> {
    let about = about(silence.id);
    alarms::raise(conn, silence.practice, AlarmKind::SurgeonAsked, &about, moment).await?;
    let recipient = Recipient::Staff(wound.surgeon);
    let asked = format!("{about} asked:{}", moment.now.as_millisecond());
    notices::enqueue(conn, silence.practice, NoticeKind::Alarm, recipient, &asked, moment).await?;
    Ok(record::note(conn, silence.practice, Actor::Program, "silence.ask", &about, "", moment.now).await?)
}

/// One notice per step: that a call is to be made.
async fn tell_office(conn: &mut Conn, silence: &Silence, moment: &Moment) -> Done<()> {
    let number = silences::calls(conn, silence.practice, silence.id).await?.len();
    let about = format!("{} call:{number}", about(silence.id));
    notices::enqueue(conn, silence.practice, NoticeKind::CallToMake, Recipient::Office, &about, moment)
        .await?;
    Ok(())
}

/// Why nobody needs to wait any more; `None`: it still did not come.
async fn over(conn: &mut Conn, silence: &Silence, wound: &Wound, now: Timestamp) -> Done<Option<SilenceEnd>> {
    if wound.state == WoundState::Closed {
        return Ok(Some(SilenceEnd::NotDue));
    }
    let (practice, came) = (silence.practice, Some(SilenceEnd::Came));
    Ok(match silence.kind {
        SilenceKind::Strip if wound.strip_out.is_some() => came,
        SilenceKind::Strip | SilenceKind::Visit | SilenceKind::Check => {
            let paused = plan::standing(conn, practice, wound.id).await?.paused(now).is_some();
            match step_of(conn, silence).await? {
                Some(step) if step.done.is_some() => came,
                // What was due once is due still, also for a clock that was set back: only a step moved later is not.
                Some(step)
                    if step.cancelled.is_none() && step.step.due <= now.max(silence.begun) && !paused =>
                {
                    None
                }
                Some(_) | None => Some(SilenceEnd::NotDue),
            }
        }
        SilenceKind::Reply => {
            let messages = thread::of_wound(conn, practice, wound.id).await?;
            let id = silence.about.strip_prefix("message:").unwrap_or_default();
            let message = messages.iter().find(|message| message.id.to_string() == id);
            came.filter(|_| message.is_none_or(|message| message.read.is_some()))
        }
        SilenceKind::ComeIn => {
            let reviewed = reviews::of_wound(conn, practice, wound.id).await?;
            let id = silence.about.strip_prefix("review:").unwrap_or_default();
            match reviewed.iter().find(|review| review.id.to_string() == id) {
                Some(review) if review.come_in_answer.is_some() => came,
                // The time of the visit has come: whether they came is the visit's own step.
                Some(review) if review.come_in.is_some_and(|when| when > now) => None,
                Some(_) | None => Some(SilenceEnd::NotDue),
            }
        }
        // A person says that they arrived.
        SilenceKind::Arrival => None,
        SilenceKind::Culture => {
            let courses = antibiotics::of_wound(conn, practice, wound.id).await?;
            let id = silence.about.strip_prefix("antibiotic:").unwrap_or_default();
            let course = courses.iter().find(|course| course.id.to_string() == id);
            came.filter(|_| course.is_none_or(|course| course.culture != Culture::Sent))
        }
    })
}

fn reminder(kind: SilenceKind) -> Option<NoticeKind> {
    match kind {
        SilenceKind::Strip | SilenceKind::Visit | SilenceKind::Check => Some(NoticeKind::NotHeard),
        SilenceKind::Reply => Some(NoticeKind::ReplyUnread),
        SilenceKind::ComeIn => Some(NoticeKind::ComeInUnanswered),
        SilenceKind::Arrival | SilenceKind::Culture => None,
    }
}

/// The link a wound's notices go to: the first that still works. `None`: none does.
pub(in crate::care) async fn own_link(
    conn: &mut Conn,
    practice: PracticeId,
    wound: WoundId,
    now: Timestamp,
) -> Done<Option<LinkId>> {
    let found = links::of_wound(conn, practice, wound).await?;
    let works = found.iter().filter(|link| link.revoked.is_none() && link.expires > now);
    Ok(works.min_by_key(|link| link.created).map(|link| link.id))
}

/// Reminds of what is due today: the strip when its time begins, a check some hours before its end.
async fn remind_of_today(desk: &Desk, practice: PracticeId, moment: &Moment) -> Done<()> {
    let mut due = Vec::new();
    {
        let mut conn = desk.db.read().await?;
        for kept in plan::awaited(&mut conn, practice, moment.now).await? {
            let when = match kept.step.kind {
                StepKind::PackingRemoval | StepKind::AntibioticCheck => kept.step.from,
                _ => kept.step.due - ASKED_BEFORE_DUE,
            };
            let about = format!("step:{}", kept.id);
            if when <= moment.now && notices::about(&mut conn, practice, &about).await?.is_empty() {
                due.push((kept.wound, about));
            }
        }
    }
    for (wound, about) in due {
        let mut tx = desk.db.write().await?;
        if let Some(link) = own_link(&mut tx, practice, wound, moment.now).await? {
            notices::enqueue(&mut tx, practice, NoticeKind::StepDue, Recipient::Link(link), &about, moment)
                .await?;
        }
        tx.commit().await?;
    }
    Ok(())
}
