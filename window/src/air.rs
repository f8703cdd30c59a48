//! The fields in which the pilot enters wind and air before a reading, in a collapsible part of the page.

use egui::{CollapsingHeader, ComboBox, Grid, TextEdit, Ui};

use pairspeed::ReadOptions;
use pairspeed::air::{Datum, Pressure};
use pairspeed::airspeed::multileg::HeadingReference;
use pairspeed::model::channel::Channel;
use pairspeed::setup::{Region, Setup};
use pairspeed::weather::{self, WeatherError};

/// Width and height of a field, in points (set by judgement).
const FIELD: [f32; 2] = [140.0, 26.0];
/// Width of a field together with its name, in points (set by judgement).
const COLUMN: f32 = 310.0;

/// A value of the wind or of the air that can be entered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum AirEntry {
    Wind,
    Course,
    Temperature,
    AtField,
    SeaLevel,
    Elevation,
}

impl AirEntry {
    const ALL: [Self; 6] =
        [Self::Wind, Self::Course, Self::Temperature, Self::AtField, Self::SeaLevel, Self::Elevation];

    fn name(self) -> &'static str {
        match self {
            Self::Wind => "Wind",
            Self::Course => "Course",
            Self::Temperature => "Temperature",
            Self::AtField => "Pressure at the field",
            Self::SeaLevel => "Pressure at sea level",
            Self::Elevation => "Field elevation",
        }
    }

    fn example(self) -> &'static str {
        match self {
            Self::Wind => "such as 4@270",
            Self::Course => "such as 270",
            Self::Temperature => "such as 24 or 75F",
            Self::AtField => "such as 940",
            Self::SeaLevel => "such as 1018",
            Self::Elevation => "such as 1280m",
        }
    }

    fn hint(self) -> &'static str {
        match self {
            Self::Wind => {
                "Wind speed and the direction it comes from, such as 4@270 or 9mph@270; corrects the airspeed for the \
                 crosswind. Default unit: that of the overlay's speed"
            }
            Self::Course => {
                "Course of the legs over the ground, in either direction, in degrees; needed for the wind if \
                 the overlay shows no course"
            }
            Self::Temperature => "At the field, such as 24 (degrees Celsius) or 75F (degrees Fahrenheit)",
            Self::AtField => "As a barometer at the field shows it, such as 940 (hPa) or 27.8inHg",
            Self::SeaLevel => {
                "Reduced to sea level (QNH), as forecasts and airfields give it, such as 1018 (hPa) or 30.06inHg"
            }
            Self::Elevation => {
                "Above sea level, such as 1280m or 4200ft; default unit: that of the overlay's altitude, or \
                 metres"
            }
        }
    }
}

/// The choices of the reference of the altitude, each with its name.
const DATUMS: [(Option<Datum>, &str); 3] =
    [(None, "as recognised"), (Some(Datum::SeaLevel), "sea level"), (Some(Datum::Field), "the field")];

/// The choices of what the overlay's heading shows, the track or the direction of the nose, each with its name.
const HEADINGS: [(HeadingReference, &str); 2] =
    [(HeadingReference::Track, "the track"), (HeadingReference::Heading, "the nose")];

/// The entries for wind and air as typed. An empty field gives no value.
#[derive(Debug, Clone, Default)]
pub(super) struct AirFields {
    written: [String; AirEntry::ALL.len()],
    datum: Option<Datum>,
    heading: HeadingReference,
    /// Whether the fields must be unfolded, because one of them has an invalid entry.
    unfold: bool,
}

