use std::fs;
use std::path::Path;

use super::sample::{long_flight, small_flight};
use crate::files::Existing;
use crate::output::Serializer::{Streamed, Whole};
use crate::output::folder::{OutputError, ResultFolder, write_all};
use crate::output::{RenderError, pairs_csv, series_csv};

const NAMES: [&str; 8] = [
    "captions.vtt",
    "evidence.png",
    "legs.csv",
    "pairs.csv",
    "patterns.csv",
    "report.html",
    "series.csv",
    "summary.json",
];

fn names_in(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn all_results_are_written_and_nothing_else_stays() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("club field/today");
    let written = write_all(&folder, &small_flight(), Existing::Keep).unwrap();
    assert_eq!(written.len(), NAMES.len());
    assert!(written.iter().all(|path| path.is_file()));
    assert_eq!(names_in(&folder), NAMES);
    assert_eq!(fs::read(folder.join("pairs.csv")).unwrap(), pairs_csv(&small_flight()).unwrap());
}

#[test]
fn existing_results_stay_unless_they_are_to_be_replaced() {
    let home = tempfile::tempdir().unwrap();
    fs::write(home.path().join("my notes.txt"), "kept").unwrap();
    write_all(home.path(), &small_flight(), Existing::Keep).unwrap();
    let before = fs::read(home.path().join("series.csv")).unwrap();

    let error = write_all(home.path(), &long_flight(), Existing::Keep).unwrap_err();
    let message = error.to_string();
    assert!(matches!(error, OutputError::ResultsExist { .. }));
    assert!(message.contains(&home.path().display().to_string()), "{message}");
    assert_eq!(fs::read(home.path().join("series.csv")).unwrap(), before);

    write_all(home.path(), &long_flight(), Existing::Replace).unwrap();
    let mut series = Vec::new();
    series_csv(&long_flight(), &mut series).unwrap();
    assert_eq!(fs::read(home.path().join("series.csv")).unwrap(), series);
    assert_eq!(fs::read_to_string(home.path().join("my notes.txt")).unwrap(), "kept");
    assert_eq!(names_in(home.path()).len(), NAMES.len() + 1);
}

#[test]
fn a_single_old_result_is_enough_to_refuse_before_the_reading_starts() {
    let home = tempfile::tempdir().unwrap();
    fs::write(home.path().join("legs.csv"), "made by hand").unwrap();
    let error = ResultFolder::prepare(home.path(), Existing::Keep).unwrap_err();
    assert!(matches!(&error, OutputError::ResultsExist { files, .. } if *files == ["legs.csv"]), "{error}");
    assert_eq!(names_in(home.path()), ["legs.csv"]);
}

#[test]
fn a_reading_that_fails_leaves_no_folder_behind() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("a/b");
    let prepared = ResultFolder::prepare(&folder, Existing::Keep).unwrap();
    assert_eq!(names_in(&folder), [".pairspeed.lock"]);
    drop(prepared);
    assert_eq!(names_in(home.path()), [""; 0]);
}

#[test]
fn a_folder_into_which_another_run_writes_is_refused_until_that_run_ends() {
    let home = tempfile::tempdir().unwrap();
    let first = ResultFolder::prepare(home.path(), Existing::Replace).unwrap();
    let error = ResultFolder::prepare(home.path(), Existing::Replace).unwrap_err();
    assert!(matches!(&error, OutputError::InUse { .. }), "{error}");
    assert!(error.to_string().contains("another run"), "{error}");
    first.write(&small_flight()).unwrap();
    drop(ResultFolder::prepare(home.path(), Existing::Replace).unwrap());
    assert_eq!(names_in(home.path()), NAMES);
}

#[test]
fn a_folder_that_was_there_before_outlives_a_failed_reading() {
    let home = tempfile::tempdir().unwrap();
    drop(ResultFolder::prepare(home.path(), Existing::Keep).unwrap());
    assert!(home.path().is_dir());
}

#[test]
fn a_file_in_the_place_of_the_folder_is_named() {
    let home = tempfile::tempdir().unwrap();
    let file = home.path().join("clip.avi");
    fs::write(&file, "").unwrap();
    let error = ResultFolder::prepare(&file, Existing::Replace).unwrap_err();
    assert_eq!(error.to_string(), format!("{} is not a folder", file.display()));
    let within = file.join("results");
    let error = ResultFolder::prepare(&within, Existing::Keep).unwrap_err();
    assert!(matches!(error, OutputError::Create { .. }), "{error}");
    assert!(error.to_string().contains(&within.display().to_string()), "{error}");
}

