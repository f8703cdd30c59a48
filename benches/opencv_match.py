"""A simple script with OpenCV for comparison (capture and matchTemplate): opencv_match.py CLIP SETUP.toml

The templates are the digits of the built-in glyph set `block`, scaled to the boxes. Every digit is matched in every box of every frame, and the highest peaks form the text.
"""

import sys
import tomllib
from pathlib import Path

import cv2
import numpy as np

TEMPLATES = Path(__file__).resolve().parent.parent / "templates"
HEIGHT_PX = 29


def digits():
    """Images of the ten digits, cut out of the built-in set `block`."""
    face = tomllib.loads((TEMPLATES / "block" / "glyphs.toml").read_text())["face"][0]
    sheet = cv2.imread(str(TEMPLATES / "block" / face["picture"]), cv2.IMREAD_GRAYSCALE)
    width, height = face["cell"]
    scale = HEIGHT_PX / height
    for glyph in face["glyph"]:
        if glyph["character"].isdigit():
            left = glyph["column"] * width
            cell = np.ascontiguousarray(sheet[:height, left : left + width])
            yield glyph["character"], cv2.resize(cell, None, fx=scale, fy=scale)


def read(crop, templates):
    """The text of a box: the digits with the highest peaks, from left to right."""
    scores = [cv2.matchTemplate(crop, picture, cv2.TM_CCOEFF_NORMED).max(axis=0) for _, picture in templates]
    width = min(len(row) for row in scores)
    scores = np.stack([row[:width] for row in scores])
    best, peak, text = scores.argmax(axis=0), scores.max(axis=0), []
    while peak.size and peak.max() > 0.5:
        column = int(peak.argmax())
        text.append((column, templates[best[column]][0]))
        peak[max(0, column - 10) : column + 10] = 0
    return "".join(character for _, character in sorted(text))


def main():
    setup = tomllib.loads(Path(sys.argv[2]).read_text())
    templates = list(digits())
    capture = cv2.VideoCapture(sys.argv[1])
    frames = 0
    while True:
        there, frame = capture.read()
        if not there:
            break
        grey = cv2.cvtColor(frame, cv2.COLOR_BGR2GRAY)
        for region in setup["region"]:
            x, y, width, height = region["box"]
            read(grey[y : y + height, x : x + width], templates)
        frames += 1
    print(frames, "frames")


if __name__ == "__main__":
    main()
