//! Ways in which bytes break on the way, or are broken by somebody who means harm.

use rand::RngExt;
use rand::rngs::StdRng;

/// Numbers at which counting goes wrong.
const EDGES: &[u32] =
    &[0, 1, 0x7F, 0x80, 0xFF, 0x100, 0x7FFF, 0x8000, 0xFFFF, 0x1_0000, 0x7FFF_FFFF, u32::MAX];

/// Breaks samples, the same way for the same seed.
pub struct Breaker {
    dice: StdRng,
    pieces: &'static [&'static [u8]],
}

impl Breaker {
    pub fn new(dice: StdRng, pieces: &'static [&'static [u8]]) -> Breaker {
        Breaker { dice, pieces }
    }

    /// One of the samples, broken in one to six places.
    pub fn broken(&mut self, samples: &[Vec<u8>]) -> Vec<u8> {
        let mut bytes = self.one_of(samples);
        for _ in 0..self.dice.random_range(1..=6) {
            self.break_once(&mut bytes, samples);
        }
        bytes
    }

    fn one_of(&mut self, samples: &[Vec<u8>]) -> Vec<u8> {
        samples[self.dice.random_range(0..samples.len())].clone()
    }

    /// A place in the bytes, or just behind them.
    fn place(&mut self, bytes: &[u8]) -> usize {
        self.dice.random_range(0..=bytes.len())
    }

    /// A stretch, short ones more often.
    fn stretch(&mut self, bytes: &[u8]) -> std::ops::Range<usize> {
        let start = self.place(bytes);
        let most = bytes.len() - start;
        let length = if self.dice.random_bool(0.7) { most.min(16) } else { most };
        start..start + self.dice.random_range(0..=length)
    }

    fn break_once(&mut self, bytes: &mut Vec<u8>, samples: &[Vec<u8>]) {
        match self.dice.random_range(0..10_u8) {
            0 => {
                if let Some(byte) = self.some_byte(bytes) {
                    let bit: u32 = self.dice.random_range(0..8);
                    bytes[byte] ^= 1 << bit;
                }
            }
            1 => {
                if let Some(byte) = self.some_byte(bytes) {
                    bytes[byte] = self.dice.random();
                }
            }
            2 => {
                let at = self.place(bytes);
                bytes.truncate(at);
            }
            3 => {
                let gone = self.stretch(bytes);
                bytes.drain(gone);
            }
            4 => {
                let again = self.stretch(bytes);
                let copy = bytes[again.clone()].to_vec();
                bytes.splice(again.end..again.end, copy);
            }
            5 => {
                let fill = self.stretch(bytes);
                let with: u8 = self.dice.random();
                bytes[fill].fill(with);
            }
            6 => self.put_a_number(bytes),
            7 => {
                let other = self.one_of(samples);
                let from = self.stretch(&other);
                let at = self.stretch(bytes);
                bytes.splice(at, other[from].iter().copied());
            }
            8 => {
                let noise: Vec<u8> = (0..self.dice.random_range(1..24)).map(|_| self.dice.random()).collect();
                let at = self.place(bytes);
                bytes.splice(at..at, noise);
            }
            _ => {
                if self.pieces.is_empty() {
                    return;
                }
                let piece = self.pieces[self.dice.random_range(0..self.pieces.len())];
                let at = self.place(bytes);
                bytes.splice(at..at, piece.iter().copied());
            }
        }
    }

    fn some_byte(&mut self, bytes: &[u8]) -> Option<usize> {
        (!bytes.is_empty()).then(|| self.dice.random_range(0..bytes.len()))
    }

    /// Writes a number over what stood there, in either order of bytes, two or four long.
    fn put_a_number(&mut self, bytes: &mut [u8]) {
        let number = EDGES[self.dice.random_range(0..EDGES.len())];
        let four = if self.dice.random() { number.to_be_bytes() } else { number.to_le_bytes() };
        let (short, big_end) = (self.dice.random(), self.dice.random());
        let written = match (short, big_end) {
            (false, _) => &four[..],
            (true, true) => &four[2..],
            (true, false) => &four[..2],
        };
        if bytes.len() >= written.len() {
            let at = self.dice.random_range(0..=bytes.len() - written.len());
            bytes[at..at + written.len()].copy_from_slice(written);
        }
    }
}
