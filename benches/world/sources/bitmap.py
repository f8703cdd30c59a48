"""Pillow: a bitmap face without smoothing, doubled by nearest neighbours, in a small and coarse MJPEG."""
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from common import ASSETS, FONTS, flight, make, mjpeg, photo

FACE = FONTS / "opentype/terminus/terminus-bold.otb"


def draw(items):
    face = ImageFont.truetype(str(FACE), 14)
    pictures = []
    for channel, text, w, h, alignment in items:
        scale = 1 if channel == "label" else 2
        small = Image.new("1", (w // scale, h // scale))
        pen = ImageDraw.Draw(small)
        pen.fontmode = "1"
        left, top, right, bottom = pen.textbbox((0, 0), text, font=face)
        x = {"left": 3, "right": small.width - 3 - right}[alignment]
        pen.text((x, (small.height - top - bottom) // 2), text, font=face, fill=1)
        white = np.asarray(small.resize((w, h), Image.NEAREST))
        black = np.roll(white, (scale, scale), (0, 1)) & ~white
        picture = np.zeros((h, w, 4), np.uint8)
        picture[black] = (0, 0, 0, 255)
        picture[white] = (255, 255, 255, 255)
        pictures.append(picture)
    return pictures


make(
    "bitmap", "avi", (320, 240), 25, flight(25, 25, top=73, wind=5, ground=1050),
    readouts={
        "speed": (20, 200, 70, 36, "right"),
        "voltage": (210, 200, 80, 36, "right"),
        "altitude": (210, 10, 80, 36, "right"),
        "satellites": (20, 10, 50, 36, "left"),
        "throttle": (110, 200, 66, 36, "right"),
    },
    labels=[("MPH", 90, 208, 30, 20, "left"), ("V", 290, 208, 20, 20, "left"), ("%", 176, 208, 20, 20, "left")],
    draw=draw, background=photo(ASSETS / "flower.jpg", 320, 240), encode=mjpeg(9),
)
