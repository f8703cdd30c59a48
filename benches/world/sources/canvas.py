"""An HTML canvas in Chromium: a condensed face with a soft shadow at 1080p; the horizon runs through two readouts."""
import base64
import json
import math
import os
import pathlib
import re
import subprocess
import tempfile

import cv2

from common import PHOTOS, decode, flight, h264, make, photo

PAGE = """<!doctype html><body><script>
const items = ITEMS, canvas = document.createElement("canvas"), g = canvas.getContext("2d");
canvas.width = WIDTH; canvas.height = HEIGHT;
g.textBaseline = "middle"; g.fillStyle = "#f4fff0"; g.strokeStyle = "rgba(0, 0, 0, 0.55)"; g.lineJoin = "round";
g.shadowColor = "rgba(0, 0, 0, 0.6)"; g.lineWidth = 5;
for (const [size, text, x, y, w, h, align] of items) {
  g.font = `700 ${size}px "Roboto Condensed"`;
  g.textAlign = align === "centre" ? "center" : align;
  const at = align === "left" ? x + 12 : align === "right" ? x + w - 12 : x + w / 2;
  g.shadowBlur = 6; g.shadowOffsetX = 2; g.shadowOffsetY = 3;
  g.strokeText(text, at, y + h / 2);
  g.shadowColor = "transparent"; g.fillText(text, at, y + h / 2); g.shadowColor = "rgba(0, 0, 0, 0.6)";
}
document.body.textContent = canvas.toDataURL("image/png");
</script></body>"""
COLUMNS, WIDTH, HEIGHT = 8, 260, 130


def draw(items):
    cells = [(c, t, i % COLUMNS * WIDTH, i // COLUMNS * HEIGHT, w, h, a) for i, (c, t, w, h, a) in enumerate(items)]
    sized = [(40 if c == "label" else 84, *rest) for c, *rest in cells]
    page = PAGE.replace("ITEMS", json.dumps(sized)).replace("WIDTH", str(COLUMNS * WIDTH))
    page = page.replace("HEIGHT", str((len(items) // COLUMNS + 1) * HEIGHT))
    with tempfile.TemporaryDirectory() as folder:
        file = pathlib.Path(folder) / "page.html"
        file.write_text(page)
        command = ["chromium", "--headless", "--disable-gpu", f"--user-data-dir={folder}/profile", "--dump-dom"]
        if os.geteuid() == 0:
            command.append("--no-sandbox")
        dom = subprocess.run([*command, file.as_uri()], check=True, capture_output=True, text=True).stdout
    sheet = decode(base64.b64decode(re.search(r"data:image/png;base64,([A-Za-z0-9+/=]+)", dom)[1]))
    return [sheet[y:y + h, x:x + w] for _, _, x, y, w, h, _ in cells]


def horizon(picture, i):
    lean, rise = 260 * math.sin(i / 70), 40 * math.sin(i / 41)
    ends = (300, int(540 + rise - lean / 2)), (1620, int(540 + rise + lean / 2))
    cv2.line(picture, *ends, (235, 255, 235), 4, cv2.LINE_AA)


make(
    "canvas", "mp4", (1920, 1080), 30, flight(12, 30, top=118, wind=9, update=10, ground=1240),
    readouts={
        "speed": (420, 480, 180, 120, "right"),
        "altitude": (1320, 480, 220, 120, "left"),
        "voltage": (120, 920, 220, 120, "left"),
        "satellites": (120, 60, 140, 120, "left"),
        "throttle": (1620, 920, 180, 120, "right"),
    },
    labels=[("kts", 600, 490, 90, 100, "left"), ("PWR", 1660, 850, 120, 80, "centre"),
            ("SAT", 250, 70, 110, 100, "left")],
    kind={"speed": ["kt", 3, 0, 0, 250, 60]},
    draw=draw, background=photo(PHOTOS / "GreenMeadow.jpg", 1920, 1080), encode=h264("-crf", 24), horizon=horizon,
)
