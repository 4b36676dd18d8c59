//! Everything in front of the camera, laid out in millimetres of skin.

use closewatch::photo::CARD_HEIGHT_MM;
use closewatch::photo::CARD_WIDTH_MM;

use super::bed::Bed;
use super::bed::FineGrid;
use super::camera::Camera;
use super::camera::Stand;
use super::card::Card;
use super::cases::Case;
use super::chance::Chance;
use super::colour::SkinColours;
use super::field::Bounds;
use super::field::Grid;
use super::layers::Cloth;
use super::layers::Occluder;
use super::layers::Residue;
use super::light::Light;
use super::shape;
use super::shape::Form;
use super::shape::Mm;
use super::skin;
use super::skin::CoarseGrid;
use super::skin::Reach;
use super::strokes::Cover;
use super::wish::CardState;
use super::wish::Wish;

/// Nothing is laid out farther from the wound than this.
pub const FARTHEST_MM: f64 = 450.0;
/// The fine grid goes this far beyond the wound's edge.
pub const FINE_MARGIN_MM: f64 = 7.0;

pub struct Scene {
    pub wish: Wish,
    pub camera: Camera,
    /// The wound's edge, then its islands. Empty: no wound is painted.
    pub rings: Vec<Vec<Mm>>,
    /// A second wound, apart from the first.
    pub other: Option<Vec<Mm>>,
    pub card: Option<Card>,
    pub skin: SkinColours,
    /// Share of blood that full redness adds.
    pub more_blood: f64,
    pub reach: Reach,
    pub fine_bounds: Bounds,
    pub fine: FineGrid,
    pub coarse: CoarseGrid,
    pub bed: Bed,
    pub light: Light,
    pub hair: Option<Cover>,
    pub freckles: Option<Cover>,
    pub pen: Option<(Cover, Vec<Mm>)>,
    pub cloth: Option<Cloth>,
    pub occluder: Option<Occluder>,
    pub residue: Option<Residue>,
}

impl Scene {
    pub fn build(wish: &Wish, longest_px: usize) -> Scene {
        let (rings, card, other) = lay_out(wish);
        let camera = place_camera(wish, longest_px, &rings[0], card.as_ref(), other.as_deref());
        let all: Vec<Vec<Mm>> = match wish.case {
            Case::NoWound => Vec::new(),
            _ => rings.iter().cloned().chain(other.clone()).collect(),
        };
        let bounds_of: Vec<Mm> = all.iter().flatten().copied().chain([[0.0, 0.0]]).collect();
        let fine_bounds = Bounds::around(&bounds_of, FINE_MARGIN_MM);
        let cell_mm = ((fine_bounds.right - fine_bounds.left) / 700.0).max(0.25);
        let mut fine = FineGrid::new(&fine_bounds, cell_mm);
        fine.fill_distance(&all);
        let bed = Bed::lay(wish, &mut fine);
        let view = camera.view(FARTHEST_MM);
        // One millimetre does for what is soft; a view far wider than redness ever is needs less.
        let mut coarse: CoarseGrid = Grid::new(&view, ((view.right - view.left) / 450.0).max(1.0));
        // Redness is the first wound's: the second one has clean edges.
        coarse.fill_distance(if all.is_empty() { &[] } else { &rings });
        let reach = Reach::new(&mut Chance::new(wish.seed, "reach"), wish.ery_mm, wish.ery_uneven);
        skin::fill(wish, &reach, &mut coarse);
        let blood = Chance::new(wish.seed, "blood").between(0.004, 0.009);
        let skin = SkinColours::new(wish.ita, blood);
        let more_blood = skin.blood_for(wish.ery_contrast);
        let keep: Vec<Mm> =
            all.iter().flatten().copied().chain(card.iter().flat_map(|card| card.outer_mm())).collect();
        let occluder = match (wish.card, &card) {
            (CardState::Partial, Some(card)) => Some(Occluder::lay(wish, card, skin.plain())),
            _ => None,
        };
        let edge_distance = |at: Mm| signed_distance(&rings, at);
        let pen = skin::pen_line(wish, edge_distance).map(|line| (pen_cover(&camera, &line), line));
        Scene {
            hair: skin::hair(wish, &camera, |at| edge_distance(at) < 0.0),
            freckles: skin::freckles(wish, &camera),
            cloth: wish.cloth.then(|| Cloth::lay(wish, &keep)),
            residue: (wish.case == Case::Residue).then(|| Residue::smear(wish, &rings[0])),
            light: Light::of(wish, &camera),
            wish: wish.clone(),
            rings: if all.is_empty() { Vec::new() } else { rings },
            other,
            camera,
            card,
            skin,
            more_blood,
            reach,
            fine_bounds,
            fine,
            coarse,
            bed,
            pen,
            occluder,
        }
    }
}

