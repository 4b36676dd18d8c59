//! What each pixel of the sensor sees: the scene's colours under its light, in linear light.

use super::cases::Case;
use super::chance::Chance;
use super::chance::Tile;
use super::chance::smooth_step;
use super::colour::Rgb;
use super::colour::mix;
use super::colour::scaled;
use super::frame::Frame;
use super::scene::Scene;
use super::wish::Rim;

const HAIR: Rgb = [0.045, 0.032, 0.024];
const PEN: Rgb = [0.16, 0.08, 0.22];
/// Tiles of fine noise are 256 cells of a quarter millimetre.
const TILE_PER_MM: f32 = 4.0;

struct Tiles {
    skin: Tile,
    bed: Tile,
    /// From the light, in millimetres of skin.
    toward_mm: [f32; 2],
}

/// One place in the picture.
struct Spot {
    x: f32,
    y: f32,
    mm_per_px: f32,
    index: usize,
}

/// Paints the whole picture, before the lens.
pub fn paint_light(scene: &Scene) -> Frame {
    let camera = &scene.camera;
    let (width, height) = (camera.width, camera.height);
    let chance = &mut Chance::new(scene.wish.seed, "grain");
    let skin = Tile::new(chance, 256, &[(24, 0.35), (64, 0.5), (128, 0.6)]);
    let bed = Tile::new(chance, 256, &[(40, 1.0), (96, 0.7)]);
    let tiles = Tiles { skin, bed, toward_mm: light_on_skin(scene) };
    let m = *camera.plane.px_to_mm_matrix();
    let determinant = {
        let at = camera.mm([0.5, 0.5]);
        let w = m[2][0] * 0.5 + m[2][1] * 0.5 + m[2][2];
        camera.mm_per_px_at(at).powi(2) * w.abs().powi(3)
    };
    let mut light = vec![0.0_f32; width * height * 3];
    for y in 0..height {
        for x in 0..width {
            let (px, py) = (x as f64 + 0.5, y as f64 + 0.5);
            let w = m[2][0] * px + m[2][1] * py + m[2][2];
            let spot = Spot {
                x: ((m[0][0] * px + m[0][1] * py + m[0][2]) / w) as f32,
                y: ((m[1][0] * px + m[1][1] * py + m[1][2]) / w) as f32,
                mm_per_px: (determinant / w.abs().powi(3)).sqrt() as f32,
                index: y * width + x,
            };
            let (lit, mirrored) = scene.light.at(px as f32, py as f32);
            let seen = seen(scene, &tiles, &spot, mirrored);
            let out = &mut light[spot.index * 3..spot.index * 3 + 3];
            (out[0], out[1], out[2]) = (seen[0] * lit[0], seen[1] * lit[1], seen[2] * lit[2]);
        }
    }
    Frame { width, height, light }
}

fn light_on_skin(scene: &Scene) -> [f32; 2] {
    let [x, y] = scene.light.toward().map(f64::from);
    let (from, to) = (scene.camera.px([0.0, 0.0]), [x * 20.0, y * 20.0]);
    let to = scene.camera.mm([from[0] + to[0], from[1] + to[1]]);
    let length = to[0].hypot(to[1]).max(1e-9);
    [(to[0] / length) as f32, (to[1] / length) as f32]
}

/// Share of light that comes back from a place, the lamp's mirror image included.
#[inline]
fn seen(scene: &Scene, tiles: &Tiles, spot: &Spot, mirrored: f32) -> Rgb {
    if let Some(occluder) = &scene.occluder
        && let Some((colour, cover)) = occluder.at(spot.x, spot.y, spot.mm_per_px)
    {
        let under = if cover < 1.0 { on_the_skin(scene, tiles, spot, mirrored) } else { colour };
        return mix(under, colour, cover);
    }
    if let Some(cloth) = &scene.cloth {
        let weave = tiles.skin.at(spot.x * 6.0, spot.y * 6.0);
        if let Some((colour, cover)) = cloth.at(spot.x, spot.y, spot.mm_per_px, weave) {
            let under = if cover < 1.0 { on_the_skin(scene, tiles, spot, mirrored) } else { colour };
            return mix(under, colour, cover);
        }
    }
    on_the_skin(scene, tiles, spot, mirrored)
}

