//! Signing in takes two steps, guessing is slow, and what is sensitive asks again.

use std::time::Instant;

use axum::http::Method;
use axum::http::StatusCode;
use jiff::SignedDuration;

use closewatch::care::second_step::setting_up;
use closewatch::care::sign_in;
use closewatch::care::sign_in::FRESH_LIMIT;
use closewatch::care::sign_in::HALF_LIMIT;
use closewatch::care::sign_in::Knocking;
use closewatch::care::sign_in::SignIn;
use closewatch::care::sign_in::WRONG_TAKES;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::staff::Roles;
use closewatch::store::staff::StaffMember;
use closewatch::web;
use closewatch::web::Who;

use crate::support::*;

async fn a_lead(practice: &Practice, name: &str) -> StaffMember {
    practice.hires(name, Roles { lead: true, office: true, surgeon: true }).await
}

/// The code in grouped letters after an `<li><code>`.
fn codes_on(page: &Page) -> Vec<String> {
    let html = page.html();
    let codes = html.split("<li><code>").skip(1);
    codes.filter_map(|rest| rest.split("</code>").next()).map(str::to_owned).collect()
}

#[tokio::test]
async fn the_password_alone_opens_no_door_of_the_staff() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let member = a_lead(&practice, "Dr. Rosa Lind").await;
    setting_up::give_app(practice.desk(), &member, &app_seed(), practice.now()).await.unwrap();
    let half = Staff::types_password(&practice, member).await;
    let mut tried = 0;
    for door in web::doors(&practice.app) {
        let is_for_all =
            matches!(door.who, Who::Anyone | Who::Provider | Who::Phone | Who::Onlooker | Who::Entering);
        if is_for_all {
            continue;
        }
        tried += 1;
        let path: String = door
            .path
            .split('/')
            .map(|part| if part.starts_with('{') { "0198c0de-0000-7000-8000-000000000000" } else { part })
            .collect::<Vec<_>>()
            .join("/");
        match door.method {
            Method::GET => assert_eq!(half.opens(&path).await.leads_to(), "/prove", "{path}"),
            _ => {
                let page = half.presses(&path, &[("reply", "typed")]).await;
                assert_eq!(page.status, StatusCode::UNAUTHORIZED, "{path}");
                page.must_say("One step is still missing");
                assert_eq!(page.field("held_body").as_deref(), Some("reply=typed"), "{path}");
            }
        }
    }
    assert!(tried > 100, "{tried}");
    let whole = half.takes_second_step().await;
    whole.opens("/queue").await.is_fine();
    // The token of the first step opens nothing any more, neither half nor whole.
    assert_eq!(half.opens("/queue").await.leads_to(), "/sign-in");
    assert_eq!(half.opens("/prove").await.leads_to(), "/sign-in");
}

#[tokio::test]
async fn a_code_is_good_once_and_the_second_step_is_not_put_off() {
    on_each_engine(async |practice| {
        let member = a_lead(&practice, "Dr. Rosa Lind").await;
        setting_up::give_app(practice.desk(), &member, &app_seed(), practice.now()).await.unwrap();
        let code = app_seed().code_at(practice.now());
        let first = Staff::types_password(&practice, member.clone()).await;
        let second = Staff::types_password(&practice, member.clone()).await;
        first.presses("/prove/code", &[("code", &code)]).await;
        let again = second.presses("/prove/code", &[("code", &code)]).await;
        assert_eq!(again.status, StatusCode::UNPROCESSABLE_ENTITY);
        again.must_say("Each code is good once");
        assert!(again.cookie().is_none());
        practice.seconds_pass(30);
        let old = app_seed().code_at(practice.now() - SignedDuration::from_secs(60));
        second.presses("/prove/code", &[("code", &old)]).await.must_say("Each code is good once");
        let next = app_seed().code_at(practice.now());
        assert!(second.presses("/prove/code", &[("code", &next)]).await.cookie().is_some());
        let late = Staff::types_password(&practice, member).await;
        practice.app.clock.pass(HALF_LIMIT);
        assert_eq!(late.opens("/prove").await.leads_to(), "/sign-in");
    })
    .await;
}

