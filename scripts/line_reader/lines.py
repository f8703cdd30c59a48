"""Renders numeral lines as overlays show them, cropped and resampled as src/line_reader does, for training the line reader.

Usage: lines.py FOLDER SPLIT LINES SEED   (SPLIT: train, tune or test; writes FOLDER/lines-SPLIT-SEED.npz)

FOLDER holds faces.json and faces/ as ../digit_shapes makes them. The split of families into train, tune and test is that of
../digit_shapes.
"""

import sys
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw
from scipy.ndimage import gaussian_filter1d

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "digit_shapes"))
from faces import resampling  # noqa: E402
from scenes import (  # noqa: E402
    DIGITS, MEANS, ROOM_PX, STYLE_SHARES, STYLES, Type, background, compose, degrade, load_faces, textures, warp,
)

# Rows of the network's input, and columns for each row of the source, as in src/line_reader/network.rs.
ROWS = 24
ASPECT = 1.5
MAX_COLUMNS = 400
# Classes of the network: the CTC blank, then these characters; letters regardless of case. The last class stands for
# every other character and for icons.
CHARACTERS = DIGITS + ".-:abcdefghijklmnopqrstuvwxyz/%°"
OTHER = len(CHARACTERS) + 1
# Placeholder for an icon in a text; each icon is drawn at random.
ICON = "\ufffc"
# Units and labels as overlays write them (common practice, no source).
UNITS = ["km/h", "kmh", "kph", "mph", "kn", "kt", "kts", "m/s", "ft/s", "m", "ft", "km", "mi", "V", "A", "mAh", "Ah", "W", "Wh",
         "%", "°", "°C", "C", "s", "min", "rpm", "dB", "dBm", "mW", "Hz", "fps", "sat", "g"]
LABELS = ["SPEED", "SPD", "GS", "AS", "ALT", "ALTITUDE", "H", "HGT", "VOLT", "BAT", "BATT", "V", "A", "CUR", "AMP", "THR", "THROTTLE",
          "SAT", "SATS", "GPS", "TIME", "T", "HDG", "DIST", "HOME", "RSSI", "LQ", "CELL", "VSI", "FLT", "ON", "MAX", "PWR", "TEMP"]
# Letters of random words. Letters that resemble a digit occur in units and captions only.
LETTERS = "ACDEFGHJKMNPRTUVWXYacdefhkmnprtuvwxy"
SYMBOLS = "+&=?#<>*"


def classes(text):
    return [CHARACTERS.find(c.lower()) + 1 if c.lower() in CHARACTERS else OTHER for c in text]


def cased(rng, word):
    """A word as written, in capitals, or in lower case."""
    return rng.choice([word, word.upper(), word.lower()], p=[0.6, 0.25, 0.15])


def random_word(rng):
    letters = LETTERS if rng.random() < 0.8 else SYMBOLS
    return "".join(letters[rng.integers(len(letters))] for _ in range(rng.integers(1, 4)))


def number(rng):
    """A number such as a readout shows."""
    kind = rng.random()
    digits = lambda count: "".join(DIGITS[rng.integers(10)] for _ in range(count))
    if kind < 0.56:
        text = digits(rng.choice([1, 2, 3, 4, 5], p=[0.12, 0.33, 0.33, 0.17, 0.05]))
    elif kind < 0.89:
        text = digits(rng.choice([1, 2, 3], p=[0.3, 0.5, 0.2])) + "." + digits(rng.choice([1, 2], p=[0.65, 0.35]))
    else:
        text = digits(rng.choice([1, 2])) + ":" + digits(2) + (":" + digits(2) if rng.random() < 0.25 else "")
    return "-" + text if rng.random() < 0.07 else text


def words(rng):
    """The parts of a line: the text before the number, the number, and the text after it. Each may be empty."""
    before, after = "", ""
    kind = rng.random()
    if kind < 0.14:
        before = ICON
    elif kind < 0.3:
        before = cased(rng, LABELS[rng.integers(len(LABELS))]) + (":" if rng.random() < 0.15 else "")
    elif kind < 0.36:
        before = random_word(rng)
    kind = rng.random()
    if kind < 0.38:
        after = cased(rng, UNITS[rng.integers(len(UNITS))])
    elif kind < 0.44:
        after = random_word(rng)
    elif kind < 0.5:
        after = ICON
    text = number(rng) if rng.random() < 0.93 else ""
    return before, text, after


