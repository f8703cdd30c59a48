//! Labelled readings through the program: right labels are learned, a wrong one is left out and shown, and a label that cannot
//! be used is named while the others are learned.
#![allow(clippy::unwrap_used, clippy::panic)]

mod running;

use std::path::PathBuf;
use std::process::Output;

use pairspeed::learn::LabelFile;
use running::{error_of, pairspeed, project_file, rows};
use tempfile::TempDir;

const CLIP: &str = "demo-clips/salt-flat.avi";

/// Frames with labelled readings, at 8 frames a second. Together they show every digit.
const FRAMES: [usize; 6] = [240, 320, 400, 480, 560, 640];

/// A folder with a setup file, for which no glyphs are learned yet.
struct UntaughtSetup {
    folder: TempDir,
    setup: PathBuf,
}

impl UntaughtSetup {
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

    fn label_file(&self) -> String {
        std::fs::read_to_string(LabelFile::path(&self.glyphs())).unwrap()
    }
}

/// The true text of a channel in a frame.
fn true_text(frame: usize, channel: &str) -> String {
    rows(&project_file("demo-clips/salt-flat.readings.csv"))[frame][channel].clone()
}

fn label(frame: usize, channel: &str, text: &str) -> [String; 2] {
    ["--say".to_owned(), format!("{channel}@{}={text}", frame as f64 / 8.0)]
}

fn right_labels() -> Vec<String> {
    let channels = ["speed", "altitude", "voltage"];
    let labels = FRAMES.iter().flat_map(|frame| channels.map(|channel| (*frame, channel)));
    labels.flat_map(|(frame, channel)| label(frame, channel, &true_text(frame, channel))).collect()
}

fn printed(output: &Output) -> String {
    assert!(output.status.success(), "{}", error_of(output));
    String::from_utf8(output.stdout.clone()).unwrap()
}

#[test]
fn right_labels_are_all_learned_and_none_is_suspected() {
    let setup = UntaughtSetup::new();
    let output = setup.teach(&right_labels());
    let (printed, errors) = (printed(&output), error_of(&output));
    assert!(printed.contains("learned from 18 labelled readings"), "{printed}");
    assert!(!printed.contains("Left out") && !errors.contains("not used"), "{printed}{errors}");
}

#[test]
fn a_wrong_label_is_left_out_and_shown_and_can_be_insisted_on() {
    let setup = UntaughtSetup::new();
    let (mut labels, text) = (right_labels(), true_text(320, "speed"));
    let last = text.chars().last().unwrap().to_digit(10).unwrap();
    let wrong = format!("{}{}", &text[..text.len() - 1], (last + 4) % 10);
    let index = labels.iter().position(|label| label.starts_with("speed@40=")).unwrap();
    labels[index] = format!("speed@40={wrong}");
    let first = printed(&setup.teach(&labels));
    assert!(
        first.contains(&format!("Label not used: speed@40={wrong}: the readout seems to show {text}")),
        "{first}"
    );
    assert!(
        first.contains("learned from 17 labelled readings") && first.contains("--insist speed@40"),
        "{first}"
    );
    assert!(setup.glyphs().join("suspect-1.png").is_file());
    assert!(setup.label_file().contains(&format!("text = \"{wrong}\"")), "{}", setup.label_file());
    let again = printed(&setup.teach(&["--insist".to_owned(), "speed@40".to_owned()]));
    assert!(!again.contains("Left out") && again.contains("learned from 18"), "{again}");
    assert!(setup.label_file().contains("insisted = true"), "{}", setup.label_file());
    assert!(!setup.glyphs().join("suspect-1.png").exists(), "the image of an earlier suspect is removed");
}

#[test]
fn a_label_that_cannot_be_used_is_named_and_the_others_are_learned() {
    let setup = UntaughtSetup::new();
    let mut labels = right_labels();
    labels.extend(label(99_999, "speed", "63"));
    labels.extend(label(240, "satellites", "12345"));
    labels.extend(label(240, "hight", "4"));
    let output = setup.teach(&labels);
    let (printed, errors) = (printed(&output), error_of(&output));
    assert!(printed.contains("learned from 18 labelled readings"), "{printed}");
    for part in [
        "speed@12499.875=63: salt-flat.avi ends at",
        "satellites@30=12345: the label has 5 digits",
        "hight@30=4",
    ] {
        assert!(errors.contains(part), "{part}: {errors}");
    }
    let kept = setup.label_file();
    assert!(!kept.contains("12345") && !kept.contains("hight"), "{kept}");
}

#[test]
fn a_moment_without_a_label_cannot_be_insisted_on() {
    let output = UntaughtSetup::new().teach(&["--insist".to_owned(), "speed@4".to_owned()]);
    assert_eq!(output.status.code(), Some(2));
    assert!(error_of(&output).contains("--insist speed@4"), "{}", error_of(&output));
}
