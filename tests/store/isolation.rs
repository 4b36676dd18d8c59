//! Two practices on one server: whatever one does, with its own ids or with the other's, the other's rows stay as they
//! are and unseen.

use jiff::civil::Weekday;
use jiff::civil::date;

use closewatch::care::CareError;
use closewatch::care::calendar;
use closewatch::care::callback;
use closewatch::care::callback::Attempting;
use closewatch::care::check_draft;
use closewatch::care::check_draft::Kept;
use closewatch::care::check_draft::StepTyped;
use closewatch::care::correction;
use closewatch::care::drill;
use closewatch::care::duty as care_duty;
use closewatch::care::enrol;
use closewatch::care::envelope;
use closewatch::care::envelope::Opening;
use closewatch::care::export::agreement;
use closewatch::care::hand_off;
use closewatch::care::hand_over;
use closewatch::care::intake;
use closewatch::care::intake::Sending;
use closewatch::care::keeping::PROPOSED;
use closewatch::care::knock;
use closewatch::care::knock::AtTheDoor;
use closewatch::care::ladder;
use closewatch::care::late_knock;
use closewatch::care::measuring;
use closewatch::care::measuring::Method;
use closewatch::care::measuring::Setting;
use closewatch::care::patients as care_patients;
use closewatch::care::patients::Contacts;
use closewatch::care::phone_push;
use closewatch::care::plan;
use closewatch::care::plan::Washing;
use closewatch::care::plan_text;
use closewatch::care::protocol_draft;
use closewatch::care::replies as reply_texts;
use closewatch::care::review;
use closewatch::care::review::Deciding;
use closewatch::care::silence;
use closewatch::care::strip_out;
use closewatch::duty::Absence;
use closewatch::duty::DatedShift;
use closewatch::duty::DayHours;
use closewatch::duty::Rank;
use closewatch::duty::WeeklyShift;
use closewatch::ids::Chance;
use closewatch::ids::ExportAgreementId;
use closewatch::ids::LadderId;
use closewatch::ids::LegalHoldId;
use closewatch::ids::LinkId;
use closewatch::ids::PhotoId;
use closewatch::ids::SilenceId;
use closewatch::ids::StaffAddressId;
use closewatch::ids::StaffId;
use closewatch::ids::TombstoneId;
use closewatch::photo::MmPoint;
use closewatch::plan::EndWhy;
use closewatch::plan::OutPress;
use closewatch::plan::PlanText;
use closewatch::plan::StepKind;
use closewatch::store::addresses;
use closewatch::store::addresses::Reached;
use closewatch::store::addresses::StaffAddress;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::answer_versions;
use closewatch::store::antibiotics;
use closewatch::store::assessments;
use closewatch::store::attendance;
use closewatch::store::audit;
use closewatch::store::audit_search;
use closewatch::store::audit_search::Looked;
use closewatch::store::calendar_feeds;
use closewatch::store::callbacks;
use closewatch::store::callbacks::CallbackState;
use closewatch::store::canary;
use closewatch::store::check_counts;
use closewatch::store::check_drafts;
use closewatch::store::check_drafts::Draft;
use closewatch::store::checks;
use closewatch::store::checks::CheckState;
use closewatch::store::checks::Claim;
use closewatch::store::checks::QueueFilter;
use closewatch::store::claims;
use closewatch::store::corrections;
use closewatch::store::drills;
use closewatch::store::duty;
use closewatch::store::export_agreements;
use closewatch::store::export_agreements::ExportAgreement;
use closewatch::store::keepings;
use closewatch::store::keepings::Keeping;
use closewatch::store::ladders;
use closewatch::store::late_knocks;
use closewatch::store::late_knocks::Dealt;
use closewatch::store::late_knocks::LateKnock;
use closewatch::store::legal_holds;
use closewatch::store::legal_holds::LegalHold;
use closewatch::store::links;
use closewatch::store::measurements;
use closewatch::store::measuring_jobs;
use closewatch::store::patients;
use closewatch::store::photos;
use closewatch::store::photos::Size;
use closewatch::store::plan as plan_rows;
use closewatch::store::plan::CancelledWhy;
use closewatch::store::plan::Ended;
use closewatch::store::plan::KeptStep;
use closewatch::store::plan_texts;
use closewatch::store::practices;
use closewatch::store::protocols;
use closewatch::store::purge;
use closewatch::store::purge_letters;
use closewatch::store::replies;
use closewatch::store::reviews;
use closewatch::store::sealed_blobs;
use closewatch::store::sealed_codes;
use closewatch::store::sealed_codes::Look;
use closewatch::store::sealed_codes::Noted;
use closewatch::store::second_steps;
use closewatch::store::second_steps::KeptPasskey;
use closewatch::store::sign_in_tries;
use closewatch::store::silences;
use closewatch::store::staff;
use closewatch::store::staff::Activity;
use closewatch::store::staff_sessions;
use closewatch::store::strip_attempts;
use closewatch::store::text_columns;
use closewatch::store::text_columns::CALL_ATTEMPT_NOTE;
use closewatch::store::text_columns::MESSAGE_BODY;
use closewatch::store::thread;
use closewatch::store::tombstones;
use closewatch::store::tombstones::Gone;
use closewatch::store::tombstones::Tombstone;
use closewatch::store::unreadable_texts;
use closewatch::store::wounds;
use closewatch::triage::CallOutcome;
use closewatch::triage::CallResult;
use closewatch::triage::Decision;
use closewatch::triage::Edits;
use closewatch::triage::Protocol;
use closewatch::wound::HandDrawn;
use closewatch::wound::METHOD;
use closewatch::wound::Outline;
use closewatch::wound::Probed;

use crate::support::Patient;
use crate::support::Phone;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::TABLES;
use crate::support::goes_silent;
use crate::support::in_danger;
use crate::support::jpeg;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::rows_of;

