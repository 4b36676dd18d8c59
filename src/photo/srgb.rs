//! Wide-gamut pictures brought to sRGB: dropping a Display-P3 profile without converting would dull every red.

use std::sync::Arc;

use moxcms::ColorProfile;
use moxcms::DataColorSpace;
use moxcms::Layout;
use moxcms::TransformExecutor;
use moxcms::TransformOptions;

/// Colour profiles above this are not read; the largest seen in phone photos have 3 KB, print profiles 2 MB.
pub(crate) const LARGEST_PROFILE_BYTES: usize = 4 << 20;

/// Brings rows of RGB pixels to sRGB.
pub(crate) enum ToSrgb {
    /// The pixels are sRGB already, or nothing usable says otherwise.
    Unchanged,
    Convert(Arc<dyn TransformExecutor<u8> + Send + Sync>),
}

impl ToSrgb {
    /// From an embedded ICC profile. A profile that is absent, broken, not for RGB, or changes nothing is not applied.
    pub(crate) fn from_profile(profile: Option<&[u8]>) -> ToSrgb {
        profile.and_then(converter).map_or(ToSrgb::Unchanged, ToSrgb::Convert)
    }

    /// Converts `rgb` (three bytes a pixel) where it stands.
    pub(crate) fn apply(&self, rgb: &mut Vec<u8>) {
        match self {
            ToSrgb::Unchanged => {}
            ToSrgb::Convert(transform) => {
                let mut converted = vec![0; rgb.len()];
                if transform.transform(rgb, &mut converted).is_ok() {
                    *rgb = converted;
                }
            }
        }
    }
}

fn converter(profile: &[u8]) -> Option<Arc<dyn TransformExecutor<u8> + Send + Sync>> {
    if profile.len() > LARGEST_PROFILE_BYTES {
        return None;
    }
    let source = ColorProfile::new_from_slice(profile).ok()?;
    if source.color_space != DataColorSpace::Rgb {
        return None;
    }
    let srgb = ColorProfile::new_srgb();
    let transform =
        source.create_transform_8bit(Layout::Rgb, &srgb, Layout::Rgb, TransformOptions::default()).ok()?;
    changes_something(&*transform).then_some(transform)
}

/// Most photos carry a profile that *is* sRGB; converting through it costs time and rounding. Tried on a 6 × 6 × 6 grid.
fn changes_something(transform: &dyn TransformExecutor<u8>) -> bool {
    let grid: Vec<u8> = (0..216u8).flat_map(|n| [n / 36 * 51, n / 6 % 6 * 51, n % 6 * 51]).collect();
    let mut out = vec![0; grid.len()];
    transform.transform(&grid, &mut out).is_ok()
        && grid.iter().zip(&out).any(|(before, after)| before.abs_diff(*after) > 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn applied(profile: Option<&[u8]>, pixel: [u8; 3]) -> Vec<u8> {
        let mut rgb = pixel.to_vec();
        ToSrgb::from_profile(profile).apply(&mut rgb);
        rgb
    }

    #[test]
    fn display_p3_red_becomes_a_stronger_srgb_red() {
        let p3 = ColorProfile::new_display_p3().encode().unwrap();
        let [before, after] = [[200, 60, 50].to_vec(), applied(Some(&p3), [200, 60, 50])];
        assert!(after[0] > before[0] && after[1] < before[1], "{after:?}");
    }

    #[test]
    fn an_srgb_profile_is_recognised_and_not_applied() {
        let srgb = ColorProfile::new_srgb().encode().unwrap();
        assert!(matches!(ToSrgb::from_profile(Some(&srgb)), ToSrgb::Unchanged));
    }

    #[test]
    fn a_broken_or_missing_profile_leaves_the_pixels_alone() {
        assert_eq!(applied(None, [1, 2, 3]), [1, 2, 3]);
        assert_eq!(applied(Some(b"not a profile"), [1, 2, 3]), [1, 2, 3]);
        let p3 = ColorProfile::new_display_p3().encode().unwrap();
        for cut in [40, 128, 132, p3.len() / 2, p3.len() - 1] {
            applied(Some(&p3[..cut]), [1, 2, 3]);
        }
    }
}
