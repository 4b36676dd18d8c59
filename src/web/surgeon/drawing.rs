//! An outline drawn on a photo comes in: read, turned into millimetres, measured by hand and kept; and a yes to the
//! outline the program was not sure of. What cannot be kept comes back as it was drawn, with what to do about it.

use axum::Form;
use axum::extract::Path;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;
use serde::Serialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::measuring;
use crate::care::review;
use crate::ids::PhotoId;
use crate::photo::MmPoint;
use crate::photo::PxPoint;
use crate::photo::SkinPlane;
use crate::photo::review_size_px;
use crate::store::photos::Photo;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::surgeon::decide::DecideForm;
use crate::web::surgeon::decide::DecideView;
use crate::web::surgeon::measured::Drawn;
use crate::web::surgeon::review_page::ReviewPage;
use crate::web::surgeon::review_page::can_decide;
use crate::wound::HandDrawn;
use crate::wound::MOST_POINTS;
use crate::wound::Measurement;
use crate::wound::NoOutline;
use crate::wound::Outline;
use crate::wound::Piece;
use crate::wound::Probed;
use crate::wound::Redness;

/// No wound is probed deeper than this, mm (own limit: a finger's breadth beyond the longest probe).
const DEEPEST_MM: f64 = 300.0;
/// The picture's size is known to one px.
const FRAME_SLACK_PX: f64 = 1.0;

/// The form as sent.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct OutlineForm {
    /// `Rings` as JSON, px of the review rendition.
    pub rings: String,
    pub depth: String,
    pub undermining: String,
}

type Ring = Vec<[f64; 2]>;

#[derive(Serialize, Deserialize)]
struct Rings {
    wound: Vec<DrawnPiece>,
    #[serde(default)]
    redness: Option<Ring>,
}

#[derive(Serialize, Deserialize)]
struct DrawnPiece {
    edge: Ring,
    #[serde(default)]
    islands: Vec<Ring>,
}

/// The form filled in with what stands now.
pub fn form_of(found: &Measurement, plane: &SkinPlane) -> OutlineForm {
    let ring = |points: &[MmPoint]| -> Ring { points.iter().map(|at| px_of(*at, plane)).collect() };
    let piece = |piece: &Piece| DrawnPiece {
        edge: ring(&piece.edge),
        islands: piece.islands.iter().map(|island| ring(island)).collect(),
    };
    let redness = match &found.redness {
        Redness::Reach(reach) if reach.edge.len() >= 3 => Some(ring(&reach.edge)),
        Redness::Reach(_) | Redness::CannotTell | Redness::NoContrast { .. } | Redness::NotGiven { .. } => {
            None
        }
    };
    let rings = Rings { wound: found.outline.iter().flat_map(Outline::pieces).map(piece).collect(), redness };
    let typed = |mm: Option<f64>| mm.map_or_else(String::new, |mm| format!("{mm}"));
    OutlineForm {
        rings: serde_json::to_string(&rings).unwrap_or_default(),
        depth: typed(found.probed.depth_mm),
        undermining: typed(found.probed.undermining_mm),
    }
}

/// To a tenth of a px: finer than any hand.
fn px_of(at: MmPoint, plane: &SkinPlane) -> [f64; 2] {
    let at = plane.to_px(at);
    [at.x_px, at.y_px].map(|px| (px * 10.0).round() / 10.0)
}

pub async fn save(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<OutlineForm>,
) -> Result<Response, PageError> {
    let photo = photo_of(&app, &member, &id).await?;
    let drawn = match drawn_on(&app, &member, &photo, &form).await? {
        Ok(drawn) => drawn,
        Err(faults) => return again(&app, &member, &photo, form, faults).await,
    };
    match measuring::by_hand(&app.desk, &member.member, photo.id, drawn, &app.moment()).await {
        Ok(_) => Ok(back_to(&photo)),
        Err(CareError::Entered(faults)) => again(&app, &member, &photo, form, faults).await,
        Err(other) => Err(other.into()),
    }
}