/// A practice with at least one row in every table.
pub struct Busy {
    pub practice: Practice,
    office: Staff,
    surgeon: Staff,
    lead: Staff,
    patient: Patient,
    phone: Phone,
    /// Waits for the surgeon; its photo waits to be measured.
    waiting: checks::WoundCheck,
    /// Waits for a call.
    calling: checks::WoundCheck,
    photo: PhotoId,
    call: callback::Call,
    /// Typed on the phone, and not sent.
    draft: Draft,
    /// A step of the plan that was moved.
    step: KeptStep,
    ladder: LadderId,
    silence: SilenceId,
    late: LateKnock,
    look: Look,
    agreement: ExportAgreementId,
}

/// A step moved, the practice's own text, a try at the strip, and a calendar address.
async fn changes_the_plan(office: &Staff, lead: &Staff, phone: &Phone) -> KeptStep {
    let (practice, holder) = (&phone.patient.practice, phone.holder().await);
    let (desk, moment) = (practice.desk(), practice.moment());
    let steps = plan_rows::steps(&mut *practice.books().await, practice.id, holder.wound).await.unwrap();
    let last = steps.into_iter().rev().find(|kept| kept.step.kind == StepKind::Photo).unwrap();
    let due = last.step.due + jiff::SignedDuration::from_hours(24);
    plan::move_step(desk, &office.member, holder.wound, last.id, due, "a holiday", &moment).await.unwrap();
    let mut text = PlanText::built_in().clone();
    text.numbers.soak_min = 25;
    plan_text::keep(desk, &lead.member, 0, text, moment.now).await.unwrap();
    strip_out::press(desk, &holder, OutPress::TookPill, &moment).await.unwrap();
    calendar::make(desk, &holder, &moment).await.unwrap();
    last
}

const DRAFT_KEY: &str = "form 3";

async fn begins_a_check(phone: &Phone) -> Draft {
    let typed = StepTyped {
        form_key: DRAFT_KEY,
        step: "pain",
        names: &["pain"],
        fields: vec![("pain".to_owned(), "3".to_owned())],
        shown: vec!["pain".to_owned()],
    };
    let practice = &phone.patient.practice;
    match check_draft::keep(practice.desk(), &phone.holder().await, &phone.token, typed, practice.now())
        .await
        .unwrap()
    {
        Kept::Draft(draft) => draft,
        Kept::SentBefore(receipt) => panic!("sent under {receipt}"),
    }
}

/// The surgeon is texted of a check, an address wants no letters, and something is an alarm. Which ladder it is.
async fn is_told_of(practice: &Practice, surgeon: &Staff, check: &checks::WoundCheck) -> LadderId {
    let moment = practice.moment();
    let mut tx = practice.desk().db.write().await.unwrap();
    let address = StaffAddress {
        id: StaffAddressId::mint(&moment),
        practice: practice.id,
        staff: surgeon.member.id,
        channel: Reached::Sms,
        address: "+12025550150".to_owned(),
        place: 1,
        since: moment.now,
    };
    addresses::insert(&mut tx, &address).await.unwrap();
    addresses::opt_out(&mut tx, practice.id, Reached::Sms, "+12025550151", moment.now).await.unwrap();
    alarms::raise(&mut tx, practice.id, AlarmKind::ClockSetBack, "practice", &moment).await.unwrap();
    attendance::note_beat(&mut tx, practice.id, surgeon.member.id, moment.now).await.unwrap();
    drills::begin(&mut tx, practice.id, None, &moment).await.unwrap().unwrap();
    keeps_something(&mut tx, practice, surgeon.member.id).await;
    let flight = canary::Flight { begun: moment.now, check: None, came_through: None };
    canary::keep(&mut tx, practice.id, &flight).await.unwrap();
    tx.commit().await.unwrap();
    practice.works().await;
    let about = format!("check:{}", check.id);
    ladders::running(&mut *practice.books().await, practice.id, &about).await.unwrap().unwrap().id
}

/// Numbers, a hold, and what is left of something that went.
async fn keeps_something(tx: &mut closewatch::store::Conn, practice: &Practice, staff: StaffId) {
    let moment = practice.moment();
    let keeping = Keeping {
        numbers: PROPOSED,
        confirmed_by: staff,
        confirmed: moment.now,
        waits_until: moment.now,
        looked: moment.now,
    };
    keepings::keep(tx, practice.id, &keeping).await.unwrap();
    let hold = LegalHold {
        id: LegalHoldId::mint(&moment),
        practice: practice.id,
        patient: None,
        reason: "A letter.".into(),
        placed_by: staff,
        placed: moment.now,
        asked: None,
        released: None,
    };
    legal_holds::insert(tx, &hold).await.unwrap();
    let stone = Tombstone {
        id: TombstoneId::mint(&moment),
        practice: practice.id,
        gone: Gone::Letters,
        rule: "letters_days=90".to_owned(),
        at: moment.now,
        rows: 1,
        files: 0,
        sha256: "0".repeat(64),
    };
    tombstones::insert(tx, &stone).await.unwrap();
    tombstones::insert_file(tx, practice.id, &"a".repeat(64), moment.now).await.unwrap();
}

/// A passkey and printed recovery codes; the app and the browser came with signing in.
async fn sets_up_more_ways(surgeon: &Staff) {
    let practice = &surgeon.practice;
    let kept = KeptPasskey {
        credential_id: format!("key of {}", surgeon.member.id),
        name: "the practice's tablet".to_owned(),
        credential: "{}".to_owned(),
        created: practice.now(),
        last_used: None,
    };
    let mut tx = practice.desk().db.write().await.unwrap();
    assert!(second_steps::insert_passkey(&mut tx, &surgeon.member, &kept).await.unwrap());
    second_steps::set_recovery_codes(&mut tx, &surgeon.member, &["a hash".to_owned()]).await.unwrap();
    tx.commit().await.unwrap();
}

/// A second link that was revoked, and somebody tries.
async fn knocks_late(office: &Staff, patient: &Patient) -> LateKnock {
    let (desk, moment) = (office.practice.desk(), office.practice.moment());
    let wound = patient.enrolled.wound.id;
    let (_, _, issued) = enrol::issue_link(desk, &office.member, wound, "lost", &moment).await.unwrap();
    enrol::revoke_link(desk, &office.member, issued.link.id, moment.now).await.unwrap();
    knock::knock(desk, issued.token.reveal(), AtTheDoor::default(), &moment).await.unwrap();
    late_knocks::waiting(&mut *office.practice.books().await, office.practice.id).await.unwrap().remove(0)
}

