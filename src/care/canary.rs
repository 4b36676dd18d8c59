//! The canary: every two minutes an invented check in a practice of the program's own goes the whole way of a check: taken
//! in, assessed, ranked, its ladder climbed, the letter handed over; only the letter ends at a probe of the channels instead
//! of a phone. That it came through is what the sign of life to the outside stands on.

use std::collections::BTreeSet;

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::civil::date;
use jiff::tz::TimeZone;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::LinkHolder;
use crate::care::intake;
use crate::care::intake::Sending;
use crate::care::queue;
use crate::care::queue::Looking;
use crate::care::review;
use crate::care::sha256_hex;
use crate::care::sign_in::NOBODY_PHC;
use crate::care::watch;
use crate::care::working::Worked;
use crate::ids::LinkId;
use crate::ids::Moment;
use crate::ids::PatientId;
use crate::ids::PracticeId;
use crate::ids::StaffAddressId;
use crate::ids::StaffId;
use crate::ids::WoundCheckId;
use crate::ids::WoundId;
use crate::plan::Operation;
use crate::plan::RiskFactors;
use crate::plan::Side;
use crate::plan::Site;
use crate::sheet::Paper;
use crate::store::Conn;
use crate::store::addresses;
use crate::store::addresses::Reached;
use crate::store::addresses::StaffAddress;
use crate::store::canary;
use crate::store::canary::Flight;
use crate::store::checks::QueueFilter;
use crate::store::deliveries;
use crate::store::deliveries::DeliveryState;
use crate::store::jobs;
use crate::store::jobs::Job;
use crate::store::jobs::JobKind;
use crate::store::jobs::Queueing;
use crate::store::ladders;
use crate::store::links;
use crate::store::links::LinkSecrets;
use crate::store::links::PatientLink;
use crate::store::notices;
use crate::store::patients;
use crate::store::patients::Patient;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::staff;
use crate::store::staff::Roles;
use crate::store::staff::StaffMember;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::store::wounds::WoundState;
use crate::triage::Answers;
use crate::triage::DangerItem;
use crate::triage::Said;
use crate::triage::Urgency;
use crate::words::Language;

/// Between two canaries (ours): two may be lost before the last one is too old.
pub const EVERY: SignedDuration = SignedDuration::from_mins(2);
/// The last one that came through is proof of nothing after this (M4).
pub const FRESH: SignedDuration = SignedDuration::from_mins(5);
/// Between two looks at one under way: longer than a letter is gathered.
const LOOK: SignedDuration = SignedDuration::from_secs(3);
const NAME: &str = "Canary";

/// Makes the canary's practice when there is none, and queues its work. Harmless when done again, or by two at once.
pub async fn ensure(desk: &Desk, moment: &Moment) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let practice = match canary::practice(&mut tx).await? {
        Some(practice) => practice,
        None => match make(&mut tx, moment).await {
            // Another server was quicker, and queued it too.
            Err(CareError::Store(fault)) if fault.is_duplicate() => return Ok(()),
            made => made?,
        },
    };
    let about = practice.to_string();
    let once_key = format!("canary:{practice}");
    let flying =
        Queueing { practice, kind: JobKind::Canary, about: &about, once_key: &once_key, due: moment.now };
    jobs::enqueue(&mut tx, flying, moment).await?;
    watch::begin(&mut tx, practice, moment).await?;
    Ok(tx.commit().await?)
}

/// Whether this is the canary's practice: its letters reach nobody.
pub async fn is_its(desk: &Desk, practice: PracticeId) -> Done<bool> {
    Ok(canary::practice(&mut *desk.db.read().await?).await? == Some(practice))
}

/// When the last one came through; `None`: none did yet.
pub async fn came_through(desk: &Desk) -> Done<Option<Timestamp>> {
    let mut conn = desk.db.read().await?;
    let Some(practice) = canary::practice(&mut conn).await? else { return Ok(None) };
    Ok(canary::flight(&mut conn, practice).await?.and_then(|flight| flight.came_through))
}

