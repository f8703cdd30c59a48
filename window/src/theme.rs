//! The appearance of the window: colours, type and spacing, in a light and a dark theme.
//!
//! Accent colours are those of M. Okabe and K. Ito, "Color Universal Design" (2008), chosen so that people
//! with any common kind of colour blindness can distinguish them; the tests below check this with a
//! simulation. Nothing is indicated by colour alone.

use egui::{
    Color32, ColorImage, CornerRadius, FontId, RichText, Stroke, TextStyle, TextureHandle, TextureOptions,
    Theme, Visuals, vec2,
};
use image::{GrayImage, RgbImage};

/// Okabe and Ito's orange.
pub const ORANGE: Color32 = Color32::from_rgb(230, 159, 0);
/// Okabe and Ito's sky blue.
pub const SKY_BLUE: Color32 = Color32::from_rgb(86, 180, 233);
/// Okabe and Ito's bluish green.
pub const BLUISH_GREEN: Color32 = Color32::from_rgb(0, 158, 115);
/// Okabe and Ito's yellow.
pub const YELLOW: Color32 = Color32::from_rgb(240, 228, 66);
/// Okabe and Ito's blue.
pub const BLUE: Color32 = Color32::from_rgb(0, 114, 178);
/// Okabe and Ito's vermillion.
pub const VERMILLION: Color32 = Color32::from_rgb(213, 94, 0);
/// Okabe and Ito's reddish purple.
pub const REDDISH_PURPLE: Color32 = Color32::from_rgb(204, 121, 167);

/// Colours of boxes on a frame, used in turn. A dark line on both sides makes them stand out from any frame.
pub const BOXES: [Color32; 6] = [ORANGE, SKY_BLUE, YELLOW, VERMILLION, BLUISH_GREEN, REDDISH_PURPLE];

/// The colours of a theme, by use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Colours {
    /// Background of the page.
    pub page: Color32,
    /// Background of a panel.
    pub panel: Color32,
    /// Text and axes.
    pub ink: Color32,
    /// Grid lines and frames.
    pub line: Color32,
    /// Dots of single readings.
    pub dot: Color32,
    /// Marks of blank readings.
    pub blank: Color32,
    /// Selected items, and the button for what the pilot usually does next.
    pub accent: Color32,
    /// An upwind leg.
    pub upwind: Color32,
    /// A downwind leg.
    pub downwind: Color32,
    /// A leg without a direction or partner.
    pub odd: Color32,
    /// Airspeed in a plot.
    pub airspeed: Color32,
    /// Pack voltage in a plot.
    pub voltage: Color32,
    /// Altitude in a plot.
    pub altitude: Color32,
    /// Readings of high confidence, and success.
    pub sure: Color32,
    /// Readings and glyphs of low confidence.
    pub unsure: Color32,
    /// Errors.
    pub wrong: Color32,
}

/// The light theme. On white, text in the palette's lighter colours is hard to read, so texts have darker
/// shades.
const LIGHT: Colours = Colours {
    page: Color32::from_rgb(250, 249, 246),
    panel: Color32::from_rgb(238, 236, 230),
    ink: Color32::from_rgb(28, 32, 38),
    line: Color32::from_rgb(190, 187, 178),
    dot: Color32::from_rgb(110, 112, 116),
    blank: Color32::from_rgb(72, 76, 84),
    accent: BLUE,
    upwind: BLUE,
    downwind: ORANGE,
    odd: Color32::from_rgb(140, 140, 140),
    airspeed: BLUISH_GREEN,
    voltage: REDDISH_PURPLE,
    altitude: VERMILLION,
    sure: Color32::from_rgb(0, 106, 77),
    unsure: Color32::from_rgb(135, 92, 0),
    wrong: Color32::from_rgb(176, 62, 0),
};