#[tokio::test]
async fn the_first_sign_in_sets_up_an_app_and_shows_codes_that_open_once() {
    on_each_engine(async |practice| {
        let member = a_lead(&practice, "Dr. Rosa Lind").await;
        let half = Staff::types_password(&practice, member.clone()).await;
        assert_eq!(half.opens("/prove").await.leads_to(), "/second-step");
        half.opens("/second-step").await.must_say("Use an app");
        let begun = half.presses("/second-step/app", &[]).await;
        let html = begun.html();
        assert!(html.contains("<svg class=\"qr\""));
        let letters =
            html.split("id=\"to-type\">").nth(1).unwrap().split('<').next().unwrap().replace(' ', "");
        let bytes = data_encoding::BASE32_NOPAD.decode(letters.as_bytes()).unwrap();
        let seed = closewatch::care::second_step::app::Seed::new(bytes.try_into().unwrap());
        half.presses("/second-step/app/code", &[("code", "12 34")]).await.must_say("That was not the code.");
        // It began anew with another seed: the first one's code counts no more.
        let stale = seed.code_at(practice.now());
        let page = half.presses("/second-step/app/code", &[("code", &stale)]).await;
        page.must_say("That was not the code.");
        let html = page.html();
        let letters =
            html.split("id=\"to-type\">").nth(1).unwrap().split('<').next().unwrap().replace(' ', "");
        let bytes = data_encoding::BASE32_NOPAD.decode(letters.as_bytes()).unwrap();
        let seed = closewatch::care::second_step::app::Seed::new(bytes.try_into().unwrap());
        let done = half.presses("/second-step/app/code", &[("code", &seed.code_at(practice.now()))]).await;
        done.must_say("Recovery codes");
        let codes = codes_on(&done);
        assert_eq!(codes.len(), 10);
        let whole = Staff { cookie: done.cookie().unwrap(), ..half };
        whole.opens("/me/sign-in").await.must_say("10 recovery codes are left.");
        // No code and no seed can be read out of the books.
        let kept = format!("{:?}", rows_of(&mut *practice.books().await, practice.id).await);
        for code in &codes {
            assert!(!kept.contains(&code.replace('-', "")) && !kept.contains(code.as_str()));
        }
        assert!(!kept.contains(&letters));

        practice.minutes_pass(1);
        let lost = Staff::types_password(&practice, member.clone()).await;
        let typed = codes[3].to_lowercase().replace('-', " ");
        let entered = lost.presses("/prove/recovery-code", &[("code", &typed)]).await;
        assert_eq!(entered.leads_to(), "/queue");
        let again = Staff::types_password(&practice, member.clone()).await;
        let refused = again.presses("/prove/recovery-code", &[("code", &codes[3])]).await;
        refused.must_say("none of your recovery codes");
        // New codes take the place of the old ones.
        let back = Staff { cookie: entered.cookie().unwrap(), ..lost };
        let new = codes_on(&back.presses("/me/recovery-codes", &[]).await);
        assert_eq!(new.len(), 10);
        again
            .presses("/prove/recovery-code", &[("code", &codes[5])])
            .await
            .must_say("none of your recovery codes");
        assert_eq!(again.presses("/prove/recovery-code", &[("code", &new[5])]).await.leads_to(), "/queue");
    })
    .await;
}

#[tokio::test]
async fn what_is_sensitive_asks_for_the_second_step_again_and_loses_nothing() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let lead = Staff::signs_in(&practice, a_lead(&practice, "Dr. Rosa Lind").await).await;
    practice.app.clock.pass(FRESH_LIMIT);
    let sensitive: Vec<_> = web::doors(&practice.app).into_iter().filter(|door| door.fresh).collect();
    assert!(sensitive.len() >= 15, "{sensitive:?}");
    let someone = practice.office().await.member.id.to_string();
    for door in &sensitive {
        let path = door.path.replace("{id}", &someone);
        let page = match door.method {
            Method::GET => lead.opens(&path).await,
            _ => lead.presses(&path, &[("address", "+12025550190")]).await,
        };
        assert_eq!(page.status, StatusCode::FORBIDDEN, "{path}");
        page.must_say("Show once more that it is you");
        assert_eq!(page.field("held_path").as_deref(), Some(path.as_str()));
    }
    let typed = [("channel", "sms"), ("address", "+12025550190")];
    let held = lead.presses("/me/addresses", &typed).await;
    let (path, body) = (held.field("held_path").unwrap(), held.field("held_body").unwrap());
    let code = app_seed().code_at(practice.now());
    let proof = [("code", code.as_str()), ("held_path", &path), ("held_body", &body)];
    let back = lead.presses("/prove/code", &proof).await;
    back.must_say("What you typed is still here");
    let fresh = Staff { cookie: back.cookie().unwrap(), ..lead.clone() };
    assert_eq!(fresh.presses("/me/addresses", &typed).await.leads_to(), "/me");
    assert_eq!(lead.opens("/queue").await.leads_to(), "/sign-in", "the old token is dead");
    // What is not sensitive goes on without being asked.
    practice.app.clock.pass(FRESH_LIMIT);
    fresh.opens("/me/sign-in").await.is_fine();
}

