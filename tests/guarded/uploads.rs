//! What may be uploaded is what README says, and whatever a file is called, its name goes nowhere.

use std::fs;
use std::path::Path;

use axum::http::Method;
use axum::http::StatusCode;
use axum::http::header;

use closewatch::photo::FULL_PX;
use closewatch::photo::Format;
use closewatch::photo::Limits;
use closewatch::photo::REVIEW_PX;
use closewatch::photo::SMALL_PX;
use closewatch::store::photos;
use closewatch::store::photos::MOST_PHOTOS;

use crate::support::*;

/// The cell beside this one in README's table of uploads.
fn readme_says(of_what: &str) -> String {
    let readme = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap();
    let section = readme.split("### What patients can upload").nth(1).expect("the section");
    let section = section.split("\n### ").next().unwrap();
    let rows = section.lines().filter_map(|line| line.trim_matches('|').split_once('|'));
    let found = rows.map(|(what, says)| (what.trim(), says.trim())).find(|(what, _)| *what == of_what);
    found.unwrap_or_else(|| panic!("no row `{of_what}`")).1.to_owned()
}

/// As in "9,000".
fn grouped(number: u32) -> String {
    match number {
        ..1_000 => number.to_string(),
        _ => format!("{},{:03}", number / 1_000, number % 1_000),
    }
}

const NUMBERS: [&str; 11] =
    ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"];

#[test]
fn the_readmes_table_of_uploads_holds_the_limits_of_the_program() {
    let limits = Limits::default();
    let most = NUMBERS[usize::try_from(MOST_PHOTOS).unwrap()];
    let size = format!(
        "up to {} MB a photo, {} megapixels, {} pixels on the longest side, {most} photos a check",
        limits.bytes / 1_000_000,
        limits.pixels / 1_000_000,
        grouped(limits.side_px),
    );
    assert_eq!(readme_says("size"), size);
    assert_eq!((limits.bytes % 1_000_000, limits.pixels % 1_000_000), (0, 0), "nothing is rounded");
    let kinds = readme_says("kinds");
    let named: Vec<&str> = kinds.split([' ', ',']).take_while(|word| !word.starts_with('(')).collect();
    let named: Vec<String> =
        named.into_iter().filter(|word| !word.is_empty()).map(str::to_lowercase).collect();
    assert_eq!(named, ["jpeg", "png", "webp", "heic"]);
    for word in named {
        let format = Format::from_code(&word).unwrap_or_else(|| panic!("{word} is not read"));
        match format {
            Format::Jpeg | Format::Png | Format::WebP | Format::Heic => {}
        }
    }
    let kept = readme_says("what is kept");
    let sizes = format!("({}, {} and {} pixels)", grouped(FULL_PX), grouped(REVIEW_PX), grouped(SMALL_PX));
    assert!(kept.contains(&sizes), "{kept}");
}

#[tokio::test]
async fn of_seven_photos_six_are_kept_and_one_that_weighs_too_much_is_flagged() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    let pictures: Vec<Vec<u8>> = (1..=MOST_PHOTOS as u64 + 1).map(jpeg).collect();
    let files: Vec<File<'_>> = pictures.iter().map(|bytes| File { name: "a.jpg", bytes }).collect();
    let form = [("form_key", "one"), ("danger", "none"), ("better", "same")];
    phone.posts_files("/my/check", &form, &files).await.is_fine();
    let mut heavy = jpeg(20);
    heavy.resize(usize::try_from(Limits::default().bytes).unwrap() + 1, 0);
    let form = [("form_key", "two"), ("danger", "none"), ("better", "same")];
    phone.posts_files("/my/check", &form, &[File { name: "a.jpg", bytes: &heavy }]).await.is_fine();
    let mut kept = Vec::new();
    for check in phone.checks().await {
        kept.push(photos::of_check(&mut *practice.books().await, practice.id, check.id).await.unwrap());
    }
    assert_eq!((kept[0].len(), kept[1].len()), (1, usize::try_from(MOST_PHOTOS).unwrap()));
    assert_eq!(kept[0][0].flags, ["too_many_bytes"]);
    assert!(kept[0][0].renditions.is_none());
}

