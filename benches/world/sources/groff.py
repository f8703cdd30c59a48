"""groff, drawn by Ghostscript: a book face with a hard shadow, two decimals of voltage, over wood."""
import subprocess

from common import PHOTOS, flight, make, mjpeg, photo
from sheets import ghostscript

PAGE = 792  # height of a page in points (letter, 11 inches); one point is one pixel


def draw(items):
    lines = [".defcolor paper rgb 1.0 0.98 0.9", ".pl 792p", ".po 0", ".nf"]
    for channel, text, w, h, alignment in items:
        size = 26 if channel == "label" else 62
        adjust = {"left": ".rj 0", "centre": ".ce 1", "right": ".rj 1"}[alignment]
        # Digits of this face stand 0.676 of the size above the baseline.
        fall = (h + 0.676 * size) / 2
        shadow = rf"\Z'\h'3p'\v'3p'\m[black]{text}\m[]\v'-3p''"
        lines += [f".ps {size}", f".vs {size}p", f".ll {w - 16}p", ".in 0", f".sp |{fall - size:.1f}p", ".po 8p"]
        lines += [adjust, rf"\f[TB]{shadow}\m[paper]{text}\m[]\fP", ".bp"]
    made = subprocess.run(["groff", "-Tps", "-P-pletter"], input="\n".join(lines) + "\n", check=True,
                          capture_output=True, text=True)
    return [page[:h, :w] for page, (_, _, w, h, _) in zip(ghostscript(made.stdout, 260, PAGE), items)]


make(
    "groff", "avi", (1440, 1080), 25, flight(16, 25, top=79, wind=6, full=25.2, ground=410),
    readouts={
        "speed": (620, 60, 160, 100, "centre"),
        "voltage": (1150, 930, 210, 100, "right"),
        "altitude": (80, 930, 180, 100, "left"),
        "satellites": (80, 60, 120, 100, "left"),
        "throttle": (1200, 60, 160, 100, "right"),
    },
    labels=[("ground speed", 610, 160, 180, 50, "centre"), ("V", 1360, 940, 50, 90, "left")],
    kind={"voltage": ["V", 4, 2, 9, 30, 5]},
    draw=draw, background=photo(PHOTOS / "Wood.jpg", 1440, 1080), encode=mjpeg(7),
)
