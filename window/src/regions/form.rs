//! The list of regions with their readings, and the form of the selected region.

use egui::{Button, ComboBox, DragValue, Label, RichText, Sense, TextEdit, vec2};

use super::editor::{Editor, RegionChange};
use crate::found::FoundCamera;
use crate::theme;
use pairspeed::geometry::PixelRect;
use pairspeed::model::channel::Channel;
use pairspeed::model::units::Unit;
use pairspeed::new_camera::NamedReadout;
use pairspeed::output::BlankReasons;
use pairspeed::readings::FrameReading;
use pairspeed::recognise::RegionReading;
use pairspeed::series::Blank;
use pairspeed::setup::{MAX_DIGITS, Region};
use pairspeed::visible;

/// The state of the readings of the boxes.
pub enum Reads<'a> {
    /// Nothing yet: the recogniser is being calibrated.
    Waiting,
    /// The reading of each box.
    Shown(&'a [FrameReading]),
    /// The reason why nothing can be read.
    Failed(&'a str),
}

impl Reads<'_> {
    /// Whether the text of more than half of the boxes cannot be read in the frame.
    pub fn are_unread(&self) -> bool {
        let Reads::Shown(shown) = self else { return false };
        let unread =
            shown.iter().filter(|reading| !matches!(reading.shown, RegionReading::Text { .. })).count();
        2 * unread > shown.len()
    }
}

/// Shows the list of regions; a click selects a region.
pub fn show_list(ui: &mut egui::Ui, editor: &mut Editor, reads: &Reads<'_>, found: Option<&FoundCamera>) {
    let mut selected = editor.selected();
    for ((number, region), colour) in
        editor.marks().regions.iter().enumerate().zip(theme::BOXES.iter().cycle())
    {
        ui.horizontal(|ui| {
            let (swatch, _) = ui.allocate_exact_size(vec2(10.0, 20.0), Sense::hover());
            ui.painter().rect_filled(swatch, 2.0, *colour);
            let name = format!("{}  {}", number + 1, region.channel.name());
            let button = Button::selectable(selected == Some(number), name).min_size(vec2(112.0, 0.0));
            if ui.add(button).clicked() {
                selected = Some(number);
            }
            let (words, tint) = read_words(ui, region, reads, number);
            ui.add(Label::new(RichText::new(words).color(tint)).wrap());
        });
        if let Some(readout) = found.and_then(|found| found.readout(region)) {
            show_guess(ui, region, readout);
        }
    }
    if selected != editor.selected() {
        editor.select(selected);
    }
    if let Reads::Failed(message) = reads {
        ui.label(RichText::new(visible::line(message)).color(theme::colours(ui).wrong));
    }
}

/// Shows below a region an example of its readings. As long as the region has the guessed channel, the reasons for the
/// guess are shown as well.
fn show_guess(ui: &mut egui::Ui, region: &Region, NamedReadout { guess, example, .. }: &NamedReadout) {
    let example = format!("such as {} at {}", example.text, theme::clock(example.time_s));
    let (words, tint) = if region.channel == guess.channel {
        let colours = theme::colours(ui);
        let tint = if guess.is_certain() { colours.ink } else { colours.unsure };
        (format!("{:.0} %: {}; {example}", 100.0 * guess.probability, guess.reasons_in_words()), tint)
    } else {
        (example, theme::colours(ui).ink)
    };
    ui.add(Label::new(RichText::new(words).small().color(tint)).wrap());
}

