//! The pages after that of the legs: comparison of flights, test card, and checks for all pages.

use std::fs;

use egui::accesskit::Role;
use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use pairspeed::compare::{CompareOptions, compare};
use pairspeed::files::Existing;
use pairspeed::output::folder::write_all;
use pairspeed::output::{ComparisonStyle, comparison_html};
use pairspeed::summary::load_flights;
use pairspeed::{ReadOptions, work_out};
use pairspeed_window::store::Store;
use pairspeed_window::{App, Finished, Page};

use super::common::{Plan, fly, record};
use super::driving::{Sitting, simulated};

#[test]
fn every_page_passes_the_check_of_accessibility_at_every_size() {
    for size in [[1280.0, 720.0], [640.0, 360.0]] {
        let folder = tempfile::tempdir().unwrap();
        let finished = Finished { folder: folder.path().to_owned(), ..simulated() };
        let mut app = App::new(Store::in_folder(folder.path()));
        app.show_flight(vec![folder.path().join("flight.avi")], finished);
        let mut window = Harness::builder()
            .with_size(size)
            .with_accessibility_check(true)
            .build_ui_state(|ui, app: &mut App| app.show(ui), app);
        for page in [Page::Legs, Page::Compare, Page::TestCard] {
            window.key_press([Key::F5, Key::F6, Key::F7][page as usize - 4]);
            window.run_steps(5);
            assert_eq!(window.state().page(), page);
        }
        // All widgets need a name for screen readers.
        let nameless: Vec<String> = window
            .root()
            .children_recursive()
            .filter(|node| {
                matches!(node.accesskit_node().role(), Role::Button | Role::TextInput | Role::Slider)
            })
            .filter(|node| node.accesskit_node().label().is_none_or(|label| label.trim().is_empty()))
            .map(|node| format!("{node:?}"))
            .collect();
        assert!(nameless.is_empty(), "{nameless:?}");
    }
}

#[test]
fn flights_are_compared_with_table_and_verdict_and_saved_as_a_page() {
    let mut sitting = Sitting::new();
    write_all(&sitting.result(""), sitting.flight(), Existing::Replace).unwrap();
    let plan = Plan { airspeeds: vec![23.0, 25.5, 28.0, 30.5, 33.0, 36.0], ..Plan::default() };
    let faster = work_out(record(fly(&plan).readings), &ReadOptions::default()).unwrap();
    let after = sitting.folder.path().join("after");
    write_all(&after, &faster, Existing::Keep).unwrap();
    sitting.press(Key::F6);
    sitting.click("Add this flight");
    assert!(sitting.window.query_by_label_contains("against").is_none());
    sitting.write("Folder of results", after.to_str().unwrap());
    sitting.click("Add");
    sitting.window.get_by_label("after against flight-result");
    let verdict = sitting.window.get_by_label_contains("All steps together: faster");
    assert!(verdict.accesskit_node().value().is_some_and(|words| words.contains("Faster by")), "{verdict:?}");
    sitting.click("Save the page");
    let page = fs::read_to_string(sitting.result("comparison.html")).unwrap();
    assert!(page.contains("after against flight-result"));
    sitting.click("Save the page");
    assert!(sitting.result("comparison-2.html").exists(), "{}", sitting.notice());
}

#[test]
fn flights_are_compared_at_one_density_as_the_command_does() {
    let mut sitting = Sitting::new();
    write_all(&sitting.result(""), sitting.flight(), Existing::Replace).unwrap();
    let after = sitting.folder.path().join("after");
    write_all(&after, sitting.flight(), Existing::Keep).unwrap();
    sitting.press(Key::F6);
    sitting.click("Add this flight");
    sitting.write("Folder of results", after.to_str().unwrap());
    sitting.click("Add");
    let unmatched = "Air density is not matched";
    sitting.window.get_by_label_contains(unmatched);
    assert!(sitting.window.query_by_label_contains("--").is_none(), "an option where there are fields");
    sitting.write("Air density in kg/m^3 before", "1,2");
    sitting.write("Air density in kg/m^3 after 1", "12");
    sitting.window.get_by_label_contains("Air density, after 1: 12: it lies between 0.1 and 2 kg/m^3");
    sitting.press_with(Modifiers::COMMAND, Key::A);
    let field = sitting.window.get_by_role_and_label(Role::TextInput, "Air density in kg/m^3 after 1");
    field.type_text("1.1");
    sitting.settle();
    assert!(sitting.window.query_by_label_contains(unmatched).is_none());
    sitting.click("Save the page");
    let page = fs::read_to_string(sitting.result("comparison.html")).unwrap();

    let folders = [sitting.result(""), after];
    let mut flights = load_flights(&folders).unwrap();
    for (flight, density) in flights.iter_mut().zip([1.2, 1.1]) {
        flight.density_kg_m3 = Some(density);
    }
    let unit = flights[0].speed_unit;
    let wanted_mps = unit.si_per_unit();
    let options = CompareOptions { match_voltage: true, reference_v: None, wanted_mps };
    let comparisons = compare(&flights, &options);
    assert!(comparisons[0].steps.iter().all(|step| step.density_part_mps.is_some_and(|part| part > 0.1)));
    assert_eq!(page, comparison_html(&comparisons, &ComparisonStyle { unit, wanted_mps }));
}

#[test]
fn a_folder_without_results_is_reported_when_flights_are_compared() {
    let mut sitting = Sitting::new();
    sitting.press(Key::F6);
    for folder in ["one", "other"] {
        fs::create_dir(sitting.folder.path().join(folder)).unwrap();
        let path = sitting.folder.path().join(folder);
        sitting.write("Folder of results", path.to_str().unwrap());
        sitting.click("Add");
    }
    sitting.window.get_by_label_contains("the folder holds no summary.json");
    sitting.window.get_all_by_label("Remove").next().unwrap().click();
    sitting.settle();
    assert!(sitting.window.query_by_label_contains("the folder holds no summary.json").is_none());
}

#[test]
fn a_test_card_is_made_from_the_entries_and_saved_as_a_page() {
    let mut sitting = Sitting::new();
    sitting.press(Key::F7);
    sitting.window.get_by_label_contains("Enter the speed that you expect");
    sitting.write("Speed at full throttle", "110 km/h");
    sitting.write("Wind", "10");
    sitting.write("Throttle steps, %", "60, 80, 100");
    sitting.settle();
    sitting.window.get_by_label_contains("wind 10.0 km/h");
    sitting.click("Save the page");
    let page = fs::read_to_string(sitting.result("test-card.html")).unwrap();
    assert!(page.contains("Test card") && page.contains("wind 10.0 km/h"), "{}", sitting.notice());
}