const DARK: Colours = Colours {
    page: Color32::from_rgb(24, 27, 32),
    panel: Color32::from_rgb(35, 39, 46),
    ink: Color32::from_rgb(228, 230, 232),
    line: Color32::from_rgb(78, 84, 94),
    dot: Color32::from_rgb(160, 164, 170),
    blank: Color32::from_rgb(190, 194, 200),
    accent: SKY_BLUE,
    upwind: SKY_BLUE,
    downwind: ORANGE,
    odd: Color32::from_rgb(140, 140, 140),
    airspeed: Color32::from_rgb(40, 186, 142),
    voltage: REDDISH_PURPLE,
    altitude: Color32::from_rgb(232, 120, 40),
    sure: Color32::from_rgb(80, 210, 168),
    unsure: ORANGE,
    wrong: Color32::from_rgb(250, 140, 70),
};

impl Colours {
    /// The colours of a theme.
    #[must_use]
    pub fn of(theme: Theme) -> Self {
        match theme {
            Theme::Light => LIGHT,
            Theme::Dark => DARK,
        }
    }
}

/// The colours of the theme in use.
#[must_use]
pub fn colours(ui: &egui::Ui) -> Colours {
    Colours::of(if ui.visuals().dark_mode { Theme::Dark } else { Theme::Light })
}

/// Applies the appearance to both themes when it is called for a window for the first time.
pub(super) fn apply_once(ctx: &egui::Context) {
    let id = egui::Id::unique("pairspeed look");
    if ctx.data_mut(|data| std::mem::replace(data.get_temp_mut_or_default::<bool>(id), true)) {
        return;
    }
    for theme in [Theme::Light, Theme::Dark] {
        ctx.style_mut_of(theme, |style| dress(style, theme));
    }
}

fn dress(style: &mut egui::Style, theme: Theme) {
    for (name, size) in [
        (TextStyle::Small, 12.0),
        (TextStyle::Body, 14.5),
        (TextStyle::Button, 14.5),
        (TextStyle::Heading, 20.0),
    ] {
        style.text_styles.insert(name, FontId::proportional(size));
    }
    style.text_styles.insert(TextStyle::Monospace, FontId::monospace(14.0));
    style.spacing.item_spacing = vec2(8.0, 7.0);
    style.spacing.button_padding = vec2(10.0, 4.0);
    style.spacing.interact_size.y = 26.0;
    style.visuals = visuals(theme);
}

fn visuals(theme: Theme) -> Visuals {
    let colours = Colours::of(theme);
    let mut visuals = theme.default_visuals();
    visuals.panel_fill = colours.page;
    visuals.window_fill = colours.page;
    visuals.window_stroke = Stroke::new(1.0, colours.line);
    visuals.extreme_bg_color = blend(colours.page, colours.panel, -0.6);
    visuals.faint_bg_color = colours.panel;
    visuals.hyperlink_color = colours.accent;
    visuals.warn_fg_color = colours.unsure;
    visuals.error_fg_color = colours.wrong;
    visuals.weak_text_color = Some(blend(colours.ink, colours.page, 0.25));
    visuals.selection.bg_fill = colours.accent;
    visuals.selection.stroke = Stroke::new(1.5, on(colours.accent));
    let widgets = &mut visuals.widgets;
    widgets.noninteractive.fg_stroke.color = colours.ink;
    widgets.noninteractive.bg_stroke.color = colours.line;
    let pressed = blend(colours.panel, colours.accent, 0.35);
    for (widget, fill) in [
        (&mut widgets.inactive, colours.panel),
        (&mut widgets.hovered, blend(colours.panel, colours.accent, 0.2)),
        (&mut widgets.active, pressed),
        (&mut widgets.open, pressed),
    ] {
        widget.weak_bg_fill = fill;
        // Background of sliders, check boxes and radio buttons; in the dark theme it must differ from that of
        // the panel.
        widget.bg_fill = blend(fill, colours.ink, if theme == Theme::Dark { 0.2 } else { 0.0 });
        widget.fg_stroke = Stroke::new(1.2, colours.ink);
        widget.bg_stroke = Stroke::new(1.0, colours.line);
        widget.corner_radius = CornerRadius::same(3);
        widget.expansion = 0.0;
    }
    // The widget with the keyboard focus gets a visible frame.
    widgets.active.bg_stroke = Stroke::new(2.0, colours.accent);
    visuals
}

