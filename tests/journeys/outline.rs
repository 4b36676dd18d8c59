//! Measurements on the pages: a surgeon reads them, draws and confirms; a patient reads what would make a photo better.

use axum::http::StatusCode;

use closewatch::ids::PhotoId;
use closewatch::ids::WoundCheckId;
use closewatch::store::measurements;
use closewatch::store::measurements::Author;
use closewatch::store::measurements::KeptMeasurement;
use closewatch::triage::Answers;
use closewatch::triage::Edge;
use closewatch::triage::EdgeBand;
use closewatch::triage::Said;
use closewatch::wound::Because;
use closewatch::wound::Measurement;
use closewatch::wound::Redness;
use closewatch::wound::Standing;

use crate::support::*;

/// A check with one measured photo, and the surgeon who looks at it.
struct Opened {
    practice: Practice,
    surgeon: Staff,
    phone: Phone,
    check: WoundCheckId,
    code: String,
    photo: PhotoId,
}

async fn opened(practice: &Practice, found: Measurement) -> Opened {
    opened_with(practice, found, no_danger()).await
}

async fn opened_with(practice: &Practice, found: Measurement, answers: Answers) -> Opened {
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    let receipt = phone.sends("form", answers, &[photo(1)]).await;
    practice.finds(found).await;
    let photo = practice.photo_of(receipt.check).await;
    let practice = practice.clone();
    Opened { practice, surgeon, phone, check: receipt.check, code: receipt.code, photo }
}

impl Opened {
    async fn page(&self) -> Page {
        self.surgeon.opens(&format!("/checks/{}", self.check)).await
    }

    async fn draws(&self, fields: &[(&str, &str)]) -> Page {
        self.surgeon.presses(&format!("/photos/{}/outline", self.photo), fields).await
    }

    async fn kept(&self) -> Vec<KeptMeasurement> {
        measurements::of_photo(&mut *self.practice.books().await, self.practice.id, self.photo).await.unwrap()
    }
}

fn unsure() -> Measurement {
    Measurement {
        standing: Standing::LowConfidence,
        because: vec![Because::TwoOutlines],
        ..square_wound(20.0, 7.0)
    }
}

#[tokio::test]
async fn a_surgeon_reads_what_the_photo_says_with_its_ranges_and_who_measured_it() {
    on_each_engine(async |practice| {
        let page = opened(&practice, square_wound(20.0, 17.0)).await.page().await;
        page.must_say("4.0 cm² (3.8–4.2)")
            .must_say("28 mm (27–30) × 28 mm (27–30)")
            .must_say("17 mm (16–18) beyond the edge; at most 19 mm")
            .must_say("slough or fat, colour cannot tell them apart")
            .must_say("Measured by the program, method 1")
            .must_say("count on ±10 %");
        assert_eq!(page.html().matches("class=\"overlay\"").count(), 1);
    })
    .await;
}

#[tokio::test]
async fn without_a_card_the_page_says_why_nothing_is_given_in_millimetres() {
    on_each_engine(async |practice| {
        let opened = opened(&practice, not_measured(Because::CardNotSeen)).await;
        let page = opened.page().await;
        page.must_say("Not measured")
            .must_say("No scale card in the picture")
            .must_say("an outline gives no millimetres");
        assert!(!page.html().contains("outline-form"), "nothing can be drawn without a scale");
        let refused = opened.draws(&[("rings", SQUARE)]).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert_eq!(opened.kept().await.len(), 1);
    })
    .await;
}

#[tokio::test]
async fn redness_that_was_not_seen_is_never_called_none() {
    on_each_engine(async |practice| {
        let found = Measurement {
            redness: Redness::NoContrast { compared_at_mm: 45.0 },
            ita_deg: Some(-40.0),
            ..square_wound(20.0, 7.0)
        };
        let page = opened(&practice, found).await.page().await;
        page.must_say("no contrast to the surrounding skin in this picture (compared with skin 45 mm away)")
            .must_say("heat, hardness and swelling must carry it")
            .must_say("ask for warmth, swelling and pain");
    })
    .await;
}

#[tokio::test]
async fn an_unsure_outline_shows_no_number_that_counts_until_it_is_confirmed() {
    on_each_engine(async |practice| {
        let opened = opened(&practice, unsure()).await;
        let page = opened.page().await;
        page.must_say("no number counts until you confirm or draw it")
            .must_say("if the outline is right: 4.0 cm²")
            .must_say("Two different outlines fit this picture");
        practice.minutes_pass(1);
        let confirm = format!("/photos/{}/outline/confirm", opened.photo);
        let answer = opened.surgeon.presses(&confirm, &[]).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER);
        assert_eq!(answer.leads_to(), format!("/checks/{}#photo-1", opened.check));
        let page = opened.page().await;
        page.must_say("confirmed by Dr. Rosa Lind").must_not_say("if the outline is right");
        assert!(!page.html().contains("outline/confirm"));
        assert_eq!(opened.kept().await[0].author, Author::Staff(opened.surgeon.member.id));
    })
    .await;
}

