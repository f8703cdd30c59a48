#!/usr/bin/env python3
"""Runs the program on clips of this folder as a user would, and scores the results: run.py PROGRAM CLIP ...

For every clip: a setup file with the true boxes, labelled readings at ten moments that together show every digit,
`teach`, `read`. The readings are then compared with NAME.truth.csv, frame by frame and channel by channel: right,
blank or wrong. Frames whose two fields show different texts are left out. Airspeeds are compared with the simulated
flight. The clips are in $WORLD_CLIPS (default ~/world-clips), the results in its folder run-NAME.
The last line of a clip is JSON. READINGS=20 sets another number of moments.
"""
import bisect
import csv
import json
import os
import pathlib
import random
import shutil
import subprocess
import sys
import time

CLIPS = pathlib.Path(os.environ.get("WORLD_CLIPS", pathlib.Path.home() / "world-clips"))
# Unit, digits, decimals, minimum, maximum, largest change per second; a clip's truth may override them.
KIND = {
    "satellites": ("", 2, 0, 0, 40, 2),
    "speed": ("mph", 3, 0, 0, 250, 40),
    "throttle": ("%", 3, 0, 0, 100, 200),
    "voltage": ("V", 3, 1, 9, 26, 5),
    "altitude": ("ft", 4, 0, -200, 9000, 120),
}


def table(path):
    with open(path) as file:
        return list(csv.DictReader(file))


def write_setup(path, name, truth):
    lines = ["[camera]", f'name = "{name}"', f'frame = [{truth["width"]}, {truth["height"]}]', 'glyphs = "glyphs"']
    for channel, box in truth["regions"].items():
        unit, digits, decimals, least, greatest, rate = {**KIND, **truth.get("kind", {})}[channel]
        lines += ["", "[[region]]", f'channel = "{channel}"', f"box = {box}", *([f'unit = "{unit}"'] if unit else [])]
        lines += [f"digits = {digits}", f"decimals = {decimals}", f"range = [{least}, {greatest}]"]
        lines += [f"max_rate = {rate}"]
    path.write_text("\n".join(lines) + "\n")


def moments(rows, channels, wanted):
    """Random frames to label, first those with a digit not seen yet. Their neighbours show the same texts."""
    inner = range(30, len(rows) - 30)
    steady = [i for i in inner if all(rows[j]["legible"] == "1" and all(rows[j][c] == rows[i][c] for c in channels)
                                      for j in (i - 1, i, i + 1))]
    frames = steady or [i for i in inner if rows[i]["legible"] == "1"]
    random.Random(5).shuffle(frames)
    chosen, unseen = [], set("0123456789")
    for i in frames:
        new = unseen & set("".join(rows[i][c] for c in channels))
        if new or (not unseen and len(chosen) < wanted):
            chosen.append(i)
            unseen -= new
        if len(chosen) >= wanted:
            break
    return chosen, unseen


def pairspeed(program, *arguments):
    start = time.time()
    done = subprocess.run([program, *map(str, arguments)], capture_output=True, text=True)
    print(f"  {arguments[0]} took {time.time() - start:.2f} s, exit code {done.returncode}")
    if done.returncode:
        print((done.stderr or done.stdout)[-1500:])
    return done


def compared(channel, rows, series):
    """The true text and the value read (empty if blank) of a channel, for every legible frame that was read."""
    times = [float(row["time_s"]) for row in rows]
    start = float(series[0]["time_s"]) - times[0]
    other = ("confidence", "smooth", "status", "flag", "text", "held")
    name = next((name for name in series[0] if (name == channel or name.startswith(channel + "_"))
                 and not any(word in name for word in other)), None)
    seen = set()
    for row in series:
        seconds = float(row["time_s"]) - start
        j = bisect.bisect_left(times, seconds)
        i = min((k for k in (j - 1, j) if 0 <= k < len(times)), key=lambda k: abs(times[k] - seconds))
        if i not in seen and rows[i]["legible"] != "0":
            seen.add(i)
            yield rows[i][channel], (row.get(name) or "").strip()


def is_right(true, value):
    return abs(float(value) - float(true)) < 1e-6


def score_texts(truth, rows, series):
    """Right, blank and wrong frames of every channel."""
    legible = sum(row["legible"] == "1" for row in rows)
    counts = {}
    for channel in truth["regions"]:
        read = [is_right(true, value) for true, value in compared(channel, rows, series) if value]
        counts[channel] = {"right": sum(read), "blank": legible - len(read), "wrong": len(read) - sum(read)}
    return counts


def score_airspeeds(truth, pairs):
    """The errors of the throttle steps (None where there is no airspeed) and the number within their interval."""
    def number(row, prefix):
        return next((float(value) for name, value in row.items() if name.startswith(prefix) and value), None)

    errors, covered = [], 0
    for step in truth["steps"]:
        of_step = [row for row in pairs if (t := number(row, "throttle")) is not None
                   and abs(t - 100 * step["throttle"]) < 2.6 and number(row, "airspeed") is not None]
        if not of_step:
            errors.append(None)
            continue
        errors.append(sum(number(row, "airspeed") for row in of_step) / len(of_step) - step["tas"])
        low, high = number(of_step[0], "airspeed_low"), number(of_step[0], "airspeed_high")
        covered += low is not None and high is not None and low <= step["tas"] <= high
    return errors, covered


def run(program, name, wanted):
    truth, rows = json.loads((CLIPS / f"{name}.truth.json").read_text()), table(CLIPS / f"{name}.truth.csv")
    work, clip, channels = CLIPS / f"run-{name}", CLIPS / truth["clip"], list(truth["regions"])
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir()
    setup = work / "camera.toml"
    write_setup(setup, name, truth)
    chosen, unseen = moments(rows, channels, wanted)
    print(f"{name}: {len(rows)} frames, labelled at {len(chosen)} moments, digits not among them: {sorted(unseen)}")
    readings = []
    for i in chosen:
        at = float(rows[i]["time_s"]) - float(rows[0]["time_s"])
        for channel in channels:
            readings += ["--say", f"{channel}@{at:.3f}={rows[i][channel]}"]
    pairspeed(program, "teach", clip, "--setup", setup, *readings)
    print(pairspeed(program, "read", clip, "--setup", setup, "--out", work / "out").stdout[-1500:])

    result = {"clip": name}
    if not (work / "out/series.csv").exists():
        print(json.dumps({**result, "read": False}))
        return
    counts = score_texts(truth, rows, table(work / "out/series.csv"))
    counts["all"] = {kind: sum(count[kind] for count in counts.values()) for kind in ("right", "blank", "wrong")}
    for channel, count in counts.items():
        total = sum(count.values()) or 1
        percent = {kind: 100 * n / total for kind, n in count.items()}
        print(f"  {channel:11s} right {percent['right']:7.3f} %  blank {percent['blank']:7.3f} %  "
              f"wrong {percent['wrong']:8.4f} % ({count['wrong']})")
    result.update(read=True, **{kind: round(p, 4) for kind, p in percent.items()}, wrong_frames=count["wrong"])
    if truth["steps"] and (work / "out/pairs.csv").exists():
        errors, covered = score_airspeeds(truth, table(work / "out/pairs.csv"))
        found = [abs(e) for e in errors if e is not None]
        print("  airspeed errors:", ["missing" if e is None else f"{e:+.2f}" for e in errors])
        result.update(steps=len(errors), found=len(found), worst=max(found, default=None), covered=covered)
    print(json.dumps(result))


def main():
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    for name in sys.argv[2:]:
        run(sys.argv[1], name, int(os.environ.get("READINGS", 10)))


if __name__ == "__main__":
    main()
