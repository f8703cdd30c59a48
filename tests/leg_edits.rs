//! Tests edits of the found legs: what they change, what they leave unchanged, and their file.
#![allow(clippy::unwrap_used, missing_docs)]

mod common;

use std::fs;
use std::path::PathBuf;

use common::{Plan, Readout, fly, record};
use pairspeed::airspeed::PairedLegs;
use pairspeed::flight::{Flight, FlightRecord};
use pairspeed::leg_edits::{EditsFileError, LegEdit, LegEditError, LegEdits, SHORTEST_LEG_S};
use pairspeed::legs::{LegKind, LegOptions, ThrottleSource};
use pairspeed::{ReadOptions, work_out};
use proptest::prelude::*;

/// A flight that can be computed again, and its edits.
struct EditedFlight {
    record: FlightRecord,
    options: ReadOptions,
    found: Flight,
    edits: LegEdits,
}

impl EditedFlight {
    fn of(plan: &Plan) -> Self {
        Self::with(plan, LegOptions::default())
    }

    fn with(plan: &Plan, legs: LegOptions) -> Self {
        let record = record(fly(plan).readings);
        let options = ReadOptions { legs, ..ReadOptions::default() };
        let found = work_out(record.clone(), &options).unwrap();
        let edits = LegEdits::of(&found);
        Self { record, options, found, edits }
    }

    fn worked_out(&self, edits: &LegEdits) -> Flight {
        let options = ReadOptions { legs: edits.applied_to(&self.options.legs), ..self.options.clone() };
        work_out(self.record.clone(), &options).unwrap()
    }

    fn after(&self, made: &[LegEdit]) -> Flight {
        let mut edits = self.edits.clone();
        made.iter().for_each(|edit| edits.make(*edit).unwrap());
        self.worked_out(&edits)
    }
}

/// Asserts that two flights are equal. Values of NaN count as equal here, unlike with `==`.
fn assert_same(one: &Flight, other: &Flight) {
    assert!(format!("{one:?}") == format!("{other:?}"), "{:?} is not {:?}", one.pairs, other.pairs);
}

/// Airspeed and the two ground speeds of each pair.
fn airspeeds(flight: &Flight) -> Vec<(f64, f64, f64)> {
    flight.pairs.iter().map(|pair| (pair.airspeed.value, pair.upwind, pair.downwind)).collect()
}

/// Medians and times of the legs, without the `count` legs from index `skip` on.
fn medians_and_times(flight: &Flight, skip: usize, count: usize) -> Vec<(f64, f64, f64, f64, f64)> {
    let legs = flight.legs.iter().enumerate().filter(|(index, _)| !(skip..skip + count).contains(index));
    legs.map(|(_, leg)| (leg.start_s, leg.end_s, leg.steady_start_s, leg.steady_end_s, leg.speed_median))
        .collect()
}

#[test]
fn without_edits_the_flight_is_exactly_the_one_found() {
    let edited = EditedFlight::of(&Plan::default());
    assert_same(&edited.worked_out(&edited.edits), &edited.found);
    let mut edits = edited.edits.clone();
    edits.make(LegEdit::Delete { leg: 3 }).unwrap();
    edits.undo();
    assert_same(&edited.worked_out(&edits), &edited.found);
}

#[test]
fn the_found_legs_given_as_edits_give_the_same_airspeeds() {
    let edited = EditedFlight::of(&Plan::default());
    let again = edited.after(&[LegEdit::Throttle { leg: 1, percent: None }]);
    assert_eq!(medians_and_times(&again, 0, 0), medians_and_times(&edited.found, 0, 0));
    assert_eq!(again.pairs, edited.found.pairs);
    assert_eq!(again.steps, edited.found.steps);
    assert!(
        again.notes.iter().any(|note| note.sentence.contains("edited by hand (1 edit)")),
        "{:?}",
        again.notes
    );
}

