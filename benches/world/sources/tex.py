"""TeX and dvipng: Computer Modern in yellow on lightly shaded boxes, over a moving fractal."""
import pathlib
import subprocess
import tempfile

from common import decode, flight, h264, make, synthetic

WIDTH, HEIGHT, DPI = 200, 90, 300
FILL = {"left": (r"\hskip8px", r"\hfil"), "centre": (r"\hfil", r"\hfil"), "right": (r"\hfil", r"\hskip8px")}


def page(channel, text, w, h, alignment):
    before, after = (part.replace("8px", f"{8 / DPI:.4f}in") for part in FILL[alignment])
    face = r"\small" if channel == "label" else r"\big"
    line = rf"\hbox to {w / DPI:.4f}in{{{before}{face} {text}{after}}}"
    return rf"\shipout\vbox to {h / DPI:.4f}in{{\vss{line}\vss}}"


def draw(items):
    pages = "\n".join(page(*item) for item in items)
    with tempfile.TemporaryDirectory() as folder:
        file = pathlib.Path(folder) / "sheet.tex"
        file.write_text(f"\\font\\big=cmbx10 at 15pt\n\\font\\small=cmsl10 at 8pt\n{pages}\n\\end\n")
        quiet = {"check": True, "cwd": folder, "stdout": subprocess.DEVNULL}
        subprocess.run(["tex", "-interaction=batchmode", file.name], **quiet)
        size = ["-D", str(DPI), "-T", f"{WIDTH / DPI}in,{HEIGHT / DPI}in"]
        look = ["--truecolor", "-bg", "Transparent", "-fg", "rgb 1.0 0.93 0.35"]
        subprocess.run(["dvipng", "-q", *size, *look, "-o", "%d.png", "sheet.dvi"], **quiet)
        pictures = [decode((file.parent / f"{i + 1}.png").read_bytes()) for i in range(len(items))]
    return [picture[:h, :w] for picture, (_, _, w, h, _) in zip(pictures, items)]


make(
    "tex", "mp4", (800, 600), 25, flight(13, 25, top=71, wind=5),
    readouts={
        "speed": (40, 30, 130, 80, "right"),
        "voltage": (330, 30, 140, 80, "centre"),
        "altitude": (620, 30, 130, 80, "right"),
        "satellites": (40, 490, 110, 80, "left"),
        "throttle": (620, 490, 130, 80, "right"),
    },
    labels=[("mi/h", 164, 40, 96, 70, "left"), ("volts", 365, 95, 80, 40, "centre"), (r"\%", 750, 500, 40, 70, "left")],
    shades=[(40, 40, 222, 60, 0.45), (325, 40, 150, 90, 0.45), (620, 40, 140, 60, 0.45), (40, 500, 110, 60, 0.45),
            (620, 500, 170, 60, 0.45)],
    draw=draw, background=synthetic("mandelbrot=s=400x300:r=25:end_pts=1500", 800, 600), encode=h264("-crf", 26),
)
