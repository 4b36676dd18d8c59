//! Sentences drawn as a strip of pixels, for the margin under an exported photo.

use rustybuzz::ttf_parser::OutlineBuilder;

use crate::photo::Margin;
use crate::sheet::draft::PT_PER_MM;
use crate::sheet::lettering::SetLine;
use crate::sheet::lettering::Weight;
use crate::sheet::lettering::set_lines;
use crate::sheet::lettering::trace;
use crate::sheet::lettering::units_per_em;

/// Letters of this share of the picture's width, but no smaller and no larger than these, px.
const WIDTH_PER_LETTER: f64 = 70.0;
const SMALLEST_PX: f64 = 13.0;
const LARGEST_PX: f64 = 44.0;
/// White around the lettering, in letter sizes.
const AROUND: f64 = 0.6;
/// Samples to a side of one pixel.
const FINE: usize = 4;

/// The sentences in black on white, each beginning a line, broken where the width asks for it: nothing is left out, however long
/// a name is. `width_px`: of the picture. `None`: there is nothing to say, or no width.
pub fn lettered(sentences: &[String], width_px: u32) -> Option<Margin> {
    let letter_px = (f64::from(width_px) / WIDTH_PER_LETTER).clamp(SMALLEST_PX, LARGEST_PX).floor();
    let around_px = (AROUND * letter_px).ceil();
    // With this letter size a millimetre is a pixel.
    let size_pt = letter_px * PT_PER_MM;
    let room_px = (f64::from(width_px) - 2.0 * around_px).max(letter_px);
    let lines: Vec<SetLine> =
        sentences.iter().flat_map(|one| set_lines(one, size_pt, Weight::Regular, room_px)).collect();
    let first = lines.first()?;
    let line_px = first.height_mm().ceil();
    let (width, height) = (width_px as usize, (line_px * lines.len() as f64 + 2.0 * around_px) as usize);
    let mut ink = vec![0_u8; width.checked_mul(height)?];
    for (place, line) in lines.iter().enumerate() {
        let baseline = around_px + line_px * place as f64 + line.ascent_mm();
        let edges = outline(line, around_px, baseline, letter_px);
        let rows = (around_px + line_px * place as f64).floor() as usize
            ..(around_px + line_px * (place + 1) as f64).ceil() as usize;
        for row in rows.start..rows.end.min(height) {
            if let Some(pixels) = ink.get_mut(row * width..(row + 1) * width) {
                fill(&edges, row, pixels);
            }
        }
    }
    let most = (FINE * FINE) as f64;
    let grey = ink.iter().map(|covered| (255.0 * (1.0 - f64::from(*covered) / most)).round() as u8).collect();
    Margin::new(width_px, grey)
}

/// A straight piece of an outline, px, downwards; `turn` is 1 or -1 by the way it was drawn.
struct Edge {
    top: (f64, f64),
    bottom: (f64, f64),
    turn: i32,
}

/// Every edge of a line's glyphs.
fn outline(line: &SetLine, left_px: f64, baseline_px: f64, letter_px: f64) -> Vec<Edge> {
    let scale = letter_px / units_per_em(line.weight);
    let mut edges = Vec::new();
    let mut at_px = left_px;
    for glyph in line.stretches.iter().flat_map(|stretch| &stretch.glyphs) {
        let mut pen = Pen {
            edges: &mut edges,
            scale,
            left_px: at_px + f64::from(glyph.shift_x_em) * letter_px,
            baseline_px: baseline_px - f64::from(glyph.shift_y_em) * letter_px,
            at: (0.0, 0.0),
            began: (0.0, 0.0),
        };
        trace(line.weight, glyph.id, &mut pen);
        at_px += f64::from(glyph.advance_em) * letter_px;
    }
    edges
}

/// Collects the edges of one glyph.
struct Pen<'a> {
    edges: &'a mut Vec<Edge>,
    /// px in a font unit.
    scale: f64,
    left_px: f64,
    baseline_px: f64,
    at: (f64, f64),
    began: (f64, f64),
}

/// Straight pieces that stand for one curve: at these letter sizes no eye tells them from it.
const PIECES: usize = 6;

impl Pen<'_> {
    fn px(&self, x: f32, y: f32) -> (f64, f64) {
        (self.left_px + f64::from(x) * self.scale, self.baseline_px - f64::from(y) * self.scale)
    }

    fn line(&mut self, to: (f64, f64)) {
        let from = std::mem::replace(&mut self.at, to);
        if from.1 < to.1 {
            self.edges.push(Edge { top: from, bottom: to, turn: 1 });
        } else if from.1 > to.1 {
            self.edges.push(Edge { top: to, bottom: from, turn: -1 });
        }
    }

    fn curve(&mut self, at: impl Fn(f64) -> (f64, f64)) {
        for piece in 1..=PIECES {
            self.line(at(piece as f64 / PIECES as f64));
        }
    }
}

