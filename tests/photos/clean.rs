//! What a patient sends comes out as a clean photo or is refused with a reason.

use crate::photo_samples::animated_png;
use crate::photo_samples::cleaned;
use crate::photo_samples::difference;
use crate::photo_samples::jpeg_of;
use crate::photo_samples::opened;
use crate::photo_samples::png_of;
use crate::photo_samples::refused;
use crate::photo_samples::sample;
use closewatch::photo::FULL_PX;
use closewatch::photo::Format;
use closewatch::photo::LooksLike;
use closewatch::photo::QualityFlag;
use closewatch::photo::REVIEW_PX;
use closewatch::photo::Refused;
use closewatch::photo::SMALL_PX;
use image::Rgb;
use image::RgbImage;
use jiff::civil::date;

const ORIENTED: [&str; 8] = [
    "orientation-1.jpg",
    "orientation-2.jpg",
    "orientation-3.jpg",
    "orientation-4.jpg",
    "orientation-5.jpg",
    "orientation-6.jpg",
    "orientation-7.jpg",
    "orientation-8.jpg",
];

#[test]
fn all_eight_orientations_give_the_same_upright_picture() {
    let upright = opened(cleaned(&sample(ORIENTED[0])).full());
    for name in ORIENTED {
        let photo = cleaned(&sample(name));
        assert_eq!((photo.sent_width_px(), photo.sent_height_px()), (160, 112), "{name}");
        for rendition in [photo.full(), photo.review(), photo.small()] {
            let seen = opened(rendition);
            assert!(difference(&seen, &upright) < 2.0, "{name}: {}", difference(&seen, &upright));
        }
    }
    // The corner colours of the drawn scene, so that "the same" cannot mean "all turned the same wrong way".
    assert!(upright.get_pixel(8, 8).0[0] > 180, "red at the top left");
    assert!(upright.get_pixel(152, 8).0[1] > 140, "green at the top right");
    assert!(upright.get_pixel(8, 104).0[2] > 170, "blue at the bottom left");
}

#[test]
fn every_kind_of_file_gives_the_same_picture() {
    let expected = opened(cleaned(&sample("orientation-1.jpg")).full());
    let kinds = [
        ("kind-baseline.jpg", Format::Jpeg),
        ("kind-progressive.jpg", Format::Jpeg),
        ("kind-restarts.jpg", Format::Jpeg),
        ("kind-rgb.png", Format::Png),
        ("kind-palette.png", Format::Png),
        ("kind-lossy.webp", Format::WebP),
        // The first picture of an animation; the others are negatives.
        ("kind-moving.webp", Format::WebP),
    ];
    for (name, format) in kinds {
        let photo = cleaned(&sample(name));
        assert_eq!(photo.format(), format, "{name}");
        assert_eq!(photo.flags(), [QualityFlag::Tiny], "{name}");
        let off = difference(&opened(photo.full()), &expected);
        assert!(off < 4.0, "{name}: {off}");
    }
}

#[cfg(feature = "heic")]
#[test]
fn heic_is_read_whole_tiled_and_turned() {
    let expected = opened(cleaned(&sample("orientation-1.jpg")).full());
    for name in ["kind-still.heic", "kind-tiles.heic"] {
        let photo = cleaned(&sample(name));
        assert_eq!(photo.format(), Format::Heic);
        let off = difference(&opened(photo.full()), &expected);
        assert!(off < 4.0, "{name}: {off}");
    }
    // Stored on its side with both a turning of its own and an EXIF orientation: turned once, not twice.
    let turned = cleaned(&sample("kind-turned.heic"));
    assert_eq!((turned.sent_width_px(), turned.sent_height_px()), (160, 112));
    assert!(opened(turned.full()).get_pixel(8, 8).0[0] > 180, "red at the top left");
}

#[cfg(not(feature = "heic"))]
#[test]
fn heic_is_named_when_the_decoder_is_left_out() {
    assert_eq!(refused(&sample("kind-still.heic")), Refused::NotAPicture { looks_like: LooksLike::Heic });
}

#[test]
fn grey_cmyk_and_sixteen_bit_pictures_become_rgb() {
    let expected = opened(cleaned(&sample("orientation-1.jpg")).full());
    let grey = RgbImage::from_fn(expected.width(), expected.height(), |x, y| {
        let [r, g, b] = expected.get_pixel(x, y).0.map(f64::from);
        // Rec. 601, as Pillow converts.
        Rgb([(0.299 * r + 0.587 * g + 0.114 * b).round() as u8; 3])
    });
    for name in ["kind-grey.jpg", "kind-grey16.png"] {
        let off = difference(&opened(cleaned(&sample(name)).full()), &grey);
        assert!(off < 4.0, "{name}: {off}");
    }
    let off = difference(&opened(cleaned(&sample("kind-cmyk.jpg")).full()), &expected);
    assert!(off < 6.0, "{off}");
}

