"""Lists the usable faces: those with ten lining digits, most of which look like the same digits of other faces.

Usage: faces.py FOLDER   (reads FOLDER/faces, writes FOLDER/faces.json)

Every entry has the file, its package, and its family group. Packages with nearly the same digits are in one group, so that
no held-out face has a twin in the training set.
"""

import json
import sys
from pathlib import Path

import numpy as np
from PIL import ImageFont

ENDINGS = {".ttf", ".otf", ".ttc", ".pfb", ".t1", ".otb"}
# Sizes in pixels that are tried. Pixel faces exist at some sizes only; outline faces use the first.
SIZES = [96, 8, 12, 14, 16, 18, 20, 22, 24, 28, 32, 64]
# Maximum difference of the heights of lining digits, as a share of the height; above it they are text figures.
UNEVEN_HEIGHT = 0.12
# Minimum correlation of the digits of two files that hold the same face.
SAME = 0.995
# Minimum correlation of the mean digits of two packages that hold faces of one family.
TWIN = 0.975
# A package of unrelated faces: its files are grouped by the first letters of their names instead.
COLLECTION, NAME_LETTERS = "fonts-aenigma", 5
# Minimum number of digits of a face that are nearer to the mean shape of the right digit than to any other.
LEAST_USUAL = 6
SHAPE = (20, 14)


def resampling(source, target):
    """The matrix, target x source, of linear interpolation; for downsampling the kernel is widened."""
    ratio = source / target
    at = (np.arange(target) + 0.5) * ratio - 0.5
    weight = np.maximum(0, 1 - np.abs(np.arange(source)[None] - at[:, None]) / max(ratio, 1))
    return weight / weight.sum(1, keepdims=True)


def open_face(path):
    for size in SIZES:
        try:
            return ImageFont.truetype(str(path), size, layout_engine=ImageFont.Layout.BASIC), size
        except OSError:
            continue
    return None, 0


def digit_shapes(path):
    """Ten digits cropped to their strokes, at SHAPE, zero mean and unit energy; None for an unusable face."""
    font, size = open_face(path)
    if font is None:
        return None
    missing = font.getmask("\ufffe").getbbox() and bytes(font.getmask("\ufffe"))
    shapes, heights = [], []
    for digit in "0123456789":
        mask = font.getmask(digit, mode="L")
        box = mask.getbbox()
        if box is None or (missing and bytes(mask) == missing):
            return None
        ink = np.asarray(list(mask), np.float32).reshape(mask.size[1], mask.size[0])
        ink = ink[box[1]:box[3], box[0]:box[2]]
        heights.append(ink.shape[0])
        if ink.shape[1] > 2.2 * ink.shape[0]:
            return None
        # Narrow digits such as "1" are not stretched to the full width.
        pad = max(0, round(0.45 * ink.shape[0]) - ink.shape[1])
        ink = np.pad(ink, ((0, 0), (pad // 2, pad - pad // 2)))
        shape = resampling(ink.shape[0], SHAPE[0]) @ ink @ resampling(ink.shape[1], SHAPE[1]).T
        shape = shape - shape.mean()
        energy = np.linalg.norm(shape)
        if energy < 1e-3:
            return None
        shapes.append((shape / energy).ravel())
    if min(heights) < (1 - UNEVEN_HEIGHT) * max(heights) - (1 if size < 40 else 0):
        return None
    shapes = np.array(shapes, np.float32)
    alike = shapes @ shapes.T - np.eye(10)
    return None if alike.max() > 0.995 else shapes


def main(folder):
    found = []
    for path in sorted((folder / "faces").rglob("*")):
        if path.suffix.lower() not in ENDINGS or "SymbolNeu" in path.name:
            continue
        try:
            shapes = digit_shapes(path)
        except (OSError, ValueError, MemoryError):
            continue
        if shapes is not None:
            package = path.relative_to(folder / "faces").parts[0]
            if package == COLLECTION:
                package += "/" + path.stem.lower()[:NAME_LETTERS]
            found.append({"file": str(path.relative_to(folder)), "package": package, "shapes": shapes})
    print(len(found), "faces with lining digits")

    kept = []
    for face in found:
        flat = face["shapes"]
        if not any((flat * other["shapes"]).sum() / 10 > SAME for other in kept):
            kept.append(face)
    print(len(kept), "different ones")

    packages = sorted({face["package"] for face in kept})
    means = {}
    for package in packages:
        means[package] = np.mean([face["shapes"] for face in kept if face["package"] == package], 0)
    usual = []
    for face in kept:
        others = np.mean([mean for package, mean in means.items() if package != face["package"]], 0)
        nearest = (face["shapes"] @ others.T).argmax(1)
        face["usual"] = int((nearest == np.arange(10)).sum())
        if face["usual"] >= LEAST_USUAL:
            usual.append(face)
    print(len(usual), "usual ones")

    group = {package: package for package in packages}

    def root(package):
        while group[package] != package:
            package = group[package]
        return package

    for i, one in enumerate(usual):
        for two in usual[:i]:
            if (one["shapes"] * two["shapes"]).sum() / 10 > TWIN:
                a, b = sorted([root(one["package"]), root(two["package"])])
                group[b] = a
    listing = [
        {"file": face["file"], "package": face["package"], "group": root(face["package"]), "usual": face["usual"]}
        for face in usual
    ]
    (folder / "faces.json").write_text(json.dumps(listing, indent=0))
    sizes = {}
    for face in listing:
        sizes[face["group"]] = sizes.get(face["group"], 0) + 1
    print(len(sizes), "groups:", sorted(sizes.items(), key=lambda item: -item[1]))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
