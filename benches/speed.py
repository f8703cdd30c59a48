#!/usr/bin/env python3
"""Time of `pairspeed read` compared with decoding alone: benches/speed.py DIR [CLIP...]

DIR keeps the clips between runs. Every figure is that of a whole process: the median of five runs that alternate with
`ffmpeg -threads 2 -i CLIP -f null -`. --memory adds 10 minutes of each clip (one run), their peak memory compared
with that of 2 hours, and the time for ten times the footage. --opencv adds a script with OpenCV (pip install
opencv-python-headless).
"""

import argparse
import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

import speed_clips

ROOT = Path(__file__).resolve().parent.parent
TARGET = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "release"
PROGRAM, GENERATOR = TARGET / "pairspeed", TARGET / "clip-generator"


def run(command):
    """Wall time in seconds, processor time in seconds and peak memory in MB of a whole process."""
    start = time.perf_counter()
    process = subprocess.Popen([str(word) for word in command], stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    wall_s = time.perf_counter() - start
    if status:
        sys.exit(f"failed: {command}")
    return wall_s, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def read(clip, setup):
    out = clip.with_suffix(".result")
    return run([PROGRAM, "read", clip, "--setup", setup, "--out", out, "--force"])


def decode(clip):
    return run(["ffmpeg", "-v", "error", "-threads", "2", "-i", clip, "-f", "null", "-"])


def median(runs, column):
    return statistics.median(row[column] for row in runs)


def ratios(folder, names, runs):
    print("| clip | read, s | decode only, s | ratio | processor time | peak MB |\n| --- | --- | --- | --- | --- | --- |")
    for name in names:
        clip, setup = speed_clips.make_once(name, folder, GENERATOR)
        clip = speed_clips.looped(clip, speed_clips.FRAMES / speed_clips.CLIPS[name][2], "5000")
        pairs = [(read(clip, setup), decode(clip)) for _ in range(runs)]
        reads, decodes = [pair[0] for pair in pairs], [pair[1] for pair in pairs]
        ours, theirs = median(reads, 0), median(decodes, 0)
        work = median(reads, 1) / median(decodes, 1)
        print(f"| {name} | {ours:.2f} | {theirs:.2f} | {ours / theirs:.2f} | {work:.2f} | {median(reads, 2):.0f} |", flush=True)


def memory(folder):
    for name in ("mjpeg-upper", "h264-576"):
        clip, setup = speed_clips.make_once(name, folder, GENERATOR)
        lengths = [("10-minutes", 600), ("100-minutes", 6000), ("2-hours", 7200)]
        clips = [speed_clips.looped(clip, length_s, title) for title, length_s in lengths]
        (short_s, _, short_mb), (tenfold_s, *_), (_, _, long_mb) = [read(clip, setup) for clip in clips]
        ratio = short_s / decode(clips[0])[0]
        print(f"{name}: 10 minutes {short_s:.1f} s ({ratio:.2f} of decode only), {short_mb:.0f} MB")
        print(f"{name}: 2 hours {long_mb:.0f} MB ({long_mb / short_mb:.2f} x)")
        print(f"{name}: ten times the footage costs {tenfold_s / short_s:.2f} x the time", flush=True)


def opencv(folder, names, runs):
    script = Path(__file__).with_name("opencv_match.py")
    for name in names:
        clip, setup = speed_clips.make_once(name, folder, GENERATOR)
        clip = speed_clips.looped(clip, speed_clips.FRAMES / speed_clips.CLIPS[name][2], "5000")
        pairs = [(run([sys.executable, script, clip, setup]), read(clip, setup)) for _ in range(runs)]
        scripted_s, ours_s = (median([pair[side] for pair in pairs], 0) for side in (0, 1))
        print(f"{name}: OpenCV {scripted_s:.1f} s, {scripted_s / ours_s:.1f} x", flush=True)


def start_up(runs):
    times = [run([PROGRAM, "--help"])[0] for _ in range(runs)]
    print(f"--help: {1000 * statistics.median(times):.0f} ms")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("clips", nargs="*", default=list(speed_clips.CLIPS))
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--memory", action="store_true")
    parser.add_argument("--opencv", action="store_true")
    arguments = parser.parse_args()
    build = ["cargo", "build", "--quiet", "--release", "--bin", "pairspeed", "--bin", "clip-generator"]
    subprocess.run([*build, "-p", "pairspeed", "-p", "clip-generator"], cwd=ROOT, check=True)
    arguments.folder.mkdir(parents=True, exist_ok=True)
    folder = arguments.folder.resolve()
    start_up(arguments.runs)
    ratios(folder, arguments.clips, arguments.runs)
    if arguments.memory:
        memory(folder)
    if arguments.opencv:
        opencv(folder, arguments.clips, arguments.runs)


if __name__ == "__main__":
    main()
