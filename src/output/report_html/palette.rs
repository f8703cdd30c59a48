//! Colours of the plots: Okabe and Ito's palette for colour-blind readers ("Color Universal Design", 2008),
//! and black and greys.
//!
//! Each constant stands for a kind of thing in a plot. The style sheet recognises the kind by its colour and
//! replaces it by the colour of the reader's theme, or by a hatching; without the style sheet the plots show
//! these colours. Therefore kinds with the same colour differ by one in the blue component.

use plotters::style::RGBColor;

/// Axes and text.
pub(super) const INK: RGBColor = RGBColor(0x00, 0x00, 0x00);
/// Lines of the grid.
pub(super) const GRID: RGBColor = RGBColor(0xDD, 0xDD, 0xDD);
/// Dots of single readings.
pub(super) const DOT: RGBColor = RGBColor(0x77, 0x77, 0x77);
/// Line of the smoothed speed.
pub(super) const SMOOTH: RGBColor = RGBColor(0x00, 0x00, 0x01);
/// Band of an upwind leg: blue.
pub(super) const UPWIND: RGBColor = RGBColor(0x00, 0x72, 0xB2);
/// Band of a downwind leg: orange.
pub(super) const DOWNWIND: RGBColor = RGBColor(0xE6, 0x9F, 0x00);
/// Band of a leg that belongs to no pair, such as a leg of a pattern: grey.
pub(super) const UNPAIRED: RGBColor = RGBColor(0x99, 0x99, 0x99);
/// Strip that marks times without a trusted reading.
pub(super) const BLANK: RGBColor = RGBColor(0x99, 0x99, 0x9A);
/// Airspeed in the plot against throttle: bluish green.
pub(super) const AIRSPEED: RGBColor = RGBColor(0x00, 0x9E, 0x73);
/// Pack voltage: reddish purple.
pub(super) const VOLTAGE: RGBColor = RGBColor(0xCC, 0x79, 0xA7);
/// Altitude: vermillion.
pub(super) const ALTITUDE: RGBColor = RGBColor(0xD5, 0x5E, 0x00);