#[tokio::test]
async fn a_confirmation_of_nothing_says_so_and_changes_nothing() {
    on_each_engine(async |practice| {
        let opened = opened(&practice, not_measured(Because::NoWound)).await;
        let confirm = format!("/photos/{}/outline/confirm", opened.photo);
        let answer = opened.surgeon.presses(&confirm, &[]).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert_eq!(opened.kept().await.len(), 1);
    })
    .await;
}

/// Px of the photo: 200 × 200 of them are 4 cm².
const SQUARE: &str =
    r#"{"wound":[{"edge":[[700,500],[900,500],[900,700],[700,700]],"islands":[]}],"redness":null}"#;

#[tokio::test]
async fn a_drawing_that_cannot_be_kept_comes_back_as_it_was_with_what_to_do() {
    on_each_engine(async |practice| {
        let opened = opened(&practice, square_wound(20.0, 7.0)).await;
        let many: Vec<[f64; 2]> = (0..10_000).map(|at| [f64::from(at) / 10.0, 5.0]).collect();
        let many = serde_json::json!({ "wound": [{ "edge": many }] }).to_string();
        let crossed = SQUARE.replace("[900,700],[700,700]", "[700,690],[900,700]");
        let tries = [
            (crossed.as_str(), "The wound edge crosses itself"),
            (r#"{"wound":[{"edge":[[700,500],[900,500]]}]}"#, "at least three points"),
            (many.as_str(), "more than 2000 points"),
            (r#"{"wound":[{"edge":[[700,500],[1900,500],[900,700]]}]}"#, "outside the photo"),
        ];
        for (rings, words) in tries {
            let answer = opened.draws(&[("rings", rings), ("depth", "12"), ("undermining", "3,5")]).await;
            assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
            answer.must_say(words).must_say("Nothing was saved.");
            assert_eq!(answer.field("rings").as_deref(), Some(rings), "what was drawn is kept");
            assert_eq!(answer.field("depth").as_deref(), Some("12"));
            assert_eq!(answer.field("undermining").as_deref(), Some("3,5"));
        }
        let answer = opened.draws(&[("rings", SQUARE), ("depth", "deep")]).await;
        answer.must_say("Type millimetres from 0 to 300");
        assert_eq!(answer.field("rings").as_deref(), Some(SQUARE));
        assert_eq!(opened.kept().await.len(), 1, "nothing was kept");
    })
    .await;
}

#[tokio::test]
async fn the_form_holds_the_outline_as_it_stands() {
    on_each_engine(async |practice| {
        let opened = opened(&practice, square_wound(20.0, 7.0)).await;
        let rings: serde_json::Value =
            serde_json::from_str(&opened.page().await.field("rings").unwrap()).unwrap();
        let corner = &rings["wound"][0]["edge"][0];
        // 10 mm to the left of and above the middle, at ten px a millimetre.
        assert_eq!(corner, &serde_json::json!([700.0, 500.0]));
        assert_eq!(rings["redness"].as_array().map(Vec::len), Some(4));
    })
    .await;
}

#[tokio::test]
async fn another_practice_can_neither_draw_nor_confirm() {
    on_each_engine(async |practice| {
        let opened = opened(&practice, unsure()).await;
        let stranger = practice.neighbour().await.surgeon().await;
        for way in ["outline", "outline/confirm"] {
            let answer =
                stranger.presses(&format!("/photos/{}/{way}", opened.photo), &[("rings", SQUARE)]).await;
            assert_eq!(answer.status, StatusCode::NOT_FOUND);
        }
        assert_eq!(opened.kept().await.len(), 1);
    })
    .await;
}

#[tokio::test]
async fn answers_and_photo_that_disagree_are_shown_both() {
    on_each_engine(async |practice| {
        let says = Answers { edge: Said::Is(Edge::Band(EdgeBand::Thin)), ..no_danger() };
        let page = opened_with(&practice, square_wound(20.0, 33.0), says).await.page().await;
        page.must_say("The answers and the photo disagree")
            .must_say("The patient says the redness reaches 5 mm at most; the photo shows 33 mm.")
            .must_say("The photo counts.");
    })
    .await;
}

#[tokio::test]
async fn answers_and_photo_that_agree_are_not_mentioned() {
    on_each_engine(async |practice| {
        let says = Answers { edge: Said::Is(Edge::Band(EdgeBand::ToOneInch)), ..no_danger() };
        let page = opened_with(&practice, square_wound(20.0, 17.0), says).await.page().await;
        page.must_not_say("the photo disagree");
    })
    .await;
}

#[tokio::test]
async fn a_patient_reads_what_to_do_better_and_can_send_another_photo_to_the_same_check() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let receipt = phone.sends("form", no_danger(), &[photo(1)]).await;
        let sent = format!("/my/sent/{}", receipt.code);
        let page = phone.opens(&sent).await;
        page.must_say("We still look at how well it can be measured.");
        assert!(page.html().contains("data-not-yet"));
        practice.finds(not_measured(Because::CardNotSeen)).await;
        let page = phone.opens(&sent).await;
        page.must_say("Lay the card flat beside the wound and try again.")
            .must_say("Your check is in, with or without it.");
        assert!(!page.html().contains("data-not-yet"));
        let fields = [("form_key", "form"), ("receipt", receipt.code.as_str()), ("position", "2")];
        let second = photo(2);
        let answer =
            phone.posts_files("/my/check/photo", &fields, &[File { name: "two.jpg", bytes: &second }]).await;
        assert_eq!(answer.leads_to(), sent);
        practice.finds(square_wound(20.0, 7.0)).await;
        let page = phone.opens(&sent).await;
        page.must_say("Photo 2 came through well.");
        assert_eq!(phone.checks().await.len(), 1, "it is the same check");
    })
    .await;
}