/// Sends one off, or looks how far it has come.
pub(in crate::care) async fn fly(desk: &Desk, job: &Job, moment: &Moment) -> Done<Worked> {
    let now = moment.now;
    let flight = canary::flight(&mut *desk.db.read().await?, job.practice).await?;
    let (next, due) = match flight {
        Some(Flight { check: Some(check), begun, came_through }) => {
            if is_through(desk, job.practice, check, now).await? {
                land(desk, job.practice, check, now).await?;
                (Flight { begun, check: None, came_through: Some(now) }, begun + EVERY)
            } else if now.duration_since(begun) >= EVERY {
                // Lost on the way: the next one sets out, and nothing of this one stays.
                (Flight { begun, check: None, came_through }, now)
            } else {
                (Flight { begun, check: Some(check), came_through }, now + LOOK)
            }
        }
        Some(Flight { check: None, begun, came_through: _ })
            if now < begun.saturating_add(EVERY).unwrap_or(now) =>
        {
            return put_off(desk, job, None, begun + EVERY).await;
        }
        Some(Flight { check: None, came_through, begun: _ }) => {
            let check = send(desk, job.practice, moment).await?;
            (Flight { begun: now, check: Some(check), came_through }, now + LOOK)
        }
        None => {
            let check = send(desk, job.practice, moment).await?;
            (Flight { begun: now, check: Some(check), came_through: None }, now + LOOK)
        }
    };
    put_off(desk, job, Some(next), due).await
}

/// Keeps how it stands and when to look again. With none under way, whatever the last one left goes.
async fn put_off(desk: &Desk, job: &Job, next: Option<Flight>, due: Timestamp) -> Done<Worked> {
    let mut tx = desk.db.write().await?;
    if let Some(next) = next {
        canary::keep(&mut tx, job.practice, &next).await?;
        if next.check.is_none() {
            canary::clear(&mut tx, job.practice).await?;
        }
    }
    if !jobs::put_off(&mut tx, job, due, "").await? {
        return Ok(Worked::InOtherHands);
    }
    tx.commit().await?;
    Ok(Worked::PutOff)
}

/// The year 2200, as the migration has it that opened the links of earlier canaries.
const NEVER: Timestamp = Timestamp::constant(7_258_118_400, 0);

/// Sends the most urgent check there is, as a phone does.
async fn send(desk: &Desk, practice: PracticeId, moment: &Moment) -> Done<WoundCheckId> {
    let holder = holder(&mut *desk.db.read().await?, practice).await?;
    let danger = Said::Is(BTreeSet::from([DangerItem::Breath]));
    let sending = Sending {
        form_key: format!("canary {}", moment.now.as_millisecond()),
        answers: Answers { danger, ..Answers::default() },
        photos_expected: 0,
    };
    Ok(intake::receive(desk, &holder, sending, Vec::new(), moment).await?.check)
}

async fn holder(conn: &mut Conn, practice: PracticeId) -> Done<LinkHolder> {
    let wound = wounds::open(conn, practice).await?.into_iter().next().ok_or(CareError::NotFound)?;
    let link =
        links::of_wound(conn, practice, wound.id).await?.into_iter().next().ok_or(CareError::NotFound)?;
    Ok(LinkHolder {
        link: link.id,
        link_name: link.name,
        practice,
        wound: wound.id,
        language: Language::English,
        may_read: false,
        borrowed: false,
        other_initials: String::new(),
    })
}

/// It stands in the queue as what it is, its ladder's first rung told somebody, and that letter was taken.
async fn is_through(desk: &Desk, practice: PracticeId, check: WoundCheckId, now: Timestamp) -> Done<bool> {
    let surgeon = surgeon(&mut *desk.db.read().await?, practice).await?;
    let shown = queue::read(desk, &surgeon, &QueueFilter::default(), Looking::Refreshed, now).await?;
    if !shown.rows.iter().any(|row| row.id == check && row.assessment.urgency == Urgency::GoNow) {
        return Ok(false);
    }
    let mut conn = desk.db.read().await?;
    let Some(ladder) = ladders::running(&mut conn, practice, &format!("check:{check}")).await? else {
        return Ok(false);
    };
    let about = format!("ladder:{} rung:0", ladder.id);
    for notice in notices::about(&mut conn, practice, &about).await? {
        let letters = deliveries::of_notice(&mut conn, practice, notice.id).await?;
        if letters.iter().any(|letter| letter.state == DeliveryState::Sent) {
            return Ok(true);
        }
    }
    Ok(false)
}