/// A mixture of two colours: `share` 0 gives the first, 1 the second, and values below 0 extrapolate beyond
/// the first.
fn blend(one: Color32, other: Color32, share: f32) -> Color32 {
    let mix = |one: u8, other: u8| {
        (f32::from(one) + share * (f32::from(other) - f32::from(one))).round().clamp(0.0, 255.0) as u8
    };
    Color32::from_rgb(mix(one.r(), other.r()), mix(one.g(), other.g()), mix(one.b(), other.b()))
}

/// Black or white, whichever is easier to read on a colour.
#[must_use]
pub fn on(colour: Color32) -> Color32 {
    let (black, white) = (Color32::from_rgb(12, 14, 18), Color32::WHITE);
    if contrast(colour, black) >= contrast(colour, white) { black } else { white }
}

/// Contrast ratio of two colours according to WCAG 2.2: from 1 (equal) to 21 (black on white).
#[must_use]
pub fn contrast(one: Color32, other: Color32) -> f32 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

/// Relative luminance according to WCAG 2.2, 0 to 1.
fn luminance(colour: Color32) -> f32 {
    let [red, green, blue] = linear(colour);
    0.2126 * red + 0.7152 * green + 0.0722 * blue
}

/// The red, green and blue components of a colour in linear light, 0 to 1 (sRGB, IEC 61966-2-1).
fn linear(colour: Color32) -> [f32; 3] {
    [colour.r(), colour.g(), colour.b()].map(|level| {
        let share = f32::from(level) / 255.0;
        if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
    })
}

/// The main button of a page, for the usual next action.
pub(super) fn main_button(ui: &mut egui::Ui, words: &str) -> egui::Response {
    let accent = colours(ui).accent;
    ui.add(egui::Button::new(RichText::new(words).color(on(accent)).strong()).fill(accent))
}

/// A grey image as a texture.
pub(super) fn texture(ctx: &egui::Context, name: &str, picture: &GrayImage) -> TextureHandle {
    let size = [picture.width() as usize, picture.height() as usize];
    ctx.load_texture(name, ColorImage::from_gray(size, picture.as_raw()), TextureOptions::LINEAR)
}

/// A colour image as a texture.
pub(super) fn colour_texture(ctx: &egui::Context, name: &str, picture: &RgbImage) -> TextureHandle {
    let size = [picture.width() as usize, picture.height() as usize];
    ctx.load_texture(name, ColorImage::from_rgb(size, picture.as_raw()), TextureOptions::LINEAR)
}

