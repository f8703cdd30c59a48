"""The clips of the speed benchmark: short clips made by the generator and looped without re-encoding."""

import subprocess
from pathlib import Path

# name: width, height, frames per second, codec, container, quality, rows of the five values
CLIPS = {
    "mjpeg-upper": (640, 480, 30, "mjpeg", "avi", 6, (26, 110, 194)),
    "mjpeg-lowest": (640, 480, 30, "mjpeg", "avi", 6, (370, 405, 440)),
    "h264-576": (720, 576, 25, "h264", "mp4", 23, (30, 270, 510)),
    "h264-720p60": (1280, 720, 60, "h264", "mp4", 24, (36, 330, 640)),
}
FRAMES = 5000
ONCE_S = 24.0

SCENARIO = """
name = "{name}"
seed = 31
[airframe]
airspeed_mps = [[0, 12.0], [50, 21.5], [70, 28.6], [100, 37.0]]
[flight]
throttle_percent = [70, 100]
leg_s = 5.2
turn_s = 2.4
course_deg = 250
field_elevation_m = 1283
before_launch_s = 0
climb_s = 0
landing_s = 0
after_landing_s = 0
throttle_tremble_percent = 1.0
[wind]
speed_mps = 4.0
[overlay]
update_hz = 5
{fields}
[scenery]
cloud = 0.3
texture = 0.6
[degradation]
noise = 3.0
blur_px = 0.6
line_shift_px = 0.25
camera_blur_px = 1.2
[video]
width = {width}
height = {height}
frame_rate = {rate}
codec = "{codec}"
container = "{container}"
quality = {quality}
keyframe_frames = 250
length_s = {once_s}
"""

FIELD = """
[[overlay.field]]
channel = "{channel}"
position = [{x}, {y}]
width = {places}
{more}
font = "block"
height_px = 29
"""


def fields(width, rows):
    """The five values: one in the first row, two in the second and two in the third."""
    top, middle, bottom = rows
    right = width - 128
    values = [
        ("satellites", 66, top, 2, ""),
        ("speed", 66, middle, 3, 'unit = "km/h"'),
        ("altitude", right, middle, 4, 'unit = "m"'),
        ("voltage", 66, bottom, 4, "decimals = 1"),
        ("throttle", right, bottom, 3, ""),
    ]
    return "".join(FIELD.format(channel=c, x=x, y=y, places=p, more=m) for c, x, y, p, m in values)


def scenario(name):
    width, height, rate, codec, container, quality, rows = CLIPS[name]
    once_s = min(ONCE_S, FRAMES / rate / 2)
    return SCENARIO.format(fields=fields(width, rows), **locals())


def make_once(name, folder, generator):
    """The short clip and its camera setup; existing ones are kept."""
    container = CLIPS[name][4]
    clip, setup = folder / f"{name}.{container}", folder / f"{name}.setup.toml"
    if not (clip.exists() and setup.exists()):
        path = folder / f"{name}.scenario.toml"
        path.write_text(scenario(name))
        subprocess.run([generator, "clip", path, "--out", folder], check=True, stdout=subprocess.DEVNULL)
    return clip, setup


def looped(clip: Path, length_s, name):
    """Repeats `clip` for `length_s` seconds."""
    target = clip.with_name(f"{clip.stem}-{name}{clip.suffix}")
    if not target.exists():
        command = ["ffmpeg", "-v", "error", "-y", "-stream_loop", "-1", "-i", clip, "-t", str(length_s)]
        subprocess.run([*command, "-c", "copy", target], check=True)
    return target
