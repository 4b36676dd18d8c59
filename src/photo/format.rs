//! What a file is, told from its first bytes alone: the sender's file name and type are never asked.

/// A picture format that is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Format {
    Jpeg,
    Png,
    WebP,
    Heic,
}

impl Format {
    /// Stable word for stored rows.
    pub fn code(self) -> &'static str {
        match self {
            Format::Jpeg => "jpeg",
            Format::Png => "png",
            Format::WebP => "webp",
            Format::Heic => "heic",
        }
    }

    /// `None` for a word that is no format's code.
    pub fn from_code(code: &str) -> Option<Format> {
        [Format::Jpeg, Format::Png, Format::WebP, Format::Heic]
            .into_iter()
            .find(|format| format.code() == code)
    }
}

/// What a file that is not read as a picture seems to be, so that the sender can be told what to do instead.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LooksLike {
    Gif,
    Avif,
    /// HEIC while the program was built without the decoder.
    Heic,
    /// TIFF, BMP, camera raw or another still picture.
    OtherPicture,
    Video,
    Pdf,
    Zip,
    Html,
    Text,
    Unknown,
}

impl LooksLike {
    /// Stable word for logs.
    pub fn code(self) -> &'static str {
        match self {
            LooksLike::Gif => "gif",
            LooksLike::Avif => "avif",
            LooksLike::Heic => "heic",
            LooksLike::OtherPicture => "other_picture",
            LooksLike::Video => "video",
            LooksLike::Pdf => "pdf",
            LooksLike::Zip => "zip",
            LooksLike::Html => "html",
            LooksLike::Text => "text",
            LooksLike::Unknown => "unknown",
        }
    }
}

/// The format the magic bytes name; `None` when they name none that is read here.
pub fn sniff(bytes: &[u8]) -> Option<Format> {
    if bytes.starts_with(&[0xFF, 0xD8, 0xFF]) {
        return Some(Format::Jpeg);
    }
    if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        return Some(Format::Png);
    }
    if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
        return Some(Format::WebP);
    }
    (brand_of(bytes) == Some(Brand::Heic)).then_some(Format::Heic)
}

/// What a file that `sniff` does not know seems to be.
pub(crate) fn looks_like(bytes: &[u8]) -> LooksLike {
    match brand_of(bytes) {
        Some(Brand::Heic) => return LooksLike::Heic,
        Some(Brand::Avif) => return LooksLike::Avif,
        Some(Brand::Other) => return LooksLike::Video,
        None => {}
    }
    const BEGINNINGS: [(&[u8], LooksLike); 9] = [
        (b"GIF8", LooksLike::Gif),
        (b"%PDF", LooksLike::Pdf),
        (b"PK\x03\x04", LooksLike::Zip),
        (b"PK\x05\x06", LooksLike::Zip),
        (b"II*\0", LooksLike::OtherPicture),
        (b"MM\0*", LooksLike::OtherPicture),
        (b"BM", LooksLike::OtherPicture),
        (b"\x1aE\xdf\xa3", LooksLike::Video),
        (b"\0\0\x01\0", LooksLike::OtherPicture),
    ];
    if let Some((_, kind)) = BEGINNINGS.iter().find(|(beginning, _)| bytes.starts_with(beginning)) {
        return *kind;
    }
    text_kind(bytes)
}

/// How much of a file is looked at to tell text from other bytes.
const TEXT_PROBE_BYTES: usize = 512;

