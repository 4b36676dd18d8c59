//! `closewatch measure PHOTO` as a person at a terminal runs it: on good photos, on bad ones, with drawings that are none.

use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::process::Output;

use image::DynamicImage;
use image::ImageFormat;
use serde_json::Value;
use serde_json::json;
use tempfile::TempDir;

fn measure(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_closewatch")).arg("measure").args(arguments).output().unwrap()
}

fn said(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn told(arguments: &[&str]) -> Value {
    let ended = measure(arguments);
    assert_eq!(ended.status.code(), Some(0), "{arguments:?}: {}", said(&ended.stderr));
    serde_json::from_slice(&ended.stdout).unwrap()
}

/// Refused with status 2, these words, and nothing printed as a result.
fn turned_away(arguments: &[&str], words: &str) {
    let ended = measure(arguments);
    assert_eq!(ended.status.code(), Some(2), "{arguments:?}: {}", said(&ended.stdout));
    assert!(said(&ended.stderr).contains(words), "{arguments:?}: {}", said(&ended.stderr));
    assert!(ended.stdout.is_empty(), "{arguments:?}");
}

/// A drawn photo and what is true of it (`tests/phantoms`).
struct Drawn {
    photo: String,
    truth: Value,
}

impl Drawn {
    fn named(name: &str) -> Drawn {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/phantoms").join(name);
        let truth = std::fs::read_to_string(path.with_extension("json")).unwrap();
        Drawn {
            photo: path.with_extension("jpg").to_str().unwrap().to_owned(),
            truth: serde_json::from_str(&truth).unwrap(),
        }
    }

    fn tap(&self) -> String {
        let [x, y] = point(&self.truth["tap_px"]);
        format!("{x},{y}")
    }

    fn area_mm2(&self) -> f64 {
        self.truth["wound"]["area_mm2"].as_f64().unwrap()
    }

    /// Every sixth point of the true outline, as a person would set them.
    fn outline(&self) -> Vec<[f64; 2]> {
        points(&self.truth["wound"]["polygon_px"]).into_iter().step_by(6).collect()
    }

    /// As it is displayed, without its metadata.
    fn displayed(&self) -> DynamicImage {
        let bytes = std::fs::read(&self.photo).unwrap();
        let clean = closewatch::photo::clean(&bytes, &closewatch::photo::Limits::default()).unwrap();
        image::load_from_memory_with_format(&clean.full().jpeg, ImageFormat::Jpeg).unwrap()
    }
}

fn point(value: &Value) -> [f64; 2] {
    [0, 1].map(|at| value[at].as_f64().unwrap())
}

fn points(value: &Value) -> Vec<[f64; 2]> {
    value.as_array().unwrap().iter().map(point).collect()
}

struct Desk(TempDir);

impl Desk {
    fn new() -> Desk {
        Desk(tempfile::tempdir().unwrap())
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn file(&self, name: &str, content: impl AsRef<[u8]>) -> String {
        std::fs::write(self.path(name), content).unwrap();
        self.path(name).to_str().unwrap().to_owned()
    }

    fn picture(&self, name: &str, picture: &DynamicImage) -> String {
        picture.save_with_format(self.path(name), ImageFormat::Png).unwrap();
        self.path(name).to_str().unwrap().to_owned()
    }
}

/// Every number a result can give.
fn numbers(told: &Value) -> Vec<&Value> {
    let wound = ["area_mm2", "perimeter_mm", "length_mm", "width_mm", "area_mm2_95"];
    wound.iter().map(|key| &told["wound"][key]).chain([&told["erythema"], &told["tissue"]]).collect()
}

/// The photo is stored lying on its side: places are those of the picture as it is seen.
#[test]
fn a_photo_is_measured_in_pixels_of_the_displayed_picture() {
    let drawn = Drawn::named("typ-0013");
    assert_eq!(drawn.truth["orientation"], 6);
    let told = told(&[&drawn.photo, "--tap", &drawn.tap(), "--json"]);
    assert_eq!(
        (&told["status"], &told["reasons"], &told["family"]),
        (&json!("ok"), &json!([]), &json!("automatic"))
    );
    assert_eq!(told["image_width"], drawn.truth["width"]);
    let area = told["wound"]["area_mm2"].as_f64().unwrap();
    assert!((area / drawn.area_mm2() - 1.0).abs() < 0.08, "{area}");
    assert!(numbers(&told).iter().all(|number| !number.is_null()), "{told}");
    let scale = told["mm_per_px"].as_f64().unwrap() / drawn.truth["mm_per_px"].as_f64().unwrap();
    assert!((scale - 1.0).abs() < 0.02, "{scale}");
    let middle = |ring: Vec<[f64; 2]>| {
        [0, 1].map(|axis| ring.iter().map(|at| at[axis]).sum::<f64>() / ring.len() as f64)
    };
    let [found, true_middle] =
        [&told["wound"]["polygon_px"], &drawn.truth["wound"]["polygon_px"]].map(|ring| middle(points(ring)));
    assert!((found[0] - true_middle[0]).hypot(found[1] - true_middle[1]) < 25.0, "{found:?} {true_middle:?}");
    let corners =
        points(&told["tag_corners_px"]).into_iter().zip(points(&drawn.truth["card"]["tag_corners_px"]));
    for (found, truth) in corners {
        assert!((found[0] - truth[0]).hypot(found[1] - truth[1]) < 1.0, "{found:?} {truth:?}");
    }
    for key in ["ms", "confidence", "px_to_mm", "redness", "pen", "method"] {
        assert!(!told[key].is_null(), "{key}");
    }
}

#[test]
fn without_json_it_is_told_in_words_and_an_own_earlier_photo_shows_no_clear_change() {
    let drawn = Drawn::named("typ-0008");
    let earlier = format!("{}@{}", drawn.photo, drawn.tap());
    let ended = measure(&[&drawn.photo, "--tap", &drawn.tap(), "--previous", &earlier]);
    assert_eq!(ended.status.code(), Some(0));
    let words = said(&ended.stdout);
    for part in
        ["Measured.", "Area: 4.", "cm² (", "Longest length: ", "Since earlier photo 1: area no clear change"]
    {
        assert!(words.contains(part), "{part}: {words}");
    }
    assert!(!words.contains('_'), "{words}");
    // An earlier photo that cannot be measured is said, and takes nothing away.
    let without_card = Drawn::named("typ-0014");
    let changes = &told(&[&drawn.photo, "--tap", &drawn.tap(), "--previous", &without_card.photo, "--json"]);
    assert_eq!((&changes["status"], &changes["changes"]), (&json!("ok"), &json!([null])));
}

#[test]
fn what_cannot_be_measured_is_refused_with_its_reason_and_status_0() {
    let desk = Desk::new();
    let (good, no_card, covered) =
        (Drawn::named("typ-0001"), Drawn::named("typ-0014"), Drawn::named("typ-0000"));
    let shown = good.displayed();
    let [x, y] = point(&good.truth["tap_px"]);
    let width = f64::from(shown.width());
    let on_card = middle_of_the_marker(&good);
    let grey = desk.picture("grey.png", &shown.grayscale());
    let mirrored = desk.picture("mirrored.png", &shown.fliph());
    for (photo, tap, reason) in [
        (&no_card.photo, no_card.tap(), "card_not_seen"),
        (&covered.photo, covered.tap(), "card_covered"),
        (&good.photo, "-5,-5".to_owned(), "tap_outside"),
        (&good.photo, format!("{},10", width + 1.0), "tap_outside"),
        (&good.photo, on_card, "tap_on_card"),
        (&grey, good.tap(), "monochrome"),
        (&mirrored, format!("{},{y}", width - x), "mirrored"),
    ] {
        let told = told(&[photo, "--tap", &tap, "--json"]);
        assert_eq!((&told["status"], &told["reasons"][0]), (&json!("refused"), &json!(reason)), "{photo}");
        assert!(numbers(&told).iter().all(|number| number.is_null()), "{told}");
        assert!(told["wound"]["polygon_px"].is_null());
    }
    let words = said(&measure(&[&no_card.photo, "--tap", &no_card.tap()]).stdout);
    assert!(words.starts_with("Cannot be measured.\n- No scale card in the picture"), "{words}");
}

#[test]
fn plain_skin_and_a_picture_all_red_give_no_number_and_of_two_wounds_the_tapped_one_is_measured() {
    let desk = Desk::new();
    let drawn = Drawn::named("typ-0008");
    let shown = drawn.displayed();
    let bounds = |ring: &[[f64; 2]], margin: f64| {
        [0, 1].map(|axis| {
            let of = |pick: fn(f64, f64) -> f64| ring.iter().map(|at| at[axis]).reduce(pick).unwrap();
            [(of(f64::min) - margin) as u32, (of(f64::max) + margin) as u32]
        })
    };
    let wound = bounds(&points(&drawn.truth["wound"]["polygon_px"]), 60.0);
    let card = bounds(&points(&drawn.truth["card"]["corners_px"]), 0.0);

    let mut red = shown.to_rgb8();
    for (x, y, pixel) in red.enumerate_pixels_mut() {
        let on_card = (card[0][0]..card[0][1]).contains(&x) && (card[1][0]..card[1][1]).contains(&y);
        if !on_card {
            let uneven = (x * 7 + y * 13) % 11;
            *pixel = image::Rgb([145 + uneven as u8, 38, 42]);
        }
    }
    let red = desk.picture("red.png", &red.into());
    for (photo, tap) in [(&drawn.photo, "250,1250".to_owned()), (&red, drawn.tap())] {
        let told = told(&[photo, "--tap", &tap, "--json"]);
        assert_ne!(told["status"], "ok", "{photo}");
        assert!(numbers(&told).iter().all(|number| number.is_null()), "{told}");
    }

    let [[left, right], [top, bottom]] = wound;
    let mut two = shown.clone();
    image::imageops::replace(&mut two, &shown.crop_imm(left, top, right - left, bottom - top), 150, 950);
    let two = desk.picture("two.png", &two);
    let told = told(&[&two, "--tap", &drawn.tap(), "--json"]);
    let area = told["wound"]["area_mm2"].as_f64().unwrap();
    assert!((area / drawn.area_mm2() - 1.0).abs() < 0.08, "{area}");
}

fn middle_of_the_marker(drawn: &Drawn) -> String {
    let corners = points(&drawn.truth["card"]["tag_corners_px"]);
    let [x, y] = [0, 1].map(|axis| corners.iter().map(|at| at[axis]).sum::<f64>() / 4.0);
    format!("{x},{y}")
}

/// Cut through the wound: what is left of it cannot stand for all of it.
#[test]
fn a_wound_cut_off_by_the_frame_has_an_outline_and_no_number() {
    let desk = Desk::new();
    let drawn = Drawn::named("typ-0008");
    let shown = drawn.displayed();
    let outline = points(&drawn.truth["wound"]["polygon_px"]);
    let marker = points(&drawn.truth["card"]["tag_corners_px"]);
    let middle =
        |ring: &[[f64; 2]], axis: usize| ring.iter().map(|at| at[axis]).sum::<f64>() / ring.len() as f64;
    let apart = [0, 1].map(|axis| middle(&marker, axis) - middle(&outline, axis));
    let axis = if apart[0].abs() > apart[1].abs() { 0 } else { 1 };
    let cut = middle(&outline, axis) as u32;
    let (width, height) = (shown.width(), shown.height());
    // The half with the card is kept, and the tapped place lies just inside it.
    let (left, top, wide, high) = match (axis, apart[axis] > 0.0) {
        (0, true) => (cut, 0, width - cut, height),
        (0, false) => (0, 0, cut, height),
        (_, true) => (0, cut, width, height - cut),
        (_, false) => (0, 0, width, cut),
    };
    let photo = desk.picture("cut.png", &shown.crop_imm(left, top, wide, high));
    let mut tap = [0, 1].map(|axis| middle(&outline, axis));
    tap[axis] += 12.0 * apart[axis].signum();
    let tap = format!("{},{}", tap[0] - f64::from(left), tap[1] - f64::from(top));
    let told = told(&[&photo, "--tap", &tap, "--json"]);
    assert_eq!(told["status"], "low_confidence", "{told}");
    assert!(told["reasons"].as_array().unwrap().contains(&json!("cut_off")), "{}", told["reasons"]);
    assert!(points(&told["wound"]["polygon_px"]).len() > 3);
    assert!(numbers(&told).iter().all(|number| number.is_null()), "{told}");
    let words = said(&measure(&[&photo, "--tap", &tap]).stdout);
    assert!(words.contains("no number counts until a person confirms") && !words.contains("mm²"), "{words}");
}

#[test]
fn an_outline_drawn_by_hand_gives_its_own_figures() {
    let desk = Desk::new();
    let drawn = Drawn::named("typ-0001");
    let wound = drawn.outline();
    let alone = desk.file("alone.json", json!(wound).to_string());
    let told_alone = told(&[&drawn.photo, "--outline", &alone, "--json"]);
    assert_eq!((&told_alone["status"], &told_alone["family"]), (&json!("ok"), &json!("by_hand")));
    let area = told_alone["wound"]["area_mm2"].as_f64().unwrap();
    assert!((area / drawn.area_mm2() - 1.0).abs() < 0.02, "{area}");

    let redness = points(&drawn.truth["erythema"]["polygon_px"]);
    let both = desk.file("both.json", json!({ "wound": wound, "redness": redness }).to_string());
    let told_both = told(&[&drawn.photo, "--outline", &both, "--json"]);
    let reach = told_both["erythema"]["p95_mm"].as_f64().unwrap();
    assert!((reach - drawn.truth["erythema"]["p95_mm"].as_f64().unwrap()).abs() < 1.0, "{reach}");

    // What a ruler finds on the printed card makes every length larger by the same share.
    let larger = told(&[&drawn.photo, "--outline", &alone, "--tag-edge-mm", "21", "--json"]);
    let ratio = larger["wound"]["area_mm2"].as_f64().unwrap() / area;
    assert!((ratio / (21.0f64 / 20.0).powi(2) - 1.0).abs() < 0.002, "{ratio}");

    // A drawing needs the card all the same.
    let no_card = Drawn::named("typ-0014");
    let refused = told(&[&no_card.photo, "--outline", &alone, "--json"]);
    assert_eq!((&refused["status"], &refused["reasons"]), (&json!("refused"), &json!(["card_not_seen"])));
}

#[test]
fn a_drawing_that_is_no_outline_is_turned_away() {
    let desk = Desk::new();
    let drawn = Drawn::named("typ-0001");
    let [x, y] = point(&drawn.truth["tap_px"]);
    let circle = |count: u32| {
        let at = |step: u32| std::f64::consts::TAU * f64::from(step) / f64::from(count);
        (0..count)
            .map(|step| [x + 60.0 * at(step).cos(), y + 60.0 * at(step).sin()])
            .collect::<Vec<[f64; 2]>>()
    };
    let bow = json!([[x, y], [x + 60.0, y + 60.0], [x + 60.0, y], [x, y + 50.0]]);
    let cases = [
        (json!([[x, y], [x + 9.0, y]]), "the wound cannot be used: an outline needs at least three points"),
        (json!([]), "an outline needs at least three points"),
        (bow.clone(), "the wound cannot be used: the outline crosses itself"),
        (json!([[x, y], [x + 9.0, y], [x + 18.0, y]]), "the outline encloses nothing"),
        (json!(circle(10_000)), "an outline may have at most 2000 points"),
        (json!([[x, y], [x + 9.0, y], [x, -40.0]]), "lies outside the photo, which is "),
        (json!([[x, y], [99_999.0, y], [x, y + 9.0]]), "lies outside the photo, which is "),
        (
            json!({ "wound": circle(30), "redness": bow }),
            "the redness cannot be used: the outline crosses itself",
        ),
        (json!({ "wound": circle(30), "redness": [[x, y]] }), "the redness cannot be used: an outline needs"),
        (json!({ "redness": circle(30) }), "is no outline: it must hold a list of [x, y]"),
        (json!("a word"), "is no outline: it must hold"),
        (json!([[x, y, 1.0], [1.0, 2.0, 3.0], [4.0, 5.0, 6.0]]), "is no outline: it must hold"),
    ];
    for (content, words) in cases {
        let file = desk.file("outline.json", content.to_string());
        turned_away(&[&drawn.photo, "--outline", &file], words);
    }
    let file = desk.file("outline.json", "[[1, 2], [1e999, 4], [5,");
    turned_away(&[&drawn.photo, "--outline", &file], "is no outline: it must hold");
    turned_away(
        &[&drawn.photo, "--outline", "/no/such/outline.json"],
        "/no/such/outline.json: cannot be read",
    );
}

#[test]
fn a_file_that_is_no_photo_is_turned_away_in_words() {
    let desk = Desk::new();
    let whole = std::fs::read(Drawn::named("typ-0001").photo).unwrap();
    let folder = desk.path("").to_str().unwrap().to_owned();
    for (file, words) in [
        (desk.file("empty.jpg", ""), "cannot be used: it is empty"),
        (
            desk.file("letter.jpg", "Dear doctor, here is my wound."),
            "it is no JPEG, PNG, WebP or HEIC picture",
        ),
        (desk.file("cut.jpg", &whole[..300]), "it is damaged; copy it again from the camera"),
        (desk.file("huge.jpg", vec![0xFF; 15_000_001]), "it has 15000001 bytes; at most 15000000 are read"),
        ("/no/such/photo.jpg".to_owned(), "/no/such/photo.jpg: cannot be read"),
        (folder, "cannot be read"),
    ] {
        turned_away(&[&file, "--tap", "5,5", "--json"], words);
    }
    let good = Drawn::named("typ-0001");
    turned_away(&[&good.photo, "--previous", "/no/such/earlier.jpg"], "/no/such/earlier.jpg: cannot be read");
    let nowhere = "/no/such/folder/overlay.png";
    turned_away(&[&good.photo, "--tap", &good.tap(), "--overlay", nowhere], "cannot be written");
}

#[test]
fn arguments_that_say_nothing_are_turned_away_before_anything_is_read() {
    for (arguments, words) in [
        (vec![], "PHOTO"),
        (vec!["a.jpg", "--tap", "5"], "write a place as X,Y in pixels, for instance 820,615"),
        (vec!["a.jpg", "--tap", "left,top"], "write a place as X,Y"),
        (vec!["a.jpg", "--tap", "NaN,4"], "write a place as X,Y"),
        (vec!["a.jpg", "--previous", "b.jpg@3,"], "write a place as X,Y"),
        (vec!["a.jpg", "--tag-edge-mm", "0"], "--tag-edge-mm takes 5 to 60 millimetres"),
        (vec!["a.jpg", "--tag-edge-mm", "NaN"], "--tag-edge-mm takes 5 to 60 millimetres"),
        (vec!["a.jpg", "--again"], "cannot be used with"),
    ] {
        turned_away(&arguments, words);
    }
    // An @ in a file's name is part of the name.
    turned_away(&["/no/such/mia@home.jpg"], "/no/such/mia@home.jpg: cannot be read");
    let good = Drawn::named("typ-0001");
    turned_away(
        &[&good.photo, "--previous", "/no/such/mia@home.jpg"],
        "/no/such/mia@home.jpg: cannot be read",
    );
}

#[test]
fn the_overlay_is_the_measured_picture_with_lines_on_it() {
    let desk = Desk::new();
    let drawn = Drawn::named("typ-0001");
    // Whatever it is called, it is a PNG.
    let overlay = desk.path("overlay.out");
    let told = told(&[&drawn.photo, "--tap", &drawn.tap(), "--overlay", overlay.to_str().unwrap(), "--json"]);
    let bytes = std::fs::read(&overlay).unwrap();
    let picture = image::load_from_memory_with_format(&bytes, ImageFormat::Png).unwrap().into_rgb8();
    assert_eq!(picture.width().max(picture.height()), 1_600);
    let review_px = f64::from(picture.width()) / told["image_width"].as_f64().unwrap();
    let colour_at = |at: [f64; 2]| {
        let [x, y] = at.map(|px| (px * review_px).floor() as u32);
        picture.get_pixel(x, y).0
    };
    let corners = points(&told["tag_corners_px"]);
    assert!(corners.iter().all(|corner| colour_at(*corner) == [255, 226, 64]));
    let on_the_edge =
        points(&told["wound"]["polygon_px"]).iter().filter(|at| colour_at(**at) == [0, 229, 255]).count();
    assert!(on_the_edge * 10 >= points(&told["wound"]["polygon_px"]).len() * 9, "{on_the_edge}");
}
