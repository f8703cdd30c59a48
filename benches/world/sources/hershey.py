"""OpenCV's putText: thick stroked digits that touch each other, noise, 60 frames a second."""
import cv2
import numpy as np

from common import ASSETS, flight, make, mjpeg, photo

FACE = cv2.FONT_HERSHEY_COMPLEX


def draw(items):
    pictures = []
    for channel, text, w, h, alignment in items:
        scale, thick = (0.6, 1) if channel == "label" else (1.15, 3)
        (wide, high), _ = cv2.getTextSize(text, FACE, scale, thick)
        left = {"left": 10, "right": w - 10 - wide}[alignment]
        at = (left, (h + high) // 2)
        white, dark = np.zeros((h, w), np.uint8), np.zeros((h, w), np.uint8)
        cv2.putText(dark, text, at, FACE, scale, 255, thick + 4, cv2.LINE_AA)
        cv2.putText(white, text, at, FACE, scale, 255, thick, cv2.LINE_AA)
        pictures.append(np.dstack([white, white, white, np.maximum(white, dark)]))
    return pictures


make(
    "hershey", "avi", (640, 480), 60, flight(26, 60, top=105, wind=9, throttles=(75, 100), update=10, full=25.2),
    readouts={
        "speed": (270, 40, 100, 60, "right"),
        "voltage": (30, 400, 120, 60, "left"),
        "altitude": (510, 400, 100, 60, "right"),
        "satellites": (30, 40, 80, 60, "left"),
        "throttle": (510, 40, 100, 60, "right"),
    },
    labels=[("mph", 290, 90, 60, 30, "left"), ("V", 150, 410, 30, 50, "left")],
    kind={"altitude": ["m", 4, 0, -200, 3000, 120]},
    draw=draw, background=photo(ASSETS / "china.jpg", 640, 480), encode=mjpeg(6), noise=9,
)
