//! STANDIN
#[derive(Clone, Copy, Debug, Default)]
pub struct Limits;
pub struct Rendition {
    pub jpeg: Vec<u8>,
    pub width_px: u32,
    pub height_px: u32,
}
pub struct CleanPhoto {
    f: Rendition,
}
pub enum Refused {
    Damaged,
}
impl Refused {
    pub fn code(&self) -> &'static str {
        "damaged"
    }
}
pub enum QualityFlag {
    Dark,
}
impl QualityFlag {
    pub fn code(&self) -> &'static str {
        "dark"
    }
}
impl CleanPhoto {
    pub fn flags(&self) -> &[QualityFlag] {
        &[]
    }
    pub fn full(&self) -> &Rendition {
        &self.f
    }
    pub fn into_jpegs(self) -> (Vec<u8>, Vec<u8>, Vec<u8>) {
        (self.f.jpeg.clone(), self.f.jpeg.clone(), self.f.jpeg)
    }
}
pub fn clean(_: &[u8], _: &Limits) -> Result<CleanPhoto, Refused> {
    Err(Refused::Damaged)
}
