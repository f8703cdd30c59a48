"""Functions that the sources share: a flight to show, moving backgrounds, composition of the drawn texts, the truth.

A source gives the positions of its readouts and a function that draws all texts with its own program.
"""
import json
import math
import os
import pathlib
import random
import subprocess

import cv2
import numpy as np

OUT = pathlib.Path(os.environ.get("WORLD_CLIPS", pathlib.Path.home() / "world-clips"))
ASSETS = OUT / "assets"
PHOTOS = pathlib.Path("/usr/share/backgrounds/mate/nature")
FONTS = pathlib.Path("/usr/share/fonts")

# Unit, digits, decimals, minimum, maximum, largest change per second.
KIND = {
    "speed": ["mph", 3, 0, 0, 250, 40],
    "voltage": ["V", 3, 1, 9, 26, 5],
    "altitude": ["ft", 4, 0, -200, 9000, 120],
    "satellites": ["", 2, 0, 0, 40, 2],
    "throttle": ["%", 3, 0, 0, 100, 200],
}


def mjpeg(quality):
    return ["-c:v", "mjpeg", "-q:v", str(quality), "-pix_fmt", "yuvj420p"]


def h264(*options):
    return ["-c:v", "libx264", "-preset", "veryfast", "-pix_fmt", "yuv420p", *map(str, options)]


def flight(seed, rate, top, wind, throttles=(60, 80, 100), update=5, full=16.8, ground=0):
    """An invented flight with an upwind and a downwind leg at every throttle.

    Returns the numbers shown in every frame (or field) at `rate` a second, updated `update` times a second,
    and the airspeed of every throttle step.
    """
    rng = random.Random(seed)
    plan = [(4, throttles[0], 1)]
    for throttle in throttles:
        plan += [(8, throttle, 1), (4, throttle, 0), (8, throttle, -1), (4, throttle, 0)]
    total = sum(seconds for seconds, _, _ in plan)
    air, throttle, height, noise, heading, leg = 12.0, 0.0, 95.0, 0.0, 1.0, 1
    shown = []
    for seconds, wanted, side in plan:
        leg = side or leg
        for step in range(seconds * update):
            part = len(shown) / (total * update)
            throttle += max(-25 / update, min(25 / update, wanted - throttle))
            air += (top * (throttle / 100) ** 0.6 * (1 if side else 0.95) - air) / (1.5 * update)
            heading = side or heading - leg * 2 / (4 * update)
            noise = 0.6 * noise + 0.5 * rng.gauss(0, 1)
            height += (95 + 45 * math.sin(part * 31) - height) / (2 * update) + rng.gauss(0, 0.6)
            shown.append({
                "speed": max(0, air - wind * heading + noise),
                "voltage": full * (1 - 0.13 * part - 0.07 * (throttle / 100) ** 2) + rng.gauss(0, 0.03),
                "altitude": ground + height,
                "satellites": 8 + round(9 * abs(math.sin(part * 5))),
                "throttle": throttle,
            })
    steps = [{"throttle": t / 100, "tas": top * (t / 100) ** 0.6} for t in throttles]
    return [shown[int(i / rate * update + 1e-6)] for i in range(int(total * rate))], steps


def photo(path, w, h, seed=0, zoom=1.6):
    """A photograph with slow pan, roll and zoom."""
    picture = cv2.imread(str(path))
    scale = zoom * max(w / picture.shape[1], h / picture.shape[0])
    size = picture.shape[1], picture.shape[0]
    i = seed * 1000
    while True:
        s = scale * (1 + 0.12 * math.sin(i / 170))
        turn = cv2.getRotationMatrix2D((size[0] / 2, size[1] / 2), 7 * math.sin(i / 90), s)
        turn[0, 2] += (w - size[0]) / 2 + 0.2 * w * math.sin(i / 130)
        turn[1, 2] += (h - size[1]) / 2 + 0.2 * h * math.sin(i / 75)
        yield cv2.warpAffine(picture, turn, (w, h), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
        i += 1


def film(name, w, h):
    """A film of `assets`, looped."""
    while True:
        reader = cv2.VideoCapture(str(ASSETS / name))
        good, picture = reader.read()
        while good:
            yield cv2.resize(picture, (w, h), interpolation=cv2.INTER_AREA)
            good, picture = reader.read()


def synthetic(graph, w, h):
    """Frames drawn by a source filter of ffmpeg."""
    command = ["ffmpeg", "-v", "error", "-f", "lavfi", "-i", graph, "-vf", f"scale={w}:{h}"]
    reader = subprocess.Popen([*command, "-f", "rawvideo", "-pix_fmt", "bgr24", "-"], stdout=subprocess.PIPE)
    try:
        while len(data := reader.stdout.read(w * h * 3)) == w * h * 3:
            yield np.frombuffer(data, np.uint8).reshape(h, w, 3).copy()
    finally:
        reader.kill()
        reader.wait()


def decode(png):
    picture = cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_UNCHANGED)
    assert picture.ndim == 3 and picture.shape[2] == 4, "a picture without alpha"
    return picture


def straight(surface, w, h):
    """BGRA with straight alpha of a Cairo surface, whose colours are premultiplied."""
    data = np.ndarray((h, w, 4), np.uint8, surface.get_data(), strides=(surface.get_stride(), 4, 1)).astype(np.float32)
    data[..., :3] *= 255 / np.maximum(data[..., 3:], 1)
    return np.clip(data + 0.5, 0, 255).astype(np.uint8)


