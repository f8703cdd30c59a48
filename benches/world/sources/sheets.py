"""Pages of PostScript as images with alpha."""
import pathlib
import subprocess
import tempfile

from common import decode


def ghostscript(postscript, w, h):
    """Every page as BGRA, one pixel per point."""
    with tempfile.TemporaryDirectory() as folder:
        look = ["-dTextAlphaBits=4", "-dGraphicsAlphaBits=4", "-r72", f"-g{w}x{h}", "-dFIXEDMEDIA"]
        command = ["gs", "-q", "-dSAFER", "-dBATCH", "-dNOPAUSE", "-sDEVICE=pngalpha", *look]
        subprocess.run([*command, f"-sOutputFile={folder}/%05d.png", "-"], input=postscript, check=True, text=True,
                       stdout=subprocess.DEVNULL)
        return [decode(file.read_bytes()) for file in sorted(pathlib.Path(folder).glob("*.png"))]
