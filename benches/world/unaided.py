#!/usr/bin/env python3
"""Runs the program on clips without a setup or labels, and scores the results: unaided.py [--confirm] PROGRAM CLIP ...

Each clip is linked into an empty folder and read with `read CLIP`. Every box of the setup that `read` wrote is compared with the true
boxes of NAME.truth.json: it counts as the readout of the true box that it overlaps most if the two share at least half of the smaller
one (true boxes of drawn_faces.py are much higher than their text), and as false otherwise or if an earlier box has the readout. The
output of a clip: readouts found, readouts with the right channel, false boxes, right, blank and wrong texts of all readouts in per cent
of the legible frames (a readout that was not found counts as blank), airspeeds within their interval, and the time in seconds. A wrong
alphabet is printed too: digits that are read as one other digit in more than half of their frames. The clips are in $WORLD_CLIPS
(default ~/world-clips), the results in its folder unaided-NAME.

With --confirm, the program's questions about doubtful digits are then answered with the truth, with the `teach` command that it
prints, and the clip is read and scored again.
"""
import collections
import json
import pathlib
import re
import shutil
import subprocess
import sys
import time
import tomllib

from run import CLIPS, compared, score_airspeeds, score_texts, table


# Minimum number of frames in which a digit is read as another one for it to count as a wrong alphabet.
MIN_FRAMES = 5


def overlap(one, other):
    across = min(one[0] + one[2], other[0] + other[2]) - max(one[0], other[0])
    down = min(one[1] + one[3], other[1] + other[3]) - max(one[1], other[1])
    return max(0, across) * max(0, down)


def run(program, name):
    truth, rows = json.loads((CLIPS / f"{name}.truth.json").read_text()), table(CLIPS / f"{name}.truth.csv")
    work = CLIPS / f"unaided-{name}"
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir()
    clip = work / truth["clip"]
    clip.symlink_to((CLIPS / truth["clip"]).resolve())
    start = time.time()
    done = subprocess.run([program, "read", str(clip)], capture_output=True, text=True)
    seconds = time.time() - start
    (work / "said.txt").write_text(done.stdout + done.stderr)

    setup = clip.with_suffix(".setup.toml")
    regions = tomllib.loads(setup.read_text())["region"] if setup.exists() else []
    found, false_boxes = {}, 0
    for region in regions:
        best = max(truth["regions"], key=lambda channel: overlap(truth["regions"][channel], region["box"]))
        box = truth["regions"][best]
        smaller = min(box[2] * box[3], region["box"][2] * region["box"][3])
        if overlap(box, region["box"]) < smaller / 2 or best in found:
            false_boxes += 1
        else:
            found[best] = region["channel"]
    report(name, truth, rows, work, found, false_boxes, seconds, done.returncode)
    if "--confirm" in sys.argv:
        pictures = confirm(program, rows, clip, work, found)
        if pictures:
            done = subprocess.run([program, "read", str(clip), "--force"], capture_output=True, text=True)
            report(f"+ {pictures} pictures", truth, rows, work, found, false_boxes, 0.0, done.returncode)


def confirm(program, rows, clip, work, found):
    """Labels the doubtful pictures with the truth; returns their number."""
    asked = re.findall(r"--say (\S+)@([0-9.]+)=\S+", (work / "said.txt").read_text())
    shown = {said: true for true, said in found.items()}
    labels = []
    for channel, time_s in asked:
        row = min(rows, key=lambda row: abs(float(row["time_s"]) - float(time_s)))
        if channel in shown:
            labels += ["--say", f"{channel}@{time_s}={row[shown[channel]]}"]
    if labels:
        setup = clip.with_suffix(".setup.toml")
        done = subprocess.run([program, "teach", str(clip), "--setup", str(setup), *labels], capture_output=True, text=True)
        (work / "taught.txt").write_text(done.stdout + done.stderr)
    return len(labels) // 2


def wrong_alphabet(pairs):
    """Digits that are read as one other digit in more than half of the frames in which they are read."""
    taken = collections.defaultdict(collections.Counter)
    for true, value in pairs:
        decimals = len(true.partition(".")[2])
        shown = f"{float(value):.{decimals}f}".zfill(len(true)) if value else ""
        if len(shown) == len(true):
            for one, other in zip(true, shown):
                taken[one][other] += 1
    return [f"{one}>{other}" for one, counts in taken.items() for other, count in counts.items()
            if one != other and count >= MIN_FRAMES and 2 * count > counts.total()]


def report(name, truth, rows, work, found, false_boxes, seconds, code):
    """Prints the scores of a clip."""
    named = sum(true == said for true, said in found.items())
    counts = dict.fromkeys(("right", "blank", "wrong"), 0)
    clip = work / truth["clip"]
    series = clip.with_suffix("").with_name(clip.stem + "-result") / "series.csv"
    read = table(series) if series.exists() else []
    legible = sum(row["legible"] == "1" for row in rows)
    each, mistaken = [], []
    for true in truth["regions"]:
        if true in found and read:
            # The columns are named after the guess; the truth after what is shown.
            shown = [{**row, found[true]: row[true]} for row in rows]
            count = score_texts({"regions": {found[true]: None}}, shown, read)[found[true]]
            mistaken += [f"{true} {digits}" for digits in wrong_alphabet(compared(found[true], shown, read))]
        else:
            count = {"right": 0, "blank": legible, "wrong": 0}
        each.append(f"{true} {found.get(true, '-')} {100 * count['right'] / legible:.1f}/{count['wrong']}")
        for kind in counts:
            counts[kind] += count[kind]
    total = sum(counts.values()) or 1
    steps = "-"
    if truth["steps"] and (series.parent / "pairs.csv").exists():
        errors, covered = score_airspeeds(truth, table(series.parent / "pairs.csv"))
        steps = f"{covered}/{sum(error is not None for error in errors)}/{len(errors)}"
    print(f"{name:14} found {len(found)}/{len(truth['regions'])} named {named} false {false_boxes}"
          f"  right {100 * counts['right'] / total:6.2f} blank {100 * counts['blank'] / total:6.2f}"
          f" wrong {counts['wrong']:5}  airspeeds {steps}  {seconds:5.1f} s  exit {code}")
    print("    " + ", ".join(each), *(["wrong alphabet:", *mistaken] if mistaken else []), flush=True)


def main():
    given = [argument for argument in sys.argv[1:] if argument != "--confirm"]
    if len(given) < 2:
        sys.exit(__doc__)
    for name in given[1:]:
        run(given[0], name)


if __name__ == "__main__":
    main()