fn read_words(ui: &egui::Ui, region: &Region, reads: &Reads<'_>, number: usize) -> (String, egui::Color32) {
    let colours = theme::colours(ui);
    let unit = region.unit_shown().map_or(String::new(), |unit| format!(" {}", unit.symbol()));
    let Reads::Shown(shown) = reads else {
        let waits = matches!(reads, Reads::Waiting);
        return (if waits { "…".to_owned() } else { String::new() }, colours.ink);
    };
    let Some(FrameReading { shown, blank, unknown_digits }) = shown.get(number) else {
        return ("…".to_owned(), colours.ink);
    };
    let reason = (*blank != Blank::No).then(|| BlankReasons::of_region(region, unknown_digits).words(*blank));
    match (shown, reason) {
        (RegionReading::Text { text, .. } | RegionReading::Unclear { text, .. }, Some(reason)) => {
            (format!("{text}? {reason}"), colours.unsure)
        }
        (RegionReading::Nothing | RegionReading::Unclear { .. }, reason) => {
            (reason.unwrap_or_default(), colours.unsure)
        }
        (RegionReading::Text { text, confidence, .. }, None) => {
            let sure = (100.0 * confidence).min(99.9);
            let tint = if *confidence >= pairspeed::readings::DEFAULT_MIN_CONFIDENCE {
                colours.sure
            } else {
                colours.unsure
            };
            (format!("{text}{unit}, confidence {sure:.1} %"), tint)
        }
    }
}

/// Shows the form of the selected region.
pub fn show_form(ui: &mut egui::Ui, editor: &mut Editor) {
    let Some(number) = editor.selected() else { return };
    let Some(before) = editor.marks().regions.get(number).cloned() else { return };
    let mut region = before.clone();
    let mut remove = false;
    ui.horizontal(|ui| {
        ui.label(RichText::new(format!("Box {}", number + 1)).strong());
        let button = ui.button("Remove this box");
        remove = button.on_hover_text("Delete key, while the frame has the keyboard focus").clicked();
    });
    egui::Grid::new("form").num_columns(2).spacing(vec2(8.0, 4.0)).show(ui, |ui| {
        row(ui, "Channel", |ui, id| show_channel(ui, id, &mut region));
        row(ui, "Unit", |ui, id| show_unit(ui, id, &mut region));
        row(ui, "Digits", |ui, id| show_digits(ui, id, &mut region));
        row(ui, "After the point", |ui, id| {
            let most = region.digits.unwrap_or(MAX_DIGITS).saturating_sub(1);
            ui.add(DragValue::new(&mut region.decimals).range(0..=most)).labelled_by(id);
        });
        row(ui, "Range", |ui, id| show_range(ui, id, &mut region));
        row(ui, "Fastest change", |ui, id| show_rate(ui, id, &mut region));
        row(ui, "Pixels", |ui, _| show_rect(ui, &mut region.rect));
    });
    if let Some(field) = changed_field(&before, &region) {
        editor.change_region(RegionChange::Field(number, field), number, |marked| *marked = region);
    }
    if remove {
        editor.remove(number);
    }
}

fn show_rect(ui: &mut egui::Ui, rect: &mut PixelRect) {
    ui.spacing_mut().item_spacing.x = 4.0;
    for (value, name) in [
        (&mut rect.left, "Left edge of the box, in pixels"),
        (&mut rect.top, "Upper edge of the box, in pixels"),
        (&mut rect.width, "Width of the box, in pixels"),
        (&mut rect.height, "Height of the box, in pixels"),
    ] {
        ui.add(DragValue::new(value)).on_hover_text(name);
    }
}

fn row(ui: &mut egui::Ui, name: &str, show: impl FnOnce(&mut egui::Ui, egui::Id)) {
    let label = ui.label(name);
    ui.horizontal(|ui| show(ui, label.id));
    ui.end_row();
}

/// The name of the first field of the form that differs between two versions of a region; `None` if they are equal.
fn changed_field(before: &Region, after: &Region) -> Option<&'static str> {
    let differs = [
        ("channel", after.channel != before.channel),
        ("unit", after.unit != before.unit),
        ("digits", after.digits != before.digits),
        ("decimals", after.decimals != before.decimals),
        ("range", after.range != before.range),
        ("max_rate", after.max_rate != before.max_rate),
        ("box", after.rect != before.rect),
    ];
    differs.into_iter().find(|(_, differs)| *differs).map(|(name, _)| name)
}

