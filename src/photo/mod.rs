//! What a picture is: upright, sRGB, free of metadata, of known quality; or refused with a reason.

mod clean;
mod decode;
mod encode;
mod format;
#[cfg(feature = "heic")]
mod heic;
#[cfg(feature = "heic")]
mod heic_guard;
#[cfg(feature = "heic")]
mod heic_sps;
#[cfg(feature = "heic")]
mod heic_tiles;
mod jpeg_marks;
mod limits;
mod metadata;
mod picture;
mod plane;
mod quality;
mod rendition;
mod scale_card;
mod shrink;
mod srgb;
mod turn;
mod webp_size;

pub use clean::CleanPhoto;
pub use clean::begins_as;
pub use clean::clean;
pub use clean::told;
pub use format::Format;
pub use format::LooksLike;
pub use format::sniff;
pub use limits::Limits;
pub use limits::Refused;
pub use picture::Picture;
pub use picture::linear_light;
pub use plane::Flat;
pub use plane::Matrix;
pub use plane::MmPoint;
pub use plane::PxPoint;
pub use plane::SkinPlane;
pub use quality::BLURRED_BELOW;
pub use quality::BURNT_OUT_ABOVE;
pub use quality::DARK_BELOW;
pub use quality::Quality;
pub use quality::QualityFlag;
pub use quality::TINY_BELOW_PX;
pub use quality::TOO_BRIGHT_ABOVE;
pub use rendition::FULL_PX;
pub use rendition::REVIEW_PX;
pub use rendition::Rendition;
pub use rendition::SMALL_PX;
pub use rendition::review_size_px;
pub use scale_card::CARD_HEIGHT_MM;
pub use scale_card::CARD_WIDTH_MM;
pub use scale_card::CardFault;
pub use scale_card::CardIssue;
pub use scale_card::GROUND_REFLECTANCE;
pub use scale_card::PATCH_HEIGHT_MM;
pub use scale_card::PATCH_LEFT_MM;
pub use scale_card::PATCH_REFLECTANCE;
pub use scale_card::PATCH_TOP_MM;
pub use scale_card::PATCH_WIDTH_MM;
pub use scale_card::ScaleCard;
pub use scale_card::TAG_CELL_MM;
pub use scale_card::TAG_CELLS;
pub use scale_card::TAG_EDGE_MM;
pub use scale_card::TAG_IDS;
pub use scale_card::TAG_LEFT_MM;
pub use scale_card::TAG_TOP_MM;
pub use scale_card::TOO_BLURRED_ABOVE_MM;
pub use scale_card::TOO_SMALL_BELOW_PX;
pub use scale_card::TOO_TILTED_ABOVE_DEG;
pub use scale_card::find_card;
pub use scale_card::marker_cells;
