//! A practice's own protocol, on both engines: drafted, tried on the past, approved, and every version kept.

use closewatch::care::CareError;
use closewatch::care::explain;
use closewatch::care::protocol_draft;
use closewatch::care::protocol_draft::Approved;
use closewatch::care::protocol_draft::Kept;
use closewatch::care::protocols;
use closewatch::care::rule_counts;
use closewatch::care::rule_counts::RuleCount;
use closewatch::care::trial::Findings;
use closewatch::care::trial::Move;
use closewatch::ids::WoundCheckId;
use closewatch::store::audit;
use closewatch::store::checks;
use closewatch::store::staff::Roles;
use closewatch::triage::Decision;
use closewatch::triage::Edits;
use closewatch::triage::Protocol;
use closewatch::triage::Urgency;

use crate::support::Practice;
use crate::support::Staff;
use crate::support::in_danger;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::rows_of;
use crate::support::with_temperature;

fn limit(id: &str, value: f64) -> Edits {
    Edits { limits: vec![(id.to_owned(), value)], classes: Vec::new() }
}

fn class(rule: &str, class: Urgency) -> Edits {
    Edits { limits: Vec::new(), classes: vec![(rule.to_owned(), class)] }
}

/// Drafts a change of what is in force and runs its trial to the end.
async fn tries(practice: &Practice, lead: &Staff, edits: &Edits) -> Findings {
    let base = protocol_draft::base(practice.desk(), &lead.member, None).await.unwrap();
    let kept =
        protocol_draft::keep(practice.desk(), &lead.member, base.version(), edits, practice.now()).await;
    assert!(matches!(kept.unwrap(), Kept::Yes));
    protocol_draft::start_trial(practice.desk(), &lead.member, practice.now()).await.unwrap();
    // The trial runs beside us; it is a handful of checks.
    for _ in 0..200 {
        let open = protocol_draft::open(practice.desk(), &lead.member).await.unwrap().unwrap();
        if let Some(findings) = open.draft.trial {
            return findings;
        }
        tokio::time::sleep(std::time::Duration::from_millis(20)).await;
    }
    panic!("the trial never ended");
}

async fn approves(practice: &Practice, lead: &Staff, reason: &str) -> Result<Approved, CareError> {
    protocol_draft::approve(practice.desk(), &lead.member, reason, practice.now()).await
}

async fn version_of(practice: &Practice, id: WoundCheckId) -> (String, Urgency) {
    let check = checks::find(&mut *practice.books().await, practice.id, id).await.unwrap().unwrap();
    (check.assessment.protocol_version.clone(), check.assessment.urgency)
}

