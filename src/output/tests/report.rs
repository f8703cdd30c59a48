use std::sync::Arc;

use super::sample::{
    blank_flight, clip, flight_without_units, long_flight, pair, small_flight, step, triangle_flight,
};
use crate::flight::Flight;
use crate::legs::{Flag, LegKind};
use crate::model::channel::Channel;
use crate::output::{CAUTIONS, report_html};
use crate::propulsion::SpeedCurve;
use crate::series::Blank;

fn page(flight: &Flight) -> String {
    String::from_utf8(report_html(flight).unwrap()).unwrap()
}

/// Elements that have no closing tag (HTML standard, void elements).
const VOID: [&str; 3] = ["meta", "br", "hr"];

/// Asserts that every opened element is closed in order, and that text contains no unescaped `<`.
fn assert_well_formed(page: &str) {
    let body = page.strip_prefix("<!DOCTYPE html>").unwrap();
    let mut open: Vec<&str> = Vec::new();
    for tag in body.split('<').skip(1).map(|rest| rest.split_once('>').expect("a tag without an end").0) {
        let name = tag.split([' ', '/']).find(|part| !part.is_empty()).unwrap();
        if tag.starts_with('/') {
            assert_eq!(open.pop(), Some(name), "closing tag out of turn");
        } else if !tag.ends_with('/') && !VOID.contains(&name) {
            open.push(name);
        }
    }
    assert_eq!(open, Vec::<&str>::new());
}

fn assert_nothing_is_fetched(page: &str) {
    let head = page.split("<style").next().unwrap_or_default();
    let policy = "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; ";
    assert!(head.contains(policy), "{head}");
    for fetching in ["http:", "https:", "src=", "href=", "@import", "<script", "<link", "<iframe"] {
        assert!(!page.contains(fetching), "{fetching}");
    }
    let within_the_page = page.matches("url(#").count();
    assert_eq!(page.matches("url(").count(), within_the_page);
}

#[test]
fn every_report_is_well_formed_and_fetches_nothing() {
    for flight in [small_flight(), long_flight(), blank_flight(), flight_without_units(), triangle_flight()] {
        let page = page(&flight);
        assert_well_formed(&page);
        assert_nothing_is_fetched(&page);
        assert!(!page.contains("NaN") && !page.contains("inf<"));
    }
}

#[test]
fn the_answer_comes_before_the_plots_and_the_cautions_are_there() {
    let page = page(&long_flight());
    let place = |text: &str| page.find(text).unwrap_or_else(|| panic!("{text} is missing"));
    assert!(place("82.0 km/h") < place("73.0 to 75.0"));
    assert!(place("73.0 to 75.0") < place("80 %, 2 pairs"));
    assert!(place("80 %, 2 pairs") < place("<svg viewBox=\"0 0 960"));
    assert!(place("voltage 1.2 V lower than in the first step") < place("<svg viewBox=\"0 0 960"));
    assert!(place("downwind 100 %") < place("What was left blank, and why"));
    assert!(place("240 signal lost") < place("How the numbers were made"));
    for caution in CAUTIONS {
        place(caution);
    }
}

#[test]
fn legs_in_three_directions_give_a_separate_airspeed() {
    let page = page(&triangle_flight());
    assert!(page.contains("<strong>100.0 km/h</strong>"), "{page}");
    assert!(
        page.contains("fastest, at 100 % throttle, from legs in 3 directions; 95 % interval 98.5 to"),
        "{page}"
    );
    assert!(page.contains("wind from 45 degrees; the legs disagree"));
    assert!(page.contains("Airspeed against throttle"));
    assert!(!page.contains("No airspeed"));
}

#[test]
fn the_headline_is_the_fastest_step_over_all_of_its_pairs() {
    let mut flight = small_flight();
    flight.pairs.push(pair(2, 1, Some(60.0), 63.0, 77.0));
    flight.steps = vec![step(1, Some(60.0), 68.5, 2)];
    let page = page(&flight);
    assert!(
        page.contains("<strong>68.5 km/h</strong>") && page.contains("60 % throttle, over 2 pairs"),
        "{page}"
    );
}

#[test]
fn the_curve_of_speed_against_throttle_is_drawn_with_its_band() {
    let mut flight = small_flight();
    let polygons = |flight: &Flight| page(flight).matches("<polygon").count();
    let without = polygons(&flight);
    flight.propulsion.curve = Some(SpeedCurve {
        full_throttle_mps: 25.0,
        exponent: 0.7,
        covariance: [0.04, 0.0, 0.0001],
        degrees_of_freedom: 20.0,
        flown_percent: (50.0, 100.0),
        excess_scatter: None,
    });
    assert_eq!(polygons(&flight), without + 1);
    assert!(page(&flight).contains("the band holds the curve"));
}

fn strips(flight: &Flight) -> usize {
    page(flight).matches("fill=\"#99999A\" stroke=\"none\"").count()
}

