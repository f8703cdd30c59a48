//! Tests that the program opens its window, on a separate virtual display.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod running;

use std::io::{BufRead as _, BufReader, Read as _};
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// Size of the display, in pixels.
const WIDTH: u32 = 1280;
const HEIGHT: u32 = 720;
/// Number of images of the display that are examined per second.
const FILM_RATE_HZ: u32 = 4;
/// Time after which a window that has not appeared counts as hanging, in seconds.
const TIMEOUT_S: u32 = 900;
/// Minimum number of colours of the window with a frame of the recording in it.
const MIN_COLOURS: usize = 2000;

/// A virtual display, which is ended with the test.
struct Display {
    server: Child,
    name: String,
}

/// A running program, which is ended with the test.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        // The program may have ended already.
        let _ended = self.0.kill();
        let _gone = self.0.wait();
    }
}

impl Display {
    fn start() -> Option<Self> {
        let mut server = Command::new("Xvfb")
            .args(["-displayfd", "1", "-screen", "0", &format!("{WIDTH}x{HEIGHT}x24"), "-nolisten", "tcp"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .ok()?;
        let mut number = String::new();
        BufReader::new(server.stdout.take()?).read_line(&mut number).ok()?;
        Some(Self { server, name: format!(":{}", number.trim()) })
    }

    /// Starts capturing the display several times per second.
    fn film(&self) -> Running {
        let rate = FILM_RATE_HZ.to_string();
        let film = Command::new("ffmpeg")
            .args(["-nostdin", "-v", "error", "-f", "x11grab", "-framerate", &rate])
            .args(["-video_size", &format!("{WIDTH}x{HEIGHT}"), "-i", &self.name])
            .args(["-f", "rawvideo", "-pix_fmt", "rgb24", "-"])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn();
        Running(film.unwrap())
    }
}

impl Drop for Display {
    fn drop(&mut self) {
        let _ended = self.server.kill();
        let _gone = self.server.wait();
    }
}

/// Number of different colours in an image: the frame of the recording has many, the window itself a few hundred.
fn colours(picture: &image::RgbImage) -> usize {
    picture.pixels().collect::<std::collections::HashSet<_>>().len()
}

/// Opens the program on a virtual display and waits until it has drawn a frame of the recording.
#[test]
fn the_program_opens_its_window_with_a_clip() {
    let Some(display) = Display::start() else {
        eprintln!("left out: Xvfb, a display without a screen, is not installed (Debian: xvfb)");
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let clip = folder.path().join("flight.avi");
    std::fs::copy(running::project_file("demo-clips/salt-flat.avi"), &clip).unwrap();
    let mut program = Running(
        Command::new(env!("CARGO_BIN_EXE_pairspeed"))
            .arg("window")
            .arg(&clip)
            .env("DISPLAY", &display.name)
            .env_remove("WAYLAND_DISPLAY")
            .env("LIBGL_ALWAYS_SOFTWARE", "1")
            .env("XDG_DATA_HOME", folder.path())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap(),
    );
    let mut film = display.film();
    let mut pictures = film.0.stdout.take().unwrap();
    let mut bytes = vec![0; (3 * WIDTH * HEIGHT) as usize];
    let shown = (0..FILM_RATE_HZ * TIMEOUT_S).find_map(|_| {
        if let Some(status) = program.0.try_wait().unwrap() {
            let mut said = String::new();
            program.0.stderr.take().unwrap().read_to_string(&mut said).unwrap();
            panic!("the program ended with {status}: {said}");
        }
        pictures.read_exact(&mut bytes).unwrap();
        let picture = image::RgbImage::from_raw(WIDTH, HEIGHT, bytes.clone()).unwrap();
        (colours(&picture) > MIN_COLOURS).then_some(picture)
    });
    let shown = shown.expect("no window with the recording came up");
    if let Some(keep) = std::env::var_os("PAIRSPEED_PICTURES") {
        shown.save(Path::new(&keep).join("real.png")).unwrap();
    }
}

#[test]
fn health_reports_whether_the_window_can_be_opened() {
    let health = |display: &str| {
        let output = Command::new(env!("CARGO_BIN_EXE_pairspeed"))
            .arg("health")
            .env("DISPLAY", display)
            .env_remove("WAYLAND_DISPLAY")
            .env("LIBGL_ALWAYS_SOFTWARE", "1")
            .output()
            .unwrap();
        assert!(output.status.success());
        String::from_utf8(output.stdout).unwrap()
    };
    let line = |said: &str| said.lines().find(|line| line.contains("Window")).unwrap().to_owned();
    let without = line(&health(""));
    assert!(without.starts_with("no") && without.contains("there is no display"), "{without}");
    let Some(display) = Display::start() else {
        eprintln!("left out: Xvfb, a display without a screen, is not installed (Debian: xvfb)");
        return;
    };
    let with = line(&health(&display.name));
    assert!(with.starts_with("ok") && with.contains("the window can be opened"), "{with}");
}
