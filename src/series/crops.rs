//! Crops: pictures of single readings, kept for a doubter to check by eye.

use image::GrayImage;

use crate::model::channel::Channel;

/// What one region showed in one frame, and what was read there.
#[derive(Debug, Clone, PartialEq)]
pub struct Crop {
    /// The channel.
    pub channel: Channel,
    /// Time of the frame, in seconds of flight time.
    pub time_s: f64,
    /// The value read, in the unit of the display.
    pub value: f64,
    /// Digits after the decimal point as shown.
    pub decimals: u8,
    /// Probability that it is right, 0 to 1.
    pub confidence: f32,
    /// The region's pixels.
    pub picture: GrayImage,
}

/// The crops kept of a flight.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Crops {
    /// Of the speed, spread over the flight, in the order of time.
    pub speed: Vec<Crop>,
    /// Of the least sure readings that were believed, of all channels, the least sure first.
    pub least_sure: Vec<Crop>,
}
