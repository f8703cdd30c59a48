#!/usr/bin/env python3
"""General readers on the same crops: benches/other_readers.py DIR [CLIPS]

DIR is the folder made by generator/make-benchmark. 40 frames of each held-back clip (or of those with CLIPS in their
name) are used, spread over the flight. Every region is read by

- Tesseract (Debian's tesseract-ocr): enlarged three times, thresholded by Otsu's method, one line, digits only;
- normalised correlation (OpenCV's matchTemplate) with the font of the clip itself, drawn at its size: the best
  matches above 0.5 that do not overlap, from left to right;
- pairspeed, after learning from labels at 10 moments (its figures are over all frames).

Needs ffmpeg, tesseract-ocr, and `pip install opencv-python-headless numpy pillow`.
"""
import csv
import pathlib
import subprocess
import sys
import tempfile
import tomllib

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

FRAMES = 40
ROOT = pathlib.Path(__file__).resolve().parent.parent


def crops_of(clip):
    """(channel, decimals, font, height, true texts, picture) of the chosen frames."""
    stem = clip.with_suffix("")
    setup = tomllib.loads(stem.with_suffix(".setup.toml").read_text())
    fields = tomllib.loads(stem.with_suffix(".scenario.toml").read_text())["overlay"]["field"]
    fields = {field["channel"]: field for field in fields}
    rows = list(csv.DictReader(stem.with_suffix(".readings.csv").open()))
    wanted = {int((k + 0.5) * len(rows) / FRAMES) for k in range(FRAMES)}
    video, number, crops = cv2.VideoCapture(str(clip)), 0, []
    while True:
        there, frame = video.read()
        if not there:
            return crops
        if number in wanted and number < len(rows):
            grey = cv2.cvtColor(frame, cv2.COLOR_BGR2GRAY)
            for region in setup["region"]:
                x, y, width, height = region["box"]
                texts = rows[number][region["channel"]]
                if texts:
                    field = fields[region["channel"]]
                    crops.append((region, field, texts.split("|"), grey[y : y + height, x : x + width]))
        number += 1


def by_tesseract(crops):
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        names = []
        for number, (*_, picture) in enumerate(crops):
            large = cv2.resize(picture, None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC)
            _, black = cv2.threshold(large, 0, 255, cv2.THRESH_BINARY_INV + cv2.THRESH_OTSU)
            framed = cv2.copyMakeBorder(black, 20, 20, 20, 20, cv2.BORDER_CONSTANT, value=255)
            names.append(str(folder / f"{number:05}.png"))
            cv2.imwrite(names[-1], framed)
        (folder / "list.txt").write_text("\n".join(names))
        options = ["--psm", "7", "-c", "tessedit_char_whitelist=0123456789.-", "-c", "page_separator=\f"]
        command = ["tesseract", str(folder / "list.txt"), "stdout", *options]
        said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    return [page.strip().replace(" ", "") for page in said.split("\f")][: len(crops)]


def drawn(field):
    """Each character in the clip's font, white with a dark edge."""
    font = ImageFont.truetype(field["font"], field["height_px"])
    capital = font.getbbox("0", anchor="ls")
    scale = field["height_px"] * 0.72 / max(1, capital[3] - capital[1])
    font = ImageFont.truetype(field["font"], max(6, round(field["height_px"] * scale)))
    shapes = {}
    for character in "0123456789.":
        left, top, right, bottom = font.getbbox(character, anchor="ls", stroke_width=2)
        picture = Image.new("L", (right - left, bottom - top), 110)
        pen = ImageDraw.Draw(picture)
        pen.text((-left, -top), character, 235, font, anchor="ls", stroke_width=2, stroke_fill=16)
        shapes[character] = np.asarray(picture)
    return shapes


def by_correlation(crops):
    texts, known = [], {}
    for _, field, _, picture in crops:
        key = (field["font"], field["height_px"])
        shapes = known.setdefault(key, drawn(field))
        found = []
        for character, shape in shapes.items():
            if shape.shape[0] > picture.shape[0] or shape.shape[1] > picture.shape[1]:
                continue
            rated = cv2.matchTemplate(picture, shape, cv2.TM_CCOEFF_NORMED)
            columns = rated.max(axis=0)
            found += [(float(columns[x]), x, shape.shape[1], character) for x in np.flatnonzero(columns > 0.5)]
        taken = []
        for rating, x, width, character in sorted(found, reverse=True):
            if all(x + 0.7 * width <= other or other + 0.7 * wide <= x for _, other, wide, _ in taken):
                taken.append((rating, x, width, character))
        texts.append("".join(one[3] for one in sorted(taken, key=lambda one: one[1])))
    return texts


def verdict(read, crops):
    """Shares of right, blank and wrong readings in per cent."""
    counts = {"right": 0, "blank": 0, "wrong": 0}
    for text, (_, _, true, _) in zip(read, crops):
        try:
            value = float(text)
        except ValueError:
            counts["blank"] += 1
            continue
        right = any(value == float(one) for one in true)
        counts["right" if right else "wrong"] += 1
    return [100 * counts[key] / max(1, len(crops)) for key in counts]


def ours(clip):
    stem = clip.with_suffix("")
    files = [str(stem.with_suffix(end)) for end in (".setup.toml", ".readings.csv")]
    program = ROOT / "target/release/reading_score"
    said = subprocess.run([program, str(clip), *files, "10"], capture_output=True, text=True, check=True).stdout
    right = blank = wrong = 0.0
    for line in said.splitlines():
        words = line.split()
        if len(words) == 8 and words[1] == "right":
            of_channel, false = int(words[5]), int(words[7])
            share = float(words[2]) / 100
            frames = (of_channel + false) / (1 - share) if share < 1 else 850
            right, blank, wrong = right + share * frames, blank + of_channel, wrong + false
    total = max(1, right + blank + wrong)
    return [100 * part / total for part in (right, blank, wrong)]


def main():
    folder, word = pathlib.Path(sys.argv[1]) / "held", (sys.argv[2] if len(sys.argv) > 2 else "")
    build = ["cargo", "build", "--quiet", "--release", "-p", "benchmarks"]
    subprocess.run(build, cwd=ROOT, check=True)
    print(f"{'clip':34} {'pairspeed':>22} {'Tesseract':>22} {'correlation':>22}")
    print(f"{'right, blank, wrong in %':34}")
    for clip in sorted(path for path in folder.iterdir() if path.suffix in (".avi", ".mp4") and word in path.name):
        crops = crops_of(clip)
        columns = [ours(clip), verdict(by_tesseract(crops), crops), verdict(by_correlation(crops), crops)]
        cells = [" ".join(f"{value:6.1f}" for value in column) for column in columns]
        print(f"{clip.stem:34} " + " ".join(f"{cell:>22}" for cell in cells), flush=True)


if __name__ == "__main__":
    main()