#[tokio::test]
async fn a_lower_fever_limit_is_tried_on_the_past_approved_and_counts_from_then_on() {
    on_each_engine(async |practice| {
        let (office, surgeon, lead) =
            (practice.office().await, practice.surgeon().await, practice.lead().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let before = phone.sends("one", with_temperature(377), &[]).await.check;
        let calm = phone.sends("two", no_danger(), &[]).await.check;
        let built_in = Protocol::built_in().version().to_owned();
        assert_eq!(version_of(&practice, before).await, (built_in.clone(), Urgency::Tomorrow));

        let findings = tries(&practice, &lead, &limit("fever_c", 37.5)).await;
        assert_eq!((findings.tried, findings.against.as_str()), (2, built_in.as_str()));
        assert_eq!(findings.moves, vec![Move { from: Urgency::Tomorrow, to: Urgency::Today, checks: 1 }]);
        assert_eq!((findings.raised[0].check, findings.lowered.len()), (before, 0));

        let approved = approves(&practice, &lead, "Two patients ran a fever below the old limit.").await;
        let version = format!("{built_in}.1");
        assert_eq!(approved.unwrap(), Approved::InForce(version.clone()));
        let after = phone.sends("three", with_temperature(377), &[]).await.check;
        assert_eq!(version_of(&practice, after).await, (version.clone(), Urgency::Today));
        // What came before keeps its class and explains itself by the version of that day.
        assert_eq!(version_of(&practice, before).await, (built_in.clone(), Urgency::Tomorrow));
        let old =
            explain::explain(practice.desk(), &surgeon.member, before, None, practice.now()).await.unwrap();
        let fever = |explained: &explain::Explained| {
            explained.protocol.as_ref().unwrap().limits().named("fever_c").unwrap().value
        };
        assert_eq!(fever(&old), 38.0);
        let new =
            explain::explain(practice.desk(), &surgeon.member, after, Some(1), practice.now()).await.unwrap();
        assert_eq!((fever(&new), new.kept.assessment.protocol_version.as_str()), (37.5, version.as_str()));
        assert!(new.could_raise.unwrap().iter().all(|set| set.to > Urgency::Today));
        assert_eq!(version_of(&practice, calm).await.1, Urgency::Tomorrow);

        let shelf = protocols::shelf(practice.desk(), &lead.member).await.unwrap();
        let kept: Vec<&str> = shelf.kept.iter().map(|kept| kept.version.as_str()).collect();
        assert_eq!(kept, vec![version.as_str(), built_in.as_str()]);
        assert_eq!(shelf.kept[0].approvals[0].reason, "Two patients ran a fever below the old limit.");
        let record = audit::newest(&mut *practice.books().await, practice.id, 50).await.unwrap();
        let line = record.iter().find(|line| line.action == "protocol.approve").unwrap();
        assert!(
            line.detail.contains("fever_c=38>37.5") && line.detail.contains("Two patients"),
            "{}",
            line.detail
        );
    })
    .await;
}

#[tokio::test]
async fn lowering_what_a_surgeon_judged_urgent_takes_two_leads() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let (lead, second) = (practice.lead().await, practice.lead().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        // 39.2 °C: very high fever, within the hour, and so the surgeon decides.
        let urgent = phone.sends("one", with_temperature(392), &[]).await.check;
        surgeon
            .decides(urgent, Decision::GoToEmergency, "Go to the emergency department now.")
            .await
            .unwrap();
        let edits = Edits {
            limits: vec![("fever_very_high_c".to_owned(), 39.3), ("fever_high_c".to_owned(), 38.9)],
            classes: vec![
                ("fever-38.5".to_owned(), Urgency::RingNow),
                ("fever-39".to_owned(), Urgency::Today),
            ],
        };
        let findings = tries(&practice, &lead, &edits).await;
        assert_eq!((findings.lowered_urgent, findings.lowered.len()), (0, 0), "fever-38.5 still holds it up");

        let edits = class("fever-39", Urgency::Today);
        let findings = tries(&practice, &lead, &edits).await;
        assert_eq!(findings.lowered_urgent, 0);
        approves(&practice, &lead, "A trial.").await.unwrap();

        // A practice cannot take a high-confidence rule below its safe range at all.
        let base = protocol_draft::base(practice.desk(), &lead.member, None).await.unwrap();
        let too_calm = class("fever-38.5", Urgency::Today);
        let kept =
            protocol_draft::keep(practice.desk(), &lead.member, base.version(), &too_calm, practice.now())
                .await;
        let Kept::Faulty(fault) = kept.unwrap() else { panic!("below its safe range") };
        assert!(fault.to_string().contains("calmer than its safe range"), "{fault}");

        // Within it, the shaking patient whom the surgeon sent to the emergency department would have waited.
        let mut answers = no_danger();
        answers.chills = closewatch::triage::Said::Is(closewatch::triage::Chills::Shaking);
        let shaking = phone.sends("two", answers, &[]).await.check;
        surgeon
            .decides(shaking, Decision::GoToEmergency, "Go to the emergency department now.")
            .await
            .unwrap();
        let findings = tries(&practice, &lead, &class("chills-shaking", Urgency::Today)).await;
        assert_eq!(findings.lowered_urgent, 1);
        assert_eq!(findings.lowered_urgent_named[0].check, shaking);
        let first = approves(&practice, &lead, "Chills were often hot flushes.").await;
        assert_eq!(first.unwrap(), Approved::SecondLeadNeeded);
        let again = approves(&practice, &lead, "I mean it.").await;
        assert!(matches!(again, Err(CareError::Entered(faults)) if faults[0].words.contains("second lead")));
        let approved = approves(&practice, &second, "I agree.").await.unwrap();
        assert!(matches!(approved, Approved::InForce(_)), "{approved:?}");
        let shelf = protocols::shelf(practice.desk(), &lead.member).await.unwrap();
        assert_eq!(shelf.kept[0].approvals.len(), 2);
    })
    .await;
}

