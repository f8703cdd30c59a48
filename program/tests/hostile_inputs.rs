//! Inputs that an attacker may have made: endless files, pipes, files that are too large, names with control
//! characters. Each is refused at once, with a message that names it.
#![allow(clippy::unwrap_used)]

mod running;

use std::fs;
use std::path::Path;
use std::process::Stdio;

use running::{error_of, pairspeed, project_file};

const CLIP: &str = "demo-clips/salt-flat.avi";
const SETUP: &str = "demo-clips/salt-flat.setup.toml";

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// Runs the program, which must refuse its input with exit code 2. Returns the message.
fn refused(arguments: &[&str]) -> String {
    let output = pairspeed(arguments);
    let message = error_of(&output);
    assert_eq!(output.status.code(), Some(2), "{arguments:?}: {message}");
    message
}

/// Gives a file to every option that reads one, and returns the messages.
fn given_everywhere(file: &str, folder: &Path) -> Vec<String> {
    let out = folder.join("out");
    let out = text(&out);
    vec![
        refused(&["read", CLIP, "--setup", file, "--out", out]),
        refused(&["read", CLIP, "--setup", SETUP, "--legs", file, "--out", out]),
        refused(&["read", CLIP, "--setup", SETUP, "--aircraft", file, "--out", out]),
        refused(&["inspect", CLIP, "--setup", file, "--picture", &format!("{out}.png")]),
        refused(&["teach", CLIP, "--setup", file, "--say", "speed@1=60"]),
        refused(&["compare", file, file]),
        refused(&["plan", "--from", file]),
    ]
}

#[cfg(unix)]
#[test]
fn a_file_without_an_end_and_a_pipe_without_a_writer_are_refused_everywhere() {
    let folder = tempfile::tempdir().unwrap();
    let pipe = folder.path().join("pipe.toml");
    assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    for file in ["/dev/zero", text(&pipe)] {
        for message in given_everywhere(file, folder.path()) {
            assert!(message.contains(file) && message.contains("a device or a pipe"), "{message}");
        }
    }
}

#[test]
fn a_file_above_the_limit_of_its_kind_is_refused_and_not_cut() {
    let folder = tempfile::tempdir().unwrap();
    let large = folder.path().join("large.toml");
    // A comment, so that every part of the file is valid.
    fs::write(&large, "#".repeat(9 << 20)).unwrap();
    for message in given_everywhere(text(&large), folder.path()) {
        let says_why = ["larger than", "above", "too long", "limit", "too large"]
            .iter()
            .any(|part| message.contains(part));
        assert!(message.contains("large.toml") && says_why, "{message}");
    }
    let edits = folder.path().join("legs.toml");
    fs::write(&edits, format!("recording_s = [0.0, 9.0]\nclip = []\n{}", "#".repeat(2 << 20))).unwrap();
    let message = refused(&["read", CLIP, "--setup", SETUP, "--legs", text(&edits)]);
    assert!(message.contains("larger than 1024 KiB"), "{message}");
}

#[cfg(unix)]
#[test]
fn glyphs_and_labels_without_an_end_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let setup = folder.path().join("nose.toml");
    let setup_text = fs::read_to_string(project_file(SETUP)).unwrap();
    fs::write(&setup, setup_text.replace("[camera]", "[camera]\nglyphs = \"set\"")).unwrap();
    let set = folder.path().join("set");
    fs::create_dir(&set).unwrap();
    let out = folder.path().join("out");
    let endless = |name: &str| std::os::unix::fs::symlink("/dev/zero", set.join(name)).unwrap();

    endless("labels.toml");
    fs::write(set.join("glyphs.toml"), "name = \"x\"\n[[face]]\npicture = \"a.png\"\ncell = [9, 9]\n")
        .unwrap();
    let message = refused(&["teach", CLIP, "--setup", text(&setup), "--say", "speed@1=60"]);
    assert!(message.contains("labels.toml") && message.contains("a device or a pipe"), "{message}");

    endless("a.png");
    let message = refused(&["read", CLIP, "--setup", text(&setup), "--out", text(&out)]);
    assert!(message.contains("a.png") && message.contains("a device or a pipe"), "{message}");

    fs::remove_file(set.join("glyphs.toml")).unwrap();
    endless("glyphs.toml");
    let message = refused(&["read", CLIP, "--setup", text(&setup), "--out", text(&out)]);
    assert!(message.contains("glyphs.toml") && message.contains("a device or a pipe"), "{message}");
}

