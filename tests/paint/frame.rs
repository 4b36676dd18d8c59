//! A picture in linear light before it is developed.

/// Rows from the top, red, green and blue of each pixel, linear, 1 = the sensor is full.
pub struct Frame {
    pub width: usize,
    pub height: usize,
    pub light: Vec<f32>,
}

impl Frame {
    pub fn multiply(&mut self, gain: f64) {
        let gain = gain as f32;
        self.light.iter_mut().for_each(|value| *value *= gain);
    }
}
