//! Who answers when, told by the words staff and patients see.

use axum::http::StatusCode;
use jiff::SignedDuration;

use closewatch::care::duty as care_duty;
use closewatch::care::review;
use closewatch::duty::OnDuty;
use closewatch::duty::Rank;
use closewatch::ids::StaffId;
use closewatch::store::audit;
use closewatch::store::checks;
use closewatch::store::checks::CheckState;
use closewatch::store::duty;
use closewatch::store::notices;
use closewatch::store::notices::Recipient;
use closewatch::store::staff::Roles;
use closewatch::words::Language;

use crate::support;
use crate::support::Page;
use crate::support::Phone;
use crate::support::Place;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::attribute;
use crate::support::in_danger;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::tags;

const DAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

/// A lead and two surgeons. It is Tuesday 10 March 2026, eleven in the morning.
struct Team {
    practice: Practice,
    lead: Staff,
    rosa: Staff,
    ines: Staff,
}

async fn team(practice: Practice) -> Team {
    let surgeon = Roles { surgeon: true, ..Roles::default() };
    let ines = practice.staff("Dr. Inés Varga", surgeon).await;
    Team { lead: practice.lead().await, rosa: practice.surgeon().await, ines, practice }
}

impl Team {
    async fn weekly(&self, days: &[&str], from: &str, until: &str, who: &Staff, rank: &str) -> Page {
        let id = who.member.id.to_string();
        let names: Vec<String> = days.iter().map(|day| format!("weekly_{day}")).collect();
        let mut fields: Vec<(&str, &str)> = names.iter().map(|name| (name.as_str(), "1")).collect();
        fields.extend([
            ("weekly_from", from),
            ("weekly_until", until),
            ("weekly_staff", &id),
            ("weekly_rank", rank),
        ]);
        self.lead.presses("/practice/duty/weekly", &fields).await
    }

    /// Rosa by day, Inés by night.
    async fn day_and_night(&self) {
        self.weekly(&DAYS, "08:00", "20:00", &self.rosa, "first").await.is_fine();
        self.weekly(&DAYS, "20:00", "08:00", &self.ines, "first").await.is_fine();
    }

    /// Who was told in the last ten minutes that their duty was changed, Rosa first.
    async fn told_of_duty(&self) -> Vec<StaffId> {
        let about = format!("duty:{}", self.practice.now().as_second() / 600);
        let told = notices::about(&mut *self.practice.books().await, self.practice.id, &about).await.unwrap();
        [&self.rosa, &self.ines, &self.lead]
            .iter()
            .map(|who| who.member.id)
            .filter(|who| told.iter().any(|notice| notice.recipient == Recipient::Staff(*who)))
            .collect()
    }

    async fn on_duty(&self) -> Vec<OnDuty> {
        let mut books = self.practice.books().await;
        care_duty::on_duty_now(&mut books, self.practice.id, self.practice.now()).await.unwrap()
    }

    async fn phone(&self, language: Language) -> Phone {
        let operation = support::operation(self.practice.now());
        self.practice.phone_of("Mia Stone", language, Default::default(), operation).await
    }
}

/// The value of the option whose words hold all of these.
fn option(page: &Page, words: &[&str]) -> String {
    let html = page.html();
    let found = html.split("<option").skip(1).find(|part| {
        let said = part.split("</option>").next().unwrap();
        words.iter().all(|word| said.contains(word))
    });
    let part = found.unwrap_or_else(|| panic!("no option says {words:?}:\n{}", page.words()));
    attribute(&format!("option{}", part.split('>').next().unwrap()), "value").unwrap()
}

#[tokio::test]
async fn a_lead_enters_the_week_and_everybody_sees_who_is_on_and_where_the_gaps_are() {
    on_each_engine(async |practice| {
        let team = team(practice).await;
        let blank = team.lead.opens("/practice/duty").await;
        blank.must_say("No shift is entered yet.").must_say("because the practice is open");
        team.weekly(&DAYS, "08:00", "20:00", &team.rosa, "first").await.is_fine();
        team.weekly(&DAYS[..5], "20:00", "08:00", &team.ines, "first").await.is_fine();
        let page = team.rosa.opens("/practice/duty").await;
        page.must_say("Dr. Rosa Lind first until 20:00");
        page.must_say("Sat Mar 14, 20:00 to Sun Mar 15, 8:00 : nobody, for 12 h");
        page.must_say("Sun Mar 15, 20:00 to Mon Mar 16, 8:00 : nobody, for 12 h");
        page.must_say("20:00–24:00 nobody").must_not_say("Change duty");
        assert_eq!(page.html().matches("gap-mark").count(), 4 + 8, "every gap has its mark");
        let on = team.on_duty().await;
        assert_eq!(on.len(), 1);
        assert_eq!((on[0].staff, on[0].rank), (team.rosa.member.id, Rank::First));
        // Sunday night: nobody.
        team.practice.minutes_pass(5 * 24 * 60 + 12 * 60);
        assert!(team.on_duty().await.is_empty());
        let page = team.lead_again().await.opens("/practice/duty").await;
        page.must_say("Nobody is on duty. Somebody is from tomorrow at 8:00");
    })
    .await;
}

