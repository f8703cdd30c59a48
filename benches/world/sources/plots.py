"""Matplotlib: an italic face with a halo and path effects, in orange, over a noisy photograph."""
import matplotlib
import numpy as np
from matplotlib import patheffects
from matplotlib.figure import Figure
from matplotlib.backends.backend_agg import FigureCanvasAgg
from skimage import data

from common import flight, make, mjpeg, photo

matplotlib.rcParams["text.hinting"] = "none"
HALO = [patheffects.SimplePatchShadow(offset=(1.5, -1.5), alpha=0.5),
        patheffects.Stroke(linewidth=3.5, foreground="#301000"), patheffects.Normal()]


def draw(items):
    pictures = []
    for channel, text, w, h, alignment in items:
        figure = Figure(figsize=(w / 72, h / 72), dpi=72)
        canvas = FigureCanvasAgg(figure)
        figure.patch.set_alpha(0)
        x = {"left": 8 / w, "centre": 0.5, "right": 1 - 8 / w}[alignment]
        figure.text(x, 0.5, text, ha={"centre": "center"}.get(alignment, alignment), va="center_baseline",
                    family="DejaVu Sans", style="italic", weight="bold", size=14 if channel == "label" else 27,
                    color="#ffb347", path_effects=HALO)
        canvas.draw()
        rgba = np.asarray(canvas.buffer_rgba())
        pictures.append(np.ascontiguousarray(rgba[..., [2, 1, 0, 3]]))
    return pictures


make(
    "plots", "avi", (640, 480), 30, flight(22, 30, top=66, wind=4, ground=20),
    readouts={
        "speed": (40, 200, 90, 50, "right"),
        "voltage": (500, 200, 100, 50, "left"),
        "altitude": (500, 300, 90, 50, "left"),
        "satellites": (40, 100, 70, 50, "left"),
        "throttle": (40, 300, 90, 50, "right"),
    },
    labels=[("mph", 132, 202, 60, 46, "left"), ("V", 600, 202, 34, 46, "left"), ("%", 132, 302, 40, 46, "left")],
    draw=draw, background=photo(data.__path__[0] + "/coffee.png", 640, 480), encode=mjpeg(5), noise=10,
)
