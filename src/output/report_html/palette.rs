//! Colours of the plots: Okabe and Ito's palette for colour-blind readers ("Color Universal
//! Design", 2008), with ink and greys.
//!
//! Each constant names a role. The style sheet finds the role by its colour and gives it the
//! colour of the reader's theme, or a hatching; without the style sheet the plots still show
//! these colours. So roles that share a colour differ by one in the last channel.

use plotters::style::RGBColor;

/// Axes and text.
pub(super) const INK: RGBColor = RGBColor(0x00, 0x00, 0x00);
/// Lines of the grid.
pub(super) const GRID: RGBColor = RGBColor(0xDD, 0xDD, 0xDD);
/// Single readings.
pub(super) const DOT: RGBColor = RGBColor(0x77, 0x77, 0x77);
/// Smoothed speed.
pub(super) const SMOOTH: RGBColor = RGBColor(0x00, 0x00, 0x01);
/// Band of an upwind leg: blue.
pub(super) const UPWIND: RGBColor = RGBColor(0x00, 0x72, 0xB2);
/// Band of a downwind leg: orange.
pub(super) const DOWNWIND: RGBColor = RGBColor(0xE6, 0x9F, 0x00);
/// Band of a leg without a direction or partner: grey.
pub(super) const ODD: RGBColor = RGBColor(0x99, 0x99, 0x99);
/// Strip where nothing is trusted.
pub(super) const BLANK: RGBColor = RGBColor(0x99, 0x99, 0x9A);
/// Airspeed: bluish green.
pub(super) const AIRSPEED: RGBColor = RGBColor(0x00, 0x9E, 0x73);
/// Pack voltage: reddish purple.
pub(super) const VOLTAGE: RGBColor = RGBColor(0xCC, 0x79, 0xA7);
/// Altitude: vermillion.
pub(super) const ALTITUDE: RGBColor = RGBColor(0xD5, 0x5E, 0x00);