impl Team {
    /// The lead signs in again: the session of days ago has ended.
    async fn lead_again(&self) -> Staff {
        Staff::signs_in(&self.practice, self.lead.member.clone()).await
    }
}

#[tokio::test]
async fn what_was_typed_wrongly_comes_back_with_what_to_do() {
    let place = Place::sqlite();
    let team = team(Practice::open(&place).await).await;
    let page = team.weekly(&[], "8 o'clock", "20:00", &team.rosa, "first").await;
    assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
    page.must_say("Tick at least one day.").must_say("Enter a time such as 08:00.");
    assert_eq!(page.field("weekly_until").as_deref(), Some("20:00"));
    let id = team.rosa.member.id.to_string();
    let dated = |from: &'static str, until: &'static str| {
        [("dated_from", from), ("dated_until", until), ("dated_staff", id.as_str()), ("dated_rank", "first")]
            .map(|(name, value)| (name.to_owned(), value.to_owned()))
    };
    for (from, until, words) in [
        ("2026-03-12T20:00", "2026-03-12T08:00", "It must end after it begins."),
        ("2026-03-09T08:00", "2026-03-09T20:00", "That is over already."),
        ("2026-03-12T08:00", "2027-03-12T20:00", "longer than three months"),
        ("2027-03-14T02:30", "2027-03-14T08:00", "The clocks went forward that night"),
    ] {
        let fields = dated(from, until);
        let fields: Vec<(&str, &str)> =
            fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        let page = team.lead.presses("/practice/duty/dated", &fields).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
        page.must_say(words);
        assert_eq!(page.field("dated_from").as_deref(), Some(from));
    }
    let hours = [("hours_mon_from", "17:00"), ("hours_mon_until", "08:00")];
    team.lead.presses("/practice/duty/hours", &hours).await.must_say("Monday: enter when it opens");
    let nameless = [("holiday_day", "2026-12-25"), ("holiday_name", " ")];
    team.lead.presses("/practice/duty/holidays", &nameless).await.must_say("Give the holiday a name");
    assert!(team.on_duty().await.is_empty());
}

#[tokio::test]
async fn a_shift_on_a_date_stands_over_the_week_until_it_is_taken_back() {
    on_each_engine(async |practice| {
        let team = team(practice).await;
        team.day_and_night().await;
        let ines = team.ines.member.id.to_string();
        let fields = [
            ("dated_from", "2026-03-10T09:00"),
            ("dated_until", "2026-03-10T13:00"),
            ("dated_staff", ines.as_str()),
            ("dated_rank", "first"),
            ("dated_instead", ""),
        ];
        team.lead.presses("/practice/duty/dated", &fields).await.is_fine();
        assert_eq!(team.on_duty().await[0].staff, team.ines.member.id);
        let page = team.lead.opens("/practice/duty/change").await;
        page.must_say("Tue Mar 10, 9:00 to 13:00 Dr. Inés Varga first");
        let kept = duty::dated(&mut *team.practice.books().await, team.practice.id).await.unwrap();
        let id = kept[0].id.to_string();
        team.lead.presses("/practice/duty/dated/remove", &[("id", &id)]).await.is_fine();
        assert_eq!(team.on_duty().await[0].staff, team.rosa.member.id);
        let again = team.lead.presses("/practice/duty/dated/remove", &[("id", &id)]).await;
        assert_eq!(again.status, StatusCode::NOT_FOUND);
    })
    .await;
}