/// A text that the last look could not open.
async fn cannot_be_read(practice: &Practice) {
    let mut tx = practice.desk().db.write().await.unwrap();
    unreadable_texts::note(&mut tx, practice.id, MESSAGE_BODY.name, "a row", practice.now()).await.unwrap();
    tx.commit().await.unwrap();
}

/// Everything is to be taken out, and nobody has agreed.
async fn asks_for_everything(lead: &Staff) -> ExportAgreementId {
    let (desk, moment) = (lead.practice.desk(), lead.practice.moment());
    let asked = ExportAgreement {
        id: ExportAgreementId::mint(&moment),
        practice: lead.practice.id,
        asked_by: lead.member.id,
        asked: moment.now,
        until: moment.now + agreement::WITHIN,
        agreed: None,
        taken: None,
        withdrawn: None,
    };
    let mut tx = desk.db.write().await.unwrap();
    export_agreements::insert(&mut tx, &asked).await.unwrap();
    tx.commit().await.unwrap();
    asked.id
}

pub async fn busy(practice: Practice) -> Busy {
    let (office, surgeon, lead) = (practice.office().await, practice.surgeon().await, practice.lead().await);
    let patient = office.enrols("Mia Stone", &surgeon).await;
    let phone = patient.opens_link().await;
    let first = phone.sends("form 1", no_danger(), &[jpeg(1)]).await;
    surgeon.decides(first.check, Decision::CallByOffice, "We will ring you.").await.unwrap();
    let call = office.reads_callbacks().await.remove(0);
    office.rings(&call, CallResult::NoAnswer, None).await.unwrap();
    // The first photo is measured; the second waits.
    measuring::next(practice.desk(), &Method::default(), &practice.moment()).await.unwrap();
    let second = phone.sends("form 2", in_danger(), &[jpeg(2)]).await;
    let edits = Edits { limits: vec![("pain_rest".to_owned(), 6.0)], classes: Vec::new() };
    let program = Protocol::built_in().version();
    protocol_draft::keep(practice.desk(), &lead.member, program, &edits, practice.now()).await.unwrap();
    enters_duty(&practice, &lead, &surgeon).await;
    sets_up_more_ways(&surgeon).await;
    cannot_be_read(&practice).await;
    let mut books = practice.books().await;
    let waiting = checks::find(&mut books, practice.id, second.check).await.unwrap().unwrap();
    let calling = checks::find(&mut books, practice.id, first.check).await.unwrap().unwrap();
    let photo = photos::of_check(&mut books, practice.id, second.check).await.unwrap()[0].id;
    drop(books);
    let draft = begins_a_check(&phone).await;
    let step = changes_the_plan(&office, &lead, &phone).await;
    let (desk, moment) = (practice.desk(), practice.moment());
    phone_push::tell(desk, &phone.holder().await, &phone.token, "{}", &moment).await.unwrap();
    let ladder = is_told_of(&practice, &surgeon, &waiting).await;
    let (silence, _) = goes_silent(&practice, &office.member, patient.enrolled.wound.id).await;
    let late = knocks_late(&office, &patient).await;
    let look = opens_envelope(&practice, &lead).await;
    correction::add(desk, &surgeon.member, calling.id, None, "It was the left one.", &moment).await.unwrap();
    let agreement = asks_for_everything(&lead).await;
    Busy {
        practice,
        office,
        surgeon,
        lead,
        patient,
        phone,
        waiting,
        calling,
        photo,
        call,
        draft,
        step,
        ladder,
        silence,
        late,
        look,
        agreement,
    }
}

/// The sealed envelope is opened, and another one made.
async fn opens_envelope(practice: &Practice, lead: &Staff) -> Look {
    let (desk, moment) = (practice.desk(), practice.moment());
    let code = envelope::print(desk, &lead.member, &moment).await.unwrap();
    let opening = Opening { code: code.reveal(), name: "Kim Vale", reason: "cut off", ..Opening::default() };
    assert!(envelope::open(desk, opening, &moment).await.unwrap().is_some());
    envelope::print(desk, &lead.member, &moment).await.unwrap();
    sealed_codes::looks(&mut *practice.books().await, practice.id, 1).await.unwrap().remove(0)
}

/// Hours, a holiday, a weekly shift, one on a date, and somebody away.
async fn enters_duty(practice: &Practice, lead: &Staff, surgeon: &Staff) {
    let (desk, lead, moment) = (practice.desk(), &lead.member, practice.moment());
    let (from, until) = (moment.now, moment.now + jiff::SignedDuration::from_hours(9));
    let staff = surgeon.member.id;
    care_duty::keep_hours(desk, lead, &[DayHours::new(480, 1_080); 7], from).await.unwrap();
    care_duty::keep_holiday(desk, lead, date(2026, 12, 25), "Closed", from).await.unwrap();
    let weekly = WeeklyShift {
        weekday: Weekday::Monday,
        from_minute: 480,
        until_minute: 480,
        staff,
        rank: Rank::First,
    };
    care_duty::add_weekly(desk, lead, &[weekly], &moment).await.unwrap();
    let dated = DatedShift { from, until, staff, rank: Rank::Second, instead_of: None };
    care_duty::add_dated(desk, lead, dated, &moment).await.unwrap();
    care_duty::add_away(
        desk,
        lead,
        Absence { staff, from: until, until: until + until.duration_since(from) },
        &moment,
    )
    .await
    .unwrap();
}

