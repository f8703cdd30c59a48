//! The page on which the pilot plans the next flight: it makes a test card to print.

use std::path::Path;

use egui::{Grid, RichText, ScrollArea, TextEdit, Ui};

use super::compare::unit_choice;
use super::page_file::{PageFile, usual_place};
use super::{Screen, Shared, dialogs, page, theme, wording};
use pairspeed::model::quantity;
use pairspeed::model::units::Unit;
use pairspeed::output::numbers::trimmed;
use pairspeed::output::test_card::{IN_FLIGHT, facts, flights, order_sentence, step_rows, unmet_sentences};
use pairspeed::output::test_card_html;
use pairspeed::plan::{Pack, PlanError, PlanRequest, TestCard, plan, usual_half_width};
use pairspeed::summary::load_flight;
use pairspeed::visible;

/// Width and height of a field, in points (set by judgement).
const FIELD: [f32; 2] = [200.0, 26.0];
/// Width of a field together with its name, in points (set by judgement).
const COLUMN: f32 = 390.0;

/// A field of the page, for one condition of the next flight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum CardEntry {
    Steps,
    Within,
    TopSpeed,
    Wind,
    Gusts,
    Course,
    Height,
    Turn,
    Minutes,
    PackEnergy,
    FullPower,
}

impl CardEntry {
    const ALL: [Self; 11] = [
        Self::Steps,
        Self::Within,
        Self::TopSpeed,
        Self::Wind,
        Self::Gusts,
        Self::Course,
        Self::Height,
        Self::Turn,
        Self::Minutes,
        Self::PackEnergy,
        Self::FullPower,
    ];

    fn name(self) -> &'static str {
        match self {
            Self::Steps => "Throttle steps, %",
            Self::Within => "Airspeed within +/-",
            Self::TopSpeed => "Speed at full throttle",
            Self::Wind => "Wind",
            Self::Gusts => "Gusts",
            Self::Course => "Straight course",
            Self::Height => "Height above ground",
            Self::Turn => "A turn takes, s",
            Self::Minutes => "A pack flies, min",
            Self::PackEnergy => "Energy of the pack, Wh",
            Self::FullPower => "Power at full throttle, W",
        }
    }

    /// Placeholder of an empty field: the default, or an example.
    fn usual(self, unit: Unit) -> String {
        match self {
            Self::Steps => "50, 60, 70, 80, 90, 100".to_owned(),
            Self::Within => usual_half_width(unit).to_owned(),
            Self::TopSpeed | Self::Wind => format!("such as {} {}", 8, unit.symbol()),
            Self::Gusts => "usual in this wind".to_owned(),
            Self::Course => "legs of 12 s".to_owned(),
            Self::Height => "30 m".to_owned(),
            Self::Turn => "5".to_owned(),
            Self::Minutes | Self::PackEnergy | Self::FullPower => "no limit".to_owned(),
        }
    }

    fn hint(self) -> &'static str {
        match self {
            Self::Steps => "Separated by commas, such as 60, 80, 100",
            Self::Within => {
                "Wanted precision of the airspeed at each step: half the width of its 95 % interval"
            }
            Self::TopSpeed => "The airspeed that you expect; if empty, that of the earlier flight",
            Self::Wind => "The wind that you expect; if empty, that of the earlier flight",
            Self::Gusts => {
                "As a standard deviation: about a third of the difference between gusts and mean wind in a forecast"
            }
            Self::Course => "How far you can fly straight, such as 300 m or 900 ft",
            Self::Height => "Such as 30 m or 100 ft",
            Self::Turn => "Time of a turn, from the end of one leg to the start of the next, in seconds",
            Self::Minutes => "From launch to landing",
            Self::PackEnergy => {
                "In Wh: nominal voltage times capacity in Ah; the test card uses four fifths of it"
            }
            Self::FullPower => {
                "Electrical power drawn from the pack at full throttle, in watts; enter it together with the energy of the pack"
            }
        }
    }
}