#[tokio::test]
async fn two_surgeons_swap_themselves_and_a_third_cannot() {
    on_each_engine(async |practice| {
        let team = team(practice).await;
        team.day_and_night().await;
        let page = team.ines.opens("/practice/duty").await;
        let wednesday = option(&page, &["Wed Mar 11, 8:00 to 20:00", "Rosa"]);
        let thursday_night = option(&page, &["Thu Mar 12, 20:00 to Fri Mar 13, 8:00", "(you)"]);
        let swap = [("swap_given", wednesday.as_str()), ("swap_back", thursday_night.as_str())];
        let office = team.practice.office().await;
        office.presses("/practice/duty/swap", &swap).await.must_say("Choose a duty of yours");
        assert_eq!(team.told_of_duty().await, [team.rosa.member.id, team.ines.member.id]);
        team.practice.minutes_pass(11);
        team.ines.presses("/practice/duty/swap", &swap).await.is_fine();
        // Pressed twice: the roster is another one by now, and nothing is swapped twice.
        let again = team.ines.presses("/practice/duty/swap", &swap).await;
        again.must_say("The roster changed meanwhile.");
        // Inés knows what she pressed.
        assert_eq!(team.told_of_duty().await, [team.rosa.member.id]);
        team.practice.minutes_pass(24 * 60);
        assert_eq!(team.on_duty().await[0].staff, team.ines.member.id);
        team.practice.minutes_pass(34 * 60);
        assert_eq!(team.on_duty().await[0].staff, team.rosa.member.id);
        let lead = team.lead_again().await;
        lead.opens("/practice/duty").await.must_say("None: somebody is on duty at every minute.");
        lead.opens("/practice/record").await.must_say("swapped duty to Dr. Inés Varga");
        // Taken back as a whole.
        let kept = duty::dated(&mut *team.practice.books().await, team.practice.id).await.unwrap();
        assert_eq!(kept.len(), 2);
        let id = kept[1].id.to_string();
        lead.presses("/practice/duty/dated/remove", &[("id", &id)]).await.is_fine();
        assert!(duty::dated(&mut *team.practice.books().await, team.practice.id).await.unwrap().is_empty());
        assert_eq!(team.on_duty().await[0].staff, team.ines.member.id);
    })
    .await;
}

#[tokio::test]
async fn a_person_takes_over_without_giving_anything_back() {
    let place = Place::sqlite();
    let team = team(Practice::open(&place).await).await;
    team.day_and_night().await;
    let page = team.rosa.opens("/practice/duty").await;
    let night = option(&page, &["Wed Mar 11, 20:00"]);
    let me = team.rosa.member.id.to_string();
    let takes = [("swap_given", night.as_str()), ("swap_back", me.as_str())];
    team.rosa.presses("/practice/duty/swap", &takes).await.is_fine();
    team.practice.minutes_pass(36 * 60);
    assert_eq!(team.on_duty().await[0].staff, team.rosa.member.id);
}

#[tokio::test]
async fn switching_off_somebody_on_duty_warns_and_leaves_a_gap_that_shows() {
    on_each_engine(async |practice| {
        let team = team(practice).await;
        team.day_and_night().await;
        let page = team.lead.opens("/practice/staff").await;
        page.must_say(
            "on duty until 20:00 · 15 times on duty in the next 14 days; switched off, they leave gaps",
        );
        let off = team.lead.presses(&format!("/practice/staff/{}/off", team.rosa.member.id), &[]).await;
        assert_eq!(off.leads_to(), "/practice/duty#gaps");
        let page = team.lead.opens("/practice/duty").await;
        page.must_say("Nobody is on duty. Somebody is from 20:00");
        page.must_say("Tue Mar 10, 11:00 to 20:00 : nobody");
        team.lead.opens("/practice/duty/change").await.must_say("switched off: does not count");
        team.ines.opens("/queue").await.must_say("Nobody is on duty now. Patients are told so.");
        assert!(team.on_duty().await.is_empty());
        // Nobody new is entered for somebody who is gone.
        let page = team.weekly(&["mon"], "08:00", "20:00", &team.rosa, "first").await;
        page.must_say("Choose somebody who works here now.");
        let on = team.lead.presses(&format!("/practice/staff/{}/on", team.rosa.member.id), &[]).await;
        assert_eq!(on.leads_to(), "/practice/staff");
        assert_eq!(team.on_duty().await.len(), 1);
    })
    .await;
}