pub async fn confirm(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let photo = photo_of(&app, &member, &id).await?;
    match measuring::confirm(&app.desk, &member.member, photo.id, &app.moment()).await {
        Ok(_) => Ok(back_to(&photo)),
        Err(CareError::Entered(faults)) => again(&app, &member, &photo, OutlineForm::default(), faults).await,
        Err(other) => Err(other.into()),
    }
}

async fn photo_of(app: &App, member: &Member, id: &str) -> Result<Photo, PageError> {
    let id: PhotoId = id.parse().map_err(|_| PageError::NotFound)?;
    Ok(review::photo_named(&app.desk, &member.member, id).await?)
}

fn back_to(photo: &Photo) -> Response {
    Redirect::to(&format!("/checks/{}#photo-{}", photo.check, photo.position)).into_response()
}

/// What was drawn, in millimetres, or what is wrong with it.
async fn drawn_on(
    app: &App,
    member: &Member,
    photo: &Photo,
    form: &OutlineForm,
) -> Result<Result<HandDrawn, Vec<Fault>>, PageError> {
    let card = measuring::card_of(&app.desk, &member.member, photo.id).await?;
    let Some((card, renditions)) = card.zip(photo.renditions.as_ref()) else {
        return Ok(Err(vec![Fault::new("outline", NO_CARD)]));
    };
    let size_px = review_size_px((renditions.width_px, renditions.height_px));
    Ok(read(form, &card.plane, size_px))
}

const NO_CARD: &str =
    "The scale card cannot be read in this photo, so an outline gives no millimetres. Ask for another photo.";

/// The form read against the card's plane: every wrong thing at once.
pub fn read(form: &OutlineForm, plane: &SkinPlane, size_px: (u32, u32)) -> Result<HandDrawn, Vec<Fault>> {
    let mut faults = Vec::new();
    let mut keep = |read: Result<Option<f64>, Fault>| read.map_err(|fault| faults.push(fault)).ok().flatten();
    let depth_mm = keep(millimetres("depth", &form.depth));
    let undermining_mm = keep(millimetres("undermining", &form.undermining));
    let read = serde_json::from_str::<Rings>(&form.rings).map_err(|_| {
        "The drawing did not arrive whole. Press Save again; if that does not help, draw it once more."
            .to_owned()
    });
    match read.and_then(|rings| outlines(&rings, plane, size_px)) {
        Ok((wound, redness_edge)) if faults.is_empty() => {
            Ok(HandDrawn { wound, redness_edge, probed: Probed { depth_mm, undermining_mm } })
        }
        Ok(_) => Err(faults),
        Err(words) => {
            faults.insert(0, Fault::new("outline", words));
            Err(faults)
        }
    }
}

fn outlines(
    rings: &Rings,
    plane: &SkinPlane,
    size_px: (u32, u32),
) -> Result<(Outline, Option<Vec<MmPoint>>), String> {
    let mm = |name: &str, ring: &Ring| in_mm(ring, plane, size_px).map_err(|fault| fault.about(name));
    let mut pieces = Vec::new();
    for piece in &rings.wound {
        let edge = mm("wound edge", &piece.edge)?;
        let islands: Result<Vec<_>, _> =
            piece.islands.iter().map(|island| mm("skin island", island)).collect();
        pieces.push(Piece { edge, islands: islands? });
    }
    for piece in &pieces {
        let edge = Outline::of_ring(piece.edge.clone()).map_err(|fault| about(fault, "wound edge"))?;
        if piece.islands.iter().flatten().any(|at| !edge.holds(*at)) {
            return Err("A skin island lies outside its wound edge. Pull it inside, or remove it.".to_owned());
        }
    }
    let wound = Outline::new(pieces).map_err(|fault| about(fault, "wound edge"))?;
    let Some(redness) = &rings.redness else { return Ok((wound, None)) };
    let redness = mm("redness edge", redness)?;
    Outline::of_ring(redness.clone()).map_err(|fault| about(fault, "redness edge"))?;
    Ok((wound, Some(redness)))
}