def blend(picture, x, y, drawn):
    """Blends a drawn image (BGR and alpha) over another one."""
    h, w = drawn.shape[:2]
    under = picture[y:y + h, x:x + w]
    alpha = drawn[..., 3:].astype(np.uint16)
    under[:] = (under * (255 - alpha) + drawn[..., :3] * alpha + 127) // 255


def write_truth(name, clip, w, h, fps, regions, kinds, steps, texts, legible=None):
    """Writes NAME.truth.csv, the text of every frame, and NAME.truth.json, the boxes, channels and true airspeeds."""
    if "FRAMES" not in os.environ:
        for channel in regions:
            lacking = set("0123456789") - set("".join(row[channel] for row in texts))
            assert not lacking, f"{name}: {channel} never shows {sorted(lacking)}"
    with open(OUT / f"{name}.truth.csv", "w") as table:
        table.write("frame,time_s,legible," + ",".join(regions) + "\n")
        for i, row in enumerate(texts):
            sure = int(legible[i] if legible else True)
            table.write(f"{i},{i / fps:.4f},{sure}," + ",".join(row[c] for c in regions) + "\n")
    truth = {"clip": clip, "width": w, "height": h, "frames": len(texts), "fps": fps, "regions": regions,
             "steps": steps if "throttle" in regions else [], "kind": {c: kinds[c] for c in regions}}
    (OUT / f"{name}.truth.json").write_text(json.dumps(truth, indent=1) + "\n")


def texts_of(shown, channels, kinds):
    return [{c: f"{row[c]:.{kinds[c][2]}f}" for c in channels} for row in shown]


def limit(frames):
    return min(frames, int(os.environ.get("FRAMES", frames)))


def make(name, extension, size, fps, flown, readouts, draw, background, encode, kind=None, labels=(), shades=(),
         horizon=None, noise=0, interlaced=False):
    """Makes one clip and its truth.

    readouts: channel -> (x, y, w, h, alignment), the canvas its texts are drawn on.
    labels:   (text, x, y, w, h, alignment), units and marks that do not change.
    shades:   (x, y, w, h, opacity), dark boxes beneath.
    horizon:  draws a line across the picture at each frame: function of (picture, index).
    draw:     list of (channel or "label", text, w, h, alignment) -> list of BGRA pictures of w x h.
    """
    w, h = size
    kinds = {**KIND, **(kind or {})}
    shown, steps = flown
    texts = texts_of(shown, readouts, kinds)
    fields = 2 if interlaced else 1
    frames = limit(len(texts) // fields)
    texts = texts[:frames * fields]
    wanted = sorted({(c, row[c]) for row in texts for c in readouts})
    items = [(c, text, *readouts[c][2:]) for c, text in wanted]
    items += [("label", text, *place) for text, _, _, *place in labels]
    drawn = draw(items)
    for (channel, text, iw, ih, _), picture in zip(items, drawn, strict=True):
        assert picture.shape == (ih, iw, 4), f"{name}: {channel} {text} is {picture.shape}"
    sprites = dict(zip(wanted, drawn))

    regions = {}
    for channel, (x, y, cw, ch, _) in readouts.items():
        ink = np.max([p[..., 3] for (c, _), p in sprites.items() if c == channel], axis=0) > 60
        columns, rows = np.flatnonzero(ink.any(0)), np.flatnonzero(ink.any(1))
        left, right, top, bottom = columns[0], columns[-1], rows[0], rows[-1]
        assert left > 0 and top > 0 and right < cw - 1 and bottom < ch - 1, f"{name}: {channel} leaves its canvas"
        regions[channel] = [int(v) for v in (x + left - 2, y + top - 2, right - left + 5, bottom - top + 5)]

    rng = np.random.default_rng(1)
    grain = [cv2.GaussianBlur(rng.normal(0, noise * 1.5, (h, w, 3)).astype(np.float32), (0, 0), 0.6)
             for _ in range(7 if noise else 0)]

    def compose(i):
        picture = next(background)
        for x, y, sw, sh, opacity in shades:
            part = picture[y:y + sh, x:x + sw]
            part[:] = (part * (1 - opacity)).astype(np.uint8)
        if horizon:
            horizon(picture, i)
        for (_, x, y, *_), label in zip(labels, drawn[len(wanted):]):
            blend(picture, x, y, label)
        for channel, (x, y, *_) in readouts.items():
            blend(picture, x, y, sprites[channel, texts[i][channel]])
        if noise:
            shift = int(rng.integers(w))
            rough = np.roll(grain[i % 7], shift, 1)
            picture = np.clip(picture + rough, 0, 255).astype(np.uint8)
        return picture

    clip = f"{name}.{extension}"
    command = ["ffmpeg", "-y", "-v", "error", "-f", "rawvideo", "-pix_fmt", "bgr24", "-s", f"{w}x{h}", "-r", str(fps)]
    writer = subprocess.Popen([*command, "-i", "-", *encode, str(OUT / clip)], stdin=subprocess.PIPE)
    for frame in range(frames):
        picture = compose(frame * fields)
        if interlaced:
            picture[1::2] = compose(frame * 2 + 1)[1::2]
        writer.stdin.write(picture.tobytes())
    writer.stdin.close()
    assert writer.wait() == 0, f"{name}: ffmpeg failed"
    legible = [texts[2 * i] == texts[2 * i + 1] for i in range(frames)] if interlaced else None
    write_truth(name, clip, w, h, fps, regions, kinds, steps, texts[::fields], legible)
    print(f"{name}: {frames} frames, {(OUT / clip).stat().st_size // 1024} KiB")
