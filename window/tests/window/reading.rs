//! The options that are entered before reading.

use egui_kittest::kittest::{NodeT as _, Queryable as _};
use pairspeed::airspeed::WindSource;

use super::driving::Window;

fn at_the_reading() -> Window {
    let mut window = Window::new();
    let clip = window.put_flight("salt-flat.avi", true);
    window.open_flight(&clip);
    window.click("4  Reading");
    window
}

/// The text of a field.
fn written(window: &Window, field: &str) -> String {
    window.harness.get_by_label(field).accesskit_node().value().unwrap_or_default()
}

#[test]
fn an_invalid_wind_is_named_by_its_field_and_nothing_starts() {
    let mut window = at_the_reading();
    window.click("Wind and air");
    window.harness.run_steps(20);
    window.write("Wind", "4@400");
    // The folded part is unfolded so that the entry can be corrected.
    window.click("Wind and air");
    window.harness.run_steps(20);
    assert!(window.shows("wind 4@400"));
    window.click("Read the flight");
    let said = window.trouble();
    assert!(said.starts_with("Wind: 4@400: the direction may be 0 to 360 degrees"), "{said}");
    window.harness.run_steps(20);
    assert!(window.shows("Read the flight") && !window.shows("Cancel"));
    assert!(!window.card.path().join("flight-result").exists());
    assert_eq!(written(&window, "Wind"), "4@400");
}

#[test]
fn entered_wind_and_air_stay_in_their_fields_and_change_the_result() {
    let mut window = at_the_reading();
    window.click("Wind and air");
    window.harness.run_steps(20);
    // The wind of the demonstration, here across the course.
    for (field, text) in [
        ("Wind", "14.4@90"),
        ("Course", "0"),
        ("Temperature", "75F"),
        ("Pressure at sea level", "1018"),
        ("Field elevation", "4200ft"),
    ] {
        window.write(field, text);
    }
    // The setup has no region for the heading, so the window does not ask what the heading shows.
    assert!(!window.shows("Heading shown is"));
    window.click("Altitude counts from");
    window.click("sea level");
    window.click("2  Regions");
    window.click("4  Reading");
    window.harness.run_steps(20);
    assert_eq!(written(&window, "Wind"), "14.4@90");
    window.click("Read the flight");
    window.until("the flight is read", |app| app.shared().finished.is_some());
    let flight = &window.harness.state().shared().finished.as_ref().unwrap().flight;
    let wind = flight.wind.as_ref().unwrap();
    assert_eq!(wind.source, WindSource::Given);
    let air = &flight.air;
    assert!((air.field_elevation_m.unwrap() - 1280.16).abs() < 1e-6 && !air.standard_temperature);
    let summary = window.card.path().join("flight-result").join("summary.json");
    let summary: serde_json::Value = serde_json::from_slice(&std::fs::read(summary).unwrap()).unwrap();
    assert_eq!(summary["wind"]["source"], "given");
    assert_eq!(summary["air"]["altitude_from"], "sea-level");
    assert_eq!(summary["air"]["altitude_from_given"], true);
    assert_eq!(written(&window, "Field elevation"), "4200ft");
}

#[test]
fn no_widgets_of_the_page_overlap_at_any_size() {
    for (size, scale) in [([1280.0, 720.0], 1.0), ([640.0, 360.0], 2.0)] {
        let mut window = Window::of(size, scale, egui::Theme::Light);
        let clip = window.put_flight("salt-flat.avi", true);
        window.open_flight(&clip);
        window.click("4  Reading");
        window.click("Wind and air");
        window.harness.run_steps(20);
        let names = [
            "Throttle steps",
            "in per cent, in the order flown",
            "Units of the results",
            "speeds",
            "Wind",
            "Course",
            "Pressure at sea level",
            "Field elevation",
            "Read the flight",
        ];
        let rects: Vec<(String, egui::Rect)> = names
            .iter()
            .flat_map(|name| window.harness.query_all_by_label_contains(name))
            .map(|node| (format!("{:?}", node.accesskit_node().label()), node.rect()))
            .collect();
        assert!(rects.len() >= names.len());
        for (index, (name, rect)) in rects.iter().enumerate() {
            for (other_name, other) in rects.iter().skip(index + 1) {
                let shared = rect.shrink(1.0).intersect(other.shrink(1.0));
                assert!(
                    !shared.is_positive(),
                    "{name} {rect:?} lies over {other_name} {other:?} at {size:?}"
                );
            }
        }
    }
}