#[test]
fn deleting_a_leg_removes_its_pair_and_no_other() {
    let edited = EditedFlight::of(&Plan::default());
    let pair = edited.found.pairs[2].clone();
    let after = edited.after(&[LegEdit::Delete { leg: pair.legs.upwind + 1 }]);
    assert_eq!(medians_and_times(&after, 0, 0), medians_and_times(&edited.found, pair.legs.upwind, 1));
    let mut expected = airspeeds(&edited.found);
    expected.remove(2);
    assert_eq!(airspeeds(&after), expected);
    let odd: Vec<bool> = after.legs.iter().map(|leg| leg.kind == LegKind::Unpaired).collect();
    let was_odd = edited.found.legs.iter().filter(|leg| leg.kind == LegKind::Unpaired).count();
    assert_eq!(odd.iter().filter(|odd| **odd).count(), was_odd + 1);
}

#[test]
fn moving_an_end_changes_only_its_own_median_and_pair() {
    let edited = EditedFlight::of(&Plan { gust: 1.0, ..Plan::default() });
    let index = edited.found.pairs[1].legs.upwind;
    let middle_s =
        f64::midpoint(edited.found.legs[index].steady_start_s, edited.found.legs[index].steady_end_s);
    let after = edited.after(&[LegEdit::MoveEnd { leg: index + 1, to_s: middle_s }]);
    assert_eq!(medians_and_times(&after, index, 1), medians_and_times(&edited.found, index, 1));
    assert_eq!(
        (after.legs[index].end_s, after.legs[index].start_s),
        (middle_s, edited.found.legs[index].start_s)
    );
    assert!(after.legs[index].samples < edited.found.legs[index].samples);
    for (number, (now, then)) in airspeeds(&after).iter().zip(airspeeds(&edited.found)).enumerate() {
        assert_eq!(*now == then, number != 1, "pair {number}: {now:?} {then:?}");
    }
    let doubt = |flight: &Flight| flight.legs[index].speed_uncertainty;
    assert!(doubt(&after) > doubt(&edited.found), "{} {}", doubt(&after), doubt(&edited.found));
}

#[test]
fn the_median_of_a_moved_leg_is_that_of_a_given_leg_with_the_same_times() {
    let edited = EditedFlight::of(&Plan::default());
    let leg = &edited.found.legs[4];
    let (start_s, end_s) = (leg.steady_start_s + 1.0, leg.steady_end_s - 2.0);
    let moved = edited
        .after(&[LegEdit::MoveStart { leg: 5, to_s: start_s }, LegEdit::MoveEnd { leg: 5, to_s: end_s }]);
    let replaced = edited.after(&[LegEdit::Delete { leg: 5 }, LegEdit::Add { start_s, end_s }]);
    assert_eq!(moved.legs[4].speed_median, replaced.legs[4].speed_median);
    assert_eq!(airspeeds(&moved), airspeeds(&replaced));
}

#[test]
fn a_pair_marked_in_reverse_swaps_its_speeds_and_is_flagged() {
    let edited = EditedFlight::of(&Plan::default());
    let pair = &edited.found.pairs[0];
    let after = edited.after(&[LegEdit::Mark { leg: pair.legs.downwind + 1, kind: LegKind::Upwind }]);
    let swapped = PairedLegs { upwind: pair.legs.downwind, downwind: pair.legs.upwind };
    assert_eq!(after.pairs[0].legs, swapped);
    assert_eq!(after.pairs[0].wind, -pair.wind);
    assert!(after.pairs[0].flags.iter().any(|flag| flag.0.contains("is faster than the downwind leg")));
    assert_eq!(airspeeds(&after)[1..], airspeeds(&edited.found)[1..]);
}

#[test]
fn two_legs_marked_the_same_way_are_no_pair() {
    let edited = EditedFlight::of(&Plan::default());
    let PairedLegs { upwind, downwind } = edited.found.pairs[0].legs;
    let after = edited.after(&[
        LegEdit::Mark { leg: upwind + 1, kind: LegKind::Upwind },
        LegEdit::Mark { leg: downwind + 1, kind: LegKind::Upwind },
    ]);
    assert_eq!(airspeeds(&after), airspeeds(&edited.found)[1..]);
}