#[test]
fn each_leg_has_its_band_and_each_gap_its_strip() {
    let page = page(&long_flight());
    // The colours occur in the rectangles of the plot: four legs in each direction, one unpaired leg, the
    // signal loss and the gap.
    let rectangles = |color: &str| page.matches(&format!("fill=\"{color}\" stroke=\"none\"")).count();
    assert_eq!((rectangles("#0072B2"), rectangles("#E69F00"), rectangles("#999999")), (4, 4, 1));
    assert_eq!(strips(&long_flight()), 2);
    let mut flight = long_flight();
    Arc::make_mut(&mut flight.series).readings.channels[0].blank[900] = Blank::Unclear;
    assert_eq!(strips(&flight), 2, "a blank of one frame is too short for a strip");
    Arc::make_mut(&mut flight.series).readings.channels[0].blank[900..930].fill(Blank::Unclear);
    assert_eq!(strips(&flight), 3);
}

#[test]
fn a_blank_breaks_the_line_of_the_speed() {
    let page = page(&long_flight());
    assert_eq!(page.matches("stroke=\"#000001\"").count() - 2, 3, "two mentions stand in the style sheet");
}

#[test]
fn the_page_stays_small_however_long_the_flight() {
    let mut flight = long_flight();
    let long = page(&flight).len();
    let readings = &mut Arc::make_mut(&mut flight.series).readings;
    readings.time_s = (0..200_000).map(|n| f64::from(n) / 60.0).collect();
    for channel in &mut readings.channels {
        channel.values = (0..200_000).map(|n| f64::from(n * 7919 % 100)).collect();
        channel.blank.clear();
    }
    Arc::make_mut(&mut flight.series).speed_smooth = vec![60.0; 200_000];
    let longer = page(&flight).len();
    assert!(longer < 2 * long && longer < 500_000, "{long} {longer}");
}

#[test]
fn a_flight_without_airspeed_says_so_instead_of_drawing() {
    let page = page(&blank_flight());
    assert!(page.contains("No airspeed: no straight, steady leg was found."));
    assert!(page.contains("There is no plot, because no speed reading is trusted."));
    assert!(page.contains("3 signal lost"));
    assert!(!page.contains("<h2>The legs</h2>") && !page.contains("Airspeed against throttle"));
}

#[test]
fn markup_in_names_flags_and_notes_is_shown_and_not_obeyed() {
    let mut flight = small_flight();
    flight.clips = vec![clip("<script>&\"wing\".avi")];
    flight.setup.camera.name = "<b>".into();
    flight.notes = vec!["</ul><img src=x>".into()];
    flight.pairs[0].flags = vec![Flag("a < b & \"c\"".into())];
    let page = page(&flight);
    assert_well_formed(&page);
    assert!(page.contains("&lt;script&gt;&amp;&quot;wing&quot;.avi"));
    assert!(!page.contains("<script") && !page.contains("<img") && !page.contains("<b>"));
}

#[test]
fn control_characters_of_names_and_notes_are_escaped_in_the_whole_page() {
    let evil = "a\u{1b}[2J\u{202e}b\u{9b}";
    let mut flight = small_flight();
    flight.clips = vec![clip(&format!("{evil}.avi"))];
    flight.setup.camera.name = evil.into();
    flight.notes = vec![evil.into()];
    flight.pairs[0].flags = vec![Flag(evil.into())];
    for channel in &mut Arc::make_mut(&mut flight.series).readings.channels {
        if channel.channel != Channel::Speed {
            channel.channel = Channel::from(evil.to_owned());
        }
    }
    let page = page(&flight);
    assert_well_formed(&page);
    assert_eq!(page.find(|letter: char| letter != '\n' && letter.is_control()), None);
    assert!(!page.contains('\u{202e}'));
    let escaped = page.matches("\\u{1b}[2J\\u{202e}b\\u{9b}").count();
    assert!(escaped >= 4, "title, head, camera and note: {escaped}");
}

#[test]
fn huge_and_missing_numbers_draw_or_are_left_out_without_harm() {
    let mut flight = long_flight();
    flight.pairs = vec![
        pair(1, 1, Some(1e300), 1e300, 1e300),
        pair(2, 2, Some(f64::NAN), f64::NAN, 1.0),
        pair(3, 3, Some(-1e300), f64::MAX, -f64::MAX),
    ];
    flight.legs[0].start_s = f64::NEG_INFINITY;
    flight.legs[1].end_s = f64::NAN;
    flight.legs[2].start_s = 1e300;
    flight.legs[3].kind = LegKind::Leg;
    Arc::make_mut(&mut flight.series).readings.channels[0].values[5] = 1e300;
    Arc::make_mut(&mut flight.series).readings.channels[1].values[5] = -f64::MAX;
    Arc::make_mut(&mut flight.series).readings.channels[1].values[6] = f64::MAX;
    Arc::make_mut(&mut flight.series).readings.time_s[7] = f64::NAN;
    let page = page(&flight);
    assert_well_formed(&page);
    assert!(!page.contains("NaN"));
}
