//! Whether it is safe to hand a HEIC file to its decoder, which allocates whatever sizes the file declares.
//!
//! The decoder checks the size of the whole picture only. Here every size and offset written outside the picture data is
//! checked, wherever it stands, so that it does not matter how the decoder walks the boxes (ISO/IEC 14496-12, 23008-12).

use std::ops::Range;

use crate::photo::heic_sps;
use crate::photo::heic_tiles::Fields;
use crate::photo::heic_tiles::Tiles;
use crate::photo::limits::Limits;
use crate::photo::limits::Refused;

/// Memory the decoder takes for each pixel, bytes: planes, canvas, turned copy and the decoder's own tables.
pub(crate) const BYTES_PER_PIXEL: f64 = 9.0;

/// All tiles together may hold this many times the pixels of the largest picture allowed: edge tiles overlap the border.
const TILES_TO_PICTURE: u64 = 2;

pub(crate) fn check(bytes: &[u8], limits: &Limits) -> Result<(), Refused> {
    let mut tiles = Tiles::default();
    for (name, body) in named_boxes(bytes) {
        match name {
            b"ispe" => {
                let (width, height) = declared_size(body).ok_or(Refused::Damaged)?;
                limits.allow(width, height, BYTES_PER_PIXEL)?;
            }
            b"hvcC" => allow_all(&heic_sps::in_configuration(body), limits)?,
            b"iloc" => extents_inside(body, bytes.len() as u64).ok_or(Refused::Damaged)?,
            b"ipco" => tiles.note_properties(body).ok_or(Refused::Damaged)?,
            b"ipma" => tiles.note_associations(body).ok_or(Refused::Damaged)?,
            b"dimg" => tiles.note_picture(body).ok_or(Refused::Damaged)?,
            b"pixi" => exact_channels(body).ok_or(Refused::Damaged)?,
            b"auxC" => {
                body.get(4..).filter(|text| text.contains(&0)).ok_or(Refused::Damaged)?;
            }
            _ => {}
        }
    }
    allow_all(&heic_sps::in_stream(bytes), limits)?;
    let too_many = tiles.most_px() > limits.pixels * TILES_TO_PICTURE;
    if too_many { Err(Refused::Damaged) } else { Ok(()) }
}

fn allow_all(sizes: &[(u32, u32)], limits: &Limits) -> Result<(), Refused> {
    sizes.iter().try_for_each(|(width, height)| limits.allow(*width, *height, BYTES_PER_PIXEL))
}

fn declared_size(body: &[u8]) -> Option<(u32, u32)> {
    let mut fields = Fields(body);
    fields.number(4)?;
    Some((fields.side()?, fields.side()?))
}

/// Everything outside the picture data that can be read as one of the boxes checked here, with its body.
fn named_boxes(bytes: &[u8]) -> impl Iterator<Item = (&[u8], &[u8])> {
    const NAMES: [&[u8; 4]; 8] = [b"ispe", b"hvcC", b"iloc", b"ipco", b"ipma", b"dimg", b"pixi", b"auxC"];
    let data = picture_data(bytes);
    (4..bytes.len().saturating_sub(3)).filter(move |at| !data.contains(at)).filter_map(|at| {
        let name = &bytes[at..at + 4];
        if !NAMES.iter().any(|known| name == &known[..]) {
            return None;
        }
        let size = u32::from_be_bytes(bytes[at - 4..at].try_into().ok()?) as usize;
        let end = (at - 4).saturating_add(size.max(8)).min(bytes.len());
        Some((name, bytes.get(at + 4..end).unwrap_or_default()))
    })
}

/// Where the first `mdat` box lies; empty when there is none.
fn picture_data(bytes: &[u8]) -> Range<usize> {
    let mut at = 0usize;
    while let Some(header) = bytes.get(at..at.saturating_add(8)) {
        let short = u64::from(u32::from_be_bytes([header[0], header[1], header[2], header[3]]));
        let size = match short {
            0 => Some((bytes.len() - at) as u64),
            1 => Fields(&bytes[at + 8..]).number(8),
            size => Some(size),
        };
        let Some(size) = size.filter(|size| *size >= 8).and_then(|size| usize::try_from(size).ok()) else {
            break;
        };
        let end = at.saturating_add(size).min(bytes.len());
        if &header[4..8] == b"mdat" {
            return at + 8..end;
        }
        at = end;
    }
    0..0
}