fn text_kind(bytes: &[u8]) -> LooksLike {
    let head = &bytes[..bytes.len().min(TEXT_PROBE_BYTES)];
    let text = String::from_utf8_lossy(head).trim_start_matches('\u{feff}').trim_start().to_ascii_lowercase();
    let tags = ["<!doctype html", "<html", "<head", "<body", "<script", "<!--", "<svg", "<?xml"];
    if tags.iter().any(|tag| text.starts_with(tag)) {
        return LooksLike::Html;
    }
    // A character cut at the end of the probe is no error; a wrong one is.
    let is_utf8 = std::str::from_utf8(head).map_or_else(|error| error.error_len().is_none(), |_| true);
    let no_controls = head.iter().all(|byte| *byte >= 0x20 || matches!(byte, b'\t' | b'\n' | b'\r' | 0x0C));
    if is_utf8 && no_controls { LooksLike::Text } else { LooksLike::Unknown }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Brand {
    Heic,
    Avif,
    Other,
}

/// The kind an ISO base media file (ISO/IEC 14496-12) says it is in its leading `ftyp` box.
fn brand_of(bytes: &[u8]) -> Option<Brand> {
    if bytes.get(4..8) != Some(b"ftyp") {
        return None;
    }
    let length = u32::from_be_bytes(bytes.get(..4)?.try_into().ok()?) as usize;
    let end = length.clamp(8, 256).min(bytes.len());
    let brands: Vec<&[u8]> = bytes[8..end].chunks_exact(4).collect();
    let names =
        |wanted: &[&[u8; 4]]| brands.iter().any(|brand| wanted.iter().any(|name| *brand == &name[..]));
    if names(&[b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx"]) {
        Some(Brand::Heic)
    } else if names(&[b"avif", b"avis"]) {
        Some(Brand::Avif)
    } else if names(&[b"mif1", b"msf1"]) {
        Some(Brand::Heic)
    } else {
        Some(Brand::Other)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_bytes_name_the_format() {
        assert_eq!(sniff(b"\xFF\xD8\xFF\xE0rest"), Some(Format::Jpeg));
        assert_eq!(sniff(b"\x89PNG\r\n\x1a\nrest"), Some(Format::Png));
        assert_eq!(sniff(b"RIFF\0\0\0\0WEBPVP8 "), Some(Format::WebP));
        assert_eq!(sniff(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic"), Some(Format::Heic));
        assert_eq!(sniff(b"\0\0\0\x18ftypmif1\0\0\0\0mif1heic"), Some(Format::Heic));
    }

    #[test]
    fn neighbours_of_the_formats_are_not_taken_for_them() {
        assert_eq!(sniff(b"RIFF\0\0\0\0WAVEfmt "), None);
        assert_eq!(sniff(b"\xFF\xD8"), None);
        assert_eq!(sniff(b"\0\0\0\x18ftypavif\0\0\0\0mif1avif"), None);
        assert_eq!(sniff(b"\0\0\0\x18ftypisom\0\0\0\0isommp42"), None);
        assert_eq!(sniff(b"<html>\xFF\xD8\xFF\xE0"), None);
        assert_eq!(sniff(b""), None);
    }

    #[test]
    fn a_file_that_is_no_picture_is_called_what_it_is() {
        let kinds: [(&[u8], LooksLike); 12] = [
            (b"%PDF-1.7\n", LooksLike::Pdf),
            (b"  <!DOCTYPE html><html>", LooksLike::Html),
            (b"<svg xmlns='x'>", LooksLike::Html),
            (b"The wound is fine.", LooksLike::Text),
            ("Herida más roja".as_bytes(), LooksLike::Text),
            (b"GIF89a\x01\0", LooksLike::Gif),
            (b"PK\x03\x04zip", LooksLike::Zip),
            (b"II*\0\x08\0\0\0", LooksLike::OtherPicture),
            (b"\0\0\0\x18ftypavif\0\0\0\0mif1avif", LooksLike::Avif),
            (b"\0\0\0\x18ftypqt  \0\0\0\0qt  qt  ", LooksLike::Video),
            (b"\x00\x01\x02\x03", LooksLike::Unknown),
            (b"MZ\x90\0", LooksLike::Unknown),
        ];
        for (bytes, kind) in kinds {
            assert_eq!(looks_like(bytes), kind, "{}", bytes.escape_ascii());
        }
    }

    #[test]
    fn a_format_reads_back_from_its_code() {
        for format in [Format::Jpeg, Format::Png, Format::WebP, Format::Heic] {
            assert_eq!(Format::from_code(format.code()), Some(format));
        }
        assert_eq!(Format::from_code("gif"), None);
    }
}
