//! Labelled readings through the program: right ones are learned, a wrong one is left out and shown, one that cannot be
//! used is named, and the others are learned all the same.
#![allow(clippy::unwrap_used, clippy::panic)]

mod running;

use std::path::PathBuf;
use std::process::Output;

use running::{error_of, pairspeed, project_file, rows};
use tempfile::TempDir;

const CLIP: &str = "demo-clips/salt-flat.avi";

/// Frames, 8 a second, whose readings are labelled; together they show every digit.
const FRAMES: [usize; 6] = [240, 320, 400, 480, 560, 640];

/// A folder with a setup whose glyphs are not learned yet.
struct Lesson {
    folder: TempDir,
    setup: PathBuf,
}

impl Lesson {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let setup = folder.path().join("nose.toml");
        let text = std::fs::read_to_string(project_file("demo-clips/salt-flat.setup.toml")).unwrap();
        std::fs::write(&setup, text.replace("[camera]", "[camera]\nglyphs = \"taught\"")).unwrap();
        Self { folder, setup }
    }

    fn teach(&self, arguments: &[String]) -> Output {
        let mut all = vec!["teach", CLIP, "--setup", self.setup.to_str().unwrap()];
        all.extend(arguments.iter().map(String::as_str));
        pairspeed(&all)
    }

    fn glyphs(&self) -> PathBuf {
        self.folder.path().join("taught")
    }

    fn labels(&self) -> String {
        std::fs::read_to_string(self.glyphs().join("told.toml")).unwrap()
    }
}

/// The text of a channel in a frame.
fn shown(frame: usize, channel: &str) -> String {
    rows(&project_file("demo-clips/salt-flat.readings.csv"))[frame][channel].clone()
}

fn label(frame: usize, channel: &str, text: &str) -> [String; 2] {
    ["--say".to_owned(), format!("{channel}@{}={text}", frame as f64 / 8.0)]
}

fn right_labels() -> Vec<String> {
    let channels = ["speed", "altitude", "voltage"];
    let labels = FRAMES.iter().flat_map(|frame| channels.map(|channel| (*frame, channel)));
    labels.flat_map(|(frame, channel)| label(frame, channel, &shown(frame, channel))).collect()
}

fn said(output: &Output) -> String {
    assert!(output.status.success(), "{}", error_of(output));
    String::from_utf8(output.stdout.clone()).unwrap()
}

#[test]
fn right_labels_are_all_learned_and_none_is_suspected() {
    let lesson = Lesson::new();
    let output = lesson.teach(&right_labels());
    let (said, errors) = (said(&output), error_of(&output));
    assert!(said.contains("learned from 18 labelled readings"), "{said}");
    assert!(!said.contains("Left out") && !errors.contains("not used"), "{said}{errors}");
}

#[test]
fn a_wrong_label_is_left_out_and_shown_and_can_be_insisted_on() {
    let lesson = Lesson::new();
    let (mut labels, text) = (right_labels(), shown(320, "speed"));
    let last = text.chars().last().unwrap().to_digit(10).unwrap();
    let wrong = format!("{}{}", &text[..text.len() - 1], (last + 4) % 10);
    let place = labels.iter().position(|label| label.starts_with("speed@40=")).unwrap();
    labels[place] = format!("speed@40={wrong}");
    let first = said(&lesson.teach(&labels));
    assert!(first.contains(&format!("Left out: speed@40={wrong} seems to show {text}")), "{first}");
    assert!(
        first.contains("learned from 17 labelled readings") && first.contains("--insist speed@40"),
        "{first}"
    );
    assert!(lesson.glyphs().join("suspect-1.png").is_file());
    assert!(lesson.labels().contains(&format!("text = \"{wrong}\"")), "{}", lesson.labels());
    let again = said(&lesson.teach(&["--insist".to_owned(), "speed@40".to_owned()]));
    assert!(!again.contains("Left out") && again.contains("learned from 18"), "{again}");
    assert!(lesson.labels().contains("insisted = true"), "{}", lesson.labels());
    assert!(!lesson.glyphs().join("suspect-1.png").exists(), "the picture of an earlier lesson");
}

#[test]
fn a_label_that_cannot_be_used_is_named_and_the_others_are_learned() {
    let lesson = Lesson::new();
    let mut labels = right_labels();
    labels.extend(label(99_999, "speed", "63"));
    labels.extend(label(240, "satellites", "12345"));
    labels.extend(label(240, "hight", "4"));
    let output = lesson.teach(&labels);
    let (said, errors) = (said(&output), error_of(&output));
    assert!(said.contains("learned from 18 labelled readings"), "{said}");
    for part in [
        "speed@12499.875=63: salt-flat.avi ends at",
        "satellites@30=12345: the label has 5 digits",
        "hight@30=4",
    ] {
        assert!(errors.contains(part), "{part}: {errors}");
    }
    let kept = lesson.labels();
    assert!(!kept.contains("12345") && !kept.contains("hight"), "{kept}");
}

#[test]
fn a_moment_without_a_label_cannot_be_insisted_on() {
    let output = Lesson::new().teach(&["--insist".to_owned(), "speed@4".to_owned()]);
    assert_eq!(output.status.code(), Some(2));
    assert!(error_of(&output).contains("--insist speed@4"), "{}", error_of(&output));
}