/// Each with something in it that is found again wherever it went.
fn hostile_names() -> Vec<String> {
    [
        "../../../zqname".to_owned(),
        "..\\..\\zqname.exe".to_owned(),
        "/etc/zqname".to_owned(),
        "zqname\r\nSet-Cookie: zqname=1".to_owned(),
        "zqname\"; filename=\"other.html".to_owned(),
        format!("zqname{}", "x".repeat(5_000)),
        "zqname\u{202e}gpj.exe".to_owned(),
        "zq\0name.jpg".to_owned(),
        "zqname<script>alert(1)</script>.jpg".to_owned(),
        "CON".to_owned(),
        ".zqname".to_owned(),
        "%2e%2e%2fzqname".to_owned(),
    ]
    .to_vec()
}

fn files_below(folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(files_below(&path));
        } else {
            found.push(path.file_name().unwrap().to_str().unwrap().to_owned());
        }
    }
    found
}

fn is_hex_name(name: &str) -> bool {
    name.len() == 64 && name.bytes().all(|sign| sign.is_ascii_digit() || (b'a'..=b'f').contains(&sign))
}

/// RFC 7578, section 4.2 has such signs written as percent and two digits: as they stand, the form that carries them is none.
fn breaks_its_header(name: &str) -> bool {
    name.contains(['\r', '\n', '"', '\0'])
}

#[tokio::test]
async fn under_whatever_name_a_photo_comes_it_is_kept_under_its_hash_and_the_headers_stay_ours() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let mut kept = 0;
        for (number, name) in hostile_names().iter().enumerate() {
            let key = format!("form {number}");
            let picture = jpeg(number as u64);
            let form = [("form_key", key.as_str()), ("danger", "none"), ("better", "same")];
            let files = [File { name, bytes: &picture }];
            let page = phone.posts_files("/my/check", &form, &files).await;
            assert!(page.headers.get(header::SET_COOKIE).is_none(), "{name:?}");
            assert!(!format!("{:?}", page.headers).contains("zqname"), "{name:?}");
            if breaks_its_header(name) && page.status == StatusCode::UNPROCESSABLE_ENTITY {
                assert!(page.says("Not all of it came through"), "{name:?}");
                continue;
            }
            page.is_fine();
            let check = phone.checks().await.remove(0);
            for photo in photos::of_check(&mut *practice.books().await, practice.id, check.id).await.unwrap()
            {
                let renditions = photo.renditions.expect("it is a picture, whatever it is called");
                for blob in [&renditions.full, &renditions.review, &renditions.small] {
                    assert!(is_hex_name(blob.as_str()), "{blob}");
                }
                kept += 1;
                for size in ["small", "review", "full"] {
                    let shown = surgeon.opens(&format!("/photos/{}/{size}", photo.id)).await;
                    assert_eq!(shown.status, StatusCode::OK);
                    assert_eq!(shown.headers[header::CONTENT_TYPE], "image/jpeg");
                    let called = shown.headers[header::CONTENT_DISPOSITION].to_str().unwrap();
                    assert_eq!(called, format!("inline; filename=\"wound-{}.jpg\"", photo.id));
                }
            }
        }
        assert!(kept >= 8, "only {kept} photos came through");
        let folder = practice.desk().blobs.folder().unwrap().to_owned();
        let files = files_below(&folder);
        assert!(!files.is_empty() && files.iter().all(|name| is_hex_name(name)), "{files:?}");
        let rows = rows_of(&mut *practice.books().await, practice.id).await;
        let row = rows.values().flatten().find(|row| row.contains("zqname"));
        assert_eq!(row, None, "a file's name is kept");
        // One photo after the other, as a page with scripts sends them, goes the same way.
        let picture = jpeg(100);
        let form = [("form_key", "form 0"), ("position", "2")];
        let files = [File { name: "../../zqname\r\nX-Zqname: 1", bytes: &picture }];
        let page = phone.posts_files("/my/check/photo", &form, &files).await;
        assert!(!format!("{:?}", page.headers).contains("qname"), "{:?}", page.headers);
        let listed = from_our_page(Method::GET, "/photos/../../../etc/passwd/full", &surgeon.cookie);
        let page = send(&practice.router, listed.body(axum::body::Body::empty()).unwrap()).await;
        assert_eq!(page.status, StatusCode::NOT_FOUND);
    })
    .await;
}
