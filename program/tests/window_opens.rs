//! The program opens its window, on a virtual display of its own.
#![allow(clippy::unwrap_used, clippy::panic)]

mod running;

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

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
            .args(["-displayfd", "1", "-screen", "0", "1280x720x24", "-nolisten", "tcp"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .ok()?;
        let mut number = String::new();
        BufReader::new(server.stdout.take()?).read_line(&mut number).ok()?;
        Some(Self { server, name: format!(":{}", number.trim()) })
    }

    /// An image of what the display shows.
    fn picture(&self, file: &Path) -> Option<image::RgbImage> {
        let shot = Command::new("ffmpeg")
            .args([
                "-nostdin",
                "-v",
                "error",
                "-y",
                "-f",
                "x11grab",
                "-video_size",
                "1280x720",
                "-i",
                &self.name,
            ])
            .args(["-frames:v", "1"])
            .arg(file)
            .status();
        let taken = shot.is_ok_and(|status| status.success());
        taken.then(|| image::open(file).ok().map(image::DynamicImage::into_rgb8))?
    }
}

impl Drop for Display {
    fn drop(&mut self) {
        let _ended = self.server.kill();
        let _gone = self.server.wait();
    }
}

/// Number of purely grey pixels in an image: the frame of the recording has many, the window itself hardly
/// any.
fn greys(picture: &image::RgbImage) -> usize {
    let is_grey = |[red, green, blue]: &[u8; 3]| red == green && green == blue;
    picture.pixels().map(|pixel| pixel.0).filter(is_grey).collect::<std::collections::HashSet<_>>().len()
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
    let shot: PathBuf = folder.path().join("window.png");
    let begun = Instant::now();
    while display.picture(&shot).is_none_or(|picture| greys(&picture) < 120) {
        if let Some(status) = program.0.try_wait().unwrap() {
            let mut said = String::new();
            std::io::Read::read_to_string(&mut program.0.stderr.take().unwrap(), &mut said).unwrap();
            panic!("the program ended with {status}: {said}");
        }
        assert!(begun.elapsed() < Duration::from_secs(900), "no window with the recording came up");
        std::thread::sleep(Duration::from_millis(300));
    }
    if let Some(keep) = std::env::var_os("PAIRSPEED_PICTURES") {
        std::fs::copy(&shot, Path::new(&keep).join("real.png")).unwrap();
    }
}