/// The entries as typed.
#[derive(Debug, Clone, Default, PartialEq)]
struct CardForm {
    earlier: String,
    unit: Option<Unit>,
    entries: [String; CardEntry::ALL.len()],
}

/// The test card with the unit of its speeds, or a message about what is missing.
type CardResult = Result<(TestCard, Unit), String>;

/// State of the page on which the pilot plans the next flight.
#[derive(Default)]
pub struct TestCardScreen {
    form: CardForm,
    choosing: Option<dialogs::Choice>,
    page: PageFile,
    made: Option<(CardForm, CardResult)>,
}

impl Screen for TestCardScreen {
    fn take_results(&mut self, _ctx: &egui::Context, shared: &mut Shared) {
        if let Some(folder) = shared.take_result(&mut self.choosing).as_deref().and_then(<[_]>::first) {
            self.form.earlier = folder.display().to_string();
        }
    }

    fn show(&mut self, ui: &mut Ui, shared: &mut Shared) {
        page(ui, |ui| {
            ui.label("Enter the conditions that you expect. The card then says which throttle steps to fly, how often, and in which order.");
            self.show_entries(ui, shared);
            if self.made.as_ref().is_none_or(|(form, _)| *form != self.form) {
                self.made = Some((self.form.clone(), card(&self.form)));
            }
            ui.separator();
            match self.made.as_ref().map(|(_, card)| card) {
                Some(Ok((card, unit))) => {
                    let usual = usual_place(shared, "test-card.html");
                    self.page.show(ui, shared, &usual, || test_card_html(card, *unit));
                    show(ui, card, *unit);
                }
                Some(Err(message)) => {
                    ui.colored_label(theme::colours(ui).unsure, visible::line(message));
                }
                None => {}
            }
        });
    }
}

impl TestCardScreen {
    fn show_entries(&mut self, ui: &mut Ui, shared: &Shared) {
        let unit = shown_unit(&self.form);
        ui.horizontal_wrapped(|ui| {
            unit_choice(ui, &mut self.form.unit);
            self.earlier(ui, shared);
        });
        // As many columns of fields as the width allows.
        let columns = ((ui.available_width() / COLUMN) as usize).clamp(1, 3);
        Grid::new("the next flight").num_columns(2 * columns).spacing([12.0, 7.0]).show(ui, |ui| {
            for (index, (entry, text)) in CardEntry::ALL.iter().zip(&mut self.form.entries).enumerate() {
                let label = ui.label(entry.name());
                let field = TextEdit::singleline(text).hint_text(entry.usual(unit));
                ui.add_sized(FIELD, field).labelled_by(label.id).on_hover_text(entry.hint());
                if index % columns + 1 == columns {
                    ui.end_row();
                }
            }
        });
    }

    fn earlier(&mut self, ui: &mut Ui, shared: &Shared) {
        let label = ui.label("Earlier results");
        let field = TextEdit::singleline(&mut self.form.earlier).desired_width(240.0).hint_text("none");
        let hint = "Results of an earlier flight: used for the speeds, wind and gusts that you leave empty";
        ui.add(field).labelled_by(label.id).on_hover_text(hint);
        if ui.button("Choose…").on_hover_text("Choose a result folder").clicked() {
            let beside = Path::new(self.form.earlier.trim()).parent();
            self.choosing = Some(dialogs::folder(ui.ctx(), "A folder of results", beside));
        }
        if let Some(finished) = &shared.finished
            && ui.button("This flight").on_hover_text(wording::shown(&finished.folder)).clicked()
        {
            self.form.earlier = finished.folder.display().to_string();
        }
    }
}

/// The unit of speed that the pilot has chosen; km/h if none is chosen.
fn shown_unit(form: &CardForm) -> Unit {
    form.unit.unwrap_or(Unit::KilometresPerHour)
}