async fn two_practices(practice: Practice) -> (Busy, Busy) {
    let neighbour = practice.neighbour().await;
    let ours = busy(practice).await;
    // One list of work for all practices: ours waits for later, so that theirs is measured next.
    let job = measuring_jobs::Job {
        practice: ours.practice.id,
        photo: ours.photo,
        why: measuring_jobs::Why::Received,
        tries: 0,
    };
    let mut tx = ours.practice.desk().db.write().await.unwrap();
    let later = ours.practice.now() + jiff::SignedDuration::from_hours(1);
    measuring_jobs::put_off(&mut tx, &job, later).await.unwrap();
    tx.commit().await.unwrap();
    let theirs = busy(neighbour).await;
    let rows = rows_of(&mut *theirs.practice.books().await, theirs.practice.id).await;
    for table in TABLES {
        assert!(!rows[*table].is_empty(), "{table} has no row to guard");
    }
    (ours, theirs)
}

#[tokio::test]
async fn with_the_other_practices_ids_nothing_is_found() {
    on_each_engine(async |practice| {
        let (ours, theirs) = two_practices(practice).await;
        let (us, wound) = (ours.practice.id, theirs.patient.enrolled.wound.id);
        let mut books = ours.practice.books().await;
        let b = &mut *books;
        assert!(patients::find(b, us, theirs.patient.enrolled.patient.id).await.unwrap().is_none());
        assert!(wounds::find(b, us, wound).await.unwrap().is_none());
        assert!(wounds::hold(b, us, wound).await.unwrap().is_none());
        assert!(wounds::of_patient(b, us, theirs.patient.enrolled.patient.id).await.unwrap().is_empty());
        assert!(wounds::plan(b, us, wound).await.unwrap().is_empty());
        assert!(plan_rows::steps(b, us, wound).await.unwrap().is_empty());
        assert!(plan_rows::changes(b, us, wound).await.unwrap().is_empty());
        assert_eq!(plan_rows::standing(b, us, wound).await.unwrap(), plan_rows::Standing::default());
        let later = ours.practice.now() + jiff::SignedDuration::from_hours(24 * 400);
        let unheard = plan_rows::unheard(b, us, later).await.unwrap();
        assert!(!unheard.is_empty() && unheard.iter().all(|kept| kept.wound != wound));
        assert!(strip_attempts::newest(b, us, wound).await.unwrap().is_none());
        assert_eq!(plan_texts::newest(b, us).await.unwrap().unwrap().by, ours.lead.member.id);
        let their_link = theirs.patient.issued.link.id;
        assert!(calendar_feeds::of_link(b, us, their_link).await.unwrap().is_none());
        let long_ago = jiff::Timestamp::UNIX_EPOCH;
        assert!(callbacks::unanswered_since(b, us, wound, long_ago).await.unwrap().is_empty());
        assert!(callbacks::last_spoke(b, us, wound).await.unwrap().is_none());
        assert!(callbacks::open_of_wound(b, us, wound).await.unwrap().is_empty());
        assert!(links::find(b, us, theirs.patient.issued.link.id).await.unwrap().is_none());
        assert!(links::of_wound(b, us, wound).await.unwrap().is_empty());
        assert!(links::phones(b, us, wound, ours.practice.now()).await.unwrap().is_empty());
        assert!(late_knocks::waiting_of(b, us, theirs.late.link).await.unwrap().is_none());
        assert!(late_knocks::find(b, us, theirs.late.id).await.unwrap().is_none());
        assert_eq!(late_knocks::waiting(b, us).await.unwrap().len(), 1);
        assert!(checks::find(b, us, theirs.waiting.id).await.unwrap().is_none());
        assert!(checks::hold(b, us, theirs.waiting.id).await.unwrap().is_none());
        assert!(checks::of_wound(b, us, wound).await.unwrap().is_empty());
        assert!(photos::find(b, us, theirs.photo).await.unwrap().is_none());
        assert!(photos::of_check(b, us, theirs.waiting.id).await.unwrap().is_empty());
        assert!(assessments::of_check(b, us, theirs.waiting.id).await.unwrap().is_empty());
        assert!(measurements::of_wound(b, us, wound).await.unwrap().is_empty());
        assert!(measurements::of_photo(b, us, theirs.photo).await.unwrap().is_empty());
        assert!(!measuring_jobs::is_waiting(b, us, theirs.photo).await.unwrap());
        let cards = practices::measuring(b, us).await.unwrap().unwrap().cards;
        let unmeasured = measurements::photos_without(b, us, METHOD, &cards).await.unwrap();
        assert_eq!(unmeasured, [ours.photo]);
        assert_eq!(measuring_jobs::waiting(b, us).await.unwrap(), [ours.photo]);
        assert_eq!(assessments::after(b, us, 0, 50).await.unwrap().len(), 2);
        assert_eq!(protocols::of_practice(b, us).await.unwrap().len(), 1);
        assert!(reviews::of_check(b, us, theirs.calling.id).await.unwrap().is_empty());
        assert!(thread::of_wound(b, us, wound).await.unwrap().is_empty());
        assert_eq!(text_columns::after(b, us, &MESSAGE_BODY, "", 50).await.unwrap().len(), 1);
        assert_eq!(text_columns::strange(b, us, &MESSAGE_BODY, 50).await.unwrap(), None);
        assert_eq!(unreadable_texts::count(b, us).await.unwrap(), 1);
        assert_eq!(unreadable_texts::rows(b, us, MESSAGE_BODY.name).await.unwrap(), ["a row"]);
        assert!(corrections::of_wound(b, us, wound).await.unwrap().is_empty());
        assert!(strip_attempts::of_wound(b, us, wound).await.unwrap().is_empty());
        assert!(late_knocks::of_wound(b, us, wound).await.unwrap().is_empty());
        assert_eq!(wounds::all(b, us).await.unwrap().len(), 1);
        assert!(export_agreements::find(b, us, theirs.agreement).await.unwrap().is_none());
        assert_eq!(export_agreements::newest(b, us, 50).await.unwrap().len(), 1);
        let looked = Looked { patient: Some(theirs.patient.enrolled.patient.id), ..Looked::default() };
        assert!(audit_search::find(b, us, &looked, i64::MAX, 50).await.unwrap().is_empty());
        let receipt = &theirs.waiting.receipt;
        assert!(audit_search::patients_meant(b, us, receipt).await.unwrap().is_empty());
        let theirs_by_id = theirs.patient.enrolled.patient.id.to_string();
        assert!(audit_search::patients_meant(b, us, &theirs_by_id).await.unwrap().is_empty());
        let (link, typed, began) = (theirs.draft.link, &theirs.draft, theirs.draft.began);
        assert!(check_drafts::find(b, us, link, DRAFT_KEY).await.unwrap().is_none());
        assert!(check_drafts::newest(b, us, link, &typed.phone_sha256, began).await.unwrap().is_none());
        assert!(callbacks::find(b, us, theirs.call.callback.id).await.unwrap().is_none());
        assert!(callbacks::of_check(b, us, theirs.calling.id).await.unwrap().is_empty());
        assert!(callbacks::attempts(b, us, theirs.call.callback.id).await.unwrap().is_empty());
        assert!(silences::find(b, us, theirs.silence).await.unwrap().is_none());
        assert!(silences::of_wound(b, us, wound).await.unwrap().is_empty());
        assert!(silences::calls(b, us, theirs.silence).await.unwrap().is_empty());
        assert!(silences::calls_of_wound(b, us, wound).await.unwrap().is_empty());
        assert_eq!(silences::open(b, us).await.unwrap().len(), 1);
        assert!(antibiotics::of_wound(b, us, wound).await.unwrap().is_empty());
        let cultures = antibiotics::awaiting_culture(b, us, later).await.unwrap();
        assert_eq!(cultures.len(), 1);
        assert!(staff::find(b, us, theirs.office.member.id).await.unwrap().is_none());
        // Both patients have the same name: a search and the lists see one of them.
        assert_eq!(patients::search(b, us, "mia", 50).await.unwrap().len(), 1);
        assert_eq!(wounds::open(b, us).await.unwrap().len(), 1);
        assert_eq!(callbacks::open(b, us).await.unwrap().len(), 1);
        assert_eq!(staff::of_practice(b, us).await.unwrap().len(), 3);
        let rows = checks::waiting(b, us, &QueueFilter::default(), ours.practice.now(), 50).await.unwrap();
        assert_eq!(rows.iter().map(|row| row.id).collect::<Vec<_>>(), [ours.waiting.id]);
        assert_eq!(check_counts::waiting(b, us).await.unwrap(), 1);
        let their_drill = drills::running(b, theirs.practice.id).await.unwrap().unwrap().id;
        assert!(drills::find(b, us, their_drill).await.unwrap().is_none());
        assert_eq!(drills::newest(b, us, 50).await.unwrap().len(), 1);
        assert_eq!(attendance::beats(b, us).await.unwrap().len(), 1);
        assert_eq!(attendance::oldest_waiting(b, us, ours.practice.now()).await.unwrap().len(), 1);
        assert_eq!(duty::weekly(b, us).await.unwrap().len(), 1);
        assert_eq!(duty::roster(b, us).await.unwrap().dated.len(), 1);
        assert_eq!(duty::away(b, us).await.unwrap().len(), 1);
        assert_eq!(duty::holidays(b, us).await.unwrap().len(), 1);
        let surgeon = theirs.surgeon.member.id;
        let (day, now) = (jiff::SignedDuration::from_hours(24), ours.practice.now());
        assert!(
            duty::roster(b, us).await.unwrap().spans(now, now + day).iter().all(|on| on.staff != surgeon)
        );
        assert!(claims::of_member(b, us, surgeon, now).await.unwrap().is_empty());
        assert!(second_steps::passkeys(b, us, surgeon).await.unwrap().is_empty());
        assert!(second_steps::seed(b, us, surgeon).await.unwrap().is_none());
        assert!(second_steps::last_step(b, us, surgeon).await.unwrap().is_none());
        assert!(second_steps::unused_codes(b, us, surgeon).await.unwrap().is_empty());
        assert_eq!(second_steps::seeds(b, us).await.unwrap().len(), 3);
        assert!(sealed_codes::find_look(b, us, theirs.look.id).await.unwrap().is_none());
        assert_eq!(sealed_codes::looks(b, us, 50).await.unwrap(), std::slice::from_ref(&ours.look));
        let standing = sealed_codes::standing(b, us).await.unwrap().unwrap();
        assert_eq!(standing.printed_by, ours.lead.member.id);
        assert!(sealed_blobs::damaged_photos(b, us, theirs.waiting.id).await.unwrap().is_empty());
        let lines = audit::newest(b, us, 1_000).await.unwrap();
        assert!(lines.iter().all(|line| line.practice == us));
        let texts = replies::of_practice(b, us).await.unwrap();
        assert!(texts.iter().all(|text| text.practice == us));
    })
    .await;
}