fn show_channel(ui: &mut egui::Ui, label: egui::Id, region: &mut Region) {
    let before = region.channel.clone();
    let own = matches!(region.channel, Channel::Other(_));
    let selected = if own { "a name of your own" } else { region.channel.name() };
    let combo = ComboBox::from_id_salt("channel").width(120.0).selected_text(selected.to_owned());
    let shown = combo.show_ui(ui, |ui| {
        for channel in Channel::KNOWN {
            let name = channel.name().to_owned();
            ui.selectable_value(&mut region.channel, channel, name);
        }
        if ui.selectable_label(own, "a name of your own").clicked() && !own {
            region.channel = Channel::Other("channel-1".to_owned());
        }
    });
    shown.response.labelled_by(label);
    if let Channel::Other(name) = &mut region.channel {
        let field = TextEdit::singleline(name).desired_width(96.0);
        if ui.add(field).labelled_by(label).changed() {
            // Setup files require this form of a name.
            *name = name.to_lowercase().replace(' ', "_");
        }
    }
    if region.channel != before && region.channel.quantity() != region.unit.map(Unit::quantity) {
        region.unit = region.channel.usual_unit();
    }
}

fn show_unit(ui: &mut egui::Ui, label: egui::Id, region: &mut Region) {
    let quantity = region.channel.quantity();
    let name = |unit: Option<Unit>| unit.map_or("none", Unit::symbol);
    let open = region.channel == Channel::Speed && region.unit.is_none();
    let selected = if open { "which is shown?" } else { name(region.unit) };
    let combo = ComboBox::from_id_salt("unit").width(120.0).selected_text(selected);
    let shown = combo.show_ui(ui, |ui| {
        let fitting = Unit::all().filter(|unit| quantity.is_none_or(|quantity| unit.quantity() == quantity));
        for unit in std::iter::once(None).chain(fitting.map(Some)) {
            ui.selectable_value(&mut region.unit, unit, name(unit));
        }
    });
    shown.response.labelled_by(label);
}

fn show_digits(ui: &mut egui::Ui, label: egui::Id, region: &mut Region) {
    let mut known = region.digits.is_some();
    if ui.checkbox(&mut known, "known").changed() {
        region.digits = known.then_some(3.max(region.decimals + 1));
    }
    if let Some(digits) = &mut region.digits {
        ui.add(DragValue::new(digits).range(1..=MAX_DIGITS)).labelled_by(label);
        region.decimals = region.decimals.min(*digits - 1);
    }
}

fn show_range(ui: &mut egui::Ui, label: egui::Id, region: &mut Region) {
    let mut is_set = region.range.is_some();
    if ui.checkbox(&mut is_set, "set").changed() {
        region.range = is_set.then(|| region.plausible_range().unwrap_or((0.0, 100.0)));
    }
    match &mut region.range {
        Some((low, high)) => {
            ui.add(DragValue::new(low).max_decimals(1)).labelled_by(label);
            ui.add(DragValue::new(high).max_decimals(1)).labelled_by(label);
            // If the lower end is set above the upper one, the upper end is raised.
            *high = high.max(*low + 0.1);
        }
        None => {
            usual(ui, region.plausible_range().map(|(low, high)| format!("usual: {low:.0} to {high:.0}")))
        }
    }
}

fn show_rate(ui: &mut egui::Ui, label: egui::Id, region: &mut Region) {
    let mut is_set = region.max_rate.is_some();
    if ui.checkbox(&mut is_set, "set").changed() {
        region.max_rate = is_set.then(|| region.plausible_max_rate().unwrap_or(100.0));
    }
    match &mut region.max_rate {
        Some(rate) => {
            ui.add(DragValue::new(rate).range(0.1..=1e6).max_decimals(1).suffix(" a second"))
                .labelled_by(label);
        }
        None => usual(ui, region.plausible_max_rate().map(|rate| format!("usual: {rate:.0} a second"))),
    }
}

fn usual(ui: &mut egui::Ui, words: Option<String>) {
    ui.weak(words.unwrap_or_else(|| "any".to_owned()));
}
