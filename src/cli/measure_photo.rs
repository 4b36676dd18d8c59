//! `closewatch measure PHOTO`: what one photo file says about a wound. Places in and out are pixels of the photo as it is
//! displayed, full size, the middle of the first pixel at (0.5, 0.5).

use std::path::Path;
use std::path::PathBuf;
use std::str::FromStr;
use std::time::Instant;

use image::ImageFormat;
use serde::Deserialize;

use crate::cli::BadInput;
use crate::cli::Failure;
use crate::cli::measure_overlay;
use crate::cli::measure_report;
use crate::cli::measure_told;
use crate::photo::CardIssue;
use crate::photo::Limits;
use crate::photo::MmPoint;
use crate::photo::Picture;
use crate::photo::PxPoint;
use crate::photo::Refused;
use crate::photo::ScaleCard;
use crate::photo::TAG_EDGE_MM;
use crate::photo::TAG_IDS;
use crate::photo::clean;
use crate::photo::find_card;
use crate::wound;
use crate::wound::Asked;
use crate::wound::HandDrawn;
use crate::wound::Measurement;
use crate::wound::Outline;
use crate::wound::Probed;

#[derive(Debug, clap::Args)]
pub struct OnePhoto {
    /// A photo file: JPEG, PNG, WebP or HEIC.
    #[arg(required_unless_present = "again", value_name = "PHOTO")]
    photo: Option<PathBuf>,
    /// A place in the wound; without it, the middle of the photo is taken.
    #[arg(long, value_name = "X,Y", allow_hyphen_values = true)]
    tap: Option<Place>,
    /// An outline drawn by hand: a JSON list of [x, y], or {"wound": [...], "redness": [...]}.
    #[arg(long, value_name = "FILE")]
    outline: Option<PathBuf>,
    /// An earlier photo of the same wound, with a place in the wound: PHOTO@X,Y. Oldest first; may be given again.
    #[arg(long, value_name = "PHOTO[@X,Y]")]
    previous: Vec<Earlier>,
    /// Draw what was found on the photo and write it here as PNG.
    #[arg(long, value_name = "FILE")]
    overlay: Option<PathBuf>,
    /// Print JSON instead of words.
    #[arg(long)]
    json: bool,
    /// Edge of the card's black square as printed, mm.
    #[arg(long, value_name = "MM", default_value_t = TAG_EDGE_MM)]
    tag_edge_mm: f64,
}

/// Two numbers with a comma between.
#[derive(Clone, Copy, Debug)]
struct Place {
    x: f64,
    y: f64,
}

impl FromStr for Place {
    type Err = String;

    fn from_str(text: &str) -> Result<Place, String> {
        let number = |part: &str| part.trim().parse::<f64>().ok().filter(|number| number.is_finite());
        let found = text.split_once(',').and_then(|(x, y)| Some(Place { x: number(x)?, y: number(y)? }));
        found.ok_or_else(|| "write a place as X,Y in pixels, for instance 820,615".to_owned())
    }
}

/// An earlier photo and where its wound is.
#[derive(Clone, Debug)]
struct Earlier {
    photo: PathBuf,
    tap: Option<Place>,
}

impl FromStr for Earlier {
    type Err = String;

    fn from_str(text: &str) -> Result<Earlier, String> {
        match text.rsplit_once('@') {
            Some((photo, tap)) if tap.contains(',') => {
                Ok(Earlier { photo: photo.into(), tap: Some(tap.parse()?) })
            }
            // An @ that no place follows belongs to the file's name.
            Some(_) | None => Ok(Earlier { photo: text.into(), tap: None }),
        }
    }
}

/// A measured file.
pub(in crate::cli) struct Measured {
    pub(in crate::cli) measurement: Measurement,
    pub(in crate::cli) picture: Picture,
    /// Displayed full-size pixels for one pixel that was measured on.
    pub(in crate::cli) full_px: f64,
    /// Width of the displayed photo, full size, px.
    pub(in crate::cli) image_width: u32,
    /// Wall time from pixels to numbers, ms.
    pub(in crate::cli) took_ms: f64,
    pub(in crate::cli) tap: Option<PxPoint>,
}

pub fn run(one: &OnePhoto) -> Result<(), Failure> {
    let Some(photo) = &one.photo else { return Err(BadInput("name a photo to measure".to_owned()).into()) };
    if !(one.tag_edge_mm > 5.0 && one.tag_edge_mm < 60.0) {
        return Err(
            BadInput("--tag-edge-mm takes 5 to 60 millimetres; the usual card has 20".to_owned()).into()
        );
    }
    let drawn = one.outline.as_deref().map(read_outline).transpose()?;
    let now = measured(photo, one.tap, drawn.as_ref(), one.tag_edge_mm)?;
    let mut before = Vec::new();
    for earlier in &one.previous {
        before.push(measured(&earlier.photo, earlier.tap, None, one.tag_edge_mm)?);
    }
    if let Some(file) = &one.overlay {
        measure_overlay::draw(&now)
            .save_with_format(file, ImageFormat::Png)
            .map_err(|fault| cannot(file, "written", &fault))?;
    }
    let text =
        if one.json { measure_told::json(&now, &before)? } else { measure_report::words(&now, &before) };
    println!("{text}");
    Ok(())
}

fn cannot(file: &Path, what: &str, fault: &dyn std::fmt::Display) -> BadInput {
    BadInput(format!("{}: cannot be {what}: {fault}", file.display()))
}

