"""ffmpeg's drawtext: a monospaced face in grey boxes as wide as the text, over a drawn film at a low bitrate."""
import subprocess
import tempfile

import numpy as np

from common import ASSETS, FONTS, KIND, OUT, flight, limit, texts_of, write_truth

FPS, W, H = 30, 640, 480
FONT = FONTS / "truetype/hack/Hack-Bold.ttf"
# Position of each readout, and the left end of the 200 pixels in which it stays.
PLACES = {"speed": ("320-text_w/2", 400, 220), "voltage": ("600-text_w", 400, 440),
          "altitude": ("600-text_w", 60, 440), "satellites": ("40", 60, 0), "throttle": ("40", 400, 0)}


def filters(commands, first, boxed):
    chain = [f"sendcmd=f={commands}"]
    box = "box=1:boxcolor=gray@0.6:boxborderw=8" if boxed else "box=0"
    for channel, (x, y, _) in PLACES.items():
        chain.append(f"drawtext@{channel}=fontfile={FONT}:fontsize=30:fontcolor=white:{box}:x={x}:y={y}"
                     f":text={first[channel]}")
    return ",".join(chain)


def main():
    shown, steps = flight(14, FPS, top=94, wind=8)
    texts = texts_of(shown, PLACES, KIND)[:limit(len(shown))]
    n = len(texts)
    with tempfile.NamedTemporaryFile("w", suffix=".txt") as commands:
        for i in range(1, n):
            for channel in PLACES:
                if texts[i][channel] != texts[i - 1][channel]:
                    commands.write(f"{(i - 0.5) / FPS:.4f} drawtext@{channel} reinit text={texts[i][channel]};\n")
        commands.flush()

        # The positions of the digits are measured on black, without boxes.
        black = ["ffmpeg", "-v", "error", "-f", "lavfi", "-i", f"color=black:s={W}x{H}:r={FPS}", "-frames:v", str(n)]
        plain = subprocess.Popen([*black, "-vf", filters(commands.name, texts[0], False), "-f", "rawvideo",
                                  "-pix_fmt", "gray", "-"], stdout=subprocess.PIPE)
        ink = np.zeros((H, W), np.uint8)
        while len(data := plain.stdout.read(W * H)) == W * H:
            ink = np.maximum(ink, np.frombuffer(data, np.uint8).reshape(H, W))
        assert plain.wait() == 0

        graph = f"fps={FPS},scale={W}:{H},setsar=1,setpts=N/{FPS}/TB," + filters(commands.name, texts[0], True)
        film = ["ffmpeg", "-y", "-v", "error", "-stream_loop", "-1", "-i", str(ASSETS / "bigbuckbunny.mp4")]
        encode = ["-c:v", "libx264", "-preset", "veryfast", "-b:v", "450k", "-maxrate", "600k", "-bufsize", "600k",
                  "-pix_fmt", "yuv420p"]
        subprocess.run([*film, "-an", "-frames:v", str(n), "-vf", graph, "-r", str(FPS), *encode,
                        str(OUT / "drawtext.mp4")], check=True)

    regions = {}
    for channel, (_, y, left) in PLACES.items():
        part = ink[y - 20:y + 60, left:left + 200] > 60
        columns, rows = np.flatnonzero(part.any(0)), np.flatnonzero(part.any(1))
        box = left + columns[0] - 2, y - 20 + rows[0] - 2, columns[-1] - columns[0] + 5, rows[-1] - rows[0] + 5
        regions[channel] = [int(v) for v in box]
    write_truth("drawtext", "drawtext.mp4", W, H, FPS, regions, KIND, steps, texts)
    print(f"drawtext: {n} frames")


main()
