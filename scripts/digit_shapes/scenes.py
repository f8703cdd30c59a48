"""Renders lines of digits as overlays show them, and cuts cells out of their features.

Usage: scenes.py FOLDER SPLIT LINES SEED   (SPLIT: train, tune or test; writes FOLDER/SPLIT-SEED.npz)
"""

import io
import json
import sys
import zlib
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont
from scipy.ndimage import distance_transform_edt, gaussian_filter, map_coordinates

from faces import open_face
from features import GRID, grid_of, high_pass

DIGITS = "0123456789"
# Characters that resemble no digit: the network should give no digit a high probability.
OTHERS = "AHKMNVWXYkmwvx%/&+=?#<"
STYLES = ["filled", "outline", "hollow", "shadow", "box"]
STYLE_SHARES = [0.28, 0.28, 0.18, 0.14, 0.12]
MEANS = ["outlines", "pixels", "segments"]
# Shares of the families that are held out to fit the temperature and to test.
TUNE_SHARE, TEST_SHARE = 0.12, 0.16
# All segment faces of files are held out; those for training are drawn by this script.
TEST_GROUPS = {"fonts-dseg"}
WORKING_HEIGHT_PX = 40
ROOM_PX = 24
CELLS_A_LINE = 12
SEGMENTS = ["abcdef", "bc", "abdeg", "abcdg", "bcfg", "acdfg", "acdefg", "abc", "abcdefg", "abcdfg"]


def split_of(group):
    """The split of a family group, from a hash of its name."""
    share = zlib.crc32(group.encode()) % 10000 / 10000
    if group in TEST_GROUPS or share < TEST_SHARE:
        return "test"
    return "tune" if share < TEST_SHARE + TUNE_SHARE else "train"


def load_faces(folder, split):
    groups = {}
    for face in json.loads((folder / "faces.json").read_text()):
        if split_of(face["group"]) == split:
            groups.setdefault(face["group"], []).append(str(folder / face["file"]))
    names = sorted(groups)
    # Large families are drawn more often, but not in proportion.
    weights = np.array([len(groups[name]) ** 0.6 for name in names])
    return groups, names, weights / weights.sum()


def textures(rng, count=24, size=(192, 2048)):
    """Images with the falling power spectra of photographs, zero mean and unit standard deviation."""
    down, across = np.fft.fftfreq(size[0])[:, None], np.fft.rfftfreq(size[1])[None]
    frequency = np.hypot(down * rng.uniform(1, 2), across)
    frequency[0, 0] = 1
    out = []
    for _ in range(count):
        phase = np.exp(2j * np.pi * rng.random(frequency.shape)) * rng.standard_normal(frequency.shape)
        picture = np.fft.irfft2(phase / frequency ** rng.uniform(0.9, 2.0), size)
        out.append(((picture - picture.mean()) / picture.std()).astype(np.float32))
    return out


def background(rng, shape, height, pool):
    """Grey levels of the background, whether a horizon crosses the text, and the mean level."""
    texture = pool[rng.integers(len(pool))]
    top, left = (rng.integers(0, have - min(have, need) + 1) for have, need in zip(texture.shape, shape))
    part = texture[top:top + shape[0], left:left + shape[1]]
    part = np.pad(part, [(0, need - have) for have, need in zip(part.shape, shape)], mode="reflect")
    levels = rng.uniform(15, 240) + part * rng.choice([0, 1]) * rng.gamma(1.5, 9)
    horizon = rng.random() < 0.35
    if horizon:
        y, x = np.mgrid[:shape[0], :shape[1]]
        angle = rng.normal(0, 0.35) if rng.random() < 0.8 else rng.uniform(-1.6, 1.6)
        middle = (ROOM_PX + rng.uniform(0, height), rng.uniform(0.1, 0.9) * shape[1])
        across = (y - middle[0]) * np.cos(angle) - (x - middle[1]) * np.sin(angle)
        step = rng.uniform(15, 120) * rng.choice([-1, 1])
        levels = levels + step / (1 + np.exp(-np.clip(across / rng.uniform(0.3, 3), -30, 30)))
    return np.clip(levels, 0, 255), horizon