#[tokio::test]
async fn a_stranger_who_guesses_keeps_nobody_out_of_the_browser_they_use() {
    on_each_engine(async |practice| {
        let member = a_lead(&practice, "Dr. Rosa Lind").await;
        setting_up::give_app(practice.desk(), &member, &app_seed(), practice.now()).await.unwrap();
        let half = Staff::types_password(&practice, member.clone()).await;
        let code = app_seed().code_at(practice.now());
        let entered = half.presses("/prove/code", &[("code", &code)]).await;
        let known = entered
            .headers
            .get_all("set-cookie")
            .iter()
            .filter_map(|line| {
                line.to_str().ok()?.split(';').next()?.strip_prefix("__Host-closewatch-known=")
            })
            .next()
            .expect("the browser is known from now on")
            .to_owned();
        let name = member.sign_in_name.clone();
        let tries = async |password: &str, known: Option<&str>| {
            let knocking =
                Knocking { sign_in_name: &name, password, known_browser: known, ..Knocking::default() };
            sign_in::sign_in(practice.desk(), knocking, &practice.moment()).await.unwrap()
        };
        let mut looked_at = 0;
        for guess in 0..1_000 {
            match tries(&format!("guess number {guess}"), None).await {
                SignIn::Wrong => looked_at += 1,
                SignIn::Wait { until } if guess % 10 == 0 => {
                    // The most patient of strangers waits as long as they must, up to an hour.
                    let wait = until.duration_since(practice.now()).min(SignedDuration::from_hours(1));
                    practice.app.clock.pass(wait);
                    looked_at += 1;
                }
                SignIn::Wait { .. } => {}
                SignIn::HalfWay { .. } => panic!("a guess was right"),
            }
            if guess % 100 == 99 {
                assert!(matches!(tries(PASSWORD, Some(&known)).await, SignIn::HalfWay { .. }), "{guess}");
                practice.minutes_pass(2);
            }
        }
        assert!(looked_at <= 110, "{looked_at}");
        assert!(
            matches!(tries(PASSWORD, None).await, SignIn::Wait { .. }),
            "elsewhere a colleague must help"
        );
        let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
        let told: Vec<_> = open.iter().filter(|alarm| alarm.kind == AlarmKind::PasswordGuessed).collect();
        assert_eq!(told.len(), 1);
        assert_eq!(told[0].about, format!("staff:{}", member.id));
        let wrong = actions(&practice).await.iter().filter(|action| *action == "sign_in.wrong").count();
        assert!((1..=50).contains(&wrong), "{wrong} guesses reached the password");
    })
    .await;
}