#[tokio::test]
async fn a_draft_counts_only_after_its_own_trial_and_with_a_reason() {
    on_each_engine(async |practice| {
        let (lead, surgeon) = (practice.lead().await, practice.surgeon().await);
        let words = |refused: Result<Approved, CareError>| match refused {
            Err(CareError::Entered(faults)) => faults[0].words.clone(),
            other => panic!("{other:?}"),
        };
        let base = Protocol::built_in().version();
        let keep = async |edits: &Edits| {
            protocol_draft::keep(practice.desk(), &lead.member, base, edits, practice.now()).await
        };
        keep(&limit("pain_rest", 6.0)).await.unwrap();
        assert!(words(approves(&practice, &lead, "Because.").await).contains("Try the draft"));
        tries(&practice, &lead, &limit("pain_rest", 6.0)).await;
        assert!(words(approves(&practice, &lead, "  ").await).contains("Write why"));
        assert!(words(approves(&practice, &lead, &"x".repeat(501)).await).contains("at most 500"));
        // Changing the draft takes its trial away.
        practice.minutes_pass(1);
        keep(&limit("pain_rest", 5.0)).await.unwrap();
        assert!(words(approves(&practice, &lead, "Because.").await).contains("Try the draft"));
        // Surgeons read a draft; only leads try and approve it, the office sees nothing of it, and nobody approves what
        // is not there.
        assert!(protocol_draft::open(practice.desk(), &surgeon.member).await.unwrap().is_some());
        let refused = protocol_draft::start_trial(practice.desk(), &surgeon.member, practice.now()).await;
        assert!(matches!(refused, Err(CareError::NotAllowed)));
        assert!(matches!(approves(&practice, &surgeon, "Because.").await, Err(CareError::NotAllowed)));
        let office = practice.office().await;
        let refused = protocol_draft::open(practice.desk(), &office.member).await;
        assert!(matches!(refused, Err(CareError::NotAllowed)));
        protocol_draft::discard(practice.desk(), &lead.member, practice.now()).await.unwrap();
        assert!(matches!(approves(&practice, &lead, "Because.").await, Err(CareError::NotFound)));
        // Another practice's leads see and change nothing of it.
        let hill = practice.neighbour().await;
        let stranger = hill.lead().await;
        let ours = rows_of(&mut *practice.books().await, practice.id).await;
        tries(&hill, &stranger, &limit("pain_rest", 6.0)).await;
        approves(&hill, &stranger, "Our own.").await.unwrap();
        assert_eq!(rows_of(&mut *practice.books().await, practice.id).await, ours);
        let in_force = protocols::shelf(practice.desk(), &lead.member).await.unwrap().in_force;
        assert_eq!(in_force.version(), base);
    })
    .await;
}