fn refused_in_words(file: &Path, refused: &Refused) -> BadInput {
    let why = match refused {
        Refused::Empty => "it is empty".to_owned(),
        Refused::TooManyBytes { bytes, limit } => format!("it has {bytes} bytes; at most {limit} are read"),
        Refused::NotAPicture { .. } => "it is no JPEG, PNG, WebP or HEIC picture".to_owned(),
        Refused::TooLarge { width_px, height_px } => format!("{width_px} by {height_px} pixels are too many"),
        Refused::Damaged => "it is damaged; copy it again from the camera".to_owned(),
    };
    BadInput(format!("{}: cannot be used: {why}", file.display()))
}

#[expect(clippy::disallowed_methods, reason = "how long it took is part of what is printed")]
fn measured(
    file: &Path,
    tap: Option<Place>,
    drawn: Option<&DrawnPx>,
    tag_edge_mm: f64,
) -> Result<Measured, Failure> {
    let bytes = std::fs::read(file).map_err(|fault| cannot(file, "read", &fault))?;
    let photo = clean(&bytes, &Limits::default()).map_err(|refused| refused_in_words(file, &refused))?;
    let picture =
        Picture::from_rendition(&photo.review().jpeg).map_err(|refused| refused_in_words(file, &refused))?;
    let full_px = f64::from(photo.sent_width_px()) / picture.width() as f64;
    let here = |place: &Place| PxPoint { x_px: place.x / full_px, y_px: place.y / full_px };
    let tap = tap.as_ref().map(here);
    let issue = CardIssue { ids: 0..=TAG_IDS - 1, tag_edge_mm };
    let began = Instant::now();
    let measurement = match drawn {
        None => wound::measure(&picture, &Asked { tap, issue, focal_35mm: photo.focal_35mm() }),
        Some(drawn) => by_hand(&picture, &issue, photo.focal_35mm(), drawn, full_px)?,
    };
    let took_ms = began.elapsed().as_secs_f64() * 1_000.0;
    Ok(Measured { measurement, picture, full_px, image_width: photo.sent_width_px(), took_ms, tap })
}

/// Outlines as they stand in a file: displayed full-size pixels.
#[derive(Debug, Deserialize)]
#[serde(untagged)]
enum OutlineFile {
    Wound(Vec<[f64; 2]>),
    Both {
        wound: Vec<[f64; 2]>,
        #[serde(default)]
        redness: Option<Vec<[f64; 2]>>,
    },
}

struct DrawnPx {
    /// Where it was read from.
    file: PathBuf,
    wound: Vec<[f64; 2]>,
    redness: Option<Vec<[f64; 2]>>,
}

fn read_outline(file: &Path) -> Result<DrawnPx, BadInput> {
    let text = std::fs::read_to_string(file).map_err(|fault| cannot(file, "read", &fault))?;
    let read: OutlineFile = serde_json::from_str(&text).map_err(|_| {
        let shape = "it must hold a list of [x, y], or {\"wound\": [[x, y], …], \"redness\": [[x, y], …]}";
        BadInput(format!("{}: is no outline: {shape}", file.display()))
    })?;
    Ok(match read {
        OutlineFile::Wound(wound) => DrawnPx { file: file.to_owned(), wound, redness: None },
        OutlineFile::Both { wound, redness } => DrawnPx { file: file.to_owned(), wound, redness },
    })
}

fn by_hand(
    picture: &Picture,
    issue: &CardIssue,
    focal_35mm: Option<f64>,
    drawn: &DrawnPx,
    full_px: f64,
) -> Result<Measurement, Failure> {
    let file = &drawn.file;
    let (width, height) = (picture.width() as f64 * full_px, picture.height() as f64 * full_px);
    let inside = |at: &&[f64; 2]| at[0] >= 0.0 && at[1] >= 0.0 && at[0] <= width && at[1] <= height;
    let all = || drawn.wound.iter().chain(drawn.redness.iter().flatten());
    if let Some([x, y]) = all().find(|at| !inside(at)) {
        let what =
            format!("the point {x}, {y} lies outside the photo, which is {width:.0} by {height:.0} pixels");
        return Err(BadInput(format!("{}: {what}", file.display())).into());
    }
    let px = |at: &[f64; 2]| PxPoint { x_px: at[0] / full_px, y_px: at[1] / full_px };
    let near = drawn.wound.first().map_or(PxPoint { x_px: 0.0, y_px: 0.0 }, px);
    let card: ScaleCard = match find_card(picture, issue, near, focal_35mm) {
        Ok(card) => card,
        Err(fault) => return Ok(Measurement::refused(vec![fault.into()])),
    };
    let ring =
        |points: &[[f64; 2]]| points.iter().map(|at| card.plane.to_mm(px(at))).collect::<Vec<MmPoint>>();
    let wound = Outline::of_ring(ring(&drawn.wound))
        .map_err(|fault| BadInput(format!("{}: the wound cannot be used: {fault}", file.display())))?;
    let redness_edge = drawn.redness.as_deref().map(ring);
    if let Some(edge) = &redness_edge {
        Outline::of_ring(edge.clone())
            .map_err(|fault| BadInput(format!("{}: the redness cannot be used: {fault}", file.display())))?;
    }
    Ok(wound::measure_by_hand(picture, &card, HandDrawn { wound, redness_edge, probed: Probed::default() }))
}

impl Measured {
    /// A place on the skin as displayed full-size pixels.
    pub(in crate::cli) fn full(&self, at: MmPoint) -> Option<[f64; 2]> {
        let at = self.measurement.plane?.to_px(at);
        Some([at.x_px * self.full_px, at.y_px * self.full_px])
    }
}