#[tokio::test]
async fn going_off_duty_passes_on_what_is_held_and_the_record_says_so() {
    on_each_engine(async |practice| {
        let team = team(practice).await;
        team.day_and_night().await;
        let phone = team.phone(Language::English).await;
        let urgent = phone.sends("form 1", in_danger(), &[]).await.check;
        let (desk, now) = (team.practice.desk(), team.practice.now());
        review::open(desk, &team.rosa.member, urgent, now).await.unwrap();
        let queue = team.rosa.opens("/queue").await;
        queue.must_say("You are on duty until 20:00. Hand over");
        let page = team.rosa.opens("/hand-over").await;
        page.must_say("You are on duty until 20:00.").must_say("Mia Stone");
        let chosen = tags(&page.html()).iter().any(|tag| {
            attribute(tag, "value") == Some(team.ines.member.id.to_string()) && tag.ends_with("selected")
        });
        assert!(chosen, "the next on duty is proposed");
        let nobody = team.rosa.presses("/hand-over", &[]).await;
        nobody.must_say("Choose who takes over.").must_say("Not handed over yet.");
        let (from, to) = (team.rosa.member.id.to_string(), team.ines.member.id.to_string());
        let done = team.rosa.presses("/hand-over", &[("from", &from), ("to", &to)]).await;
        team.rosa.opens(done.leads_to()).await.must_say("Handed over.").must_say("You have taken no check.");
        let mut books = team.practice.books().await;
        let check = checks::find(&mut books, team.practice.id, urgent).await.unwrap().unwrap();
        assert_eq!(check.state, CheckState::InReview);
        assert_eq!(check.claim.unwrap().by, team.ines.member.id);
        let lines = audit::newest(&mut books, team.practice.id, 20).await.unwrap();
        let detail = |action: &str| lines.iter().find(|line| line.action == action).unwrap().detail.clone();
        assert_eq!(detail("check.hand_over"), "passed_on");
        assert_eq!(detail("duty.hand_over"), "passed_on=1 released=0 urgent=1 callbacks=0");
        assert_eq!(audit::first_break(&mut books, team.practice.id).await.unwrap(), None);
    })
    .await;
}

#[tokio::test]
async fn to_somebody_who_is_no_surgeon_checks_go_back_to_the_queue() {
    on_each_engine(async |practice| {
        let team = team(practice).await;
        team.day_and_night().await;
        let office = team.practice.office().await;
        let check = team.phone(Language::English).await.sends("form 1", no_danger(), &[]).await.check;
        review::open(team.practice.desk(), &team.rosa.member, check, team.practice.now()).await.unwrap();
        let (from, to) = (team.rosa.member.id.to_string(), office.member.id.to_string());
        // Only a lead hands over for somebody else, and sees counts where the role shows no names.
        let theirs = [("from", from.as_str()), ("to", to.as_str())];
        assert_eq!(office.presses("/hand-over", &theirs).await.status, StatusCode::FORBIDDEN);
        let page = team.lead.opens(&format!("/hand-over?from={from}")).await;
        page.must_say("Dr. Rosa Lind is on duty until 20:00.").must_say("1 in the queue.");
        page.must_not_say("Mia Stone");
        team.lead.presses("/hand-over", &theirs).await.is_fine();
        let mut books = team.practice.books().await;
        let check = checks::find(&mut books, team.practice.id, check).await.unwrap().unwrap();
        assert_eq!((check.state, check.claim), (CheckState::Queued, None));
        let lines = audit::newest(&mut books, team.practice.id, 20).await.unwrap();
        assert!(lines.iter().any(|line| line.action == "duty.hand_over_for"));
    })
    .await;
}

#[tokio::test]
async fn a_claim_is_still_theirs_when_duty_ended_and_the_queue_says_so() {
    let place = Place::sqlite();
    let team = team(Practice::open(&place).await).await;
    team.day_and_night().await;
    let check = team.phone(Language::English).await.sends("form 1", no_danger(), &[]).await.check;
    team.practice.minutes_pass(8 * 60 + 55);
    review::open(team.practice.desk(), &team.rosa.member, check, team.practice.now()).await.unwrap();
    team.practice.minutes_pass(6);
    let rosa = Staff::signs_in(&team.practice, team.rosa.member.clone()).await;
    rosa.opens("/queue").await.must_say("Your duty is over and you still have 1 check. Hand over");
}