def segment_digit(rng_shape, character, height):
    """The ink of a seven-segment digit and its width."""
    slant, aspect, thick, gap, tails = rng_shape
    width = max(4, round(aspect * height))
    scale = 4
    thick, gap = thick * height * scale, gap * height * scale
    tall, wide = height * scale, width * scale
    picture = Image.new("L", (round(wide + slant * tall) + 2, tall))
    draw = ImageDraw.Draw(picture)
    half, middle = thick / 2, tall / 2
    ends = {
        "a": ((half, half), (wide - half, half)),
        "g": ((half, middle), (wide - half, middle)),
        "d": ((half, tall - half), (wide - half, tall - half)),
        "f": ((half, half), (half, middle)),
        "e": ((half, middle), (half, tall - half)),
        "b": ((wide - half, half), (wide - half, middle)),
        "c": ((wide - half, middle), (wide - half, tall - half)),
    }
    lit = SEGMENTS[int(character)]
    if not tails:
        lit = {"6": "cdefg", "9": "abcfg", "7": "abcf"}.get(character, lit)
    for name in lit:
        (x0, y0), (x1, y1) = ends[name]
        length = np.hypot(x1 - x0, y1 - y0)
        along = np.array([x1 - x0, y1 - y0]) / length
        side = np.array([-along[1], along[0]]) * half
        start, end = np.array([x0, y0]) + along * gap, np.array([x1, y1]) - along * gap
        corners = [start, start + along * half + side, end - along * half + side,
                   end, end - along * half - side, start + along * half - side]
        draw.polygon([(x + slant * (tall - y), y) for x, y in corners], fill=255)
    return np.asarray(picture.resize((max(1, picture.width // scale), height), Image.BOX), np.float32) / 255


class Type:
    """A face at a size: gives the ink of characters as rows x columns, 0 to 1."""

    def __init__(self, rng, path, height, means):
        self.height, self.means, self.rng = height, means, rng
        if means == "segments":
            self.shape = (rng.choice([0, rng.uniform(0, 0.2)]), rng.uniform(0.42, 0.75), rng.uniform(0.07, 0.19),
                          rng.choice([0, rng.uniform(0, 0.05)]), rng.random() < 0.85)
            return
        font, size = open_face(path)
        box = font.getbbox("0", anchor="ls")
        tall = max(1, box[3] - box[1])
        self.zoom = None
        if means == "pixels" or size < 64:
            # A pixel face: each pixel is enlarged to a block.
            low = min(height, rng.uniform(7, 17)) if size >= 64 else tall
            self.zoom = height / low
            target = low
        else:
            target = height
        if size >= 64:
            font = ImageFont.truetype(path, max(4.0, target * size / tall), layout_engine=ImageFont.Layout.BASIC)
        self.font = font
        self.mode = "1" if self.zoom else "L"
        self.sharp = rng.random() < 0.7
        box = font.getbbox("0", anchor="ls")
        if self.zoom:
            self.zoom = height / max(1, box[3] - box[1])

    def ink(self, character):
        """The character's ink, the row of its baseline, its left bearing and its advance."""
        if self.means == "segments":
            if character not in DIGITS:
                return None
            ink = segment_digit(self.shape, character, self.height)
            return ink, self.height, 0.0, ink.shape[1] * 1.2
        left, top, right, bottom = self.font.getbbox(character, anchor="ls")
        if right <= left or bottom <= top:
            return None
        picture = Image.new("L", (int(right - left) + 2, int(bottom - top) + 2))
        draw = ImageDraw.Draw(picture)
        draw.fontmode = self.mode
        draw.text((1 - left, 1 - top), character, fill=255, font=self.font, anchor="ls")
        base, bearing, advance = 1 - top, left - 1, self.font.getlength(character)
        if self.zoom:
            way = Image.NEAREST if self.sharp else Image.BILINEAR
            size = [max(1, round(self.zoom * length)) for length in picture.size]
            picture = picture.resize(size, way)
            base, bearing, advance = (self.zoom * length for length in (base, bearing, advance))
        return np.asarray(picture, np.float32) / 255, base, bearing, advance


def write_line(rng, kind, height):
    """Sets a line of characters: its ink, and for every cell the character, the left edge and the centre of the ink."""
    sets = {character: kind.ink(character) for character in DIGITS}
    if any(one is None for one in sets.values()):
        return None
    widest = max(one[3] for one in sets.values())
    fixed = rng.random() < 0.7
    pitch = np.clip(widest * rng.uniform(0.95, 1.25), 0.35 * height, 1.35 * height)
    text = [DIGITS[rng.integers(10)] for _ in range(CELLS_A_LINE)]
    if rng.random() < 0.35 and kind.means != "segments":
        for place in rng.integers(0, CELLS_A_LINE, 2):
            text[place] = OTHERS[rng.integers(len(OTHERS))] if rng.random() < 0.6 else ".:- "[rng.integers(4)]
    ink = np.zeros((round(height) + 2 * ROOM_PX, round((CELLS_A_LINE + 1) * 1.5 * pitch) + 2 * ROOM_PX), np.float32)
    pen, cells = float(ROOM_PX + rng.random()), []
    for character in text:
        one = sets.get(character) or kind.ink(character)
        if one is None:
            pen += pitch * 0.6
            continue
        glyph, base, bearing, advance = one
        centred = (pitch - advance) / 2 if fixed else 0.0
        left, top = round(pen + centred + bearing), round(ROOM_PX + height - base)
        rows, cols = glyph.shape
        if top < 0 or top + rows > ink.shape[0] or left < 0 or left + cols > ink.shape[1] - ROOM_PX:
            return None
        place = ink[top:top + rows, left:left + cols]
        np.maximum(place, glyph, out=place)
        inked = np.flatnonzero(glyph.max(0) > 0.3)
        middle = left + (inked[0] + inked[-1] + 1) / 2 if inked.size else pen + pitch / 2
        cells.append((character, pen, middle))
        pen += pitch if fixed else advance + max(0.0, 0.06 * height)
    return ink[:, :round(pen) + 2 * ROOM_PX], cells, pitch


def shifted(mask, down, right):
    return np.pad(mask, ((down, 0), (right, 0)))[:mask.shape[0], :mask.shape[1]]


def compose(rng, ink, height, behind, style):
    """Draws the ink over the background."""
    mean = behind[ROOM_PX:-ROOM_PX].mean()
    draw = rng.random()
    fill = rng.uniform(215, 255) if draw < 0.6 else rng.uniform(0, 45) if draw < 0.8 else rng.uniform(0, 255)
    counter = rng.uniform(0, 50) if fill > 128 else rng.uniform(205, 255)
    if rng.random() < 0.1:
        counter = rng.uniform(0, 255)
    if style in ("filled", "hollow") and abs(fill - mean) < 30:
        fill = (mean + rng.uniform(40, 200)) % 256
    opacity = rng.choice([1.0, rng.uniform(0.6, 1.0)])
    levels = behind
    over = lambda levels, mask, level: levels + mask * opacity * (level - levels)
    stroke = max(1.0, height * rng.uniform(0.03, 0.1)) if rng.random() < 0.7 else rng.uniform(1, 2)
    if style == "box":
        levels = levels + rng.uniform(0.25, 0.9) * (counter - levels)
        if abs(fill - levels.mean()) < 30:
            fill = (levels.mean() + 128) % 256
    if style == "shadow":
        down, right = rng.integers(0, 2 + round(0.06 * height), 2)
        dark = shifted(ink, max(1, down), right)
        soft = rng.choice([0.0, rng.uniform(0.3, 0.05 * height + 0.4)])
        levels = over(levels, gaussian_filter(dark, soft) if soft else dark, counter)
    if style in ("outline", "hollow"):
        away = distance_transform_edt(ink < 0.5)
        ring = np.maximum(np.clip(stroke + 0.5 - away, 0, 1), ink)
        if style == "outline":
            levels = over(levels, ring, counter)
        else:
            inward = rng.random() < 0.4
            hole = np.clip(distance_transform_edt(ink >= 0.5) - 0.6 * stroke, 0, 1) if inward else ink
            if rng.random() < 0.3:
                outer = np.maximum(np.clip(stroke + 1.5 - away, 0, 1), ink)
                levels = over(levels, outer * (1 - hole), counter)
            return over(levels, (ring if not inward else ink) * (1 - hole), fill)
    return over(levels, ink, fill)


def degrade(rng, levels, height):
    """Adds the blur, noise and compression of a recording."""
    if rng.random() < 0.75:
        levels = gaussian_filter(levels, rng.uniform(0.2, 0.3 + 0.035 * height, 2))
    if rng.random() < 0.7:
        levels = levels + rng.standard_normal(levels.shape) * rng.gamma(1.5, 2.5)
    levels = np.clip(np.round(levels), 0, 255).astype(np.uint8)
    if rng.random() < 0.6:
        file = io.BytesIO()
        Image.fromarray(levels).save(file, "JPEG", quality=int(rng.integers(25, 96)))
        levels = np.asarray(Image.open(file))
    return levels.astype(np.float32)


def warp(rng, levels):
    """Shears and stretches a line slightly about its middle row."""
    lean, stretch = rng.normal(0, 0.06), rng.uniform(0.9, 1.1)
    y, x = np.mgrid[:levels.shape[0], :levels.shape[1]].astype(np.float32)
    source = x + (y - levels.shape[0] / 2) * lean
    middle = levels.shape[0] / 2
    return map_coordinates(levels, [middle + (y - middle) * stretch, source], order=1, mode="nearest")


def line(rng, faces, pool):
    """Cells of one line: grids, labels (10: not a digit) and properties of the line."""
    groups, names, weights = faces
    group = names[rng.choice(len(names), p=weights)]
    path = groups[group][rng.integers(len(groups[group]))]
    height = int(round(np.exp(rng.uniform(np.log(8), np.log(110)))))
    means = MEANS[rng.choice(3, p=[0.76, 0.17, 0.07])]
    if group == "fonts-dseg":
        means = "outlines"
    written = write_line(rng, Type(rng, path, height, means), height)
    if written is None:
        return []
    ink, cells, pitch = written
    if means == "segments" or group == "fonts-dseg":
        means, group = "segments", group if group == "fonts-dseg" else "drawn"
    if rng.random() < 0.5:
        ink = warp(rng, ink)
    style = STYLES[rng.choice(5, p=STYLE_SHARES)]
    behind, horizon = background(rng, ink.shape, height, pool)
    empty = rng.random() < 0.05
    levels = behind if empty else compose(rng, ink, height, behind, style)
    levels = degrade(rng, levels, height)
    factor = max(1, int(np.ceil(height / WORKING_HEIGHT_PX)))
    down, across = (length // factor for length in levels.shape)
    levels = levels[:down * factor, :across * factor].reshape(down, factor, across, factor).mean((1, 3))
    size = height / factor * (rng.uniform(0.9, 1.1) if rng.random() < 0.4 else 1.0)
    rows, cols = round(size) + 2, max(3, round(pitch / factor * rng.uniform(0.93, 1.07)))
    features = high_pass(levels, rng.uniform(0.5, 0.7) * rows if rng.random() < 0.8 else rng.uniform(0.7, 1.2) * cols)
    by_ink = rng.random() < 0.3
    out = []
    for character, pen, middle in cells:
        label = 10 if empty else DIGITS.find(character) if character in DIGITS else 10
        left = (middle / factor - cols / 2) if by_ink else pen / factor
        if label < 10 and rng.random() < 0.03:
            # A cell between two characters.
            left, label = left + cols * rng.choice([-0.5, 0.5]), 10
        left += np.clip(rng.normal(0, 0.7), -1.5, 1.5)
        top = (ROOM_PX + height / 2) / factor - rows / 2 + np.clip(rng.normal(0, 0.6), -1.5, 1.5)
        left, top = int(round(left)), int(round(top))
        if left < 0 or top < 0 or top + rows > features.shape[0] or left + cols > features.shape[1]:
            continue
        grid = grid_of(features[top:top + rows, left:left + cols])
        out.append((grid, label, STYLES.index(style), MEANS.index(means), horizon, height, zlib.crc32(group.encode())))
    return out


def main(folder, split, lines, seed):
    rng = np.random.default_rng([seed, len(split)])
    faces, pool = load_faces(folder, split), textures(rng)
    cells = []
    for _ in range(lines):
        try:
            cells += line(rng, faces, pool)
        except (OSError, ValueError, ZeroDivisionError) as error:
            print("left out:", error)
    grids, labels, *about = zip(*cells)
    np.savez(folder / f"{split}-{seed}.npz", grids=np.array(grids, np.float16), labels=np.array(labels, np.int8),
             about=np.array(about, np.int64).T)
    print(split, seed, len(labels), "cells", GRID)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
