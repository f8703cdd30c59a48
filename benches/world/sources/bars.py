"""PostScript drawn by Ghostscript: slanted seven-segment digits 110 pixels high whose unlit segments are faintly visible."""
from common import PHOTOS, flight, make, mjpeg, photo
from sheets import ghostscript

LIT = {"0": "abcdef", "1": "bc", "2": "abged", "3": "abgcd", "4": "fgbc", "5": "afgcd", "6": "afgedc", "7": "abc",
       "8": "abcdefg", "9": "abcdfg"}
# From the lower left of a digit 52 wide and 104 high: bars a to g lie along these lines.
BARS = {"a": "6 104 46 104", "b": "52 98 52 58", "c": "52 46 52 6", "d": "6 0 46 0", "e": "0 46 0 6", "f": "0 98 0 58",
        "g": "6 52 46 52"}
W, H, ADVANCE = 320, 150, 78
PROLOGUE = "/bar { moveto lineto stroke } def 1 setlinecap\n"


def width(text):
    return sum(28 if c == "." else ADVANCE for c in text)


def page(channel, text, w, h, alignment):
    out = [f"gsave 0 {H - h} translate"]
    if channel == "label":
        out.append("/Helvetica-Bold findfont 28 scalefont setfont 0.5 1 0.5 setrgbcolor")
        out.append(f"8 {h / 2 - 10} moveto ({text}) show")
    else:
        left = {"left": 12, "right": w - width(text) - 4}[alignment]
        out.append(f"{left + 8} {(h - 104) / 2} translate [1 0 0.12 1 0 0] concat")
        for c in text:
            if c == ".":
                out.append("0.4 1 0.4 setrgbcolor 12 setlinewidth -8 0 -8 0 bar 28 0 translate")
                continue
            for lit, colour in ((False, "0.10 0.22 0.10"), (True, "0.4 1 0.4")):
                out += [f"{colour} setrgbcolor 9 setlinewidth {BARS[b]} bar" for b in "abcdefg" if (b in LIT[c]) == lit]
            out.append(f"{ADVANCE} 0 translate")
    return "\n".join(out) + "\ngrestore showpage\n"


def draw(items):
    pages = ghostscript("%!PS\n" + "".join(PROLOGUE + page(*item) for item in items), W, H)
    return [picture[:h, :w] for picture, (_, _, w, h, _) in zip(pages, items)]


make(
    "bars", "avi", (1280, 720), 30, flight(24, 30, top=84, wind=6, full=12.6, ground=0),
    readouts={
        "speed": (60, 540, 270, 140, "right"),
        "voltage": (920, 540, 300, 140, "right"),
        "altitude": (60, 40, 280, 140, "right"),
        "throttle": (930, 40, 290, 140, "right"),
    },
    labels=[("MPH", 330, 640, 90, 40, "left"), ("V", 1220, 640, 40, 40, "left"), ("FT", 340, 140, 60, 40, "left")],
    shades=[(50, 535, 380, 150, 0.75), (910, 535, 350, 150, 0.75), (50, 35, 380, 150, 0.75), (920, 35, 340, 150, 0.75)],
    draw=draw, background=photo(PHOTOS / "Storm.jpg", 1280, 720), encode=mjpeg(6),
)