#[tokio::test]
async fn nothing_of_the_figures_is_told_to_the_patient() {
    on_each_engine(async |practice| {
        let opened = opened(&practice, square_wound(20.0, 17.0)).await;
        let page = opened.phone.opens(&format!("/my/sent/{}", opened.code)).await;
        page.must_say("Photo 1 came through well.").must_not_say("cm²").must_not_say("17 mm");
    })
    .await;
}

/// The outline of a drawing, 20 by 20 mm, with its redness edge 12 mm farther out.
const WITH_REDNESS: &str = r#"{"wound":[{"edge":[[700,500],[900,500],[900,700],[700,700]]}],"redness":[[580,380],[1020,380],[1020,820],[580,820]]}"#;

#[tokio::test]
async fn a_drawing_is_measured_kept_and_stands_before_what_the_program_found() {
    on_each_engine(async |practice| {
        let opened = opened(&practice, unsure()).await;
        practice.minutes_pass(1);
        let answer = opened.draws(&[("rings", WITH_REDNESS), ("depth", "12,5"), ("undermining", "")]).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER);
        let kept = opened.kept().await;
        assert_eq!(kept.len(), 2, "the program's own is kept beside it");
        let drawn = &kept[0];
        assert_eq!(drawn.author, Author::Staff(opened.surgeon.member.id));
        assert!((drawn.measurement.size.unwrap().area_mm2.value - 400.0).abs() < 0.5);
        assert_eq!(drawn.measurement.probed.depth_mm, Some(12.5));
        let page = opened.page().await;
        page.must_say("By hand")
            .must_say("4.0 cm²")
            .must_say("12 mm, probed at a visit")
            .must_say("confirmed by Dr. Rosa Lind")
            .must_say("Healing course");
        assert!(actions(&practice).await.iter().any(|action| action == "measurement.draw"));
    })
    .await;
}

#[tokio::test]
async fn two_checks_are_compared_and_a_change_inside_the_error_is_no_change() {
    on_each_engine(async |practice| {
        let first = opened(&practice, square_wound(20.0, 7.0)).await;
        practice.minutes_pass(24 * 60);
        let second = first.phone.sends("second", no_danger(), &[photo(2)]).await.check;
        practice.finds(square_wound(20.5, 17.0)).await;
        let surgeon = practice.surgeon().await;
        let page = surgeon.opens(&format!("/checks/{second}")).await;
        page.must_say("Since the check before")
            .must_say("4.0 cm² → 4.2 cm², +5 %: no clear change")
            .must_say("7.0 mm → 17 mm, +143 %: bigger")
            .must_say("At the same scale");
        assert_eq!(page.html().matches("data-warp=").count(), 2);
        let queue = surgeon.opens("/queue").await;
        queue.must_say("redness 7 → 17 mm");
    })
    .await;
}

#[tokio::test]
async fn two_photos_without_a_common_scale_are_not_laid_over_each_other() {
    on_each_engine(async |practice| {
        let first = opened(&practice, square_wound(20.0, 7.0)).await;
        practice.minutes_pass(24 * 60);
        let second = first.phone.sends("second", no_danger(), &[photo(2)]).await.check;
        practice.finds(not_measured(Because::CardCovered)).await;
        let surgeon = practice.surgeon().await;
        let page = surgeon.opens(&format!("/checks/{second}")).await;
        page.must_say(
            "no photo with a readable scale and an outline: the two stand above as they were taken",
        );
        assert!(!page.html().contains("data-warp="));
    })
    .await;
}
