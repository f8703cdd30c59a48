//! Theme and text size: the menu, and the choice that is kept between sessions.

use std::ops::RangeInclusive;

use egui::{Context, ThemePreference, Ui};
use serde::{Deserialize, Serialize};

use super::Shared;

/// Text sizes offered in the menu, in per cent of the usual size (set by judgement).
const SIZES_PERCENT: [u16; 5] = [100, 125, 150, 175, 200];
/// Range of text sizes that are restored from the last session, in per cent. Keys can set sizes that are not in the
/// menu; a size outside the range is ignored (set by judgement).
const KEPT_PERCENT: RangeInclusive<u16> = 50..=300;
/// The themes, each with its name in the menu and its name in the file that is kept.
const THEMES: [(ThemePreference, &str, &str); 3] = [
    (ThemePreference::System, "As the system", "system"),
    (ThemePreference::Light, "Light", "light"),
    (ThemePreference::Dark, "Dark", "dark"),
];
/// Name of the choice in the store.
const NAME: &str = "view";

/// The choices of the menu, as they are stored.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct ViewSettings {
    theme: String,
    text_percent: u16,
}

impl ViewSettings {
    fn of(ctx: &Context) -> Self {
        let chosen = ctx.options(|options| options.theme_preference);
        let name = THEMES.iter().find(|(theme, ..)| *theme == chosen).map_or("system", |(.., name)| name);
        Self { theme: name.to_owned(), text_percent: percent(ctx) }
    }

    fn apply(&self, ctx: &Context) {
        if let Some((theme, ..)) = THEMES.iter().find(|(.., name)| *name == self.theme) {
            ctx.set_theme(*theme);
        }
        if KEPT_PERCENT.contains(&self.text_percent) {
            ctx.set_zoom_factor(f32::from(self.text_percent) / 100.0);
        }
    }
}

/// Whether the choices of the last session were restored.
#[derive(Debug, Default)]
pub(super) enum KeptView {
    /// Not yet, because the window has not been shown.
    #[default]
    Unknown,
    /// Restored; they take effect at the next repaint.
    Applied,
    /// The choices are in effect; when the pilot changes one, the change is kept.
    Known(ViewSettings),
}

impl KeptView {
    /// Restores the choices of the last session when the window opens, and stores each later change.
    pub fn update(&mut self, ctx: &Context, shared: &mut Shared) {
        *self = match self {
            Self::Unknown => {
                if let Some(view) = shared.store.kept_choice::<ViewSettings>(NAME) {
                    view.apply(ctx);
                    ctx.request_repaint();
                }
                Self::Applied
            }
            Self::Applied => Self::Known(ViewSettings::of(ctx)),
            Self::Known(known) => {
                let now = ViewSettings::of(ctx);
                if *known == now {
                    return;
                }
                if let Err(error) = shared.store.keep_choice(NAME, &now) {
                    shared.wrong(error);
                }
                Self::Known(now)
            }
        };
    }
}

fn percent(ctx: &Context) -> u16 {
    (100.0 * ctx.zoom_factor()).round() as u16
}

/// Shows the menu for theme and text size.
pub(super) fn menu(ui: &mut Ui) {
    ui.menu_button("View", |ui| {
        ui.label("Theme");
        let mut theme = ui.ctx().options(|options| options.theme_preference);
        for (choice, name, _) in THEMES {
            if ui.radio_value(&mut theme, choice, name).clicked() {
                ui.ctx().set_theme(theme);
            }
        }
        ui.separator();
        ui.label("Text size");
        let now = percent(ui.ctx());
        for size in SIZES_PERCENT {
            if ui.radio(size == now, format!("{size} %")).clicked() {
                ui.ctx().set_zoom_factor(f32::from(size) / 100.0);
            }
        }
    })
    .response
    .on_hover_text("Theme and text size (Ctrl and + or - change the size, too)");
}