#[tokio::test]
async fn patients_are_told_who_watches_and_until_when_before_and_after_sending() {
    on_each_engine(async |practice| {
        let team = team(practice).await;
        team.weekly(&DAYS, "08:00", "20:00", &team.rosa, "first").await.is_fine();
        let phone = team.phone(Language::English).await;
        let watches = "A surgeon of the practice watches until: 8:00 pm";
        let receipt = phone.sends("form 1", no_danger(), &[]).await;
        let sent = format!("/my/sent/{}", receipt.code);
        for path in ["/my", "/my/check", "/my/check/steps?at=last", &sent] {
            let page = phone.opens(path).await;
            page.must_say(watches).must_not_say("Nobody is watching messages now.");
            page.must_not_say("Rosa").must_not_say("Lind");
        }
        team.practice.minutes_pass(10 * 60);
        for path in ["/my", "/my/check", "/my/answers", &sent] {
            let page = phone.opens(path).await;
            page.must_say("Nobody is watching messages now. Somebody watches again: tomorrow, 8:00 am");
            page.must_say("Call 202-555-0100.").must_say("Call 911. Do not wait for us.");
            page.must_not_say("A surgeon of the practice watches");
        }
        let late = phone.sends("form 2", no_danger(), &[]).await;
        let page = phone.opens(&format!("/my/sent/{}", late.code)).await;
        page.must_say("Nobody is watching messages now.");
    })
    .await;
}

#[tokio::test]
async fn in_spanish_too_and_with_nobody_entered_the_patient_is_told_to_call() {
    let place = Place::sqlite();
    let team = team(Practice::open(&place).await).await;
    team.weekly(&["tue"], "08:00", "12:00", &team.rosa, "first").await.is_fine();
    let phone = team.phone(Language::Spanish).await;
    let page = phone.opens("/my").await;
    page.must_say("Un cirujano(a) del consultorio está pendiente hasta: 12:00 p. m.");
    team.practice.minutes_pass(2 * 60);
    let page = phone.opens("/my").await;
    page.must_say("Nadie está pendiente de los mensajes ahora. Alguien vuelve a estar pendiente:");
    let lead = team.lead_again().await;
    lead.presses(&format!("/practice/staff/{}/off", team.rosa.member.id), &[]).await.is_fine();
    let sent = phone.sends("form 1", no_danger(), &[]).await;
    let page = phone.opens(&format!("/my/sent/{}", sent.code)).await;
    page.must_say("No espere una respuesta aquí.");
    page.must_say("Nadie está pendiente ahora. Llame al 202-555-0100, por favor.");
    page.must_not_say("Le contestamos a más tardar");
}

#[tokio::test]
async fn without_a_roster_the_hours_and_holidays_say_whether_anybody_watches() {
    on_each_engine(async |practice| {
        let team = team(practice).await;
        let phone = team.phone(Language::English).await;
        phone.opens("/my").await.must_say("A person at the practice watches until: 6:00 pm");
        let holiday = [("holiday_day", "2026-03-10"), ("holiday_name", "Staff day")];
        team.lead.presses("/practice/duty/holidays", &holiday).await.is_fine();
        let page = phone.opens("/my").await;
        page.must_say("Somebody watches again: tomorrow, 8:00 am");
        team.lead.opens("/practice/duty").await.must_say("closed: Staff day");
        team.lead.presses("/practice/duty/holidays/remove", &[("id", "2026-03-10")]).await.is_fine();
        let hours = [("hours_tue_from", "10:00"), ("hours_tue_until", "12:30")];
        team.lead.presses("/practice/duty/hours", &hours).await.is_fine();
        phone.opens("/my").await.must_say("A person at the practice watches until: 12:30 pm");
        team.lead.opens("/practice").await.must_say("Mon closed, Tue 10:00–12:30, Wed–Sun closed");
    })
    .await;
}

#[tokio::test]
async fn an_answer_on_track_may_take_a_day_longer_over_a_holiday_and_an_urgent_one_may_not() {
    on_each_engine(async |practice| {
        let team = team(practice).await;
        let holiday = [("holiday_day", "2026-03-12"), ("holiday_name", "Staff day")];
        team.lead.presses("/practice/duty/holidays", &holiday).await.is_fine();
        let phone = team.phone(Language::English).await;
        let urgent = phone.sends("form 1", in_danger(), &[]).await;
        let targets = closewatch::triage::Protocol::built_in().targets();
        let zone = jiff::tz::TimeZone::get("America/New_York").unwrap();
        assert_eq!(urgent.due, targets.due(urgent.urgency, team.practice.now(), &zone));
        let due = {
            let mut books = team.practice.books().await;
            let hours = duty::hours(&mut books, team.practice.id).await.unwrap();
            targets.due_around(closewatch::triage::Urgency::OnTrack, team.practice.now(), &hours)
        };
        assert_eq!(due.duration_since(team.practice.now()), SignedDuration::from_hours(72));
    })
    .await;
}