/// Distance from the edge of the rings, mm; negative inside.
pub fn signed_distance(rings: &[Vec<Mm>], at: Mm) -> f64 {
    // Squared until the end.
    let mut least = f64::INFINITY;
    let mut inside = false;
    for ring in rings {
        inside ^= shape::holds(ring, at);
        for (a, b) in shape::sides(ring) {
            let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
            let along = ((at[0] - a[0]) * dx + (at[1] - a[1]) * dy) / (dx * dx + dy * dy).max(1e-12);
            let along = along.clamp(0.0, 1.0);
            let (ox, oy) = (at[0] - a[0] - along * dx, at[1] - a[1] - along * dy);
            least = least.min(ox * ox + oy * oy);
        }
    }
    if inside { -least.sqrt() } else { least.sqrt() }
}

fn pen_cover(camera: &Camera, line: &[Mm]) -> Cover {
    let mut cover = Cover::new(camera);
    cover.line(camera, line, 0.9, 0.8);
    cover
}

fn lay_out(wish: &Wish) -> (Vec<Vec<Mm>>, Option<Card>, Option<Vec<Mm>>) {
    let chance = &mut Chance::new(wish.seed, "shape");
    let form = Form {
        area_mm2: wish.area_cm2 * 100.0,
        elong: wish.elong,
        bend: wish.bend,
        irregular: wish.irregular,
    };
    let mut rings = vec![shape::outline(chance, &form)];
    let small = Form { area_mm2: form.area_mm2 * 0.1, elong: 1.3, bend: 0.0, irregular: 0.08 };
    let island = shape::outline(chance, &small);
    let second = Form { area_mm2: form.area_mm2 * 0.6, elong: 1.4, ..form };
    let second = shape::outline(chance, &second);
    if wish.case == Case::Island {
        rings.push(island);
    }
    let chance = &mut Chance::new(wish.seed, "card");
    let direction = chance.between(0.0, std::f64::consts::TAU);
    let angle = chance.between(0.0, std::f64::consts::TAU);
    let gap_mm = chance.between(4.0, 20.0);
    let card = (wish.card != CardState::Missing).then(|| {
        let place =
            |away: f64| Card::new([away * direction.cos(), away * direction.sin()], angle, wish.ground);
        let away = first_clear(&rings[0], gap_mm, |away| {
            let card = place(away);
            let across = |step: usize, length: f64| length * step as f64 / 12.0;
            (0..13 * 13)
                .map(|step| {
                    card.to_skin([across(step % 13, CARD_WIDTH_MM), across(step / 13, CARD_HEIGHT_MM)])
                })
                .collect()
        });
        place(away)
    });
    let other = (wish.case == Case::TwoWounds).then(|| {
        let opposite = direction + std::f64::consts::PI + chance.between(-0.8, 0.8);
        let at = |away: f64| shape::moved(&second, [away * opposite.cos(), away * opposite.sin()]);
        at(first_clear(&rings[0], chance.between(6.0, 18.0), at))
    });
    (rings, card, other)
}

/// How far out along its way a thing must go to be clear of the wound.
fn first_clear(edge: &[Mm], gap_mm: f64, at: impl Fn(f64) -> Vec<Mm>) -> f64 {
    let rings = [edge.to_vec()];
    let clear = |away: f64| at(away).iter().all(|place| signed_distance(&rings, *place) > gap_mm);
    let mut away = 20.0;
    while away < 400.0 && !clear(away) {
        away += 1.5;
    }
    away
}

/// A stand from which everything that matters is in view.
fn place_camera(
    wish: &Wish,
    longest_px: usize,
    edge: &[Mm],
    card: Option<&Card>,
    other: Option<&[Mm]>,
) -> Camera {
    let chance = &mut Chance::new(wish.seed, "stand");
    let mut keep: Vec<Mm> = edge.iter().step_by(8).copied().collect();
    keep.extend(card.iter().flat_map(|card| card.outer_mm()));
    keep.extend(other.unwrap_or_default().iter().step_by(8));
    let around = Bounds::around(&keep, 0.0);
    let aim = [
        (around.left + around.right) / 2.0 + chance.between(-8.0, 8.0),
        (around.top + around.bottom) / 2.0 + chance.between(-8.0, 8.0),
    ];
    let mut stand = Stand { distance_mm: wish.distance_mm, aim, off_px: [0.0, 0.0] };
    let at = |stand: Stand| Camera::new(wish, longest_px, stand);
    if wish.case != Case::AllBed {
        for _ in 0..60 {
            if keep.iter().all(|place| at(stand).sees(*place, 0.025)) {
                break;
            }
            stand.distance_mm *= 1.04;
        }
    }
    if let (Case::CutOff, Some(card)) = (wish.case, card) {
        let (from, to) = (at(stand).px(card.middle), at(stand).px([0.0, 0.0]));
        let away = shape::distance(from, to);
        let wanted = chance.between(0.15, 0.45);
        let hidden = |camera: &Camera| {
            let out = edge.iter().filter(|place| !camera.sees(**place, 0.0)).count();
            out as f64 / edge.len() as f64
        };
        while hidden(&at(stand)) < wanted {
            for axis in 0..2 {
                stand.off_px[axis] += (to[axis] - from[axis]) / away * longest_px as f64 * 0.01;
            }
        }
    }
    match wish.card {
        CardState::Mirrored => at(stand).mirrored(),
        CardState::Full | CardState::Partial | CardState::Missing => at(stand),
    }
}
