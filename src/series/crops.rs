//! Images of single readings, kept for checking by eye.

use image::GrayImage;

use crate::model::channel::Channel;

/// The image of a region in one frame, and the value read from it.
#[derive(Debug, Clone, PartialEq)]
pub struct Crop {
    /// Channel that the region shows.
    pub channel: Channel,
    /// Time of the frame, in seconds of flight time.
    pub time_s: f64,
    /// The value read, in the unit of the display.
    pub value: f64,
    /// Digits after the decimal point as shown.
    pub decimals: u8,
    /// Probability that the value is right, 0 to 1.
    pub confidence: f32,
    /// Pixels of the region, as grey levels.
    pub image: GrayImage,
}

/// The crops kept from a flight.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Crops {
    /// Crops of the speed, spread over the flight, in order of time.
    pub speed: Vec<Crop>,
    /// Crops of the trusted readings with the lowest confidence, of all channels, in ascending order.
    pub least_confident: Vec<Crop>,
}
