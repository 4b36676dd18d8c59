//! What the photos of a check were measured to say, laid out beside them: lines over the picture, figures, and the form
//! that a drawn outline comes back in.

use jiff::Timestamp;

use crate::care::review::Opened;
use crate::ids::PhotoId;
use crate::photo::MmPoint;
use crate::photo::PxPoint;
use crate::photo::ScaleCard;
use crate::photo::SkinPlane;
use crate::photo::review_size_px;
use crate::store::measurements::Author;
use crate::store::measurements::KeptMeasurement;
use crate::store::photos::Photo;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::surgeon::drawing;
use crate::web::surgeon::drawing::OutlineForm;
use crate::web::surgeon::measure_words;
use crate::web::time_words;
use crate::wound::Family;
use crate::wound::Measurement;
use crate::wound::Outline;
use crate::wound::Redness;
use crate::wound::Size;
use crate::wound::Standing;

/// One figure and its words.
pub struct FigureLine {
    pub label: &'static str,
    pub words: String,
}

impl FigureLine {
    fn new(label: &'static str, words: impl Into<String>) -> FigureLine {
        FigureLine { label, words: words.into() }
    }
}

/// Lines over the review rendition, as SVG path data in its px; empty: nothing to draw.
pub struct Overlay {
    pub width_px: u32,
    pub height_px: u32,
    pub wound: String,
    pub redness: String,
    pub card: String,
}

/// The form for drawing on one photo.
pub struct HandForm {
    /// 3 × 3 by rows, JSON: from px of the review rendition to mm of skin.
    pub matrix: String,
    pub form: OutlineForm,
    pub faults: Vec<String>,
    /// The outline the program was not sure of waits for a yes.
    pub can_confirm: bool,
}

/// What one photo says.
pub struct MeasuredView {
    /// `counts`, `unsure` or `none`: the shape beside the words.
    pub mark: &'static str,
    pub standing: &'static str,
    /// Who or what measured it, by which method, and when.
    pub by: String,
    pub figures: Vec<FigureLine>,
    /// Reach of the redness by clock direction.
    pub clock: Vec<(u8, String)>,
    pub because: Vec<&'static str>,
    /// What to keep in mind reading the figures.
    pub hints: Vec<String>,
    pub overlay: Option<Overlay>,
    pub hand: Option<HandForm>,
    /// Why nothing can be drawn in millimetres; empty: it can.
    pub no_hand: &'static str,
}

const NO_SCALE: &str = "Without a readable scale card an outline gives no millimetres, so none can be drawn here. Ask for another \
                        photo with the card flat beside the wound.";

/// A drawing that could not be kept, shown again as it was sent.
pub struct Drawn {
    pub photo: PhotoId,
    pub form: OutlineForm,
    pub faults: Vec<String>,
}

/// Lays out what one photo says. `None`: it has not been measured.
pub fn measured(
    opened: &Opened,
    photo: &Photo,
    drawn: Option<&Drawn>,
    now: Timestamp,
) -> Option<MeasuredView> {
    let kept = opened.measured.iter().find(|kept| kept.photo == photo.id)?;
    let found = &kept.measurement;
    let renditions = photo.renditions.as_ref()?;
    let size_px = review_size_px((renditions.width_px, renditions.height_px));
    let (mark, standing) = measure_words::standing(found.standing, found.family);
    let plane = plane_of(found);
    Some(MeasuredView {
        mark,
        standing,
        by: by(opened, kept, now),
        figures: figures(opened, found),
        clock: measure_words::redness_by_clock(&found.redness),
        because: measure_words::reasons(found),
        hints: hints(opened, found),
        overlay: plane.map(|_| overlay(found, size_px)),
        hand: plane.map(|plane| hand_form(found, plane, drawn.filter(|drawn| drawn.photo == photo.id))),
        no_hand: if plane.is_none() { NO_SCALE } else { "" },
    })
}

/// The plane of a photo's card, in px of the review rendition. `None` without a readable card.
pub fn plane_of(found: &Measurement) -> Option<&SkinPlane> {
    found.plane.as_ref().or_else(|| found.card.as_ref().map(|card| &card.plane))
}

fn by(opened: &Opened, kept: &KeptMeasurement, now: Timestamp) -> String {
    let made = time_words::clock_time(kept.made, now, &opened.practice.zone, STAFF_LANGUAGE);
    let method = &kept.measurement.method;
    match kept.author {
        Author::Program => match kept.measurement.standing {
            Standing::Ok | Standing::LowConfidence => format!("by the program, method {method}, {made}"),
            Standing::Refused => format!("tried by the program, method {method}, {made}"),
        },
        Author::Staff(id) => {
            let member = opened.staff.iter().find(|member| member.id == id);
            let name = member.map_or("a colleague", |member| member.name.as_str());
            format!("drawn or confirmed by {name}, {made}, method {method}")
        }
    }
}

