"""Renders numeral lines as overlays show them, cropped and resampled as src/decipher does, for training the line reader.

Usage: lines.py FOLDER SPLIT LINES SEED   (SPLIT: train, tune or test; writes FOLDER/lines-SPLIT-SEED.npz)

FOLDER holds faces.json and faces/ as ../digit_shapes makes them. The split of families into train, tune and test is that of
../digit_shapes.
"""

import sys
from pathlib import Path

import numpy as np
from scipy.ndimage import gaussian_filter1d

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "digit_shapes"))
from faces import resampling  # noqa: E402
from scenes import (  # noqa: E402
    DIGITS, MEANS, OTHERS, ROOM_PX, STYLE_SHARES, STYLES, Type, background, compose, degrade, load_faces, textures, warp,
)

# Rows of the network's input, and columns for each row of the source, as in src/decipher/line_reader.rs.
ROWS = 24
ASPECT = 1.5
MAX_COLUMNS = 400
# Classes of the network: the CTC blank, the digits, then these; the last stands for every other character.
MARKS = ".-:"
OTHER = 14


def classes(text):
    return [DIGITS.find(c) + 1 if c in DIGITS else MARKS.find(c) + 11 if c in MARKS else OTHER for c in text if c != " "]


def value(rng):
    """A text such as a readout shows."""
    kind = rng.random()
    digits = lambda count: "".join(DIGITS[rng.integers(10)] for _ in range(count))
    if kind < 0.5:
        text = digits(rng.choice([1, 2, 3, 4, 5], p=[0.12, 0.33, 0.33, 0.17, 0.05]))
    elif kind < 0.8:
        text = digits(rng.choice([1, 2, 3], p=[0.3, 0.5, 0.2])) + "." + digits(rng.choice([1, 2], p=[0.65, 0.35]))
    elif kind < 0.9:
        text = digits(rng.choice([1, 2])) + ":" + digits(2) + (":" + digits(2) if rng.random() < 0.25 else "")
    else:
        text = ""
    if text and rng.random() < 0.08:
        text = "-" + text
    if text and rng.random() < 0.12:
        text = OTHERS[rng.integers(len(OTHERS))] + (" " if rng.random() < 0.4 else "") + text
    if text and rng.random() < 0.2:
        text += (" " if rng.random() < 0.4 else "") + "".join(
            OTHERS[rng.integers(len(OTHERS))] for _ in range(rng.integers(1, 4)))
    return text


def set_text(rng, kind, height, text):
    """The ink of a text with room around it, and the columns where its ink begins and ends; None if it cannot be drawn."""
    glyphs = {c: kind.ink(c) for c in set(text + DIGITS) - {" "}}
    if any(glyphs[c] is None for c in DIGITS) or any(glyphs.get(c) is None for c in text if c in DIGITS):
        return None
    widest = max(glyphs[c][3] for c in DIGITS)
    fixed = rng.random() < 0.7
    everything = fixed and rng.random() < 0.4
    pitch = np.clip(widest * rng.uniform(0.95, 1.2), 0.35 * height, 1.35 * height)
    tracking = rng.choice([0.0, rng.uniform(-0.02, 0.12)]) * height
    ink = np.zeros((round(height) + 2 * ROOM_PX, round((len(text) + 8) * 1.5 * pitch) + 2 * ROOM_PX), np.float32)
    pen = ROOM_PX + 4 * pitch + rng.random()
    start, drawn = pen, []
    for c in text:
        glyph = glyphs.get(c)
        if glyph is None:
            if c == " ":
                pen += 0.5 * pitch
                continue
            if c in ".:" and kind.means == "segments":
                size = max(1, round(height * rng.uniform(0.08, 0.14)))
                dot = np.ones((size, size), np.float32)
                if c == ":":
                    dot = np.concatenate([dot, np.zeros((round(0.3 * height), size), np.float32), dot])
                glyph = dot, dot.shape[0] + (0 if c == "." else round(0.2 * height)), 0.15 * size, 1.6 * size
            else:
                continue
        mask, base, bearing, advance = glyph
        wide = c in DIGITS or everything
        centred = (pitch - advance) / 2 if fixed and wide else 0.0
        left, top = round(pen + centred + bearing), round(ROOM_PX + height - base)
        rows, cols = mask.shape
        if top < 0 or top + rows > ink.shape[0] or left < 0 or left + cols > ink.shape[1]:
            return None
        np.maximum(ink[top:top + rows, left:left + cols], mask, out=ink[top:top + rows, left:left + cols])
        pen += (pitch if fixed and wide else advance) + (0.0 if fixed else tracking)
        drawn.append(c)
    inked = np.flatnonzero(ink.max(0) > 0.3)
    first, last = (inked[0], inked[-1] + 1) if inked.size else (round(start), round(start + 2 * pitch))
    return ink, first, last, pitch, "".join(drawn)