fn between(a: (f64, f64), b: (f64, f64), share: f64) -> (f64, f64) {
    (a.0 + share * (b.0 - a.0), a.1 + share * (b.1 - a.1))
}

impl OutlineBuilder for Pen<'_> {
    fn move_to(&mut self, x: f32, y: f32) {
        self.at = self.px(x, y);
        self.began = self.at;
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.line(self.px(x, y));
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        let (a, b, c) = (self.at, self.px(x1, y1), self.px(x, y));
        self.curve(|share| between(between(a, b, share), between(b, c, share), share));
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let (a, b, c, d) = (self.at, self.px(x1, y1), self.px(x2, y2), self.px(x, y));
        self.curve(|share| {
            let (ab, bc, cd) = (between(a, b, share), between(b, c, share), between(c, d, share));
            between(between(ab, bc, share), between(bc, cd, share), share)
        });
    }

    fn close(&mut self) {
        self.line(self.began);
    }
}

/// Counts, for each pixel of a row, how many of its samples lie inside.
fn fill(edges: &[Edge], row: usize, pixels: &mut [u8]) {
    for fine in 0..FINE {
        let y = row as f64 + (fine as f64 + 0.5) / FINE as f64;
        let mut crossings: Vec<(f64, i32)> = edges
            .iter()
            .filter(|edge| edge.top.1 <= y && y < edge.bottom.1)
            .map(|edge| {
                let share = (y - edge.top.1) / (edge.bottom.1 - edge.top.1);
                (between(edge.top, edge.bottom, share).0, edge.turn)
            })
            .collect();
        crossings.sort_by(|one, other| one.0.total_cmp(&other.0));
        let mut winding = 0;
        for pair in crossings.windows(2) {
            winding += pair[0].1;
            if winding != 0 {
                cover(pixels, pair[0].0, pair[1].0);
            }
        }
    }
}

/// Adds the samples between two places of a row, px.
fn cover(pixels: &mut [u8], from: f64, to: f64) {
    let sample = |px: f64| (px * FINE as f64 - 0.5).ceil().max(0.0) as usize;
    for at in sample(from)..sample(to) {
        if let Some(pixel) = pixels.get_mut(at / FINE) {
            *pixel = pixel.saturating_add(1).min((FINE * FINE) as u8);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dark(margin: &Margin) -> usize {
        margin.grey().iter().filter(|grey| **grey < 100).count()
    }

    #[test]
    fn a_sentence_leaves_ink_and_a_white_edge_around_it() {
        let margin = lettered(&["Exported by Dr. Rosa Lind".to_owned()], 800).unwrap();
        assert!(dark(&margin) > 300, "{}", dark(&margin));
        let rows: Vec<&[u8]> = margin.grey().chunks(800).collect();
        let is_white = |row: &[u8]| row.iter().all(|grey| *grey == 255);
        assert!(is_white(rows[0]) && is_white(rows[rows.len() - 1]));
        assert!(rows.iter().all(|row| row[0] == 255 && row[799] == 255));
        assert_eq!(margin.height_px() % 16, 0);
    }

    #[test]
    fn a_ring_has_a_hole() {
        let margin = lettered(&["O".to_owned()], 320).unwrap();
        let inked: Vec<Vec<bool>> =
            margin.grey().chunks(320).map(|row| row.iter().map(|grey| *grey < 128).collect()).collect();
        let ring = inked.iter().find(|row| row.windows(3).filter(|w| !w[0] && w[1]).count() == 2);
        assert!(ring.is_some(), "no row goes through two sides of the letter");
    }

    #[test]
    fn the_same_words_in_less_width_take_more_lines_and_no_less_ink() {
        let words = ["Exported on March 10, 2026, 11:00 am by Dr. Rosa Lind, Harbor Surgery".to_owned()];
        let (wide, narrow) = (lettered(&words, 900).unwrap(), lettered(&words, 320).unwrap());
        assert!(narrow.height_px() > wide.height_px());
        assert!(dark(&narrow) * 2 > dark(&wide));
    }

    #[test]
    fn a_name_without_a_space_and_longer_than_the_picture_is_broken_and_not_cut() {
        let name = |letters: usize| lettered(&["m".repeat(letters)], 320).unwrap();
        let (short, long) = (dark(&name(20)), dark(&name(200)));
        assert!((long as f64 / short as f64 - 10.0).abs() < 1.0, "{short} {long}");
    }

    #[test]
    fn nothing_to_say_is_no_margin() {
        assert!(lettered(&[], 320).is_none());
        assert!(lettered(&["  ".to_owned()], 320).is_none());
        assert!(lettered(&["a".to_owned()], 0).is_none());
    }
}