/// Why a ring cannot be turned into millimetres.
enum RingFault {
    OutsideFrame,
    Outline(NoOutline),
}

impl RingFault {
    fn about(self, name: &str) -> String {
        match self {
            RingFault::OutsideFrame => {
                format!("A point of the {name} lies outside the photo. Pull it inside, then save again.")
            }
            RingFault::Outline(fault) => about(fault, name),
        }
    }
}

fn in_mm(ring: &Ring, plane: &SkinPlane, (width, height): (u32, u32)) -> Result<Vec<MmPoint>, RingFault> {
    // Before anything is computed of ten thousand points.
    if ring.len() > MOST_POINTS {
        return Err(RingFault::Outline(NoOutline::TooManyPoints));
    }
    let within = |px: f64, most: u32| (-FRAME_SLACK_PX..=f64::from(most) + FRAME_SLACK_PX).contains(&px);
    if !ring.iter().all(|[x, y]| within(*x, width) && within(*y, height)) {
        return Err(RingFault::OutsideFrame);
    }
    Ok(ring.iter().map(|[x_px, y_px]| plane.to_mm(PxPoint { x_px: *x_px, y_px: *y_px })).collect())
}

/// What is wrong with an outline, and what to do.
fn about(fault: NoOutline, name: &str) -> String {
    match fault {
        NoOutline::TooFewPoints => {
            format!("The {name} needs at least three points. Add points, then save again.")
        }
        NoOutline::TooManyPoints => format!(
            "The {name} has more than {MOST_POINTS} points, the most that are kept. Some dozens are enough: draw it with \
             fewer."
        ),
        NoOutline::TooManyPieces => "There are more lines than can be kept. Remove some of them.".to_owned(),
        NoOutline::NotAPlace => {
            format!(
                "A point of the {name} lies too far from the scale card. Move it closer, then save again."
            )
        }
        NoOutline::CrossesItself => {
            format!("The {name} crosses itself. Move the points where it does, then save again.")
        }
        NoOutline::NoArea => format!("The {name} encloses nothing. Pull its points apart, then save again."),
    }
}

fn millimetres(field: &'static str, typed: &str) -> Result<Option<f64>, Fault> {
    let typed = typed.trim().trim_end_matches("mm").trim_end().replace(',', ".");
    if typed.is_empty() {
        return Ok(None);
    }
    let read = typed.parse::<f64>().ok().filter(|mm| (0.0..=DEEPEST_MM).contains(mm));
    let words = format!("Type millimetres from 0 to {DEEPEST_MM}, such as 12 or 12.5, or leave it empty.");
    read.map(Some).ok_or_else(|| Fault::new(field, words))
}