/// Opened, as a surgeon does: its ladder stops.
async fn land(desk: &Desk, practice: PracticeId, check: WoundCheckId, now: Timestamp) -> Done<()> {
    let surgeon = surgeon(&mut *desk.db.read().await?, practice).await?;
    review::open(desk, &surgeon, check, now).await
}

async fn surgeon(conn: &mut Conn, practice: PracticeId) -> Done<StaffMember> {
    staff::of_practice(conn, practice).await?.into_iter().next().ok_or(CareError::NotFound)
}

/// A practice with one surgeon nobody can sign in as, and one patient nobody has the link of. It never opens.
async fn make(conn: &mut Conn, moment: &Moment) -> Done<PracticeId> {
    let practice = Practice {
        id: PracticeId::mint(moment),
        name: NAME.to_owned(),
        phone: "202-555-0100".to_owned(),
        emergency_number: "911".to_owned(),
        zone: TimeZone::UTC,
        paper: Paper::A4,
        opens_minute: 0,
        closes_minute: 0,
    };
    practices::insert(conn, &practice, moment.now).await?;
    canary::mark(conn, practice.id).await?;
    let surgeon = make_surgeon(conn, practice.id, moment).await?;
    let patient = Patient {
        id: PatientId::mint(moment),
        practice: practice.id,
        name: NAME.to_owned(),
        born: date(1970, 1, 1),
        phone: "202-555-0101".to_owned(),
        language: Language::English,
        helper_name: None,
        helper_phone: None,
        interpreter: None,
    };
    patients::insert(conn, &patient, moment.now).await?;
    let wound = Wound {
        id: WoundId::mint(moment),
        practice: practice.id,
        patient: patient.id,
        surgeon,
        operation: Operation {
            site: Site::Thigh,
            side: Side::Left,
            procedure: NAME.to_owned(),
            operated: moment.now,
            size: None,
            packing: None,
            pen_line: None,
        },
        risk: RiskFactors::default(),
        strip_out: None,
        last_check: None,
        state: WoundState::Open,
        enrolled: moment.now,
    };
    wounds::insert(conn, &wound, "canary").await?;
    make_link(conn, &wound, moment).await?;
    Ok(practice.id)
}

async fn make_surgeon(conn: &mut Conn, practice: PracticeId, moment: &Moment) -> Done<StaffId> {
    let id = StaffId::mint(moment);
    let surgeon = StaffMember {
        id,
        practice,
        name: NAME.to_owned(),
        sign_in_name: format!("canary {id}"),
        roles: Roles { surgeon: true, ..Roles::default() },
        active: true,
        sees_photos: false,
    };
    staff::insert(conn, &surgeon, NOBODY_PHC, moment.now).await?;
    let address = StaffAddress {
        id: StaffAddressId::mint(moment),
        practice,
        staff: id,
        channel: Reached::Sms,
        address: "202-555-0102".to_owned(),
        place: 1,
        since: moment.now,
    };
    addresses::insert(conn, &address).await?;
    Ok(id)
}

/// A link whose secrets were never drawn.
async fn make_link(conn: &mut Conn, wound: &Wound, moment: &Moment) -> Done<()> {
    let id = LinkId::mint(moment);
    let link = PatientLink {
        id,
        practice: wound.practice,
        wound: wound.id,
        name: NAME.to_owned(),
        // Its secrets were forgotten as soon as they were made: it stays open, and nobody has it.
        expires: NEVER,
        revoked: None,
        first_used: None,
        created: moment.now,
        code_phc: NOBODY_PHC.to_owned(),
        pin_phc: NOBODY_PHC.to_owned(),
        pin_peppered: false,
        wrong_pins: 0,
        next_pin: moment.now,
    };
    let unknown = sha256_hex(&data_encoding::HEXLOWER.encode(&moment.chance.bytes::<32>()));
    let secrets = LinkSecrets { token_sha256: unknown, code_locator: id.to_string() };
    Ok(links::insert(conn, &link, &secrets).await?)
}
