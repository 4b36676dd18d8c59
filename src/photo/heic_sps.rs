//! The picture sizes in the HEVC sequence parameter sets of a HEIC file (ITU-T H.265, sections 7.3.1 and 7.3.2.2).

/// The sizes in the decoder configuration (`hvcC`, ISO/IEC 14496-15 section 8.3.3).
pub(crate) fn in_configuration(body: &[u8]) -> Vec<(u32, u32)> {
    let mut found = Vec::new();
    let mut rest = body.get(23..).unwrap_or_default();
    for _ in 0..body.get(22).copied().unwrap_or(0) {
        let Some((head, after)) = rest.split_first_chunk::<3>() else { break };
        rest = after;
        for _ in 0..u16::from_be_bytes([head[1], head[2]]) {
            let Some((length, after)) = rest.split_first_chunk::<2>() else { return found };
            let length = usize::from(u16::from_be_bytes(*length)).min(after.len());
            if head[0] & 0x3F == SEQUENCE_PARAMETERS {
                found.extend(size(&after[..length]));
            }
            rest = &after[length..];
        }
    }
    found
}

/// The sizes in parameter sets that stand among the picture data, behind a length or a start code. In random data a set
/// that declares a side above 8,191 px turns up by chance once in some 10^9 bytes.
pub(crate) fn in_stream(bytes: &[u8]) -> Vec<(u32, u32)> {
    let unit = |window: &[u8]| {
        let start_code = window[1..4] == [0, 0, 1];
        let length = window[0] == 0 && window[1] == 0;
        (start_code || length) && kind(window[4]) == SEQUENCE_PARAMETERS
    };
    let starts = bytes.windows(5).enumerate().filter(|(_, window)| unit(window));
    starts.filter_map(|(at, _)| size(&bytes[at + 4..])).collect()
}

const SEQUENCE_PARAMETERS: u8 = 33;

fn kind(first_byte: u8) -> u8 {
    first_byte >> 1 & 0x3F
}

/// Width and height in a sequence parameter set, header included. `None` when the bytes are none that the decoder would
/// accept: it knows 8-bit grey and 4:2:0 only, and needs some pixels.
fn size(unit: &[u8]) -> Option<(u32, u32)> {
    let mut bits = Bits::new(unit.get(2..)?);
    bits.read(4)?;
    let sub_layers = bits.read(3)?;
    bits.read(1)?;
    profile_and_level(&mut bits, sub_layers)?;
    bits.exp_golomb()?;
    if bits.exp_golomb()? > 1 {
        return None;
    }
    let (width, height) = (bits.exp_golomb()?, bits.exp_golomb()?);
    if bits.read(1)? == 1 {
        for _ in 0..4 {
            bits.exp_golomb()?;
        }
    }
    let eight_bit = bits.exp_golomb()? == 0 && bits.exp_golomb()? == 0;
    (eight_bit && width > 0 && height > 0).then_some((width, height))
}

fn profile_and_level(bits: &mut Bits, sub_layers: u32) -> Option<()> {
    bits.skip(88 + 8)?;
    let mut present = Vec::new();
    for _ in 0..sub_layers {
        present.push((bits.read(1)?, bits.read(1)?));
    }
    if sub_layers > 0 {
        bits.skip(2 * (8 - sub_layers as usize))?;
    }
    for (profile, level) in present {
        bits.skip(if profile == 1 { 88 } else { 0 } + if level == 1 { 8 } else { 0 })?;
    }
    Some(())
}

/// Bits of a unit, most significant first, emulation prevention bytes left out.
struct Bits {
    bytes: Vec<u8>,
    at: usize,
}

/// A parameter set's size stands within its first bytes; more are not looked at.
const PROBE_BYTES: usize = 256;

impl Bits {
    fn new(unit: &[u8]) -> Bits {
        let mut bytes = Vec::new();
        for byte in unit.iter().take(PROBE_BYTES) {
            if *byte != 3 || !bytes.ends_with(&[0, 0]) {
                bytes.push(*byte);
            }
        }
        Bits { bytes, at: 0 }
    }

    fn read(&mut self, count: usize) -> Option<u32> {
        let mut value = 0;
        for _ in 0..count {
            let byte = self.bytes.get(self.at / 8)?;
            value = value << 1 | u32::from(byte >> (7 - self.at % 8) & 1);
            self.at += 1;
        }
        Some(value)
    }

    fn skip(&mut self, count: usize) -> Option<()> {
        self.at += count;
        (self.at <= 8 * self.bytes.len()).then_some(())
    }

    /// `ue(v)`. `None` for numbers of more than 25 bits.
    fn exp_golomb(&mut self) -> Option<u32> {
        let mut zeros = 0;
        while self.read(1)? == 0 {
            zeros += 1;
            if zeros > 24 {
                return None;
            }
        }
        Some((1 << zeros) - 1 + self.read(zeros)?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn exp_golomb(value: u32) -> String {
        let digits = format!("{:b}", value + 1);
        format!("{}{digits}", "0".repeat(digits.len() - 1))
    }

    /// A parameter set for 8-bit 4:2:0, without emulation prevention (the profile bytes are ones).
    fn parameter_set(width: u32, height: u32) -> Vec<u8> {
        let mut bits = format!("0000{}{}", "0001", "1".repeat(96));
        for value in [0, 1, width, height] {
            bits += &exp_golomb(value);
        }
        bits += "0";
        bits += &(exp_golomb(0) + &exp_golomb(0));
        bits += &"1".repeat(16);
        let packed = bits.as_bytes().chunks_exact(8);
        let bytes = packed.map(|byte| byte.iter().fold(0u8, |value, bit| value << 1 | (bit - b'0')));
        [0x42, 0x01].into_iter().chain(bytes).collect()
    }

    #[test]
    fn the_size_is_read_from_a_configuration() {
        let set = parameter_set(512, 30_000);
        let array =
            [&[0x80 | SEQUENCE_PARAMETERS, 0, 1][..], &(set.len() as u16).to_be_bytes(), &set].concat();
        let body = [&[0; 22][..], &[1], &array].concat();
        assert_eq!(in_configuration(&body), [(512, 30_000)]);
    }

    #[test]
    fn the_size_is_read_among_the_data_behind_a_length_or_a_start_code() {
        let set = parameter_set(20_000, 16);
        let with_length = [&[9, 9][..], &(set.len() as u32).to_be_bytes(), &set].concat();
        assert_eq!(in_stream(&with_length), [(20_000, 16)]);
        let with_start = [&[9, 0, 0, 1][..], &set].concat();
        assert_eq!(in_stream(&with_start), [(20_000, 16)]);
        assert!(in_stream(&[&[9, 9, 9, 9][..], &set].concat()).is_empty());
    }

    #[test]
    fn a_set_without_pixels_is_chance_and_not_a_set() {
        assert_eq!(size(&parameter_set(0, 16)), None);
        assert_eq!(size(&parameter_set(16, 0)), None);
        assert_eq!(size(&parameter_set(1, 1)), Some((1, 1)));
    }

    #[test]
    fn a_set_that_is_cut_gives_nothing() {
        let set = parameter_set(512, 512);
        assert_eq!(size(&set), Some((512, 512)));
        for cut in 0..set.len() - 4 {
            assert_eq!(size(&set[..cut]), None, "{cut}");
        }
    }
}
