"""ImageMagick: a sans serif face with a black stroke, interlaced, over a photograph."""
import subprocess

from common import FONTS, PHOTOS, decode, flight, h264, make, photo

FONT = FONTS / "truetype/liberation/LiberationSans-Bold.ttf"
GRAVITY = {"left": "West", "centre": "Center", "right": "East"}


def draw(items):
    pictures = []
    for channel, text, w, h, alignment in items:
        size, shift = (22 if channel == "label" else 40), (0 if alignment == "centre" else 8)
        annotate = ["-annotate", f"+{shift}+0", text]
        command = ["convert", "-size", f"{w}x{h}", "xc:none", "-font", str(FONT), "-pointsize", str(size)]
        command += ["-gravity", GRAVITY[alignment], "-fill", "white"]
        command += ["-stroke", "black", "-strokewidth", "5", *annotate, "-stroke", "none", *annotate, "PNG32:-"]
        pictures.append(decode(subprocess.run(command, check=True, capture_output=True).stdout))
    return pictures


make(
    "magick", "mp4", (720, 576), 25, flight(11, 50, top=88, wind=7),
    readouts={
        "speed": (40, 470, 100, 60, "right"),
        "voltage": (550, 470, 110, 60, "right"),
        "altitude": (40, 40, 100, 60, "right"),
        "satellites": (580, 40, 80, 60, "right"),
        "throttle": (300, 470, 100, 60, "right"),
    },
    labels=[("mph", 140, 478, 60, 50, "left"), ("V", 660, 478, 40, 50, "left"), ("ft", 140, 48, 50, 50, "left"),
            ("%", 400, 478, 50, 50, "left")],
    draw=draw, background=photo(PHOTOS / "Dune.jpg", 720, 576),
    encode=h264("-crf", 23, "-flags", "+ilme+ildct", "-x264-params", "tff=1"), interlaced=True,
)
