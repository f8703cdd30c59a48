"""Pango on Cairo: a heavy face set so tight that its digits touch, on dark boxes over a busy pattern."""
import cairo
import gi

from common import flight, make, mjpeg, straight, synthetic

gi.require_version("Pango", "1.0")
gi.require_version("PangoCairo", "1.0")
from gi.repository import Pango, PangoCairo  # noqa: E402

ALIGN = {"left": Pango.Alignment.LEFT, "centre": Pango.Alignment.CENTER, "right": Pango.Alignment.RIGHT}


def draw(items):
    pictures = []
    for channel, text, w, h, alignment in items:
        surface = cairo.ImageSurface(cairo.FORMAT_ARGB32, w, h)
        context = cairo.Context(surface)
        layout = PangoCairo.create_layout(context)
        size, spacing = (16, 0) if channel == "label" else (46, -4)
        layout.set_font_description(Pango.FontDescription(f"Open Sans ExtraBold {size}px"))
        layout.set_markup(f'<span letter_spacing="{spacing * Pango.SCALE}">{text}</span>', -1)
        layout.set_width((w - 16) * Pango.SCALE)
        layout.set_alignment(ALIGN[alignment])
        top = (h - layout.get_pixel_size()[1]) // 2
        for shift, grey in ((2, 0.0), (0, 1.0)):
            context.set_source_rgb(grey, grey, grey)
            context.move_to(8 + shift, top + shift)
            PangoCairo.show_layout(context, layout)
        surface.flush()
        pictures.append(straight(surface, w, h))
    return pictures


make(
    "pango", "avi", (1280, 960), 25, flight(15, 25, top=132, wind=12, update=10, ground=30),
    readouts={
        "speed": (580, 820, 120, 80, "centre"),
        "voltage": (80, 820, 140, 80, "left"),
        "altitude": (1080, 80, 120, 80, "right"),
        "satellites": (80, 80, 90, 80, "left"),
        "throttle": (1080, 820, 120, 80, "right"),
    },
    labels=[("km/h", 600, 790, 80, 36, "centre"), ("m", 1200, 100, 40, 40, "left")],
    shades=[(570, 785, 140, 115, 0.65), (75, 825, 150, 70, 0.65), (1075, 85, 165, 70, 0.65), (75, 85, 100, 70, 0.65),
            (1075, 825, 130, 70, 0.65)],
    kind={"speed": ["km/h", 3, 0, 0, 250, 60], "altitude": ["m", 4, 0, -200, 3000, 120]},
    draw=draw, encode=mjpeg(6),
    background=synthetic("life=s=320x240:r=25:seed=7:mold=20:ratio=0.15"
                         ":death_color=#30508a:life_color=#c8e0a0:mold_color=#507040",
                         1280, 960),
)
