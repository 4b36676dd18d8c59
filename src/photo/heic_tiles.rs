//! How many pixels the tiles of a HEIC picture hold together: a short list of tiles may name the same huge one many times.

use std::collections::HashMap;

use crate::photo::heic_sps;

/// Numbers read one after the other, most significant byte first.
pub(crate) struct Fields<'a>(pub &'a [u8]);

impl Fields<'_> {
    /// `None` when the bytes run out, or the width is none that the format allows.
    pub(crate) fn number(&mut self, width: usize) -> Option<u64> {
        if width > 8 {
            return None;
        }
        let (taken, rest) = self.0.split_at_checked(width)?;
        self.0 = rest;
        Some(taken.iter().fold(0, |value, byte| value << 8 | u64::from(*byte)))
    }

    pub(crate) fn side(&mut self) -> Option<u32> {
        u32::try_from(self.number(4)?).ok()
    }
}

/// What is known of the items and their properties (ISO/IEC 23008-12, sections 6.5 and 9.3). Where boxes contradict each
/// other, the larger size counts.
#[derive(Default)]
pub(crate) struct Tiles {
    /// By property number, from 1: pixels of a decoder configuration.
    configured_px: HashMap<u64, u64>,
    /// By item number: the numbers of its properties.
    properties: HashMap<u64, Vec<u64>>,
    /// Item numbers of each derived picture.
    pictures: Vec<Vec<u64>>,
}

impl Tiles {
    /// An `ipco` box: the properties in their order.
    pub(crate) fn note_properties(&mut self, body: &[u8]) -> Option<()> {
        let mut fields = Fields(body);
        for number in 1.. {
            if fields.0.len() < 8 {
                break;
            }
            let size = usize::try_from(fields.number(4)?).ok()?;
            let name = fields.number(4)?.to_be_bytes();
            let (property, rest) = fields.0.split_at_checked(size.checked_sub(8)?)?;
            fields.0 = rest;
            if name.ends_with(b"hvcC") {
                let sizes = heic_sps::in_configuration(property);
                let largest =
                    sizes.iter().map(|(width, height)| u64::from(*width) * u64::from(*height)).max();
                let known = self.configured_px.entry(number).or_default();
                *known = (*known).max(largest.unwrap_or(0));
            }
        }
        Some(())
    }

    /// An `ipma` box: which item has which properties.
    pub(crate) fn note_associations(&mut self, body: &[u8]) -> Option<()> {
        let mut fields = Fields(body);
        let version = fields.number(1)?;
        let wide = fields.number(3)? & 1 == 1;
        for _ in 0..fields.number(4)? {
            let item = fields.number(if version >= 1 { 4 } else { 2 })?;
            for _ in 0..fields.number(1)? {
                let property = if wide { fields.number(2)? & 0x7FFF } else { fields.number(1)? & 0x7F };
                self.properties.entry(item).or_default().push(property);
            }
        }
        Some(())
    }

    /// A `dimg` box: the items a picture is put together from. The version of the box around it is not known here, so
    /// both widths of item numbers are tried.
    pub(crate) fn note_picture(&mut self, body: &[u8]) -> Option<()> {
        let items = |width: usize| {
            let mut fields = Fields(body);
            fields.number(width)?;
            let count = fields.number(2)?;
            let items: Option<Vec<u64>> = (0..count).map(|_| fields.number(width)).collect();
            items.filter(|_| fields.0.is_empty())
        };
        self.pictures.push(items(2).or_else(|| items(4))?);
        Some(())
    }

    /// Pixels of all tiles of the picture that has most. A tile without a configuration of its own takes its picture's,
    /// so the largest of the file.
    pub(crate) fn most_px(&self) -> u64 {
        let largest = self.configured_px.values().copied().max().unwrap_or(0);
        let of_tile = |item: &u64| {
            let own = self.properties.get(item).into_iter().flatten();
            own.filter_map(|property| self.configured_px.get(property).copied()).max().unwrap_or(largest)
        };
        let of_picture = |tiles: &Vec<u64>| tiles.iter().map(of_tile).fold(0, u64::saturating_add);
        self.pictures.iter().map(of_picture).max().unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two configurations, of 4 and 100 pixels; item 7 has the first, item 8 the second.
    fn tiles(pictures: &[&[u64]]) -> Tiles {
        Tiles {
            configured_px: HashMap::from([(1, 4), (3, 100)]),
            properties: HashMap::from([(7, vec![1, 2]), (8, vec![2, 3])]),
            pictures: pictures.iter().map(|items| items.to_vec()).collect(),
        }
    }

    #[test]
    fn each_tile_counts_as_often_as_it_is_named() {
        assert_eq!(tiles(&[&[7, 7, 7]]).most_px(), 12);
        assert_eq!(tiles(&[&[7, 8, 8], &[7]]).most_px(), 204);
        assert_eq!(tiles(&[]).most_px(), 0);
    }

    #[test]
    fn a_tile_without_a_configuration_counts_as_the_largest() {
        assert_eq!(tiles(&[&[7, 9]]).most_px(), 104);
    }

    #[test]
    fn lists_are_read_with_both_widths_of_item_numbers() {
        let read = |body: &[u8]| {
            let mut tiles = Tiles::default();
            tiles.note_picture(body).map(|()| tiles.pictures)
        };
        assert_eq!(read(&[0, 9, 0, 2, 0, 1, 0, 2]), Some(vec![vec![1, 2]]));
        assert_eq!(read(&[0, 0, 0, 9, 0, 1, 0, 0, 0, 7]), Some(vec![vec![7]]));
        assert_eq!(read(&[0, 9, 0, 3, 0, 1]), None);
    }

    #[test]
    fn associations_are_read_narrow_and_wide() {
        let read = |body: &[u8]| {
            let mut tiles = Tiles::default();
            tiles.note_associations(body).map(|()| tiles.properties)
        };
        let expected = Some(HashMap::from([(7, vec![1, 2])]));
        assert_eq!(read(&[0, 0, 0, 0, 0, 0, 0, 1, 0, 7, 2, 0x81, 2]), expected);
        assert_eq!(read(&[1, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 7, 2, 0x80, 1, 0, 2]), expected);
        assert_eq!(read(&[0, 0, 0, 0, 0, 0, 0, 2, 0, 7, 1, 1]), None);
    }
}
