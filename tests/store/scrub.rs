//! Photos are read again once a day: whichever is damaged is named within one pass, and again when it is whole.

use std::fs;
use std::path::PathBuf;

use closewatch::care::scrub;
use closewatch::care::scrub::Scrubbed;
use closewatch::store::BlobName;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::audit;
use closewatch::store::photos;
use closewatch::store::sealed_blobs;

use crate::support::Place;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::jpeg;
use crate::support::no_danger;

async fn is_raised(practice: &Practice) -> bool {
    let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
    open.iter().any(|alarm| alarm.kind == AlarmKind::PhotoDamaged)
}

async fn pass(practice: &Practice) -> Scrubbed {
    scrub::pass(practice.desk(), 1_000, &practice.moment()).await.unwrap()
}

async fn last_line(practice: &Practice) -> (String, String, String) {
    let lines = audit::newest(&mut *practice.books().await, practice.id, 1).await.unwrap();
    (lines[0].action.clone(), lines[0].subject.clone(), lines[0].detail.clone())
}

fn path_of(place: &Place, file: &BlobName) -> PathBuf {
    place.folder.path().join("photos").join(&file.as_str()[..2]).join(file.as_str())
}

#[tokio::test]
async fn one_damaged_photo_among_many_is_named_in_one_pass_and_so_is_its_return() {
    for place in Place::each().await {
        let practice = Practice::open(&place).await;
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        for number in 0..4 {
            let pictures = [jpeg(2 * number), jpeg(2 * number + 1)];
            phone.sends(&format!("form {number}"), no_danger(), &pictures).await;
        }
        assert_eq!(pass(&practice).await.read, 0, "whatever came today was read when it came");
        practice.minutes_pass(21 * 60);
        assert_eq!(pass(&practice).await, Scrubbed { read: 16, damaged: 0 });
        assert_eq!(pass(&practice).await.read, 0, "once a day");

        practice.minutes_pass(21 * 60);
        let later = practice.now();
        let all =
            sealed_blobs::to_scrub(&mut *practice.books().await, practice.id, later, 100).await.unwrap();
        let hurt = &all[7];
        let path = path_of(&place, &hurt.file);
        let whole = fs::read(&path).unwrap();
        let mut flipped = whole.clone();
        let middle = flipped.len() / 2;
        flipped[middle] ^= 1;
        fs::write(&path, &flipped).unwrap();
        assert_eq!(pass(&practice).await, Scrubbed { read: 16, damaged: 1 });
        assert!(is_raised(&practice).await);
        let named =
            ("photo.damaged".to_owned(), format!("blob:{}", hurt.name), format!("file={}", hurt.file));
        assert_eq!(last_line(&practice).await, named);
        // It is an error and no picture, for whoever asks for it meanwhile.
        assert!(practice.desk().blobs.open(hurt).await.is_err());

        practice.minutes_pass(21 * 60);
        fs::remove_file(&path).unwrap();
        assert_eq!(pass(&practice).await, Scrubbed { read: 16, damaged: 0 }, "known already");
        fs::write(&path, &whole).unwrap();
        practice.minutes_pass(21 * 60);
        assert_eq!(pass(&practice).await.read, 16);
        assert!(!is_raised(&practice).await);
        assert_eq!(last_line(&practice).await.0, "photo.whole_again");
        place.clear().await;
    }
}

#[tokio::test]
async fn beside_a_damaged_photo_the_review_page_says_so_and_what_to_do_until_it_is_whole_again() {
    for place in Place::each().await {
        let practice = Practice::open(&place).await;
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        phone.sends("first", no_danger(), &[jpeg(1)]).await;
        practice.minutes_pass(60);
        let check = phone.sends("second", no_danger(), &[jpeg(2), jpeg(3)]).await.check;
        practice.minutes_pass(21 * 60);
        let reads = async || {
            let surgeon = Staff::signs_in(&practice, surgeon.member.clone()).await;
            surgeon.opens(&format!("/checks/{check}")).await
        };
        const DAMAGED: &str = "The kept file of this photo is damaged";
        assert_eq!(pass(&practice).await.damaged, 0);
        reads().await.must_not_say(DAMAGED);
        let photos = photos::of_check(&mut *practice.books().await, practice.id, check).await.unwrap();
        let small = &photos[1].renditions.as_ref().unwrap().small;
        let kept = sealed_blobs::find(&mut *practice.books().await, practice.id, small).await.unwrap();
        let path = path_of(&place, &kept.unwrap().file);
        let whole = fs::read(&path).unwrap();
        fs::write(&path, &whole[..whole.len() / 2]).unwrap();
        practice.minutes_pass(21 * 60);
        assert_eq!(pass(&practice).await.damaged, 1);
        let page = reads().await;
        page.must_say(DAMAGED)
            .must_say("ask the patient for another")
            .must_say("bring its file back from a back-up");
        let html = page.html();
        assert_eq!(html.matches(DAMAGED).count(), 1, "beside one photo");
        let beside = html.split("id=\"photo-2\"").nth(1).unwrap().split("</figure>").next().unwrap();
        assert!(beside.contains(DAMAGED), "beside the second one");
        fs::write(&path, &whole).unwrap();
        practice.minutes_pass(21 * 60);
        pass(&practice).await;
        reads().await.must_not_say(DAMAGED);
        place.clear().await;
    }
}
