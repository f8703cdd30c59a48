//! Clips that ffmpeg writes, and background films that ffmpeg reads.

#![allow(clippy::unwrap_used)]

use std::path::Path;
use std::process::Command;

use clip_generator::{Error, FrameSource, Scenario, make_clip};

const FLIGHT: &str = "name = \"short\"\nseed = 2\n[airframe]\nairspeed_mps = [[50, 20], [100, 40]]\n\
    [flight]\nthrottle_percent = [60]\nleg_s = 2\nturn_s = 2\nbefore_launch_s = 0\nclimb_s = 0\nlanding_s = 0\n\
    [overlay]\n[[overlay.field]]\nchannel = \"speed\"\nposition = [40, 20]\nwidth = 3\nfont = \"round\"\nheight_px = 30\n";

fn ran(program: &str, arguments: &[&str]) -> String {
    let output = Command::new(program).args(arguments).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

fn scenario(folder: &Path, rest: &str) -> Scenario {
    let path = folder.join("short.toml");
    std::fs::write(&path, format!("{FLIGHT}{rest}")).unwrap();
    Scenario::from_file(&path).unwrap()
}

#[test]
fn a_clip_has_a_row_of_texts_for_each_of_its_frames_and_leaves_no_half_written_file() {
    let folder = tempfile::tempdir().unwrap();
    for (codec, container) in [("mjpeg", "avi"), ("h264", "mp4")] {
        let video = format!(
            "[video]\nwidth = 160\nheight = 96\nframe_rate = 25\ncodec = \"{codec}\"\ncontainer = \"{container}\"\n\
             quality = 12\ndropped = 0.1\n"
        );
        let paths = make_clip(&scenario(folder.path(), &video), folder.path()).unwrap().remove(0);
        let stamps = ran(
            "ffprobe",
            &[
                "-v",
                "error",
                "-show_entries",
                "frame=pts_time",
                "-of",
                "csv=p=0",
                paths.clip.to_str().unwrap(),
            ],
        );
        let mut readings = csv::Reader::from_path(&paths.readings).unwrap();
        let rows: Vec<(f64, String)> = readings
            .records()
            .map(|row| row.unwrap())
            .map(|row| (row[1].parse().unwrap(), row[2].to_owned()))
            .collect();
        let stamps: Vec<f64> =
            stamps.lines().filter_map(|line| line.trim_end_matches(',').parse().ok()).collect();
        assert!(rows.len() > 100 && rows.iter().all(|(_, text)| !text.is_empty()));
        assert_eq!(stamps.len(), rows.len(), "{container}");
        assert!(stamps.iter().zip(&rows).all(|(stamp, (time_s, _))| (stamp - time_s).abs() < 1e-4));
        assert!(paths.setup.is_file() && paths.truth.is_file());
    }
    let names = std::fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name());
    assert!(names.into_iter().all(|name| !name.to_str().unwrap().ends_with(".part")));
}

#[test]
fn a_film_fills_the_frame_behind_the_text_and_is_looped() {
    let folder = tempfile::tempdir().unwrap();
    // A dark and a bright second, wider than the clip, so that the bars at the sides are cut off.
    let film = folder.path().join("film.mp4");
    let shades = "color=gray:s=320x96:r=10:d=2,geq=lum='if(between(X\\,40\\,279)\\,if(lt(T\\,1)\\,60\\,200)\\,255)':cb=128:cr=128";
    ran(
        "ffmpeg",
        &["-v", "error", "-f", "lavfi", "-i", shades, "-pix_fmt", "yuv420p", film.to_str().unwrap()],
    );
    let rest = "[scenery]\nbackground = \"film.mp4\"\n[video]\nwidth = 160\nheight = 96\nframe_rate = 10\n";
    let source = FrameSource::new(&scenario(folder.path(), rest)).unwrap();
    for (index, level) in [(3, 60), (13, 200), (23, 60), (33, 200)] {
        let frame = source.frame(&source.recordings()[0].shots[index]).frame;
        for x in [2, 80, 157] {
            let seen = frame.luma[80 * 160 + x];
            assert!(seen.abs_diff(level) < 6, "frame {index} column {x}: {seen}");
        }
        assert!(frame.luma.iter().any(|&seen| seen > 225), "the text stands over the film");
    }
}

#[test]
fn a_background_that_is_not_a_film_is_refused_with_the_fix() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("film.mp4"), "not a film").unwrap();
    let scenario = scenario(folder.path(), "[scenery]\nbackground = \"film.mp4\"\n");
    let error = FrameSource::new(&scenario).unwrap_err();
    let message = error.to_string();
    assert!(matches!(error, Error::Film { .. }) && message.contains("film.mp4"), "{message}");
    assert!(message.contains("leave scenery.background out"), "{message}");
}