#[tokio::test]
async fn with_the_other_practices_ids_nothing_is_changed() {
    on_each_engine(async |practice| {
        let (ours, theirs) = two_practices(practice).await;
        let before = rows_of(&mut *theirs.practice.books().await, theirs.practice.id).await;
        let (us, now) = (ours.practice.id, ours.practice.now());
        let mut tx = ours.practice.desk().db.write().await.unwrap();
        // Rows as the other practice has them, but said to be ours.
        let mut check = theirs.waiting.clone();
        check.practice = us;
        let mut wound = theirs.patient.enrolled.wound.clone();
        wound.practice = us;
        let mut call = theirs.call.callback.clone();
        call.practice = us;
        let mut link = theirs.patient.issued.link.clone();
        link.practice = us;
        link.wrong_pins = 0;
        checks::set_state(&mut tx, &check, CheckState::Closed, now).await.unwrap();
        checks::amend(&mut tx, &check).await.unwrap();
        let claim = Claim { by: ours.surgeon.member.id, until: now };
        assert!(!claims::claim_for(&mut tx, us, theirs.waiting.id, claim, now).await.unwrap());
        assert!(answer_versions::of_check(&mut tx, &check).await.unwrap().is_empty());
        assert!(checks::before(&mut tx, &check).await.unwrap().is_none());
        wounds::note_check(&mut tx, &wound, now).await.unwrap();
        wounds::note_strip_out(&mut tx, &wound, now).await.unwrap();
        let (id, step) = (theirs.step.id, theirs.step.step);
        plan_rows::change(&mut tx, us, id, step, now).await.unwrap();
        plan_rows::note_done(&mut tx, us, id, now).await.unwrap();
        plan_rows::note_kind_done(&mut tx, us, wound.id, StepKind::Photo, now, now).await.unwrap();
        plan_rows::cancel(&mut tx, us, id, CancelledWhy::Paused, now).await.unwrap();
        plan_rows::bring_back(&mut tx, us, wound.id, now).await.unwrap();
        plan_rows::set_pause(&mut tx, us, wound.id, None).await.unwrap();
        let ended = Ended { why: EndWhy::Lost, by: ours.office.member.id, at: now };
        assert!(!plan_rows::end(&mut tx, us, wound.id, ended).await.unwrap());
        links::expire_by(&mut tx, us, wound.id, now).await.unwrap();
        let tried = strip_attempts::newest(&mut tx, theirs.practice.id, wound.id).await.unwrap().unwrap();
        let ours_now = strip_attempts::StripAttempt { practice: us, form_key: "ours".to_owned(), ..tried };
        strip_attempts::keep(&mut tx, &ours_now).await.unwrap();
        calendar_feeds::end(&mut tx, us, theirs.patient.issued.link.id).await.unwrap();
        callbacks::note_attempt(&mut tx, &call).await.unwrap();
        callbacks::note_hand_back(&mut tx, &call, "ours now").await.unwrap();
        let by = ours.office.member.id;
        assert!(!callbacks::end(&mut tx, &call, CallbackState::Closed, None, by, now).await.unwrap());
        links::revoke(&mut tx, us, link.id, now).await.unwrap();
        assert!(!links::book_pin_try(&mut tx, &link, now).await.unwrap());
        links::forget_wrong_pins(&mut tx, &link, now).await.unwrap();
        links::end_replaced(&mut tx, &link, now).await.unwrap();
        let dealt = Dealt { at: now, by: ours.office.member.id, note: "ours now".into() };
        assert!(!late_knocks::note_dealt(&mut tx, us, theirs.late.id, &dealt).await.unwrap());
        late_knocks::set_apart(&mut tx, us, theirs.late.id, now).await.unwrap();
        let message = thread::of_wound(&mut tx, theirs.practice.id, wound.id).await.unwrap()[0].id;
        assert!(!thread::note_read(&mut tx, us, wound.id, message, now).await.unwrap());
        let text =
            text_columns::after(&mut tx, theirs.practice.id, &MESSAGE_BODY, "", 1).await.unwrap().remove(0);
        assert!(
            !text_columns::replace(&mut tx, us, &MESSAGE_BODY, &text, text.sealed.clone()).await.unwrap()
        );
        assert!(text_columns::seal_plain(&mut tx, us, &MESSAGE_BODY, "", 9).await.unwrap().is_none());
        unreadable_texts::forget(&mut tx, us, CALL_ATTEMPT_NOTE.name, "a row").await.unwrap();
        thread::note_dealt_with(&mut tx, us, wound.id, now).await.unwrap();
        let typed = Draft { practice: us, shown: Vec::new(), ..theirs.draft.clone() };
        check_drafts::keep(&mut tx, &typed).await.unwrap();
        check_drafts::forget(&mut tx, us, typed.link, DRAFT_KEY).await.unwrap();
        check_drafts::forget_older(&mut tx, us, now + jiff::SignedDuration::from_hours(1)).await.unwrap();
        check_drafts::forget_phone(&mut tx, &ours.draft.phone_sha256).await.unwrap();
        let job = measuring_jobs::Job {
            practice: us,
            photo: theirs.photo,
            why: measuring_jobs::Why::Again,
            tries: 0,
        };
        measuring_jobs::put_off(&mut tx, &job, now).await.unwrap();
        measuring_jobs::remove(&mut tx, us, theirs.photo).await.unwrap();
        let to = Claim { by: ours.surgeon.member.id, until: now };
        let from = theirs.surgeon.member.id;
        assert!(!claims::pass_on(&mut tx, us, theirs.waiting.id, from, to).await.unwrap());
        let them = theirs.practice.id;
        let weekly = duty::weekly(&mut tx, them).await.unwrap()[0].id;
        assert!(!duty::remove_weekly(&mut tx, us, weekly).await.unwrap());
        let dated = duty::dated(&mut tx, them).await.unwrap()[0].id;
        assert_eq!(duty::remove_dated(&mut tx, us, dated).await.unwrap(), 0);
        let away = duty::away(&mut tx, them).await.unwrap()[0].id;
        assert!(!duty::remove_away(&mut tx, us, away).await.unwrap());
        duty::keep_holiday(&mut tx, us, date(2026, 12, 25), "ours now").await.unwrap();
        assert!(duty::remove_holiday(&mut tx, us, date(2026, 12, 25)).await.unwrap());
        duty::keep_hours(&mut tx, us, &[None; 7]).await.unwrap();
        let their_drill = drills::running(&mut tx, them).await.unwrap().unwrap().id;
        assert!(!drills::answer(&mut tx, us, their_drill, ours.office.member.id, now).await.unwrap());
        attendance::note_beat(&mut tx, us, theirs.surgeon.member.id, now).await.unwrap();
        attendance::set_queue_oldest(&mut tx, us, 5).await.unwrap();
        // Their surgeon, said to be one of us.
        let mut posing = theirs.surgeon.member.clone();
        posing.practice = us;
        let passkey = format!("key of {}", posing.id);
        second_steps::note_use(&mut tx, &posing, &passkey, "ours now", now).await.unwrap();
        assert!(!second_steps::remove_passkey(&mut tx, &posing, &passkey).await.unwrap());
        assert!(!second_steps::take_step(&mut tx, &posing, i64::MAX).await.unwrap());
        assert!(!second_steps::use_code(&mut tx, &posing, 1, now).await.unwrap());
        let seed = second_steps::seed(&mut tx, them, posing.id).await.unwrap().unwrap();
        second_steps::reseal(&mut tx, us, posing.id, &seed, b"ours now").await.unwrap();
        second_steps::remove_seed(&mut tx, &posing).await.unwrap();
        sign_in_tries::forget_browsers(&mut tx, &posing).await.unwrap();
        staff_sessions::end_all(&mut tx, us, posing.id).await.unwrap();
        let noted = Noted { at: now, by: ours.lead.member.id, words: "ours now".into() };
        assert!(!sealed_codes::note_look(&mut tx, us, theirs.look.id, &noted).await.unwrap());
        assert!(!sealed_codes::end_look(&mut tx, us, theirs.look.id, noted.by, now).await.unwrap());
        let code = sealed_codes::standing(&mut tx, them).await.unwrap().unwrap();
        assert!(!sealed_codes::use_up(&mut tx, us, code.id, now).await.unwrap());
        links::pepper_pin(&mut tx, &link, "ours now").await.unwrap();
        let hold = legal_holds::in_force(&mut tx, them).await.unwrap().remove(0).id;
        assert!(legal_holds::find(&mut tx, us, hold).await.unwrap().is_none());
        assert!(!legal_holds::note_asked(&mut tx, us, hold, by, now).await.unwrap());
        assert!(!legal_holds::release(&mut tx, us, hold, by, now).await.unwrap());
        let whose = theirs.patient.enrolled.patient.id;
        assert_eq!(purge::take(&mut tx, us, whose).await.unwrap(), None);
        assert_eq!(purge::last_touched(&mut tx, us, whose).await.unwrap(), None);
        let later = now + jiff::SignedDuration::from_hours(24 * 400);
        purge_letters::take_letters(&mut tx, us, later, 1_000).await.unwrap();
        purge_letters::take_passing(&mut tx, us, later).await.unwrap();
        keepings::wait_until(&mut tx, us, later).await.unwrap();
        keepings::note_look(&mut tx, us, later).await.unwrap();
        tombstones::forget_file(&mut tx, us, &"a".repeat(64).parse().unwrap()).await.unwrap();
        let alarm = alarms::open(&mut tx, them).await.unwrap().remove(0);
        alarms::note_told(&mut tx, us, alarm.id, now).await.unwrap();
        canary::clear(&mut tx, us).await.unwrap();
        canary::clear(&mut tx, them).await.unwrap();
        let mut text = replies::of_practice(&mut tx, theirs.practice.id).await.unwrap()[0].clone();
        text.practice = us;
        text.body_en = "ours now".to_owned();
        replies::keep(&mut tx, &text, now).await.unwrap();
        tx.commit().await.unwrap();
        assert_eq!(rows_of(&mut *theirs.practice.books().await, theirs.practice.id).await, before);
    })
    .await;
}