#[test]
fn transparent_parts_become_white() {
    for name in ["kind-alpha.png", "kind-alpha.webp"] {
        let seen = opened(cleaned(&sample(name)).full());
        assert!(seen.get_pixel(0, 60).0.iter().all(|value| *value > 245), "{name}");
        assert!(seen.get_pixel(152, 8).0[0] < 80, "{name}: the opaque side keeps its green");
    }
}

#[test]
fn an_animated_png_gives_its_first_picture_without_looking_at_the_others() {
    let first = RgbImage::from_pixel(64, 48, Rgb([180, 40, 60]));
    let animated = animated_png(&first, 20_000);
    let photo = cleaned(&animated);
    assert!(difference(&opened(photo.full()), &first) < 3.0);
    // Whatever stands in the later frames is not even inflated: here it is no deflate stream at all.
    assert_eq!(photo.format(), Format::Png);
}

#[test]
fn renditions_shrink_to_their_limits_and_never_grow() {
    let drawn =
        |width, height| RgbImage::from_fn(width, height, |x, y| Rgb([x as u8, y as u8, (x + y) as u8]));
    for (width, height) in
        [(1, 1), (3, 2_000), (320, 200), (321, 200), (1_600, 7), (1_601, 900), (4_001, 120), (90, 4_500)]
    {
        let photo = cleaned(&png_of(&drawn(width, height)));
        assert_eq!((photo.sent_width_px(), photo.sent_height_px()), (width, height));
        for (rendition, limit) in
            [(photo.full(), FULL_PX), (photo.review(), REVIEW_PX), (photo.small(), SMALL_PX)]
        {
            let (w, h) = opened(rendition).dimensions();
            assert_eq!((w, h), (rendition.width_px, rendition.height_px));
            assert_eq!(w.max(h), limit.min(width.max(height)), "{width}x{height}");
            assert!(w <= width && h <= height);
        }
    }
}

#[test]
fn the_few_facts_kept_come_from_exif() {
    let photo = cleaned(&sample("full-of-metadata.jpg"));
    assert_eq!(photo.capture_time(), Some(date(2026, 3, 9).at(17, 5, 59, 0)));
    assert_eq!(photo.focal_35mm(), Some(26.0));
    assert_eq!((photo.sent_width_px(), photo.sent_height_px()), (240, 320), "turned by orientation 6");
    let plain = cleaned(&sample("kind-baseline.jpg"));
    assert_eq!((plain.capture_time(), plain.focal_35mm()), (None, None));
}

#[test]
fn the_same_bytes_have_the_same_digest_and_others_another() {
    let [one, other] = ["orientation-1.jpg", "orientation-2.jpg"].map(sample);
    assert_eq!(cleaned(&one).sent_sha256(), cleaned(&one).sent_sha256());
    assert_ne!(cleaned(&one).sent_sha256(), cleaned(&other).sent_sha256());
    assert_eq!(cleaned(&one).sent_sha256().len(), 64);
    assert_eq!(cleaned(&one), cleaned(&one), "cleaning is repeatable");
}

#[test]
fn what_is_no_picture_is_refused_by_its_bytes() {
    assert_eq!(refused(b""), Refused::Empty);
    let kinds: [(&[u8], LooksLike); 6] = [
        (b"%PDF-1.7\n%\xE2\xE3\xCF\xD3", LooksLike::Pdf),
        (b"<!DOCTYPE html><html><body>photo.jpg</body></html>", LooksLike::Html),
        (b"image/jpeg", LooksLike::Text),
        (b"GIF89a\x01\0\x01\0\x80\0\0\0\0\0\xFF\xFF\xFF!\xF9\x04", LooksLike::Gif),
        (b"PK\x03\x04\x14\0\0\0\x08\0", LooksLike::Zip),
        (b"\x7FELF\x02\x01\x01\0", LooksLike::Unknown),
    ];
    for (bytes, looks_like) in kinds {
        assert_eq!(refused(bytes), Refused::NotAPicture { looks_like });
    }
}

#[test]
fn a_page_in_front_of_a_picture_is_refused() {
    let with_page = [b"<html><script>alert(1)</script>".to_vec(), sample("kind-baseline.jpg")].concat();
    assert_eq!(refused(&with_page), Refused::NotAPicture { looks_like: LooksLike::Html });
}