fn card(form: &CardForm) -> CardResult {
    let earlier = Some(form.earlier.trim()).filter(|folder| !folder.is_empty());
    let earlier = earlier.map(|folder| load_flight(Path::new(folder))).transpose();
    let earlier = earlier.map_err(|error| error.to_string())?;
    let unit = form.unit.or(earlier.as_ref().map(|flight| flight.speed_unit)).unwrap_or(shown_unit(form));
    let card = plan(&request(form, unit)?, earlier.as_ref()).map_err(|error| in_words(&error))?;
    Ok((card, unit))
}

fn request(form: &CardForm, unit: Unit) -> Result<PlanRequest, String> {
    let usual = PlanRequest::default();
    let entry = |entry: CardEntry| form.entries[entry as usize % CardEntry::ALL.len()].trim();
    let in_unit = |of: CardEntry, unit| match entry(of) {
        "" => Ok(None),
        text => quantity::parse(text, unit).map(Some).map_err(|error| format!("{}: {error}", of.name())),
    };
    let number = |of: CardEntry| match entry(of) {
        "" => Ok(None),
        text => {
            positive(text).map(Some).ok_or_else(|| format!("{}: {text} is not a number above 0", of.name()))
        }
    };
    let within_mps = match in_unit(CardEntry::Within, unit)? {
        Some(within_mps) => within_mps,
        None => quantity::parse(usual_half_width(unit), unit).map_err(|error| error.to_string())?,
    };
    let (energy_wh, power_w) = (number(CardEntry::PackEnergy)?, number(CardEntry::FullPower)?);
    if energy_wh.is_some() != power_w.is_some() {
        let (one, other) = (CardEntry::PackEnergy.name(), CardEntry::FullPower.name());
        return Err(format!("Enter both \"{one}\" and \"{other}\", or neither."));
    }
    Ok(PlanRequest {
        steps_percent: steps(entry(CardEntry::Steps))
            .ok_or("Throttle steps: write numbers separated by commas, such as 60, 80, 100")?,
        half_width_mps: within_mps,
        full_throttle_mps: in_unit(CardEntry::TopSpeed, unit)?,
        wind_mps: in_unit(CardEntry::Wind, unit)?,
        gust_mps: in_unit(CardEntry::Gusts, unit)?,
        course_m: in_unit(CardEntry::Course, Unit::Metres)?,
        height_m: in_unit(CardEntry::Height, Unit::Metres)?.unwrap_or(usual.height_m),
        // Overlays show speeds in whole units.
        quantum_mps: unit.si_per_unit(),
        turn_s: number(CardEntry::Turn)?.unwrap_or(usual.turn_s),
        flight_s: number(CardEntry::Minutes)?.map(|minutes| 60.0 * minutes),
        pack: energy_wh.zip(power_w).map(|(energy_wh, full_power_w)| Pack { energy_wh, full_power_w }),
    })
}

fn positive(text: &str) -> Option<f64> {
    text.replace(',', ".").parse().ok().filter(|number: &f64| number.is_finite() && *number > 0.0)
}

fn steps(text: &str) -> Option<Vec<f64>> {
    if text.is_empty() {
        return Some(PlanRequest::default().steps_percent);
    }
    text.split([',', ';', ' '])
        .map(str::trim)
        .filter(|part| !part.is_empty())
        .map(|part| part.parse().ok())
        .collect()
}

/// The error in words that name the fields of this page.
fn in_words(error: &PlanError) -> String {
    match error {
        PlanError::Steps => "Throttle steps: above 0 and up to 100 %, each once.".to_owned(),
        PlanError::TooManySteps(_) => "Throttle steps: a card has room for at most 20.".to_owned(),
        PlanError::NotPositive { .. } => "Every number must be above 0.".to_owned(),
        PlanError::Negative { .. } => "No number may be below 0.".to_owned(),
        PlanError::NoSpeed => {
            "Enter the speed that you expect at full throttle, or choose an earlier flight whose throttle is known."
                .to_owned()
        }
        PlanError::NoWind => "Enter the wind that you expect, or choose an earlier flight.".to_owned(),
        PlanError::NoSteadyFlight { throttle_percent, needed_m, .. } => format!(
            "Straight course: at {throttle_percent} % it ends before the speed is steady; make it {needed_m:.0} m or \
             longer."
        ),
        slower @ PlanError::SlowerThanWind { .. } => slower.to_string(),
    }
}