#[tokio::test]
async fn a_member_who_leaves_is_signed_out_only_by_their_own_practice() {
    on_each_engine(async |practice| {
        let (ours, theirs) = two_practices(practice).await;
        let before = rows_of(&mut *theirs.practice.books().await, theirs.practice.id).await;
        let mut tx = ours.practice.desk().db.write().await.unwrap();
        let them = theirs.office.member.id;
        staff::set_active(&mut tx, ours.practice.id, them, Activity::Gone).await.unwrap();
        tx.commit().await.unwrap();
        assert_eq!(rows_of(&mut *theirs.practice.books().await, theirs.practice.id).await, before);
    })
    .await;
}

fn is_refused<T: std::fmt::Debug>(done: Result<T, CareError>) {
    assert!(matches!(done, Err(CareError::NotFound | CareError::NotAllowed)), "{done:?}");
}

#[tokio::test]
async fn a_hundred_random_steps_of_one_practice_leave_the_other_as_it_was() {
    on_each_engine(async |practice| {
        let (ours, theirs) = two_practices(practice).await;
        let before = rows_of(&mut *theirs.practice.books().await, theirs.practice.id).await;
        let chance = Chance::seeded(31);
        for step in 0..100 {
            random_step(&ours, &theirs, &chance, step).await;
        }
        assert_eq!(rows_of(&mut *theirs.practice.books().await, theirs.practice.id).await, before);
        let mut books = ours.practice.books().await;
        assert_eq!(audit::first_break(&mut books, ours.practice.id).await.unwrap(), None);
    })
    .await;
}