#[test]
fn a_throttle_applies_to_both_legs_of_a_pair() {
    let edited = EditedFlight::of(&Plan::default());
    assert_eq!(edited.found.throttle_source, ThrottleSource::Numbered);
    let leg = edited.found.pairs[1].legs.downwind + 1;
    let after = edited.after(&[LegEdit::Throttle { leg, percent: Some(65.0) }]);
    assert_eq!(after.throttle_source, ThrottleSource::LegsFile);
    let throttles: Vec<Option<f64>> = after.pairs.iter().map(|pair| pair.throttle_percent).collect();
    assert_eq!(throttles, [None, Some(65.0), None, None, None, None]);
    assert_eq!(airspeeds(&after), airspeeds(&edited.found));
}

#[test]
fn given_throttles_stay_with_their_legs_when_a_pair_is_lost() {
    let throttles = vec![50.0, 60.0, 70.0, 80.0, 90.0, 100.0];
    let legs = LegOptions { throttle_steps: Some(throttles), ..LegOptions::default() };
    let edited = EditedFlight::with(&Plan::default(), legs);
    let after = edited.after(&[LegEdit::Delete { leg: edited.found.pairs[2].legs.upwind + 1 }]);
    let of_pairs: Vec<f64> = after.pairs.iter().filter_map(|pair| pair.throttle_percent).collect();
    assert_eq!(of_pairs, [50.0, 60.0, 80.0, 90.0, 100.0]);
}

#[test]
fn a_shown_throttle_is_read_again_if_none_is_given() {
    let edited = EditedFlight::of(&Plan { throttle_readout: Readout::Alive, seed: 5, ..Plan::default() });
    let after = edited.after(&[LegEdit::Mark { leg: 1, kind: LegKind::Unpaired }]);
    assert_eq!(after.throttle_source, ThrottleSource::Overlay);
    let of_legs = |flight: &Flight| flight.legs.iter().map(|leg| leg.throttle_percent).collect::<Vec<_>>();
    assert_eq!(of_legs(&after), of_legs(&edited.found));
}

#[test]
fn an_edit_that_cannot_be_made_says_why_and_changes_nothing() {
    let edited = EditedFlight::of(&Plan::default());
    let mut edits = edited.edits.clone();
    let last = edits.legs().len();
    let next_s = edits.legs()[1].start_s;
    let refused = |edits: &mut LegEdits, edit| edits.make(edit).unwrap_err();
    let error = refused(&mut edits, LegEdit::Delete { leg: 99 });
    assert_eq!(error.to_string(), format!("there is no leg 99: the flight has {last} legs"));
    let error = refused(&mut edits, LegEdit::MoveEnd { leg: 1, to_s: next_s + 1.0 });
    assert!(matches!(error, LegEditError::Overlap { other: 2, .. }), "{error}");
    let start_s = edits.legs()[0].start_s;
    let error = refused(&mut edits, LegEdit::MoveEnd { leg: 1, to_s: start_s - 3.0 });
    assert!(matches!(error, LegEditError::TooShort { .. }), "{error}");
    let error = refused(&mut edits, LegEdit::MoveEnd { leg: last, to_s: 1e6 });
    assert!(matches!(error, LegEditError::OutsideRecording { .. }), "{error}");
    for nonsense in [f64::NAN, f64::INFINITY] {
        refused(&mut edits, LegEdit::MoveStart { leg: 2, to_s: nonsense });
        refused(&mut edits, LegEdit::Split { leg: 2, at_s: nonsense });
        refused(&mut edits, LegEdit::Throttle { leg: 2, percent: Some(nonsense) });
    }
    let error = refused(&mut edits, LegEdit::Throttle { leg: 2, percent: Some(130.0) });
    assert!(error.to_string().contains("give 0 to 100"), "{error}");
    assert!(matches!(refused(&mut edits, LegEdit::Join { leg: last }), LegEditError::NothingFollows { .. }));
    assert_eq!(edits, edited.edits);
}

