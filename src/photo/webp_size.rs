//! The sizes the frames inside a WebP file declare for themselves: they may be larger than the file's own header says.

/// Width and height of every lossy frame (RFC 9649, RFC 6386 section 9.1), also of those inside an animation.
pub(crate) fn lossy_frames_px(bytes: &[u8]) -> Vec<(u32, u32)> {
    let mut found = Vec::new();
    let mut at = 12;
    while let Some((name, body, next)) = chunk(bytes, at) {
        match name {
            b"VP8 " => found.extend(lossy_size(body)),
            // An animation frame: 16 bytes of its own, then chunks. Only the first frame is ever decoded.
            b"ANMF" => {
                let mut inner = 16;
                while let Some((name, body, next)) = chunk(body, inner) {
                    if name == b"VP8 " {
                        found.extend(lossy_size(body));
                    }
                    inner = next;
                }
                return found;
            }
            _ => {}
        }
        at = next;
    }
    found
}

/// A chunk's name, as much of its body as is there, and where the next one starts.
fn chunk(bytes: &[u8], at: usize) -> Option<(&[u8; 4], &[u8], usize)> {
    let header = bytes.get(at..)?;
    let (name, rest) = header.split_first_chunk::<4>()?;
    let (length, rest) = rest.split_first_chunk::<4>()?;
    let length = u32::from_le_bytes(*length) as usize;
    let next = at.saturating_add(8).saturating_add(length).saturating_add(length & 1);
    Some((name, &rest[..length.min(rest.len())], next))
}

fn lossy_size(body: &[u8]) -> Option<(u32, u32)> {
    let size: [u8; 4] = body.get(6..10)?.try_into().ok()?;
    let width = u16::from_le_bytes([size[0], size[1]]) & 0x3FFF;
    let height = u16::from_le_bytes([size[2], size[3]]) & 0x3FFF;
    Some((u32::from(width), u32::from(height)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(name: &[u8], body: &[u8]) -> Vec<u8> {
        [name, &(body.len() as u32).to_le_bytes(), body].concat()
    }

    fn lossy(width: u16, height: u16) -> Vec<u8> {
        let size = [width.to_le_bytes(), height.to_le_bytes()].concat();
        named(b"VP8 ", &[&[0, 0, 0, 0x9d, 0x01, 0x2a], &size[..]].concat())
    }

    #[test]
    fn a_frame_is_found_behind_other_chunks_and_inside_an_animation() {
        let head = b"RIFF\0\0\0\0WEBP";
        let plain = [&head[..], &named(b"VP8X", &[0; 10]), &lossy(640, 480)].concat();
        assert_eq!(lossy_frames_px(&plain), [(640, 480)]);
        let frame = [&[0; 16][..], &lossy(16_383, 9)].concat();
        let moving = [&head[..], &named(b"VP8X", &[0; 10]), &named(b"ANMF", &frame)].concat();
        assert_eq!(lossy_frames_px(&moving), [(16_383, 9)]);
    }

    #[test]
    fn a_cut_chunk_gives_nothing() {
        assert!(lossy_frames_px(b"RIFF\0\0\0\0WEBPVP8 \xFF\xFF\xFF\xFF\0\0").is_empty());
    }
}