/// A time of the recording as text, such as `1:02.40`.
pub(super) fn clock(time_s: f64) -> String {
    let hundredths = (100.0 * time_s.max(0.0)).round() as u64;
    format!("{}:{:02}.{:02}", hundredths / 6000, hundredths / 100 % 60, hundredths % 100)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Simulations of full colour blindness, applied to linear light: G. M. Machado, M. M. Oliveira and L. A.
    /// F. Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE
    /// Transactions on Visualization and Computer Graphics 15 (2009), severity 1.0. White stays white, so
    /// each row adds up to 1.
    const BLINDNESS: [(&str, [[f32; 3]; 3]); 3] = [
        (
            "protanopia",
            [
                [0.152_286, 1.052_583, -0.204_868],
                [0.114_503, 0.786_281, 0.099_216],
                [-0.003_882, -0.048_116, 1.051_998],
            ],
        ),
        (
            "deuteranopia",
            [
                [0.367_322, 0.860_646, -0.227_968],
                [0.280_085, 0.672_501, 0.047_413],
                [-0.011_820, 0.042_940, 0.968_881],
            ],
        ),
        (
            "tritanopia",
            [
                [1.255_528, -0.076_749, -0.178_779],
                [-0.078_411, 0.930_809, 0.147_602],
                [0.004_733, 0.691_367, 0.303_900],
            ],
        ),
    ];

    fn seen_with(matrix: &[[f32; 3]; 3], light: [f32; 3]) -> [f32; 3] {
        matrix
            .map(|row| row.iter().zip(light).map(|(share, light)| share * light).sum::<f32>().clamp(0.0, 1.0))
    }

    /// CIE 1976 L*a*b* (ISO/CIE 11664-4) of linear sRGB light, white point D65.
    fn lab([red, green, blue]: [f32; 3]) -> [f32; 3] {
        let x = (0.4124 * red + 0.3576 * green + 0.1805 * blue) / 0.9505;
        let y = 0.2126 * red + 0.7152 * green + 0.0722 * blue;
        let z = (0.0193 * red + 0.1192 * green + 0.9505 * blue) / 1.089;
        let f = |t: f32| if t > 0.008_856 { t.cbrt() } else { 7.787 * t + 16.0 / 116.0 };
        [116.0 * f(y) - 16.0, 500.0 * (f(x) - f(y)), 200.0 * (f(y) - f(z))]
    }

    /// Difference of two colours as CIE 1976 defines it; 2.3 is just noticeable (M. Mahy and others, 1994).
    fn difference(one: [f32; 3], other: [f32; 3]) -> f32 {
        let (one, other) = (lab(one), lab(other));
        one.iter().zip(other).map(|(one, other)| (one - other).powi(2)).sum::<f32>().sqrt()
    }

    #[test]
    fn the_simulations_leave_white_white() {
        for (name, matrix) in BLINDNESS {
            for row in matrix {
                assert!((row.iter().sum::<f32>() - 1.0).abs() < 1e-4, "{name}: {row:?}");
            }
        }
    }

    #[test]
    fn colours_that_must_be_distinguished_differ_for_every_kind_of_colour_vision() {
        for theme in [Theme::Light, Theme::Dark] {
            let Colours { upwind, downwind, odd, airspeed, voltage, altitude, .. } = Colours::of(theme);
            let pairs = [(upwind, downwind), (upwind, odd), (downwind, odd), (airspeed, voltage)]
                .into_iter()
                .chain([(airspeed, altitude), (voltage, altitude), (upwind, altitude)]);
            for (one, other) in pairs {
                let normal = difference(linear(one), linear(other));
                assert!(normal > 20.0, "{one:?} and {other:?}: {normal:.0}");
                for (name, matrix) in &BLINDNESS {
                    let seen = |colour| seen_with(matrix, linear(colour));
                    let differ = difference(seen(one), seen(other));
                    assert!(differ > 14.0, "{theme:?}, {name}: {one:?} and {other:?}: {differ:.0}");
                }
            }
        }
    }

    #[test]
    fn words_are_readable_on_page_and_panel() {
        // WCAG 2.2, success criterion 1.4.3: the contrast of text is at least 4.5.
        for theme in [Theme::Light, Theme::Dark] {
            let Colours { page, panel, ink, sure, unsure, wrong, accent, .. } = Colours::of(theme);
            for words in [ink, sure, unsure, wrong] {
                for ground in [page, panel] {
                    let contrast = contrast(words, ground);
                    assert!(contrast >= 4.5, "{theme:?}: {words:?} on {ground:?}: {contrast:.1}");
                }
            }
            assert!(contrast(on(accent), accent) >= 4.5);
        }
    }

    #[test]
    fn marks_of_blank_readings_stand_out_from_the_page_and_from_every_leg() {
        // WCAG 2.2, success criterion 1.4.11: the contrast of other things than text is at least 3.
        for theme in [Theme::Light, Theme::Dark] {
            let Colours { page, blank, upwind, downwind, odd, .. } = Colours::of(theme);
            assert!(contrast(blank, page) >= 3.0);
            for leg in [upwind, downwind, odd] {
                // As strong as the band of a selected leg.
                let ground = blend(page, leg, 0.42);
                let contrast = contrast(blank, ground);
                assert!(contrast >= 3.0, "{theme:?}: {blank:?} on {ground:?}: {contrast:.1}");
            }
        }
    }

    #[test]
    fn contrast_of_black_on_white_is_the_greatest() {
        assert!((contrast(Color32::BLACK, Color32::WHITE) - 21.0).abs() < 1e-3);
        assert!((contrast(BLUE, BLUE) - 1.0).abs() < 1e-6);
    }
}