/// `None` when an item of this `iloc` box lies outside the file: the decoder allocates for it before it reads.
fn extents_inside(body: &[u8], file_bytes: u64) -> Option<()> {
    let mut fields = Fields(body);
    let version = fields.number(1)?;
    fields.number(3)?;
    let sizes = fields.number(2)?;
    let nibble = |shift: u64| (sizes >> shift & 0xF) as usize;
    let (offset_size, length_size, base_size) = (nibble(12), nibble(8), nibble(4));
    let index_size = if version >= 1 { nibble(0) } else { 0 };
    let count = fields.number(if version < 2 { 2 } else { 4 })?;
    for _ in 0..count {
        fields.number(if version < 2 { 2 } else { 4 })?;
        if version >= 1 {
            fields.number(2)?;
        }
        fields.number(2)?;
        let base = fields.number(base_size)?;
        for _ in 0..fields.number(2)? {
            fields.number(index_size)?;
            let offset = fields.number(offset_size)?;
            let length = fields.number(length_size)?;
            let end = base.checked_add(offset)?.checked_add(length)?;
            if end > file_bytes {
                return None;
            }
        }
    }
    Some(())
}

/// The decoder does not skip what follows the channels of a `pixi` box and would lose its place.
fn exact_channels(body: &[u8]) -> Option<()> {
    let channels = usize::from(*body.get(4)?);
    (body.len() == 5 + channels).then_some(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(name: &[u8; 4], body: &[u8]) -> Vec<u8> {
        [&(body.len() as u32 + 8).to_be_bytes()[..], name, body].concat()
    }

    fn verdict(boxes: &[Vec<u8>]) -> Result<(), Refused> {
        check(&[named(b"ftyp", b"heic\0\0\0\0"), boxes.concat()].concat(), &Limits::default())
    }

    fn size(width: u32, height: u32) -> Vec<u8> {
        named(b"ispe", &[0, width, height].map(u32::to_be_bytes).concat())
    }

    /// An item location box (version 1) with one item of one extent.
    fn location(offset: u32, length: u32) -> Vec<u8> {
        let head = [1, 0, 0, 0, 0x44, 0, 0, 1, 0, 1, 0, 0, 0, 0, 0, 1];
        named(b"iloc", &[&head[..], &offset.to_be_bytes(), &length.to_be_bytes()].concat())
    }

    #[test]
    fn a_declared_size_beyond_the_limit_is_refused_before_decoding() {
        assert_eq!(verdict(&[size(4_032, 3_024)]), Ok(()));
        let refused = Err(Refused::TooLarge { width_px: 30_000, height_px: 30_000 });
        assert_eq!(verdict(&[size(4_032, 3_024), size(30_000, 30_000)]), refused);
    }

    #[test]
    fn an_item_that_ends_beyond_the_file_is_refused() {
        let whole = 16 + location(0, 0).len() as u32;
        assert_eq!(verdict(&[location(0, whole)]), Ok(()));
        assert_eq!(verdict(&[location(0, whole + 1)]), Err(Refused::Damaged));
        assert_eq!(verdict(&[location(u32::MAX, u32::MAX)]), Err(Refused::Damaged));
    }

    #[test]
    fn names_inside_the_picture_data_do_not_count() {
        assert_eq!(verdict(&[named(b"mdat", &size(30_000, 30_000))]), Ok(()));
        assert!(verdict(&[named(b"free", &size(30_000, 30_000))]).is_err());
    }

    #[test]
    fn boxes_in_which_the_decoder_would_lose_its_place_are_refused() {
        assert_eq!(verdict(&[named(b"pixi", &[0, 0, 0, 0, 3, 8, 8, 8])]), Ok(()));
        assert_eq!(verdict(&[named(b"pixi", &[0, 0, 0, 0, 3, 8, 8, 8, 0])]), Err(Refused::Damaged));
        assert_eq!(verdict(&[named(b"auxC", b"\0\0\0\0urn:x\0")]), Ok(()));
        assert_eq!(verdict(&[named(b"auxC", b"\0\0\0\0urn:x")]), Err(Refused::Damaged));
    }
}
