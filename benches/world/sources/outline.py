"""Cairo: a very heavy face as outlines that the scenery shows through, small marks beside it, over film."""
import math

import cairo

from common import flight, film, h264, make, straight


def mark(context, text, h):
    """Invented icons: a battery, a mountain, a dial."""
    context.translate(6, h / 2 - 14)
    if text == "battery":
        context.rectangle(2, 6, 24, 16)
        context.rectangle(26, 11, 4, 6)
    elif text == "mountain":
        for x, y in ((2, 24), (12, 4), (18, 15), (22, 9), (31, 24)):
            context.line_to(x, y)
        context.close_path()
    else:
        context.arc(16, 16, 12, math.pi, 0)
        context.move_to(16, 16)
        context.line_to(23, 8)


def draw(items):
    pictures = []
    for channel, text, w, h, alignment in items:
        surface = cairo.ImageSurface(cairo.FORMAT_ARGB32, w, h)
        context = cairo.Context(surface)
        context.set_line_join(cairo.LINE_JOIN_ROUND)
        if channel == "label" and text != "km/h":
            mark(context, text, h)
            context.set_source_rgba(1, 1, 1, 0.9)
            context.set_line_width(3)
            context.stroke()
        else:
            context.select_font_face("Lato Black")
            context.set_font_size(20 if channel == "label" else 52)
            wide = context.text_extents(text).x_advance
            left = {"left": 8, "centre": (w - wide) / 2, "right": w - 8 - wide}[alignment]
            context.move_to(left, h / 2 + (7 if channel == "label" else 18))
            context.text_path(text)
            context.set_source_rgba(0, 0, 0, 0.7)
            context.set_line_width(6)
            context.stroke_preserve()
            context.set_source_rgba(1, 1, 1, 0.45)
            context.fill_preserve()
            context.set_source_rgba(1, 1, 1, 1)
            context.set_line_width(2)
            context.stroke()
        surface.flush()
        pictures.append(straight(surface, w, h))
    return pictures


make(
    "outline", "mp4", (1280, 720), 50, flight(21, 50, top=124, wind=11, throttles=(70, 100), update=10, ground=160),
    readouts={
        "speed": (570, 610, 140, 80, "centre"),
        "voltage": (110, 610, 150, 80, "left"),
        "altitude": (110, 40, 140, 80, "left"),
        "throttle": (1050, 610, 130, 80, "right"),
    },
    labels=[("battery", 66, 620, 40, 60, "left"), ("mountain", 66, 50, 40, 60, "left"),
            ("dial", 1180, 620, 40, 60, "left"), ("km/h", 605, 680, 70, 30, "centre")],
    kind={"speed": ["km/h", 3, 0, 0, 250, 60], "altitude": ["m", 4, 0, -200, 3000, 120]},
    draw=draw, background=film("bikes.mp4", 1280, 720), encode=h264("-crf", 25),
)
