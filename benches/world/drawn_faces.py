#!/usr/bin/env python3
"""Makes clips whose readouts are drawn in free faces, for unaided.py: drawn_faces.py GENERATOR FACES COUNT SEED

FACES is the folder of faces.json that ../../scripts/digit_shapes makes. Only families are drawn that no table of the program was
trained on, each face once. Size, edge, shade, spacing, unit, noise and blur are drawn with SEED as well. The clips face-NNN have
readouts of speed, altitude and voltage for about 40 s; they and their truth go to $WORLD_CLIPS (default ~/world-clips).
Needs numpy, pillow and scipy, as ../../scripts/digit_shapes does.
"""
import csv
import json
import pathlib
import random
import shutil
import subprocess
import sys
import tempfile
import tomllib

from run import CLIPS

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent.parent / "scripts" / "digit_shapes"))
from scenes import split_of  # noqa: E402

WIDTH, HEIGHT, RATE = 320, 240, 10
# Channel, characters, decimals, unit, corner of the frame.
READOUTS = [("speed", 3, 0, "km/h", (0, 0)), ("altitude", 4, 0, "m", (1, 0)), ("voltage", 4, 1, "V", (0, 1))]


def scenario(rng, name, face):
    height = rng.choice([18, 20, 22, 24, 28, 32])
    look = {
        "font": str(face), "height_px": height, "edge": rng.choice(["plain", "outline", "outline", "shadow"]),
        "letter_spacing_px": rng.choice([0.0, 0.0, 1.0]), "align": rng.choice(["left", "right"]),
    }
    if look["edge"] == "plain":
        look["shade"] = rng.uniform(0.5, 0.9)
    shows_unit = rng.random() < 0.5
    lines = [
        f'name = "{name}"', f"seed = {rng.randrange(10**6)}",
        "[airframe]", "airspeed_mps = [[0, 9.0], [50, 17.0], [75, 23.0], [100, 28.0]]",
        "[flight]", "throttle_percent = [60, 100]", "legs_per_step = 2", "leg_s = 5.0", "turn_s = 2.0",
        f"field_elevation_m = {rng.randrange(20, 1500)}", "before_launch_s = 2", "climb_s = 6", "landing_s = 2",
        "[wind]", f"speed_mps = {rng.uniform(1, 5):.1f}", "[pack]", f"cells = {rng.choice([3, 4, 6])}", "[overlay]", "update_hz = 5",
    ]
    for channel, width, decimals, unit, (across, down) in READOUTS:
        lines += ["[[overlay.field]]", f'channel = "{channel}"', f"position = [{20 + across * 170}, {24 + down * 160}]",
                  f"width = {width}", f"decimals = {decimals}", f'unit = "{unit}"', f"show_unit = {str(shows_unit).lower()}"]
        lines += [f"{key} = {json.dumps(value)}" for key, value in look.items()]
    lines += ["[degradation]", f"noise = {rng.uniform(0, 6):.2f}", f"blur_px = {rng.uniform(0, 0.8):.2f}",
              "[video]", f"width = {WIDTH}", f"height = {HEIGHT}", f"frame_rate = {RATE}", f"quality = {rng.randrange(3, 9)}"]
    return "\n".join(lines) + "\n"


def make(generator, rng, name, face):
    """Makes a clip with its truth; returns whether the face could be drawn."""
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        (folder / "scenario.toml").write_text(scenario(rng, name, face))
        done = subprocess.run([generator, "clip", folder / "scenario.toml", "--out", folder], capture_output=True, text=True)
        if done.returncode:
            print(f"{face.name}: {done.stderr.strip()}")
            return False
        setup = tomllib.loads((folder / f"{name}.setup.toml").read_text())
        with open(folder / f"{name}.readings.csv") as file:
            rows = list(csv.DictReader(file))
        channels = [readout[0] for readout in READOUTS]
        CLIPS.mkdir(parents=True, exist_ok=True)
        shutil.copy(folder / f"{name}.avi", CLIPS)
        truth = {
            "clip": f"{name}.avi", "width": WIDTH, "height": HEIGHT, "frames": len(rows), "fps": RATE, "steps": [], "face": face.name,
            "regions": {region["channel"]: region["box"] for region in setup["region"]},
        }
        (CLIPS / f"{name}.truth.json").write_text(json.dumps(truth, indent=1))
        with open(CLIPS / f"{name}.truth.csv", "w", newline="") as file:
            writer = csv.writer(file)
            writer.writerow(["frame", "time_s", "legible", *channels])
            for number, row in enumerate(rows):
                texts = [row[channel] for channel in channels]
                legible = all(text and "|" not in text for text in texts)
                writer.writerow([number, row["time_s"], int(legible), *texts])
    return True


def main(generator, faces, count, seed):
    rng = random.Random(seed)
    known = json.loads((faces / "faces.json").read_text())
    held_out = sorted(face["file"] for face in known if split_of(face["group"]) != "train")
    rng.shuffle(held_out)
    made = 0
    for file in held_out:
        if made == count:
            break
        made += make(generator, rng, f"face-{made + 1:03}", faces / file)
    print(f"{made} clips of {len(held_out)} faces")


if __name__ == "__main__":
    if len(sys.argv) != 5:
        sys.exit(__doc__)
    main(sys.argv[1], pathlib.Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]))