#[test]
fn moves_of_one_end_are_undone_and_redone_together() {
    let edited = EditedFlight::of(&Plan::default());
    let mut edits = edited.edits.clone();
    let end_s = edits.legs()[0].end_s;
    for by_s in [0.2, 0.4, 0.6] {
        edits.make(LegEdit::MoveEnd { leg: 1, to_s: end_s - by_s }).unwrap();
    }
    edits.make(LegEdit::Split { leg: 3, at_s: edits.legs()[2].start_s + 1.5 }).unwrap();
    assert_eq!(edits.edits().len(), 2);
    let made = edits.legs().to_vec();
    edits.undo();
    edits.undo();
    assert_eq!((edits.legs(), edits.edits().len()), (edited.edits.legs(), 0));
    edits.undo();
    edits.redo();
    assert_eq!(edits.legs()[0].end_s, end_s - 0.6);
    edits.redo();
    edits.redo();
    assert_eq!(edits.legs(), made);
}

fn clip(folder: &tempfile::TempDir, name: &str, bytes: usize) -> Vec<PathBuf> {
    let path = folder.path().join(name);
    fs::write(&path, vec![0; bytes]).unwrap();
    vec![path]
}

#[test]
fn saved_edits_give_the_same_flight_and_can_still_be_undone() {
    let edited = EditedFlight::of(&Plan::default());
    let folder = tempfile::tempdir().unwrap();
    let clips = clip(&folder, "flight.avi", 1000);
    let path = folder.path().join("legs.toml");
    let mut edits = edited.edits.clone();
    let at_s = f64::midpoint(edits.legs()[2].start_s, edits.legs()[2].end_s);
    edits.make(LegEdit::Split { leg: 3, at_s }).unwrap();
    edits.make(LegEdit::Mark { leg: 3, kind: LegKind::Unpaired }).unwrap();
    edits.make(LegEdit::Throttle { leg: 1, percent: Some(52.5) }).unwrap();
    edits.save(&path, &clips).unwrap();
    let renamed = clip(&folder, "renamed.avi", 1000);
    let mut loaded = LegEdits::load(&path, &renamed).unwrap();
    assert_eq!(loaded, edits);
    assert_same(&edited.worked_out(&loaded), &edited.worked_out(&edits));
    (0..3).for_each(|_| loaded.undo());
    assert_eq!(loaded.legs(), edited.edits.legs());
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 3, "something was left beside the file");
}

#[test]
fn a_file_of_another_recording_or_with_faults_is_refused_with_the_fix() {
    let edited = EditedFlight::of(&Plan::default());
    let folder = tempfile::tempdir().unwrap();
    let clips = clip(&folder, "flight.avi", 1000);
    let path = folder.path().join("legs.toml");
    let mut edits = edited.edits.clone();
    edits.make(LegEdit::Delete { leg: 2 }).unwrap();
    edits.save(&path, &clips).unwrap();
    let said = |path: &PathBuf, clips: &[PathBuf]| LegEdits::load(path, clips).unwrap_err().to_string();
    let other = clip(&folder, "other.avi", 999);
    assert!(said(&path, &other).contains("belongs to another recording (flight.avi)"));
    assert!(said(&folder.path().join("none.toml"), &clips).contains("there is no such file"));
    let absent = [folder.path().join("absent.avi")];
    assert!(matches!(LegEdits::load(&path, &absent), Err(EditsFileError::NoClip { .. })));
    let text = fs::read_to_string(&path).unwrap();
    for (from, to, expected) in [
        ("what = \"delete\"", "what = \"paint\"", "line "),
        ("leg = 2", "leg = 200", "edit 1 (delete leg 200) is not possible: there is no leg 200"),
        ("start_s = ", "start_s = -", "leg 1, from"),
        ("end_s = ", "end_s = nan #", "leg 1, from"),
        ("recording_s = ", "recorded_s = ", "line "),
        ("kind = \"leg\"", "kind = \"leg\"\nthrottle_percent = 400.0", "throttle of leg 1"),
    ] {
        let spoilt = text.replacen(from, to, 1);
        assert_ne!(spoilt, text, "{from}");
        let path = folder.path().join("spoilt.toml");
        fs::write(&path, spoilt).unwrap();
        assert!(said(&path, &clips).contains(expected), "{}", said(&path, &clips));
    }
}