fn figures(opened: &Opened, found: &Measurement) -> Vec<FigureLine> {
    let mut lines = Vec::new();
    if let Some(size) = &found.size {
        lines.extend(size_lines(size, found.standing));
    }
    if found.standing != Standing::Refused {
        lines.push(FigureLine::new("Redness", measure_words::redness(&found.redness, found.family)));
        let drawn = opened.wound.operation.pen_line.map(|_| ());
        lines.extend(
            measure_words::pen_line(&found.pen, drawn).map(|words| FigureLine::new("Pen line", words)),
        );
        lines.push(FigureLine::new("Bed looks", bed(found)));
    }
    let probed = [("Depth", found.probed.depth_mm), ("Undermining", found.probed.undermining_mm)];
    lines.extend(probed.into_iter().filter_map(|(label, mm)| {
        Some(FigureLine::new(label, format!("{}, probed at a visit", measure_words::length(mm?))))
    }));
    lines
}

fn size_lines(size: &Size, standing: Standing) -> Vec<FigureLine> {
    // A number that does not count yet must not look like one that does.
    let stands = |words: String| match standing {
        Standing::Ok => words,
        Standing::LowConfidence | Standing::Refused => format!("if the outline is right: {words}"),
    };
    vec![
        FigureLine::new("Area", stands(measure_words::area_with_range(&size.area_mm2))),
        FigureLine::new(
            "Length × width",
            stands(format!(
                "{} × {}",
                measure_words::length_with_range(&size.length_mm),
                measure_words::length_with_range(&size.width_mm)
            )),
        ),
        FigureLine::new("Edge around", stands(measure_words::length_with_range(&size.perimeter_mm))),
    ]
}

fn bed(found: &Measurement) -> String {
    let Some(bed) = &found.bed else {
        return "not given: the colours of this picture cannot be trusted.".to_owned();
    };
    let share = measure_words::share_with_range;
    format!(
        "red {}; yellow {}: slough or fat, colour cannot tell them apart; dark {}: dark tissue or old blood",
        share(&bed.granulation),
        share(&bed.yellow),
        share(&bed.dark)
    )
}

fn hints(opened: &Opened, found: &Measurement) -> Vec<String> {
    let mut hints = Vec::new();
    if found.size.is_some() {
        hints.push(measure_words::real_life(opened.photos_say.surface).to_owned());
    }
    let speaks_of_redness = match found.redness {
        Redness::Reach(_) | Redness::CannotTell | Redness::NoContrast { .. } => true,
        Redness::NotGiven { .. } => false,
    };
    if speaks_of_redness && found.family == Family::Automatic {
        hints.extend(measure_words::dark_skin(found.ita_deg).map(str::to_owned));
    }
    hints
}

/// The wound's edge with its islands, and the redness edge, as SVG path data in px; empty: nothing to draw.
pub fn lines_over(found: &Measurement) -> (String, String) {
    let Some(plane) = plane_of(found) else { return (String::new(), String::new()) };
    let rings = found.outline.iter().flat_map(Outline::pieces).flat_map(|piece| {
        std::iter::once(piece.edge.as_slice()).chain(piece.islands.iter().map(Vec::as_slice))
    });
    let redness = match &found.redness {
        Redness::Reach(reach) => path(&reach.edge, plane),
        Redness::CannotTell | Redness::NoContrast { .. } | Redness::NotGiven { .. } => String::new(),
    };
    (rings.map(|ring| path(ring, plane)).collect(), redness)
}

fn overlay(found: &Measurement, (width_px, height_px): (u32, u32)) -> Overlay {
    let (wound, redness) = lines_over(found);
    Overlay {
        width_px,
        height_px,
        wound,
        redness,
        card: found.card.as_ref().map_or_else(String::new, card_path),
    }
}

/// A ring as SVG path data in px; empty without points.
fn path(ring: &[MmPoint], plane: &SkinPlane) -> String {
    closed(ring.iter().map(|at| plane.to_px(*at)))
}

fn card_path(card: &ScaleCard) -> String {
    closed(card.corners_px.iter().copied())
}

/// Points joined to a closed line, as SVG path data; empty without points.
pub fn closed(points: impl Iterator<Item = PxPoint>) -> String {
    let mut data = String::new();
    for at in points.filter(|at| at.x_px.is_finite() && at.y_px.is_finite()) {
        data.push(if data.is_empty() { 'M' } else { 'L' });
        data.push_str(&format!("{:.1} {:.1}", at.x_px, at.y_px));
    }
    if !data.is_empty() {
        data.push('Z');
    }
    data
}

fn hand_form(found: &Measurement, plane: &SkinPlane, drawn: Option<&Drawn>) -> HandForm {
    HandForm {
        matrix: serde_json::to_string(plane.px_to_mm_matrix()).unwrap_or_default(),
        form: drawn.map_or_else(|| drawing::form_of(found, plane), |drawn| drawn.form.clone()),
        faults: drawn.map_or_else(Vec::new, |drawn| drawn.faults.clone()),
        can_confirm: found.standing == Standing::LowConfidence && found.size.is_some(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ring_becomes_a_closed_path_in_the_pictures_px() {
        let plane = SkinPlane::from_px_to_mm([[0.1, 0.0, 0.0], [0.0, 0.1, 0.0], [0.0, 0.0, 1.0]]).unwrap();
        let ring = [[0.0, 0.0], [10.0, 0.0], [10.0, 5.55]].map(MmPoint::from);
        assert_eq!(path(&ring, &plane), "M0.0 0.0L100.0 0.0L100.0 55.5Z");
        assert_eq!(path(&[], &plane), "");
    }
}