#[cfg(target_os = "linux")]
#[test]
fn labels_of_a_stranger_lead_teach_to_no_clip_outside_of_the_folder() {
    if !running::can_confine() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let [shared, private] = ["shared", "private"].map(|name| folder.path().join(name));
    fs::create_dir_all(shared.join("flight-glyphs")).unwrap();
    fs::create_dir(&private).unwrap();
    fs::copy(project_file(CLIP), private.join("other.avi")).unwrap();
    let (clip, setup) = (shared.join("flight.avi"), shared.join("flight.setup.toml"));
    fs::copy(project_file(CLIP), &clip).unwrap();
    fs::copy(project_file(SETUP), &setup).unwrap();
    let labels =
        "[[label]]\nclip = \"../private/other.avi\"\nchannel = \"speed\"\ntime_s = 1.0\ntext = \"63\"\n";
    fs::write(shared.join("flight-glyphs/labels.toml"), labels).unwrap();
    let output = pairspeed(&["teach", text(&clip), "--setup", text(&setup), "--say", "speed@3.3=63"]);
    let message = error_of(&output);
    assert!(!output.status.success() && message.contains("other.avi"), "{message}");
    assert!(message.contains("permission"), "{message}");
}

/// For each thread of a process, whether it has given up the right to gain privileges, as confined threads have.
#[cfg(target_os = "linux")]
fn confined_threads(process: u32) -> Vec<bool> {
    let threads = fs::read_dir(format!("/proc/{process}/task")).into_iter().flatten().flatten();
    let statuses = threads.filter_map(|thread| fs::read_to_string(thread.path().join("status")).ok());
    statuses.map(|status| status.contains("NoNewPrivs:\t1")).collect()
}

/// A thread that was started before the confinement would keep the rights of the program.
#[cfg(target_os = "linux")]
#[test]
fn all_threads_of_the_commands_that_decode_are_confined() {
    if !running::can_confine() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let clip = folder.path().join("flight.avi");
    fs::copy(project_file(CLIP), &clip).unwrap();
    // `teach` writes the glyphs beside the setup.
    let setup = folder.path().join("known.setup.toml");
    fs::copy(project_file(SETUP), &setup).unwrap();
    let with_setup = ["--setup", text(&setup)];
    let commands = [
        ("setup", vec![]),
        ("inspect", with_setup.to_vec()),
        ("read", with_setup.to_vec()),
        ("teach", [with_setup.as_slice(), &["--say", "speed@3.3=63"]].concat()),
    ];
    for (name, options) in commands {
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_pairspeed"));
        command.arg(name).arg(&clip).args(options).stdout(Stdio::null()).stderr(Stdio::null());
        let mut process = command.spawn().unwrap();
        let mut most_threads = 0;
        while process.try_wait().unwrap().is_none() {
            let threads = confined_threads(process.id());
            if threads.contains(&true) {
                assert!(threads.iter().all(|is_confined| *is_confined), "{name}: {threads:?}");
                most_threads = most_threads.max(threads.len());
            }
            std::thread::sleep(std::time::Duration::from_millis(1));
        }
        assert!(most_threads > 1, "{name}");
    }
}

#[cfg(unix)]
#[test]
fn a_clip_whose_name_is_not_text_is_shown_in_words_and_as_json() {
    use std::os::unix::ffi::OsStrExt as _;
    let folder = tempfile::tempdir().unwrap();
    let clip = folder.path().join(std::ffi::OsStr::from_bytes(b"odd\xff.avi"));
    fs::copy(project_file(CLIP), &clip).unwrap();
    for json in [false, true] {
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_pairspeed"));
        command.arg("inspect").arg(&clip).args(["--at", "1"]).args(json.then_some("--json"));
        let output = command.output().unwrap();
        assert!(output.status.success(), "{}", error_of(&output));
        assert!(String::from_utf8_lossy(&output.stdout).contains("odd\u{fffd}.avi"));
    }
}

#[test]
fn control_characters_of_a_file_name_do_not_reach_the_terminal() {
    let message = refused(&["inspect", "no-\u{1b}[2J\u{202e}such\nfile.avi"]);
    assert!(message.contains("no-\\u{1b}[2J\\u{202e}such\\nfile.avi"), "{message:?}");
    assert!(!message.trim_end().contains(|letter: char| letter.is_control()), "{message:?}");
}