#[tokio::test]
#[expect(clippy::disallowed_methods, reason = "how long an answer takes is what is asked")]
async fn a_name_nobody_has_is_answered_as_one_that_somebody_has_and_neither_sooner_than_its_time() {
    on_each_engine(async |practice| {
        let member = a_lead(&practice, "Dr. Rosa Lind").await;
        let answers = async |name: &str| {
            let mut said = Vec::new();
            for number in 0..7 {
                let fields = [("sign_in_name", name), ("password", "a wrong password")];
                let begun = Instant::now();
                let page = presses(&practice, "/sign-in", "", &fields).await;
                // From the sixth on nothing is looked at for a while.
                assert!(number >= 5 || begun.elapsed() >= WRONG_TAKES, "{:?}", begun.elapsed());
                assert!(page.cookie().is_none());
                said.push((page.status, page.words().replace(name, "NAME")));
            }
            said
        };
        let (known, unknown) = (answers(&member.sign_in_name).await, answers("nobody.at.all").await);
        assert_eq!(known, unknown);
        assert_eq!(known[0].0, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(known[5].1.contains("Too many wrong tries"), "{known:?}");
    })
    .await;
}

#[tokio::test]
async fn everybody_sees_where_they_are_signed_in_and_ends_it_elsewhere() {
    on_each_engine(async |practice| {
        let member = a_lead(&practice, "Dr. Rosa Lind").await;
        let [one, two, three] = [
            Staff::signs_in(&practice, member.clone()).await,
            Staff::signs_in(&practice, member.clone()).await,
            Staff::signs_in(&practice, member.clone()).await,
        ];
        one.opens("/me/sign-in").await.must_say("this one").must_say("Sign out everywhere else");
        let open = sign_in::sessions(practice.desk(), &member, practice.now()).await.unwrap();
        assert_eq!(open.len(), 3);
        assert_eq!(one.presses("/me/sessions/end", &[("id", "")]).await.leads_to(), "/me/sign-in");
        for ended in [&two, &three] {
            assert_eq!(ended.opens("/queue").await.leads_to(), "/sign-in");
        }
        one.opens("/queue").await.is_fine();
        // Another's session cannot be ended by its id.
        let office = practice.office().await;
        let theirs = sign_in::sessions(practice.desk(), &office.member, practice.now()).await.unwrap()[0].id;
        let tried = one.presses("/me/sessions/end", &[("id", &theirs.to_string())]).await;
        assert_eq!(tried.status, StatusCode::CONFLICT);
        office.opens("/callbacks").await.is_fine();
    })
    .await;
}

#[tokio::test]
async fn a_changed_password_ends_the_other_sessions_and_the_old_one_opens_nothing() {
    on_each_engine(async |practice| {
        let member = a_lead(&practice, "Dr. Rosa Lind").await;
        let here = Staff::signs_in(&practice, member.clone()).await;
        let there = Staff::signs_in(&practice, member.clone()).await;
        let wrong = [("old_password", "not the old one at all"), ("password", "too short")];
        let page = here.presses("/me/password", &wrong).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
        page.must_say("This is not your password now.").must_say("at least 15 characters");
        let right = [("old_password", PASSWORD), ("password", "quarry river saddle timber")];
        assert_eq!(here.presses("/me/password", &right).await.leads_to(), "/me/sign-in");
        here.opens("/queue").await.is_fine();
        assert_eq!(there.opens("/queue").await.leads_to(), "/sign-in");
        let tries = async |password: &str| {
            let knocking = Knocking { sign_in_name: &member.sign_in_name, password, ..Knocking::default() };
            sign_in::sign_in(practice.desk(), knocking, &practice.moment()).await.unwrap()
        };
        assert!(matches!(tries(PASSWORD).await, SignIn::Wrong));
        assert!(matches!(tries("Quarry River Saddle Timber").await, SignIn::Wrong), "case counts");
        assert!(matches!(tries("quarry river saddle timber").await, SignIn::HalfWay { .. }));
    })
    .await;
}

#[tokio::test]
async fn the_only_second_step_is_not_taken_away_by_oneself_but_by_a_lead_for_whoever_lost_it() {
    on_each_engine(async |practice| {
        let lead = Staff::signs_in(&practice, a_lead(&practice, "Dr. Rosa Lind").await).await;
        let office = practice.office().await;
        let kept = office.presses("/me/app/remove", &[]).await;
        assert_eq!(kept.status, StatusCode::UNPROCESSABLE_ENTITY);
        kept.must_say("This is your only second step.");
        let path = |id: &dyn std::fmt::Display| format!("/practice/staff/{id}/re-enrol");
        let own = lead.presses(&path(&lead.member.id), &[]).await;
        assert_eq!(own.status, StatusCode::FORBIDDEN, "nobody does it for themselves");
        assert_eq!(lead.presses(&path(&office.member.id), &[]).await.leads_to(), "/practice/staff");
        assert_eq!(office.opens("/callbacks").await.leads_to(), "/sign-in");
        let half = Staff::types_password(&practice, office.member.clone()).await;
        half.opens("/second-step").await.must_say("taken away by Dr. Rosa Lind");
        assert!(actions(&practice).await.iter().any(|action| action == "second_step.taken_away"));
    })
    .await;
}

#[tokio::test]
async fn a_new_sign_in_ends_the_session_the_browser_held_and_no_token_comes_twice() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let member = a_lead(&practice, "Dr. Rosa Lind").await;
    let before = Staff::signs_in(&practice, member.clone()).await;
    let fields = [("sign_in_name", member.sign_in_name.as_str()), ("password", PASSWORD)];
    presses(&practice, "/sign-in", &before.cookie, &fields).await;
    assert_eq!(before.opens("/queue").await.leads_to(), "/sign-in");
    let mut tokens = std::collections::BTreeSet::new();
    for _ in 0..20 {
        let staff = Staff::signs_in(&practice, member.clone()).await;
        let token = staff.cookie.split('=').nth(1).unwrap().to_owned();
        assert_eq!(token.len(), 43);
        assert!(tokens.insert(token));
    }
    let kept = format!("{:?}", rows_of(&mut *practice.books().await, practice.id).await);
    assert!(tokens.iter().all(|token| !kept.contains(token.as_str())));
}