#[test]
fn a_folder_in_the_place_of_a_result_is_named() {
    let home = tempfile::tempdir().unwrap();
    fs::create_dir(home.path().join("report.html")).unwrap();
    let error = ResultFolder::prepare(home.path(), Existing::Replace).unwrap_err();
    assert!(matches!(&error, OutputError::NameTaken { path } if path.ends_with("report.html")), "{error}");
}

/// The superuser may write anywhere, so the write succeeds if the test runs as superuser.
#[cfg(unix)]
#[test]
fn a_folder_without_the_right_to_write_is_refused_early() {
    use std::os::unix::fs::PermissionsExt as _;
    let home = tempfile::tempdir().unwrap();
    fs::set_permissions(home.path(), fs::Permissions::from_mode(0o555)).unwrap();
    let allowed_anyway = fs::write(home.path().join("probe"), "").is_ok();
    let outcome = ResultFolder::prepare(home.path(), Existing::Keep);
    fs::set_permissions(home.path(), fs::Permissions::from_mode(0o755)).unwrap();
    match outcome {
        Ok(_) => assert!(allowed_anyway),
        Err(error) => {
            assert!(!allowed_anyway);
            assert!(matches!(error, OutputError::Write { .. }), "{error}");
        }
    }
}

#[test]
fn a_result_that_cannot_be_made_leaves_the_old_results_as_they_were() {
    let home = tempfile::tempdir().unwrap();
    write_all(home.path(), &small_flight(), Existing::Keep).unwrap();
    let before = fs::read(home.path().join("series.csv")).unwrap();
    let folder = ResultFolder::prepare(home.path(), Existing::Replace).unwrap();
    let error = folder
        .write_formats(
            &[
                ("series.csv", Streamed(series_csv)),
                ("report.html", Whole(|_| Err(RenderError::Plot("no ink".into())))),
            ],
            &long_flight(),
        )
        .unwrap_err();
    assert!(error.to_string().contains("report.html") && error.to_string().contains("no ink"), "{error}");
    assert_eq!(fs::read(home.path().join("series.csv")).unwrap(), before);
    assert_eq!(names_in(home.path()), NAMES);
}

#[test]
fn a_rename_that_fails_leaves_no_mixture_of_two_flights() {
    let home = tempfile::tempdir().unwrap();
    let folder = ResultFolder::prepare(home.path(), Existing::Keep).unwrap();
    // A folder with that name makes the second rename fail.
    fs::create_dir(home.path().join("extra.csv")).unwrap();
    let formats: [(_, crate::output::Serializer); 2] =
        [("series.csv", Streamed(series_csv)), ("extra.csv", Whole(pairs_csv))];
    let error = folder.write_formats(&formats, &small_flight()).unwrap_err();
    assert!(matches!(&error, OutputError::Write { path, .. } if path.ends_with("extra.csv")), "{error}");
    assert_eq!(names_in(home.path()), ["extra.csv"]);
}

#[test]
fn a_rename_that_fails_while_replacing_restores_the_former_results() {
    let home = tempfile::tempdir().unwrap();
    write_all(home.path(), &small_flight(), Existing::Keep).unwrap();
    let before = NAMES.map(|name| fs::read(home.path().join(name)).unwrap());
    let folder = ResultFolder::prepare(home.path(), Existing::Replace).unwrap();
    fs::create_dir(home.path().join("extra.csv")).unwrap();
    let formats: [(_, crate::output::Serializer); 2] =
        [("series.csv", Streamed(series_csv)), ("extra.csv", Whole(pairs_csv))];
    let error = folder.write_formats(&formats, &long_flight()).unwrap_err();
    assert!(matches!(&error, OutputError::Write { path, .. } if path.ends_with("extra.csv")), "{error}");
    fs::remove_dir(home.path().join("extra.csv")).unwrap();
    assert_eq!(names_in(home.path()), NAMES);
    assert!(NAMES.map(|name| fs::read(home.path().join(name)).unwrap()) == before);
}

#[cfg(unix)]
#[test]
fn results_are_as_readable_as_any_new_file() {
    use std::os::unix::fs::PermissionsExt as _;
    let home = tempfile::tempdir().unwrap();
    write_all(home.path(), &small_flight(), Existing::Keep).unwrap();
    fs::write(home.path().join("ordinary"), "").unwrap();
    let mode = |name: &str| fs::metadata(home.path().join(name)).unwrap().permissions().mode();
    assert_eq!(mode("report.html"), mode("ordinary"));
}