fn show(ui: &mut Ui, card: &TestCard, unit: Unit) {
    for sentence in unmet_sentences(card, unit) {
        ui.colored_label(theme::colours(ui).wrong, sentence);
    }
    ui.label(RichText::new(facts(card, unit).join("; ") + ".").strong());
    ScrollArea::horizontal().id_salt("steps to fly").show(ui, |ui| {
        Grid::new("steps to fly").striped(true).spacing([18.0, 5.0]).show(ui, |ui| {
            for (row, cells) in step_rows(card, unit).into_iter().enumerate() {
                for cell in cells {
                    let text = RichText::new(cell);
                    ui.label(if row == 0 { text.strong() } else { text });
                }
                ui.end_row();
            }
        });
    });
    ui.add_space(4.0);
    ui.strong("Fly one pair of legs (upwind and downwind) at each throttle, in this order");
    for flight in flights(card) {
        let throttles: Vec<String> = flight.iter().map(|run| trimmed(run.throttle_percent)).collect();
        let number = flight.first().map_or(0, |run| run.flight);
        ui.label(format!("Flight {number}:  {} %", throttles.join(",  ")));
    }
    ui.add_space(4.0);
    for sentence in card.assumptions.iter().chain(&card.notes).cloned().chain([order_sentence(card)]) {
        ui.label(visible::line(&sentence));
    }
    for caution in IN_FLIGHT {
        ui.horizontal_wrapped(|ui| {
            ui.colored_label(theme::colours(ui).wrong, "Caution:");
            ui.label(caution);
        });
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn form(entries: &[(CardEntry, &str)]) -> CardForm {
        let mut form = CardForm::default();
        for (entry, text) in entries {
            form.entries[*entry as usize] = (*text).to_owned();
        }
        form
    }

    #[test]
    fn the_plan_uses_the_typed_entries() {
        let form = form(&[
            (CardEntry::Steps, "60, 80,100"),
            (CardEntry::Wind, "8 mph"),
            (CardEntry::TopSpeed, "100"),
        ]);
        let request = request(&form, Unit::KilometresPerHour).unwrap();
        assert_eq!(request.steps_percent, [60.0, 80.0, 100.0]);
        // NIST SP 811: 1 mph = 0.44704 m/s.
        assert!((request.wind_mps.unwrap() - 8.0 * 0.44704).abs() < 1e-9);
        assert!((request.full_throttle_mps.unwrap() - 100.0 / 3.6).abs() < 1e-9);
        assert!((request.half_width_mps - 2.0 / 3.6).abs() < 1e-9);
        assert_eq!(card(&form).unwrap().0.steps.len(), 3);
    }

    #[test]
    fn an_invalid_entry_is_refused_with_the_name_of_its_field() {
        for (entries, expected) in [
            (vec![], "Enter the speed that you expect"),
            (vec![(CardEntry::TopSpeed, "100")], "Enter the wind"),
            (vec![(CardEntry::Wind, "brisk")], "Wind: brisk: not a number"),
            (vec![(CardEntry::Steps, "many")], "Throttle steps: write numbers"),
            (vec![(CardEntry::PackEnergy, "40")], "Enter both"),
            (vec![(CardEntry::Turn, "-1")], "A turn takes, s: -1 is not a number above 0"),
        ] {
            let error = card(&form(&entries)).unwrap_err();
            assert!(error.contains(expected), "{error}");
        }
    }
}