impl AirFields {
    /// Shows the fields, or one line with their entries while they are collapsed. The choices for altitude and heading
    /// are shown only if the setup has such regions.
    pub fn show(&mut self, ui: &mut Ui, setup: Option<&Setup>) {
        let shows = |channel: Channel| setup.is_some_and(|setup| setup.region(&channel).is_some());
        let header =
            CollapsingHeader::new("Wind and air").open(std::mem::take(&mut self.unfold).then_some(true));
        let shown = header.show(ui, |ui| {
            let columns = ((ui.available_width() / COLUMN) as usize).clamp(1, 3);
            Grid::new("wind and air").num_columns(2 * columns).spacing([12.0, 7.0]).show(ui, |ui| {
                for (index, (entry, text)) in AirEntry::ALL.iter().zip(&mut self.written).enumerate() {
                    let label = ui.label(entry.name());
                    let field = TextEdit::singleline(text).hint_text(entry.example());
                    ui.add_sized(FIELD, field).labelled_by(label.id).on_hover_text(entry.hint());
                    if index % columns + 1 == columns {
                        ui.end_row();
                    }
                }
            });
            ui.horizontal_wrapped(|ui| {
                if shows(Channel::Altitude) {
                    let hint = "What the altitude is measured from. Recognised automatically if the aircraft stood still at the start or the end of the recording";
                    choice(ui, ("Altitude counts from", hint), &DATUMS, &mut self.datum);
                }
                if shows(Channel::Heading) {
                    let hint = "A satellite receiver gives the track over the ground, a compass the direction of the nose";
                    choice(ui, ("Heading shown is", hint), &HEADINGS, &mut self.heading);
                }
            });
        });
        let mut given: Vec<String> =
            AirEntry::ALL.into_iter().filter_map(|entry| self.in_words(entry)).collect();
        given.extend(self.datum.map(|datum| format!("altitude from {}", name_of(&DATUMS, Some(datum)))));
        given.extend(
            (self.heading != HeadingReference::default())
                .then(|| format!("heading is {}", name_of(&HEADINGS, self.heading))),
        );
        if shown.fully_closed() && !given.is_empty() {
            ui.weak(given.join(", "));
        }
    }

    /// Sets the options of a reading from the entries.
    ///
    /// # Errors
    ///
    /// A sentence that names the field with the invalid entry, and what is wrong with it.
    pub fn apply_to(&mut self, setup: &Setup, options: &mut ReadOptions) -> Result<(), String> {
        let given = self.try_apply(setup, options);
        self.unfold = given.is_err();
        given
    }

    fn try_apply(&self, setup: &Setup, options: &mut ReadOptions) -> Result<(), String> {
        let unit = |channel: Channel| setup.region(&channel).and_then(Region::unit_shown);
        let (at_field, sea_level) = (self.text(AirEntry::AtField), self.text(AirEntry::SeaLevel));
        if at_field.is_some() && sea_level.is_some() {
            let (one, other) = (AirEntry::AtField.name(), AirEntry::SeaLevel.name());
            return Err(format!("{one}: \"{other}\" is entered, too; leave one of the two empty"));
        }
        let (wind, air) = (&mut options.wind, &mut options.air);
        wind.wind = self.read(AirEntry::Wind, |text| weather::wind(text, unit(Channel::Speed)))?;
        wind.course_deg = self.read(AirEntry::Course, weather::course_deg)?;
        air.temperature_k = self.read(AirEntry::Temperature, weather::temperature_k)?;
        let at_field = self.read(AirEntry::AtField, weather::pressure_pa)?.map(Pressure::AtField);
        let sea_level = self.read(AirEntry::SeaLevel, weather::pressure_pa)?.map(Pressure::SeaLevel);
        air.pressure = at_field.or(sea_level);
        let elevation = |text: &str| weather::elevation_m(text, unit(Channel::Altitude));
        air.field_elevation_m = self.read(AirEntry::Elevation, elevation)?;
        (wind.heading_reference, air.datum) = (self.heading, self.datum);
        Ok(())
    }

    fn text(&self, entry: AirEntry) -> Option<&str> {
        self.written.get(entry as usize).map(|text| text.trim()).filter(|text| !text.is_empty())
    }

    fn in_words(&self, entry: AirEntry) -> Option<String> {
        Some(format!("{} {}", entry.name().to_lowercase(), self.text(entry)?))
    }

    fn read<T>(
        &self,
        entry: AirEntry,
        read: impl FnOnce(&str) -> Result<T, WeatherError>,
    ) -> Result<Option<T>, String> {
        self.text(entry).map(read).transpose().map_err(|error| format!("{}: {error}", entry.name()))
    }
}