fn on_the_skin(scene: &Scene, tiles: &Tiles, spot: &Spot, mirrored: f32) -> Rgb {
    let Some(card) = &scene.card else { return skin_and_wound(scene, tiles, spot, mirrored) };
    let at = card.on_card([f64::from(spot.x), f64::from(spot.y)]);
    let apart = card.distance_mm(at) as f32;
    if apart > 4.0 {
        return skin_and_wound(scene, tiles, spot, mirrored);
    }
    // The edge of the card throws a little shadow.
    let shade = 1.0 - 0.22 * (-apart / 0.9).exp();
    let beside = |shade: f32| scaled(skin_and_wound(scene, tiles, spot, mirrored), shade);
    if apart > 1.5 * spot.mm_per_px {
        return beside(shade);
    }
    let (sum, hits) = card_share(scene, spot.index);
    let from_card = [sum; 3];
    if hits >= 1.0 {
        return from_card;
    }
    let skin = beside(shade);
    std::array::from_fn(|c| from_card[c] + (1.0 - hits) * skin[c])
}

/// The card's light over one pixel, from 5 × 5 places in it, and the share of them that hit the card.
fn card_share(scene: &Scene, index: usize) -> (f32, f32) {
    const SIDE: usize = 5;
    let Some(card) = &scene.card else { return (0.0, 0.0) };
    let (x, y) = ((index % scene.camera.width) as f64, (index / scene.camera.width) as f64);
    let (mut sum, mut hits) = (0.0_f32, 0.0_f32);
    for step in 0..SIDE * SIDE {
        let part = |n: usize| (n as f64 + 0.5) / SIDE as f64;
        let at = scene.camera.mm([x + part(step % SIDE), y + part(step / SIDE)]);
        if let Some(reflectance) = card.reflectance(card.on_card(at)) {
            sum += reflectance;
            hits += 1.0;
        }
    }
    let all = (SIDE * SIDE) as f32;
    (sum / all, hits / all)
}

#[inline]
fn skin_and_wound(scene: &Scene, tiles: &Tiles, spot: &Spot, mirrored: f32) -> Rgb {
    let [_, red, blood_mottle, melanin_mottle] = scene.coarse.at(spot.x, spot.y);
    let grain = tiles.skin.at(spot.x * TILE_PER_MM, spot.y * TILE_PER_MM);
    let (fx, fy) = (f64::from(spot.x), f64::from(spot.y));
    let near = scene.fine_bounds.holds(fx, fy).then(|| scene.fine.at(spot.x, spot.y));
    let soft = (scene.wish.edge_soft_mm as f32).max(spot.mm_per_px);
    // Share of the pixel inside the wound's edge; the edge itself is where the share is one half.
    let inside = near.map_or(0.0, |[beyond, _, _]| (0.5 - beyond / soft).clamp(0.0, 1.0));
    let mut melanin = scene.skin.melanin as f32 * (1.0 + 0.07 * melanin_mottle + 0.03 * grain);
    if let Some(freckles) = &scene.freckles {
        melanin *= 1.0 + 1.3 * freckles.at(spot.index);
    }
    let mut blood = scene.skin.blood as f32 * (1.0 + 0.16 * blood_mottle + 0.07 * grain).max(0.2);
    blood += red * scene.more_blood as f32;
    let mut pale = 0.0;
    if let Some([beyond, _, _]) = near {
        // Wider and stronger here than there, as skin is.
        let uneven = tiles.bed.at(spot.x * 0.55 + 13.0, spot.y * 0.55 + 57.0).clamp(-1.6, 1.6);
        let rim = rim_share(beyond, scene.wish.rim_mm as f32 * (1.0 + 0.3 * uneven)) * (0.75 + 0.15 * uneven);
        match scene.wish.rim {
            Rim::Plain => {}
            Rim::NewSkin => (melanin, blood) = (melanin * (1.0 - 0.5 * rim), blood * (1.0 + 1.2 * rim)),
            Rim::Macerated => pale = 0.75 * rim,
        }
    }
    let mut skin = scene.skin.of(melanin, blood);
    let relief = 1.0 + 0.025 * grain;
    skin = scaled(skin, relief);
    if pale > 0.0 {
        skin = mix(skin, [0.66, 0.59, 0.51], pale);
    }
    let gloss = mirrored * (0.65 + 0.35 * grain).max(0.0);
    skin = [skin[0] + gloss, skin[1] + gloss, skin[2] + gloss];
    let mut all = match near {
        Some(near) if inside > 0.0 => mix(skin, bed(scene, tiles, spot, near), inside),
        Some(_) | None => skin,
    };
    if let Some((cover, _)) = &scene.pen {
        all = mix(all, PEN, cover.at(spot.index) * (1.0 - inside));
    }
    if let Some(residue) = &scene.residue {
        let (colour, cover) = residue.at(spot.x, spot.y);
        all = mix(all, colour, cover);
    }
    if let Some(hair) = &scene.hair {
        all = mix(all, HAIR, hair.at(spot.index));
    }
    all
}