#[tokio::test]
async fn each_rule_is_counted_with_how_often_the_surgeon_agreed() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let one = phone.sends("one", with_temperature(382), &[]).await.check;
        let other = phone.sends("two", with_temperature(383), &[]).await.check;
        phone.sends("three", with_temperature(384), &[]).await;
        phone.sends("four", in_danger(), &[]).await;
        surgeon.decides(one, Decision::Antibiotic, "Start the antibiotic today.").await.unwrap();
        surgeon.decides(other, Decision::HealingAsExpected, "It looks the way I expect.").await.unwrap();
        let counts = rule_counts::this_month(practice.desk(), &surgeon.member, practice.now()).await.unwrap();
        assert_eq!(counts["fever-38"], RuleCount { fired: 3, judged: 2, agreed: 1 });
        assert_eq!(counts.get("fever-39"), None);
        // The month after begins from nothing.
        practice.minutes_pass(31 * 24 * 60);
        let counts = rule_counts::this_month(practice.desk(), &surgeon.member, practice.now()).await.unwrap();
        assert!(counts.is_empty());
        let both = practice.staff("Kim Ode", Roles { office: true, ..Roles::default() }).await;
        let refused = rule_counts::this_month(practice.desk(), &both.member, practice.now()).await;
        assert!(matches!(refused, Err(CareError::NotAllowed)));
    })
    .await;
}

#[tokio::test]
async fn a_version_that_cannot_be_read_leaves_the_one_before_in_force_and_is_named() {
    on_each_engine(async |practice| {
        let lead = practice.lead().await;
        for pain in [6.0, 5.0] {
            tries(&practice, &lead, &limit("pain_rest", pain)).await;
            approves(&practice, &lead, "A trial.").await.unwrap();
            practice.minutes_pass(1);
        }
        let program = Protocol::built_in().version();
        let kept = protocols::shelf(practice.desk(), &lead.member).await.unwrap();
        assert_eq!((kept.in_force.version(), kept.unreadable.len()), (format!("{program}.2").as_str(), 0));
        // A server that starts anew has nothing read yet, and finds the last version spoilt.
        let spoil = async |version: &str| {
            let mut tx = practice.desk().db.write().await.unwrap();
            sqlx::query("UPDATE protocol SET text = '{}' WHERE version = $1")
                .bind(version.to_owned())
                .execute(&mut *tx)
                .await
                .unwrap();
            tx.commit().await.unwrap();
        };
        spoil(&format!("{program}.2")).await;
        let anew = practice.started_anew();
        let shelf = protocols::shelf(anew.desk(), &lead.member).await.unwrap();
        assert_eq!(shelf.in_force.version(), format!("{program}.1"));
        assert_eq!(shelf.in_force.limits().named("pain_rest").unwrap().value, 6.0);
        assert_eq!(shelf.unreadable, vec![format!("{program}.2")]);
        spoil(&format!("{program}.1")).await;
        let shelf = protocols::shelf(practice.started_anew().desk(), &lead.member).await.unwrap();
        assert_eq!((shelf.in_force.version(), shelf.unreadable.len()), (program, 2));
    })
    .await;
}

#[tokio::test]
async fn checks_received_before_facts_were_kept_are_tried_and_explained_all_the_same() {
    on_each_engine(async |practice| {
        let (office, surgeon, lead) =
            (practice.office().await, practice.surgeon().await, practice.lead().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let old = phone.sends("one", with_temperature(377), &[]).await.check;
        let mut tx = practice.desk().db.write().await.unwrap();
        for forget in ["UPDATE wound_check SET facts = NULL", "UPDATE assessment SET facts = NULL"] {
            sqlx::query(forget).execute(&mut *tx).await.unwrap();
        }
        tx.commit().await.unwrap();
        let findings = tries(&practice, &lead, &limit("fever_c", 37.5)).await;
        assert_eq!((findings.tried, findings.raised.len()), (1, 1));
        let explained =
            explain::explain(practice.desk(), &surgeon.member, old, None, practice.now()).await.unwrap();
        assert!(explained.could_raise.is_none() && explained.protocol.is_some());
        let page = surgeon.opens(&format!("/checks/{old}/why")).await;
        page.is_fine().must_say("the facts behind it were not kept then");
    })
    .await;
}
