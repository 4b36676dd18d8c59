//! Letters: how wide words are, where lines break, and what stands for a letter the fonts do not have.

use std::ops::Range;
use std::sync::LazyLock;

use rustybuzz::Direction;
use rustybuzz::Face;
use rustybuzz::GlyphBuffer;
use rustybuzz::ShapePlan;
use rustybuzz::UnicodeBuffer;
use rustybuzz::script;
use rustybuzz::ttf_parser::GlyphId;
use rustybuzz::ttf_parser::OutlineBuilder;
use unicode_bidi::BidiInfo;
use unicode_bidi::Level;
use unicode_normalization::UnicodeNormalization;

use crate::sheet::draft::PT_PER_MM;

/// DejaVu Sans Condensed 2.37; licence and checksums lie beside the files.
pub(super) static REGULAR_TTF: &[u8] = include_bytes!("fonts/DejaVuSansCondensed.ttf");
pub(super) static BOLD_TTF: &[u8] = include_bytes!("fonts/DejaVuSansCondensed-Bold.ttf");

static REGULAR: LazyLock<Lettering> = LazyLock::new(|| Lettering::open(REGULAR_TTF));
static BOLD: LazyLock<Lettering> = LazyLock::new(|| Lettering::open(BOLD_TTF));

/// Stands for a letter the fonts do not have: an empty square.
const MISSING_LETTER: char = '\u{25A1}';

/// The two weights of the sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weight {
    Regular,
    Bold,
}

/// An open font, and its rules for Latin letters worked out once: doing so for each word takes most of the time.
struct Lettering {
    face: Face<'static>,
    latin: ShapePlan,
}

impl Lettering {
    fn open(ttf: &'static [u8]) -> Lettering {
        let face = Face::from_slice(ttf, 0).expect("the font is part of the program and a test opens it");
        let latin = ShapePlan::new(&face, Direction::LeftToRight, Some(script::LATIN), None, &[]);
        Lettering { face, latin }
    }

    fn shape(&self, text: &str, direction: Direction) -> GlyphBuffer {
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(text);
        buffer.guess_segment_properties();
        buffer.set_direction(direction);
        if buffer.script() == script::LATIN && direction == Direction::LeftToRight {
            rustybuzz::shape_with_plan(&self.face, &self.latin, buffer)
        } else {
            rustybuzz::shape(&self.face, &[], buffer)
        }
    }
}

fn lettering(weight: Weight) -> &'static Lettering {
    match weight {
        Weight::Regular => &REGULAR,
        Weight::Bold => &BOLD,
    }
}

fn face(weight: Weight) -> &'static Face<'static> {
    &lettering(weight).face
}

/// Hands the outline of one glyph to `pen`, in font units, upwards from the baseline.
pub(super) fn trace(weight: Weight, glyph: u32, pen: &mut dyn OutlineBuilder) {
    if let Ok(number) = u16::try_from(glyph) {
        face(weight).outline_glyph(GlyphId(number), pen);
    }
}

/// Font units in one letter size.
pub(super) fn units_per_em(weight: Weight) -> f64 {
    f64::from(face(weight).units_per_em())
}

/// One glyph: its number in the font, how far it moves on and is shifted (in shares of the letter size), and the
/// bytes of its stretch's text it stands for.
#[derive(Clone, Debug)]
pub struct SetGlyph {
    pub id: u32,
    pub advance_em: f32,
    pub shift_x_em: f32,
    pub shift_y_em: f32,
    pub text: Range<usize>,
}

/// A stretch of one writing direction, glyphs from left to right.
#[derive(Clone, Debug)]
pub struct Stretch {
    pub text: String,
    pub glyphs: Vec<SetGlyph>,
}

/// One line of letters, ready to be drawn.
#[derive(Clone, Debug)]
pub struct SetLine {
    pub stretches: Vec<Stretch>,
    pub size_pt: f64,
    pub weight: Weight,
    /// What the line says, in reading order.
    pub text: String,
}

impl SetLine {
    pub fn width_mm(&self) -> f64 {
        let glyphs = self.stretches.iter().flat_map(|stretch| &stretch.glyphs);
        glyphs.map(|glyph| f64::from(glyph.advance_em)).sum::<f64>() * self.size_pt / PT_PER_MM
    }

    /// From the baseline up to the font's ascender.
    pub fn ascent_mm(&self) -> f64 {
        self.em_share_mm(face(self.weight).ascender())
    }

    /// From ascender to descender.
    pub fn height_mm(&self) -> f64 {
        let font = face(self.weight);
        self.em_share_mm(font.ascender()) - self.em_share_mm(font.descender())
    }

    fn em_share_mm(&self, font_units: i16) -> f64 {
        f64::from(font_units) / f64::from(face(self.weight).units_per_em()) * self.size_pt / PT_PER_MM
    }
}

/// The text as it can be printed: composed, on one line, without control characters, and with an empty square for
/// every letter the fonts do not have.
pub fn printable(text: &str) -> String {
    text.nfc()
        .filter(|letter| !turns_direction(*letter))
        .map(|letter| match letter {
            '\u{a0}' => letter,
            _ if letter.is_whitespace() || letter.is_control() => ' ',
            _ if is_in_fonts(letter) => letter,
            _ => MISSING_LETTER,
        })
        .collect()
}