/// Full at the edge, gone at `wide_mm`.
#[inline]
fn rim_share(beyond: f32, wide_mm: f32) -> f32 {
    if wide_mm > 0.0 { 1.0 - smooth_step(0.6 * wide_mm, 1.2 * wide_mm, beyond) } else { 0.0 }
}

/// The bed, its relief and its wet shine.
fn bed(scene: &Scene, tiles: &Tiles, spot: &Spot, [beyond, yellow, dark]: [f32; 3]) -> Rgb {
    let at = |dx: f32, dy: f32| tiles.bed.at((spot.x + dx) * TILE_PER_MM, (spot.y + dy) * TILE_PER_MM);
    let [lx, ly] = tiles.toward_mm;
    let grain = at(0.0, 0.0);
    // Lower than its surroundings on the side of the light: in shade.
    let slope = at(0.3 * lx, 0.3 * ly) - at(-0.3 * lx, -0.3 * ly);
    let relief = (1.0 - 0.09 * slope).clamp(0.6, 1.4);
    let broad = tiles.bed.at(spot.x * 0.6 + 191.0, spot.y * 0.6 + 83.0);
    let colour = scene.bed.colour(yellow, dark, grain, broad);
    // The wall at the edge: dark where it stands toward the lamp, lit where it faces it.
    let near_edge = (beyond / 1.1).exp().min(1.0);
    let wall = if beyond > -3.5 {
        let step = 0.4;
        let along = scene.fine.at(spot.x + step * lx, spot.y + step * ly)[0];
        let facing = ((along - beyond) / step).clamp(-1.0, 1.0);
        1.0 - near_edge * (0.14 + 0.22 * facing)
    } else {
        1.0
    };
    let shine = shine(scene, tiles, spot, slope);
    let colour = scaled(colour, relief * wall);
    [colour[0] + shine, colour[1] + shine, colour[2] + shine]
}

/// Small glints where a wet bump faces the lamp; in one case, one broad mirror of it.
fn shine(scene: &Scene, tiles: &Tiles, spot: &Spot, slope: f32) -> f32 {
    let glare = scene.wish.glare as f32;
    let broad = tiles.bed.at(spot.x * 0.35 + 77.0, spot.y * 0.35 + 31.0);
    let glints = glare * 1.6 * smooth_step(1.0, 2.0, 0.45 * broad + 0.8 * slope);
    match scene.wish.case {
        Case::GlareOnBed => {
            let size = (scene.wish.area_cm2.sqrt() * 10.0) as f32;
            let (x, y) = (spot.x / size - 0.08, spot.y / size + 0.05);
            glints + 1.8 * smooth_step(0.36, 0.16, (x * x + y * y).sqrt() + 0.05 * broad)
        }
        _ => glints,
    }
}