/// The review page again, with what was drawn and typed.
async fn again(
    app: &App,
    member: &Member,
    photo: &Photo,
    form: OutlineForm,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let (now, me) = (app.now(), member.member.id);
    let opened = review::view(&app.desk, &member.member, photo.check, now).await?;
    let deciding =
        can_decide(&opened, me, now).then(|| DecideView::of(&opened, DecideForm::default(), Vec::new(), now));
    let frame = Frame::of(app, member, Part::Queue, "Wound check").await?;
    let drawn =
        Drawn { photo: photo.id, form, faults: faults.into_iter().map(|fault| fault.words).collect() };
    let shown = ReviewPage::of(&opened, frame, Some(me), deciding, now).with_drawing(&opened, &drawn, now);
    page(StatusCode::UNPROCESSABLE_ENTITY, &shown)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIZE_PX: (u32, u32) = (1_600, 1_200);

    /// A tenth of a millimetre a px, straight from above.
    fn plane() -> SkinPlane {
        SkinPlane::from_px_to_mm([[0.1, 0.0, -80.0], [0.0, 0.1, -60.0], [0.0, 0.0, 1.0]]).unwrap()
    }

    fn with_rings(rings: &str) -> OutlineForm {
        OutlineForm { rings: rings.to_owned(), ..OutlineForm::default() }
    }

    fn refused(rings: &str) -> String {
        read(&with_rings(rings), &plane(), SIZE_PX).unwrap_err()[0].words.clone()
    }

    const SQUARE: &str = r#"{"wound":[{"edge":[[400,400],[600,400],[600,600],[400,600]]}]}"#;

    #[test]
    fn a_square_of_200_px_is_four_square_centimetres() {
        let drawn = read(&with_rings(SQUARE), &plane(), SIZE_PX).unwrap();
        assert!((drawn.wound.area_mm2() - 400.0).abs() < 1e-6);
        assert_eq!((drawn.redness_edge, drawn.probed), (None, Probed::default()));
    }

    #[test]
    fn what_cannot_be_an_outline_is_refused_with_what_to_do() {
        assert!(refused("").contains("did not arrive whole"));
        assert!(refused(r#"{"wound":[]}"#).contains("at least three points"));
        assert!(refused(r#"{"wound":[{"edge":[[400,400],[600,400]]}]}"#).contains("at least three points"));
        let crossed = r#"{"wound":[{"edge":[[400,400],[600,600],[600,400],[400,590]]}]}"#;
        assert!(refused(crossed).contains("crosses itself"));
        let flat = r#"{"wound":[{"edge":[[400,400],[500,400],[600,400]]}]}"#;
        assert!(refused(flat).contains("encloses nothing"));
        let many: Vec<[f64; 2]> = (0..10_000).map(|at| [f64::from(at) / 10.0, 5.0]).collect();
        let many = serde_json::json!({"wound": [{"edge": many}]}).to_string();
        assert!(refused(&many).contains("more than 2000 points"));
    }

    #[test]
    fn the_frame_of_the_photo_is_the_limit_to_a_pixel() {
        let to_edge = |x: f64| format!(r#"{{"wound":[{{"edge":[[400,400],[{x},400],[600,600]]}}]}}"#);
        assert!(read(&with_rings(&to_edge(1_601.0)), &plane(), SIZE_PX).is_ok());
        assert!(refused(&to_edge(1_601.1)).contains("outside the photo"));
        assert!(refused(&to_edge(-1.1)).contains("outside the photo"));
    }

    #[test]
    fn an_island_is_taken_off_inside_and_refused_outside() {
        let with_island = |x: i32| {
            format!(
                r#"{{"wound":[{{"edge":[[400,400],[600,400],[600,600],[400,600]],"islands":[[[{x},500],[{},500],[{x},520]]]}}]}}"#,
                x + 20
            )
        };
        let drawn = read(&with_rings(&with_island(500)), &plane(), SIZE_PX).unwrap();
        assert!((drawn.wound.area_mm2() - 398.0).abs() < 1e-6);
        assert!(refused(&with_island(700)).contains("outside its wound edge"));
    }

    #[test]
    fn a_redness_edge_that_crosses_itself_is_named() {
        let rings = r#"{"wound":[{"edge":[[400,400],[600,400],[600,600],[400,600]]}],"redness":[[300,300],[700,700],[700,300],[300,690]]}"#;
        assert!(refused(rings).starts_with("The redness edge crosses itself"));
    }

    #[test]
    fn depths_are_typed_in_millimetres_from_nought_to_the_deepest() {
        assert_eq!(millimetres("depth", " 12,5 mm"), Ok(Some(12.5)));
        assert_eq!(millimetres("depth", ""), Ok(None));
        assert_eq!(millimetres("depth", "300"), Ok(Some(300.0)));
        for wrong in ["300.1", "-1", "deep", "NaN"] {
            assert!(millimetres("depth", wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn all_that_is_wrong_is_said_at_once() {
        let form = OutlineForm { depth: "deep".to_owned(), undermining: "x".to_owned(), ..with_rings("") };
        assert_eq!(read(&form, &plane(), SIZE_PX).unwrap_err().len(), 3);
    }

    #[test]
    fn what_stands_is_filled_in_and_reads_back_as_the_same_outline() {
        let wound = read(&with_rings(SQUARE), &plane(), SIZE_PX).unwrap().wound;
        let found = Measurement {
            outline: Some(wound.clone()),
            probed: Probed { depth_mm: Some(7.5), undermining_mm: None },
            ..Measurement::refused(Vec::new())
        };
        let again = read(&form_of(&found, &plane()), &plane(), SIZE_PX).unwrap();
        assert!((again.wound.area_mm2() - wound.area_mm2()).abs() < 1e-6);
        assert_eq!(again.probed, found.probed);
    }

    /// Drawings on a tilted photo, with what a ruler finds on them: the script that follows the pointer is held to the
    /// same numbers in the browser tests. RENEW_TRUTH=1 writes them anew.
    #[test]
    fn the_kept_drawings_have_the_figures_the_browser_is_held_to() {
        let matrix = [[0.12, 0.03, -40.0], [-0.02, 0.15, -33.0], [0.00005, -0.0001, 1.0]];
        let plane = SkinPlane::from_px_to_mm(matrix).unwrap();
        let round = |count: u32, x: f64, y: f64, far: f64| -> Ring {
            let at = |step: u32| std::f64::consts::TAU * f64::from(step) / f64::from(count);
            let wavy = |step: u32| far * (1.0 + 0.2 * (3.0 * at(step)).sin());
            (0..count)
                .map(|step| [x + wavy(step) * at(step).cos(), y + wavy(step) * at(step).sin()])
                .collect()
        };
        let drawings = [
            (vec![(round(5, 500.0, 400.0, 120.0), vec![])], SIZE_PX),
            (vec![(round(60, 700.0, 600.0, 260.0), vec![round(8, 690.0, 610.0, 30.0)])], SIZE_PX),
            (
                vec![(round(40, 400.0, 800.0, 150.0), vec![]), (round(24, 1_100.0, 300.0, 90.0), vec![])],
                SIZE_PX,
            ),
        ];
        let told: Vec<serde_json::Value> = drawings
            .into_iter()
            .map(|(pieces, size_px)| {
                let piece = |(edge, islands): (Ring, Vec<Ring>)| DrawnPiece { edge, islands };
                let rings = Rings { wound: pieces.into_iter().map(piece).collect(), redness: None };
                let (outline, _) = outlines(&rings, &plane, size_px).unwrap();
                let extent = outline.extent();
                serde_json::json!({
                    "matrix": matrix, "wound": rings.wound, "area": outline.area_mm2(),
                    "perimeter": outline.perimeter_mm(), "length": extent.length_mm, "width": extent.width_mm,
                })
            })
            .collect();
        let text = serde_json::to_string_pretty(&told).unwrap() + "\n";
        let file = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/truth/outline.json");
        if std::env::var_os("RENEW_TRUTH").is_some() {
            std::fs::write(file, &text).unwrap();
        }
        let kept: Vec<serde_json::Value> =
            serde_json::from_str(&std::fs::read_to_string(file).unwrap()).unwrap();
        for (told, kept) in told.iter().zip(&kept) {
            for figure in ["area", "perimeter", "length", "width"] {
                let (told, kept) = (told[figure].as_f64().unwrap(), kept[figure].as_f64().unwrap());
                assert!((told / kept - 1.0).abs() < 1e-9, "{figure}: {told} is not {kept}");
            }
        }
        assert_eq!(told.len(), kept.len());
    }
}