async fn random_step(ours: &Busy, theirs: &Busy, chance: &Chance, step: i64) {
    let (desk, moment) = (ours.practice.desk(), ours.practice.moment());
    let now = moment.now;
    let surgeon = &ours.surgeon.member;
    match chance.below(18) {
        17 => {
            let (office, id) = (&ours.office.member, theirs.silence);
            is_refused(silence::view(desk, office, id, now).await);
            is_refused(late_knock::deal_with(desk, office, theirs.late.id, "ours", now).await);
            is_refused(silence::ask_surgeon(desk, office, id, "ours", &moment).await);
            is_refused(silence::decide(desk, surgeon, id, "ours", &moment).await);
            is_refused(silence::end(desk, surgeon, id, "ours", &moment).await);
            is_refused(silence::note_letter(desk, office, id, now).await);
            is_refused(hand_off::view(desk, office, theirs.patient.enrolled.wound.id, now).await);
            let whose = theirs.patient.enrolled.patient.id;
            is_refused(care_patients::view(desk, office, whose, now).await);
            let contacts = Contacts { phone: "202-555-0143".to_owned(), ..Contacts::default() };
            is_refused(care_patients::set_contacts(desk, office, whose, &contacts, now).await);
            let them = theirs.practice.id;
            let id = drills::running(&mut *theirs.practice.books().await, them).await.unwrap().unwrap().id;
            is_refused(drill::open(desk, surgeon, id, now).await);
            is_refused(drill::view(desk, surgeon, id).await);
            is_refused(envelope::end(desk, &ours.lead.member, theirs.look.id, now).await);
            is_refused(envelope::note(desk, &ours.lead.member, theirs.look.id, "ours", now).await);
            is_refused(envelope::check(desk, &ours.look, theirs.waiting.id, now).await);
            let seen = envelope::photo(desk, &ours.look, theirs.photo, Size::Full, now).await.unwrap();
            assert!(seen.is_none(), "another practice's photo");
        }
        16 => is_refused(ladder::acknowledge(desk, surgeon, theirs.ladder, now).await),
        15 => {
            let (lead, them) = (&ours.lead.member, theirs.surgeon.member.id);
            let until = now + jiff::SignedDuration::from_hours(1);
            let away = Absence { staff: them, from: now, until };
            assert!(care_duty::add_away(desk, lead, away, &moment).await.is_err());
            is_refused(hand_over::read(desk, lead, them, now).await);
            is_refused(hand_over::confirm(desk, lead, them, surgeon.id, now).await);
            let theirs_to = hand_over::confirm(desk, lead, surgeon.id, them, now).await;
            assert!(matches!(theirs_to, Err(CareError::Entered(_))));
        }
        12 => {
            let ring = [[0.0, 0.0], [9.0, 0.0], [0.0, 9.0]].map(MmPoint::from);
            let wound = Outline::of_ring(ring.to_vec()).unwrap();
            let drawn = HandDrawn { wound, redness_edge: None, probed: Probed::default() };
            is_refused(measuring::by_hand(desk, surgeon, theirs.photo, drawn, &moment).await);
            is_refused(measuring::confirm(desk, surgeon, theirs.photo, &moment).await);
            is_refused(measuring::card_of(desk, surgeon, theirs.photo).await);
            is_refused(measuring::for_patient(desk, &ours.phone.holder().await, theirs.waiting.id).await);
        }
        13 => {
            let off = Setting {
                measuring: "off".to_owned(),
                first_id: "0".to_owned(),
                last_id: "9".to_owned(),
                ruler_mm: "95".to_owned(),
            };
            measuring::set(desk, &ours.lead.member, &off, &moment).await.unwrap();
            is_refused(measuring::set(desk, surgeon, &off, &moment).await);
        }
        14 => {
            let (office, wound) = (&ours.office.member, theirs.patient.enrolled.wound.id);
            is_refused(plan::view(desk, office, wound, now).await);
            is_refused(plan::move_step(desk, office, wound, theirs.step.id, now, "ours", &moment).await);
            is_refused(plan::came(desk, office, wound, theirs.step.id, &moment).await);
            is_refused(plan::pause(desk, office, wound, now, "ours", &moment).await);
            is_refused(plan::resume(desk, office, wound, &moment).await);
            is_refused(plan::wash(desk, office, wound, Washing::Twice, &moment).await);
            is_refused(plan::end(desk, office, wound, EndWhy::Transferred, "ours", &moment).await);
            is_refused(calendar::one_date(desk, &ours.phone.holder().await, theirs.step.id).await);
            let mut holder = ours.phone.holder().await;
            holder.wound = wound;
            is_refused(strip_out::press(desk, &holder, OutPress::TookPill, &moment).await);
            is_refused(calendar::make(desk, &holder, &moment).await);
        }
        0 => is_refused(review::open(desk, surgeon, theirs.waiting.id, now).await),
        1 => is_refused(review::view(desk, surgeon, theirs.waiting.id, now).await),
        2 => {
            let deciding = Deciding {
                decision: Decision::HealingAsExpected,
                reply: "Fine.".to_owned(),
                note: String::new(),
                come_in: None,
                ask: String::new(),
                judged: None,
                antibiotic: None,
                extent: None,
            };
            is_refused(review::decide(desk, surgeon, theirs.waiting.id, deciding, &moment).await);
        }
        3 => is_refused(review::release(desk, surgeon, theirs.waiting.id, &moment).await),
        4 => {
            let seen = review::photo(desk, surgeon, theirs.photo, Size::Full, now).await.unwrap();
            assert!(seen.is_none(), "another practice's photo");
        }
        5 => {
            let attempting = Attempting {
                result: CallResult::Spoke,
                note: String::new(),
                outcome: Some(CallOutcome::WillFollowAdvice),
                ..Attempting::of(CallResult::Spoke)
            };
            let (id, office) = (theirs.call.callback.id, &ours.office.member);
            is_refused(callback::log_attempt(desk, office, id, attempting, &moment).await);
            is_refused(callback::hand_back(desk, office, id, "why", now).await);
            is_refused(callback::could_not_reach(desk, office, id, now).await);
            is_refused(callback::view(desk, office, id, now).await);
        }
        6 => {
            let (office, wound) = (&ours.office.member, theirs.patient.enrolled.wound.id);
            is_refused(enrol::issue_link(desk, office, wound, "us", &moment).await);
            is_refused(enrol::revoke_link(desk, office, theirs.patient.issued.link.id, now).await);
            let stranger = LinkId::mint(&moment);
            is_refused(enrol::revoke_link(desk, office, stranger, now).await);
        }
        7 => {
            let text = replies::of_practice(&mut *theirs.practice.books().await, theirs.practice.id).await;
            let editing = reply_texts::Editing {
                id: Some(text.unwrap()[0].id),
                decision: Decision::ComeIn,
                title: "ours".to_owned(),
                body_en: "ours".to_owned(),
                body_es: "ours".to_owned(),
            };
            is_refused(reply_texts::keep(desk, &ours.lead.member, editing, &moment).await);
        }
        8 => {
            // A phone that holds our link but names their wound.
            let mut holder = ours.phone.holder().await;
            holder.wound = theirs.patient.enrolled.wound.id;
            let sending =
                Sending { form_key: format!("crossed {step}"), answers: in_danger(), photos_expected: 0 };
            is_refused(intake::receive(desk, &holder, sending, Vec::new(), &moment).await);
        }
        // And honest work of our own, in between.
        9 => {
            ours.phone.sends(&format!("form {}", step + 10), no_danger(), &[]).await;
        }
        10 => {
            let rows = ours.surgeon.reads_queue().await;
            if let Some(row) = rows.first() {
                ours.surgeon.decides(row.id, Decision::HealingAsExpected, "Fine.").await.unwrap();
            }
        }
        _ => {
            ours.office.enrols(&format!("Patient {step}"), &ours.surgeon).await;
        }
    }
}