def composite(rng, levels):
    """Analog video: limited bandwidth, an echo, dots of colour at edges, lines that move, noise along the line."""
    sharp = levels
    levels = gaussian_filter1d(levels, rng.uniform(0.5, 1.3), axis=1)
    if rng.random() < 0.5:
        delay, gain = rng.integers(2, 8), rng.uniform(-0.25, 0.25)
        levels = levels + gain * np.pad(levels - levels.mean(), ((0, 0), (delay, 0)))[:, :levels.shape[1]]
    if rng.random() < 0.6:
        edges = np.abs(np.gradient(sharp, axis=1))
        y, x = np.mgrid[:levels.shape[0], :levels.shape[1]]
        levels = levels + rng.uniform(0, 0.8) * edges * np.cos(2 * np.pi * (x * rng.uniform(0.2, 0.45) + y / 2))
    if rng.random() < 0.5:
        shifts = np.round(rng.standard_normal(levels.shape[0]) * rng.uniform(0.2, 0.8)).astype(int)
        levels = np.stack([np.roll(row, shift) for row, shift in zip(levels, shifts)])
    noise = rng.standard_normal(levels.shape) * rng.gamma(2, 6)
    return levels + gaussian_filter1d(noise, 0.6, axis=1)


def crop(rng, levels, height, first, last, pitch):
    """Cuts a box such as is found or marked: a few pixels generous, with room for further places."""
    text_px = max(1, last - first)
    tall = height / rng.uniform(0.5, 0.86)
    top = ROOM_PX + height / 2 - tall / 2 + rng.uniform(-0.4, 0.4) * (tall - height)
    left = first - rng.choice([rng.uniform(0.05, 0.4), rng.uniform(0.4, 3.2)], p=[0.6, 0.4]) * pitch
    right = last + rng.choice([rng.uniform(0.05, 0.4), rng.uniform(0.4, 2.5)], p=[0.75, 0.25]) * pitch
    top, left = max(0, int(round(top))), max(0, int(round(left)))
    bottom = min(levels.shape[0], int(round(top + tall)))
    right = min(levels.shape[1], int(round(right)))
    del text_px
    return levels[top:bottom, left:right]


def resampled(levels):
    """A crop at ROWS rows and ASPECT times as many columns as its shape asks for."""
    columns = int(np.clip(round(levels.shape[1] * ROWS / levels.shape[0] * ASPECT), 16, MAX_COLUMNS))
    out = resampling(levels.shape[0], ROWS) @ levels @ resampling(levels.shape[1], columns).T
    out = out - out.mean()
    return (out / max(out.std(), 4.0)).astype(np.float16)


def line(rng, faces, pool):
    groups, names, weights = faces
    group = names[rng.choice(len(names), p=weights)]
    path = groups[group][rng.integers(len(groups[group]))]
    height = int(round(np.exp(rng.uniform(np.log(9), np.log(56)))))
    means = "outlines" if group == "fonts-dseg" else MEANS[rng.choice(3, p=[0.78, 0.14, 0.08])]
    kind = Type(rng, path, height, means)
    text = value(rng)
    written = set_text(rng, kind, height, text)
    if written is None:
        return None
    ink, first, last, pitch, text = written
    slack = round(4 * pitch)
    left = max(0, first - slack)
    ink, first, last = ink[:, left:last + slack], first - left, last - left
    if rng.random() < 0.4:
        ink = warp(rng, ink)
    style = STYLES[rng.choice(5, p=STYLE_SHARES)]
    behind, _ = background(rng, ink.shape, height, pool)
    levels = compose(rng, ink, height, behind, style) if text else behind
    if rng.random() < 0.3:
        levels = composite(rng, levels)
    levels = degrade(rng, levels, height)
    part = crop(rng, levels, height, first, last, pitch)
    if min(part.shape) < 5:
        return None
    return resampled(part), classes(text), STYLES.index(style), MEANS.index(means), height


def main(folder, split, lines, seed):
    rng = np.random.default_rng([seed, len(split), 7])
    faces, pool = load_faces(folder, split), textures(rng)
    found = []
    while len(found) < lines:
        try:
            made = line(rng, faces, pool)
        except (OSError, ValueError, ZeroDivisionError):
            continue
        if made:
            found.append(made)
    images, texts, *about = zip(*found)
    np.savez(folder / f"lines-{split}-{seed}.npz", images=np.concatenate(images, axis=1),
             columns=np.array([image.shape[1] for image in images]), texts=np.concatenate([np.array(t, np.int8) for t in texts]),
             lengths=np.array([len(t) for t in texts]), about=np.array(about).T)
    print(split, seed, len(found), "lines")


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