#[test]
fn one_byte_more_than_allowed_is_refused() {
    let photo = sample("kind-baseline.jpg");
    let bytes = photo.len() as u64;
    let limits = |bytes| closewatch::photo::Limits { bytes, ..Default::default() };
    assert!(closewatch::photo::clean(&photo, &limits(bytes)).is_ok());
    let over = closewatch::photo::clean(&photo, &limits(bytes - 1));
    assert_eq!(over, Err(Refused::TooManyBytes { bytes, limit: bytes - 1 }));
}

#[test]
fn a_cut_jpeg_is_flagged_wherever_it_is_cut() {
    for name in
        ["drawn-sharp.jpg", "kind-baseline.jpg", "kind-progressive.jpg", "kind-restarts.jpg", "kind-grey.jpg"]
    {
        let whole = sample(name);
        assert!(!cleaned(&whole).flags().contains(&QualityFlag::Truncated), "{name} is whole");
        for percent in [30, 60, 90, 99] {
            let cut = &whole[..whole.len() * percent / 100];
            match closewatch::photo::clean(cut, &Default::default()) {
                Ok(photo) => {
                    assert!(photo.flags().contains(&QualityFlag::Truncated), "{name} at {percent} %")
                }
                // The small samples are cut inside their tables: nothing to show at all.
                Err(refused) => assert_eq!(refused, Refused::Damaged, "{name} at {percent} %"),
            }
        }
        let photo = cleaned(&whole[..whole.len() - 2]);
        assert!(photo.flags().contains(&QualityFlag::Truncated), "{name} without its end mark");
    }
    let photo = cleaned(&sample("drawn-sharp.jpg")[..100_000]);
    assert_eq!(photo.flags(), [QualityFlag::Truncated], "a cut photo is kept and shown");
}

#[test]
fn a_cut_jpeg_to_which_an_end_mark_was_glued_is_flagged() {
    let whole = sample("drawn-sharp.jpg");
    for percent in [30, 60, 90] {
        let glued = [&whole[..whole.len() * percent / 100], &[0xFF, 0xD9]].concat();
        assert!(cleaned(&glued).flags().contains(&QualityFlag::Truncated), "{percent} %");
    }
}

#[test]
fn a_whole_jpeg_with_something_behind_it_is_not_flagged() {
    let whole = sample("kind-baseline.jpg");
    let second = sample("orientation-2.jpg");
    for tail in [&second[..], &second[..900], b"\0\0\0\0 junk \xFF\xDA \xFF\xD8", &[0xFF; 40]] {
        let photo = cleaned(&[&whole[..], tail].concat());
        assert_eq!(photo.flags(), [QualityFlag::Tiny]);
    }
}

#[test]
fn cut_files_of_other_kinds_are_damaged() {
    let heic = cfg!(feature = "heic").then_some("kind-still.heic");
    for name in ["kind-rgb.png", "kind-lossy.webp", "kind-alpha.webp"].into_iter().chain(heic) {
        let whole = sample(name);
        for percent in [30, 60, 90] {
            assert_eq!(
                refused(&whole[..whole.len() * percent / 100]),
                Refused::Damaged,
                "{name} at {percent} %"
            );
        }
    }
}

#[test]
fn blurred_photos_are_flagged_and_sharp_ones_are_not() {
    // The name gives the blur; see tests/truth/photo/README.md.
    let blurred = |name: &str| cleaned(&sample(name)).flags().contains(&QualityFlag::Blurred);
    assert!(blurred("drawn-blur-4.6px.jpg"));
    assert!(blurred("drawn-blur-2.9px.jpg"));
    assert!(!blurred("drawn-motion-4.5px.jpg"));
    assert!(!blurred("drawn-sharp.jpg"));
}

#[test]
fn dark_and_overexposed_photos_are_flagged_and_kept() {
    let sharp = opened(cleaned(&sample("drawn-sharp.jpg")).review());
    let exposed = |gain: f32| {
        let mut picture = sharp.clone();
        picture.iter_mut().for_each(|value| *value = (f32::from(*value) * gain).min(255.0) as u8);
        cleaned(&jpeg_of(&picture)).flags()
    };
    assert!(exposed(0.25).contains(&QualityFlag::Dark));
    assert!(!exposed(0.5).contains(&QualityFlag::Dark));
    assert_eq!(exposed(1.0), []);
    assert!(exposed(3.0).contains(&QualityFlag::TooBright));
}

#[test]
fn a_photo_of_599_px_is_tiny_and_one_of_600_is_not() {
    let tiny = |width, height| {
        let photo = cleaned(&png_of(&RgbImage::new(width, height)));
        photo.flags().contains(&QualityFlag::Tiny)
    };
    assert!(tiny(800, 599) && tiny(599, 800));
    assert!(!tiny(800, 600) && !tiny(600, 800));
}
