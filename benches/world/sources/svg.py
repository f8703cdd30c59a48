"""SVG drawn by rsvg-convert: a round face with a blurred shadow from a filter, at 60 frames a second."""
import subprocess

from common import PHOTOS, decode, flight, h264, make, photo

ANCHOR = {"left": "start", "centre": "middle", "right": "end"}
IMAGE = """<svg xmlns="http://www.w3.org/2000/svg" width="{w}" height="{h}">
<filter id="s" filterUnits="userSpaceOnUse" x="0" y="0" width="{w}" height="{h}">
<feGaussianBlur in="SourceAlpha" stdDeviation="1.5"/><feOffset dx="3" dy="3"/>
<feMerge><feMergeNode/><feMergeNode in="SourceGraphic"/></feMerge></filter>
<text x="{x}" y="{y}" font-family="Comfortaa" font-weight="700" font-size="{size}" text-anchor="{anchor}"
 fill="#e8f6ff" filter="url(#s)">{text}</text></svg>"""


def draw(items):
    pictures = []
    for channel, text, w, h, alignment in items:
        size = 24 if channel == "label" else 66
        x = {"left": 10, "centre": w / 2, "right": w - 14}[alignment]
        image = IMAGE.format(w=w, h=h, x=x, y=h / 2 + 0.35 * size, size=size, anchor=ANCHOR[alignment], text=text)
        made = subprocess.run(["rsvg-convert", "-f", "png"], input=image.encode(), check=True, capture_output=True)
        pictures.append(decode(made.stdout))
    return pictures


make(
    "svg", "mp4", (960, 720), 60, flight(23, 60, top=99, wind=8, throttles=(60, 100), update=10, ground=640),
    readouts={
        "speed": (40, 600, 170, 100, "right"),
        "voltage": (720, 600, 200, 100, "left"),
        "altitude": (380, 600, 180, 100, "centre"),
        "satellites": (40, 30, 120, 100, "left"),
        "throttle": (750, 30, 170, 100, "right"),
    },
    labels=[("mph", 205, 610, 70, 80, "left"), ("alt ft", 420, 580, 100, 50, "centre"),
            ("thr", 800, 120, 70, 40, "centre")],
    draw=draw, background=photo(PHOTOS / "Garden.jpg", 960, 720), encode=h264("-crf", 25),
)