/// The name of the choice `chosen`; empty if it is not among `choices`, which are values with their names.
fn name_of<T: PartialEq>(choices: &[(T, &'static str)], chosen: T) -> &'static str {
    choices.iter().find(|(choice, _)| *choice == chosen).map_or("", |(_, name)| name)
}

/// Shows a choice among a few values, with its name to the left.
fn choice<T: PartialEq + Copy>(
    ui: &mut Ui,
    (name, hint): (&str, &str),
    choices: &[(T, &'static str)],
    chosen: &mut T,
) {
    let label = ui.label(name);
    let list = ComboBox::from_id_salt(name).selected_text(name_of(choices, *chosen)).show_ui(ui, |ui| {
        for (choice, name) in choices {
            ui.selectable_value(chosen, *choice, *name);
        }
    });
    list.response.labelled_by(label.id).on_hover_text(hint);
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use pairspeed::geometry::PixelRect;
    use pairspeed::model::units::Unit;
    use pairspeed::setup::Camera;

    fn setup(speed: Option<Unit>) -> Setup {
        let rect = PixelRect { left: 10, top: 10, width: 60, height: 20 };
        let camera = Camera { name: "nose".to_owned(), frame: (640, 480), glyphs: None };
        let regions = vec![
            Region::new(Channel::Speed, rect, speed),
            Region::new(Channel::Altitude, rect, Some(Unit::Feet)),
        ];
        Setup { camera, aircraft: None, regions }
    }

    fn fields(written: &[(AirEntry, &str)]) -> AirFields {
        let mut fields = AirFields::default();
        for (entry, text) in written {
            fields.written[*entry as usize] = (*text).to_owned();
        }
        fields
    }

    #[test]
    fn entries_without_a_unit_are_in_the_units_of_the_overlay() {
        let mut options = ReadOptions::default();
        let mut written = fields(&[
            (AirEntry::Wind, " 10@262 "),
            (AirEntry::Course, "80"),
            (AirEntry::Temperature, "24"),
            (AirEntry::SeaLevel, "1018"),
            (AirEntry::Elevation, "4200"),
        ]);
        written.apply_to(&setup(Some(Unit::MilesPerHour)), &mut options).unwrap();
        // NIST SP 811: 1 mph = 0.44704 m/s, 1 ft = 0.3048 m.
        let wind = options.wind.wind.unwrap();
        assert!((wind.speed_mps - 4.4704).abs() < 1e-9 && wind.from_deg == 262.0);
        assert_eq!(options.wind.course_deg, Some(80.0));
        assert!((options.air.temperature_k.unwrap() - 297.15).abs() < 1e-9);
        assert_eq!(options.air.pressure, Some(Pressure::SeaLevel(101_800.0)));
        assert!((options.air.field_elevation_m.unwrap() - 1280.16).abs() < 1e-9);

        let chosen = AirFields {
            datum: Some(Datum::Field),
            heading: HeadingReference::Heading,
            ..AirFields::default()
        };
        chosen.clone().apply_to(&setup(None), &mut options).unwrap();
        assert_eq!(
            (options.air.datum, options.wind.heading_reference),
            (Some(Datum::Field), HeadingReference::Heading)
        );

        // Empty fields state nothing.
        fields(&[]).apply_to(&setup(None), &mut options).unwrap();
        assert_eq!(options, ReadOptions::default());
    }

    #[test]
    fn an_invalid_entry_is_named_by_its_field_and_unfolded() {
        for (entry, text, said) in [
            (AirEntry::Wind, "4m/s@400", "Wind: 4m/s@400: the direction may be"),
            (AirEntry::Wind, "4@270", "Wind: 4@270: the setup states no unit"),
            (AirEntry::Course, "west", "Course: west: give degrees"),
            (AirEntry::Temperature, "900", "Temperature: 900: give -50 to 60"),
            (AirEntry::AtField, "12", "Pressure at the field: 12: give 500"),
            (AirEntry::SeaLevel, "low", "Pressure at sea level: low: give 500"),
            (AirEntry::Elevation, "high", "Field elevation: high: give -500"),
        ] {
            let mut written = fields(&[(entry, text)]);
            let error = written.apply_to(&setup(None), &mut ReadOptions::default()).unwrap_err();
            assert!(error.starts_with(said) && written.unfold, "{error}");
        }
        let mut both = fields(&[(AirEntry::AtField, "940"), (AirEntry::SeaLevel, "1018")]);
        let error = both.apply_to(&setup(None), &mut ReadOptions::default()).unwrap_err();
        assert!(error.contains("leave one of the two empty"), "{error}");
    }
}
