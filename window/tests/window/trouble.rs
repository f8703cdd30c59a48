//! Errors are explained in plain words, nothing is lost, and the window continues to work.

use super::driving::Window;

#[test]
fn a_file_that_is_not_a_recording_is_named_and_the_open_recording_stays() {
    let mut window = Window::new();
    let clip = window.put_flight("salt-flat.avi", true);
    window.open_flight(&clip);
    let notes = window.card.path().join("notes.txt");
    std::fs::write(&notes, "second motor").unwrap();
    window.rewrite("or its path:", &notes.display().to_string());
    window.click("Open");
    let said = window.trouble();
    assert!(said.contains("notes.txt") && said.contains("not a video"), "{said}");
    assert_eq!(window.harness.state().shared().clip(), Some(clip.as_path()));
    window.click("Close");
    assert!(window.shows("Recording: flight.avi"));
}

#[test]
fn an_open_clip_that_disappears_is_reported_and_the_marked_boxes_stay() {
    let mut window = Window::new();
    let clip = window.put_flight("salt-flat.avi", true);
    window.open_flight(&clip);
    window.click("2  Regions");
    window.until_shown(", confidence");
    std::fs::remove_file(&clip).unwrap();
    window.click("Next");
    let said = window.trouble();
    assert!(said.contains("flight.avi") && said.contains("no such file"), "{said}");
    assert_eq!(window.harness.state().marked().len(), 5);
    window.click("4  Reading");
    window.click("Read the flight");
    window.until("the reading has ended", |app| app.shared().notice.is_some());
    assert!(window.trouble().contains("no such file"));
    assert!(!clip.with_file_name("flight-result").exists());
}

#[test]
fn an_unwritable_path_is_reported_before_the_reading_and_another_can_be_entered() {
    let mut window = Window::new();
    let clip = window.put_flight("salt-flat.avi", true);
    window.open_flight(&clip);
    window.click("2  Regions");
    // A file is not a folder, so nothing can be written below it.
    window.rewrite("Setup file", &clip.join("nose.setup.toml").display().to_string());
    window.click("Save");
    let said = window.trouble();
    assert!(said.contains("nose.setup.toml") && said.contains("another path"), "{said}");
    window.click("4  Reading");
    window.rewrite("Results go to", &clip.join("results").display().to_string());
    window.click("Read the flight");
    let said = window.trouble();
    assert!(said.contains("results") && !said.contains("--out"), "{said}");
    window.rewrite("Results go to", &window.card.path().join("results").display().to_string());
    window.click("Read the flight");
    assert!(window.harness.state().shared().notice.is_none());
    window.click("Cancel");
    assert!(window.shows("Read the flight"));
    assert!(window.harness.state().shared().finished.is_none());
}

#[test]
fn control_characters_of_names_are_escaped_on_the_pages_of_a_recording() {
    let mut window = Window::new();
    let name = "a\u{1b}[2J\u{202e}b";
    let clip = window.put_flight("salt-flat.avi", true);
    let odd = clip.with_file_name(format!("{name}.avi"));
    std::fs::rename(&clip, &odd).unwrap();
    let setup = std::fs::read_to_string(clip.with_extension("setup.toml")).unwrap();
    let named = |line: &str| match line.starts_with("name = ") {
        true => "name = \"a\\u001B[2J\\u202Eb\"\n".to_owned(),
        false => format!("{line}\n"),
    };
    std::fs::write(odd.with_extension("setup.toml"), setup.lines().map(named).collect::<String>()).unwrap();
    window.drop_flight(&odd);
    window.until("the recording is open", |app| app.shared().info.is_some());
    assert!(window.shows("a\\u{1b}[2J\\u{202e}b.avi"));
    for page in ["1  Recording", "2  Regions", "3  Digits", "4  Reading"] {
        window.click(page);
        let words = window.words();
        let unsafe_words = words.iter().find(|words| pairspeed::visible::lines(words) != words.as_str());
        assert_eq!(unsafe_words, None, "{page}");
    }
    window.drop_flight(&odd.with_file_name(format!("{name}-absent.avi")));
    assert!(window.trouble().contains(name));
    window.harness.run_steps(2);
    assert!(window.shows("a\\u{1b}[2J\\u{202e}b-absent.avi"));
}