def icon(rng, height):
    """The ink and width of an icon: an arrow, a battery, a flash, a ring, or a few strokes."""
    scale = 4
    tall = round(height * rng.uniform(0.7, 1.15)) * scale
    wide = max(2 * scale, round(tall * rng.uniform(0.35, 1.2)))
    picture = Image.new("L", (wide, tall))
    draw = ImageDraw.Draw(picture)
    thick = max(scale, round(height * rng.uniform(0.07, 0.2) * scale))
    at = lambda x, y: (x * (wide - 1), y * (tall - 1))
    kind = rng.integers(7)
    if kind == 0:
        head = rng.uniform(0.25, 0.6)
        draw.line([at(0.5, 0), at(0.5, 1)], fill=255, width=thick)
        draw.line([at(0, head), at(0.5, 0.05), at(1, head)], fill=255, width=thick)
    elif kind == 1:
        draw.polygon([at(0.5, 0), at(1, 1), at(0.5, rng.uniform(0.6, 1)), at(0, 1)], fill=255)
    elif kind == 2:
        draw.rectangle([at(0, 0.12), at(1, 1)], outline=255, width=thick, fill=255 if rng.random() < 0.5 else 0)
        draw.rectangle([at(0.3, 0), at(0.7, 0.12)], fill=255)
    elif kind == 3:
        draw.polygon([at(0.65, 0), at(0.05, 0.6), at(0.45, 0.6), at(0.3, 1), at(0.95, 0.4), at(0.55, 0.4)], fill=255)
    elif kind == 4:
        draw.ellipse([at(0, 0), at(1, 1)], outline=255, width=thick)
        if rng.random() < 0.6:
            draw.line([at(0.5, 0.5), at(*rng.random(2))], fill=255, width=thick)
    elif kind == 5:
        for _ in range(rng.integers(2, 5)):
            draw.line([at(*rng.random(2)), at(*rng.random(2))], fill=255, width=thick)
        draw.ellipse([at(0.2, 0.2), at(0.8, 0.8)], outline=255, width=thick)
    else:
        draw.polygon([at(*rng.random(2)) for _ in range(rng.integers(3, 7))], fill=255)
    picture = picture.resize((max(2, wide // scale), max(2, tall // scale)), Image.BOX)
    if rng.random() < 0.5:
        picture = picture.transpose(Image.ROTATE_90 if rng.random() < 0.4 else Image.FLIP_TOP_BOTTOM)
    ink = np.asarray(picture, np.float32) / 255
    return ink, round((height + ink.shape[0]) / 2), 0.1 * height, ink.shape[1] + 0.2 * height


def is_drawn(kind, character):
    """Whether the face has a character. Characters that it lacks are drawn as its sign for a missing glyph."""
    if kind.means == "segments":
        return character in DIGITS
    masks = [kind.font.getmask(c, mode="L") for c in (character, "\ufffe")]
    return masks[0].getbbox() is not None and (masks[0].size != masks[1].size or bytes(masks[0]) != bytes(masks[1]))


def segments_mark(rng, character, height):
    """The point or colon of a segment display."""
    size = max(1, round(height * rng.uniform(0.08, 0.14)))
    dot = np.ones((size, size), np.float32)
    if character == ":":
        dot = np.concatenate([dot, np.zeros((round(0.3 * height), size), np.float32), dot])
    return dot, dot.shape[0] + (0 if character == "." else round(0.2 * height)), 0.15 * size, 1.6 * size


def glyphs_of(rng, kind, height, text):
    """The ink of each character of a text; None if the face lacks one."""
    found = []
    for c in text:
        if c == ICON:
            found.append(icon(rng, height))
        elif kind.means == "segments" and c in ".:":
            found.append(segments_mark(rng, c, height))
        elif is_drawn(kind, c):
            found.append(kind.ink(c))
        else:
            return None
    return found if all(glyph is not None for glyph in found) else None


def set_text(rng, path, kind, height, parts):
    """The ink of a line with room around it, the columns where its number begins and ends, the digits' pitch, and the columns
    of every character; None if it cannot be drawn."""
    digits = glyphs_of(rng, kind, height, DIGITS)
    if digits is None:
        return None
    widest = max(glyph[3] for glyph in digits)
    fixed = rng.random() < 0.7
    everything = fixed and rng.random() < 0.4
    pitch = np.clip(widest * rng.uniform(0.95, 1.2), 0.35 * height, 1.35 * height)
    tracking = rng.choice([0.0, rng.uniform(-0.02, 0.12)]) * height
    # Labels and units are often smaller than the number.
    small = round(height * rng.uniform(0.45, 0.85)) if rng.random() < 0.35 else height
    small_kind = kind if small == height else Type(rng, path, max(5, small), kind.means)
    raised = rng.random() < 0.2
    ink = np.zeros((round(height) + 2 * ROOM_PX, round((sum(map(len, parts)) + 14) * 1.5 * pitch) + 2 * ROOM_PX), np.float32)
    pen, drawn = ROOM_PX + 4 * pitch + rng.random(), []
    for place, part in enumerate(parts):
        is_number = place == 1
        glyphs = glyphs_of(rng, kind if is_number else small_kind, height if is_number else small_kind.height, part)
        if glyphs is None:
            if is_number:
                return None
            continue
        if place == 2 and part and drawn:
            pen += rng.choice([0.0, 0.15, 0.35, rng.uniform(0.3, 1.0)]) * height
        for c, (mask, base, bearing, advance) in zip(part, glyphs):
            in_cells = fixed and (is_number and c in DIGITS or everything and c != ICON)
            centred = (pitch - advance) / 2 if in_cells else 0.0
            lift = height - small_kind.height if raised and not is_number else 0
            left, top = round(pen + centred + bearing), round(ROOM_PX + height - base - lift)
            rows, cols = mask.shape
            if top < 0 or top + rows > ink.shape[0] or left < 0 or left + cols > ink.shape[1]:
                return None
            np.maximum(ink[top:top + rows, left:left + cols], mask, out=ink[top:top + rows, left:left + cols])
            pen += (pitch if in_cells else advance) + (0.0 if fixed else tracking)
            drawn.append((c, left, left + cols, is_number))
        if place == 0 and part:
            pen += rng.choice([0.0, 0.15, 0.35, rng.uniform(0.3, 1.0)]) * height
    return ink, pitch, drawn


def composite(rng, levels):
    """Imitates analog video: limited bandwidth, an echo, dot crawl at edges, jittering lines, noise along the line."""
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


def crop(rng, levels, height, drawn, pitch):
    """Cuts out a box as detected or marked, with room for more digits, or a strip around it that may cut its neighbours.

    Returns the grey levels and the characters in the box; None if a character is neither inside nor outside.
    """
    tall = height / rng.uniform(0.5, 0.86)
    top = ROOM_PX + height / 2 - tall / 2 + rng.uniform(-0.4, 0.4) * (tall - height)
    of_number = [place for place in drawn if place[3]] or drawn
    wanted = drawn if rng.random() < 0.6 else of_number
    if wanted:
        first, last = wanted[0][1], wanted[-1][2]
    else:
        first = round(ROOM_PX + 4 * pitch)
        last = round(first + 2 * pitch)
    left = first - rng.choice([rng.uniform(0.05, 0.4), rng.uniform(0.4, 3.2)], p=[0.6, 0.4]) * pitch
    right = last + rng.choice([rng.uniform(0.05, 0.4), rng.uniform(0.4, 2.5)], p=[0.7, 0.3]) * pitch
    top, left = max(0, int(round(top))), max(0, int(round(left)))
    bottom = min(levels.shape[0], int(round(top + tall)))
    right = min(levels.shape[1], int(round(right)))
    text = ""
    for character, start, end, _ in drawn:
        share = (min(end, right) - max(start, left)) / max(1, end - start)
        if 0.2 < share < 0.85:
            return None
        text += character if share >= 0.85 else ""
    return levels[top:bottom, left:right], text


def resampled(levels):
    """A crop resampled to ROWS rows, stretched horizontally by ASPECT."""
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
    parts = words(rng) if rng.random() < 0.95 else ("", "", "")
    if means == "segments" or group == "fonts-dseg":
        # Labels of segment displays are in another face, so they are left out here.
        parts = ICON if parts[0] == ICON else "", parts[1], ICON if parts[2] == ICON else ""
    written = set_text(rng, path, kind, height, parts)
    if written is None:
        return None
    ink, pitch, drawn = written
    slack = round(4 * pitch)
    if drawn:
        left = max(0, drawn[0][1] - slack)
        ink = ink[:, left:drawn[-1][2] + slack]
        drawn = [(c, start - left, end - left, is_number) for c, start, end, is_number in drawn]
    if rng.random() < 0.4:
        ink = warp(rng, ink)
    style = STYLES[rng.choice(5, p=STYLE_SHARES)]
    behind, _ = background(rng, ink.shape, height, pool)
    levels = compose(rng, ink, height, behind, style) if drawn else behind
    if rng.random() < 0.3:
        levels = composite(rng, levels)
    levels = degrade(rng, levels, height)
    cut = crop(rng, levels, height, drawn, pitch)
    if cut is None or min(cut[0].shape) < 5:
        return None
    part, text = cut
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