#[test]
fn a_list_that_cannot_be_saved_says_where() {
    let edited = EditedFlight::of(&Plan::default());
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("absent").join("legs.toml");
    let error = edited.edits.save(&path, &clip(&folder, "flight.avi", 10)).unwrap_err().to_string();
    assert!(error.contains("legs.toml: there is no such folder"), "{error}");
}

fn any_edit(legs: usize) -> impl Strategy<Value = LegEdit> {
    let leg = 0..legs + 3;
    let kind =
        prop::sample::select(vec![LegKind::Upwind, LegKind::Downwind, LegKind::Unpaired, LegKind::Leg]);
    let percent = prop::option::of(-10.0..120.0f64);
    (0..8, leg, -10.0..250.0f64, 0.0..20.0f64, kind, percent).prop_map(
        |(what, leg, to_s, length_s, kind, percent)| match what {
            0 => LegEdit::MoveStart { leg, to_s },
            1 => LegEdit::MoveEnd { leg, to_s },
            2 => LegEdit::Split { leg, at_s: to_s },
            3 => LegEdit::Join { leg },
            4 => LegEdit::Delete { leg },
            5 => LegEdit::Mark { leg, kind },
            6 => LegEdit::Throttle { leg, percent },
            _ => LegEdit::Add { start_s: to_s, end_s: to_s + length_s },
        },
    )
}

thread_local! {
    static FLOWN: EditedFlight = EditedFlight::of(&Plan::default());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_leg_split_and_joined_is_the_leg_as_it_was(leg in 1usize..=12, share in 0.0..1.0f64) {
        FLOWN.with(|edited| {
            let given = edited.edits.legs()[leg - 1];
            let free_s = given.end_s - given.start_s - 2.0 * SHORTEST_LEG_S;
            let at_s = given.start_s + SHORTEST_LEG_S + share * free_s;
            let after = edited.after(&[LegEdit::Split { leg, at_s }, LegEdit::Join { leg }]);
            assert_eq!(after.legs, edited.found.legs);
            assert_eq!(after.pairs, edited.found.pairs);
        });
    }

    #[test]
    fn any_edits_keep_the_legs_in_order_and_can_be_undone(
        made in prop::collection::vec(any_edit(13), 1..30)
    ) {
        FLOWN.with(|edited| {
            let mut edits = edited.edits.clone();
            for edit in made {
                let before = edits.clone();
                if edits.make(edit).is_err() {
                    assert_eq!(edits, before, "a refused edit changed something");
                }
            }
            let in_order = edits.legs().windows(2).all(|two| two[0].end_s <= two[1].start_s);
            assert!(in_order && edits.legs().iter().all(|leg| leg.end_s - leg.start_s >= SHORTEST_LEG_S));
            let flight = edited.worked_out(&edits);
            assert!(flight.pairs.iter().all(|pair| pair.airspeed.low <= pair.airspeed.high));
            while !edits.edits().is_empty() {
                edits.undo();
            }
            assert_eq!(edits.legs(), edited.edits.legs());
        });
    }
}

#[test]
#[ignore = "prints how long working a flight out again takes"]
fn figures_of_working_out_again() {
    for (minutes, steps) in [(3, 6), (20, 40)] {
        let plan = Plan {
            airspeeds: vec![25.0; steps],
            throttles: vec![60.0; steps],
            frames_hz: 60.0,
            ..Plan::default()
        };
        let edited = EditedFlight::of(&plan);
        let mut edits = edited.edits.clone();
        edits.make(LegEdit::Delete { leg: 2 }).unwrap();
        let begun = std::time::Instant::now();
        let flight = edited.worked_out(&edits);
        let frames = flight.series.readings.time_s.len();
        println!("about {minutes} min, {frames} frames, {} legs: {:?}", flight.legs.len(), begun.elapsed());
    }
}