/// Invisible marks that turn the writing direction: in a name they could make the rest of a line read backwards.
fn turns_direction(letter: char) -> bool {
    matches!(letter, '\u{061C}' | '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
}

fn is_in_fonts(letter: char) -> bool {
    [Weight::Regular, Weight::Bold].into_iter().all(|weight| face(weight).glyph_index(letter).is_some())
}

/// Sets one line, however long.
pub fn set_line(text: &str, size_pt: f64, weight: Weight) -> SetLine {
    let text = printable(text);
    let bidi = BidiInfo::new(&text, Some(Level::ltr()));
    let mut stretches = Vec::new();
    for paragraph in &bidi.paragraphs {
        let (levels, runs) = bidi.visual_runs(paragraph, paragraph.range.clone());
        for run in runs {
            let direction = match levels.get(run.start) {
                Some(level) if level.is_rtl() => Direction::RightToLeft,
                Some(_) | None => Direction::LeftToRight,
            };
            stretches.push(set_stretch(&text[run], direction, weight));
        }
    }
    SetLine { stretches, size_pt, weight, text }
}

fn set_stretch(text: &str, direction: Direction, weight: Weight) -> Stretch {
    let shaped = lettering(weight).shape(text, direction);
    let mut starts: Vec<usize> = shaped.glyph_infos().iter().map(|info| info.cluster as usize).collect();
    starts.sort_unstable();
    starts.dedup();
    let end_of = |start: usize| {
        let next = starts.partition_point(|known| *known <= start);
        starts.get(next).copied().unwrap_or(text.len())
    };
    let em = face(weight).units_per_em() as f32;
    let glyphs = shaped
        .glyph_infos()
        .iter()
        .zip(shaped.glyph_positions())
        .map(|(info, position)| SetGlyph {
            id: info.glyph_id,
            advance_em: position.x_advance as f32 / em,
            shift_x_em: position.x_offset as f32 / em,
            shift_y_em: position.y_offset as f32 / em,
            text: info.cluster as usize..end_of(info.cluster as usize),
        })
        .collect();
    Stretch { text: text.to_owned(), glyphs }
}

/// Sets text in lines no wider than `width_mm`, broken at spaces, and inside a word only when the word alone is too
/// wide. A letter wider than the column stands alone and reaches out of it.
pub fn set_lines(text: &str, size_pt: f64, weight: Weight, width_mm: f64) -> Vec<SetLine> {
    let wide_mm = |text: &str| set_line(text, size_pt, weight).width_mm();
    let space_mm = wide_mm(" ");
    let mut lines = vec![String::new()];
    let mut line_mm = 0.0;
    for word in printable(text).split(' ').filter(|word| !word.is_empty()) {
        let word_mm = wide_mm(word);
        match lines.last_mut() {
            Some(line) if !line.is_empty() && line_mm + space_mm + word_mm <= width_mm => {
                line.push(' ');
                line.push_str(word);
                line_mm += space_mm + word_mm;
                continue;
            }
            Some(line) if line.is_empty() => {}
            Some(_) | None => lines.push(String::new()),
        }
        let pieces =
            if word_mm <= width_mm { vec![word.to_owned()] } else { pieces(word, wide_mm, width_mm) };
        line_mm = pieces.last().map_or(0.0, |piece| wide_mm(piece));
        lines.pop();
        lines.extend(pieces);
    }
    let filled = lines.iter().filter(|line| !line.is_empty());
    filled.map(|line| set_line(line, size_pt, weight)).collect()
}

/// A word cut into pieces that each fit.
fn pieces(word: &str, wide_mm: impl Fn(&str) -> f64, width_mm: f64) -> Vec<String> {
    let mut pieces = Vec::new();
    let mut piece = String::new();
    for letter in word.chars() {
        piece.push(letter);
        if wide_mm(&piece) > width_mm && piece.chars().count() > 1 {
            piece.pop();
            pieces.push(std::mem::replace(&mut piece, letter.to_string()));
        }
    }
    pieces.push(piece);
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_keep_every_word_and_stay_in_their_width() {
        let text = "Hold the phone straight above, about 30 cm away from the wound and the card.";
        let lines = set_lines(text, 11.0, Weight::Regular, 40.0);
        assert!(lines.len() > 2);
        assert!(lines.iter().all(|line| line.width_mm() <= 40.0));
        let joined: Vec<&str> = lines.iter().map(|line| line.text.as_str()).collect();
        assert_eq!(joined.join(" "), text);
    }

    #[test]
    fn a_word_wider_than_the_column_is_broken_and_loses_nothing() {
        let word = "Wolfeschlegelsteinhausenbergerdorff".repeat(4);
        let lines = set_lines(&word, 11.0, Weight::Bold, 50.0);
        assert!(lines.iter().all(|line| line.width_mm() <= 50.0));
        assert_eq!(lines.iter().map(|line| line.text.as_str()).collect::<String>(), word);
    }

    #[test]
    fn a_letter_outside_the_fonts_becomes_a_square_and_accents_are_composed() {
        assert_eq!(printable("Ana \u{1FAC0} Jose\u{301}"), "Ana \u{25A1} José");
        assert_eq!(printable("a\tb\nc\u{2029}d"), "a b c d");
        assert_eq!(printable("x\u{202E}cba\u{2066}"), "xcba");
    }

    #[test]
    fn a_name_written_from_right_to_left_is_one_stretch_beside_the_others() {
        let line = set_line("For דוד כהן, Ana", 11.0, Weight::Regular);
        assert_eq!(line.stretches.len(), 3);
        assert_eq!(line.stretches[1].text, "דוד כהן");
        let first_drawn = &line.stretches[1].glyphs[0];
        assert!(first_drawn.text.start > line.stretches[1].glyphs.last().unwrap().text.start);
    }

    #[test]
    fn every_sentence_of_the_sheet_is_in_the_fonts() {
        use crate::words::sheet::SheetWords;
        for (name, english, spanish) in SheetWords::ALL {
            assert_eq!(&printable(english), english, "{name}");
            assert_eq!(&printable(spanish), spanish, "{name}");
        }
    }
}
