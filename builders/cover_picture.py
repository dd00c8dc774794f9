"""Make ``docs/pictures/cover.png`` from a drawing of the demo.

Usage: python builders/cover_picture.py DRAWING.png

Run ``make demo`` first. The drawing is made smaller and lighter, so that the first page of the
repository loads fast; ``make register`` then renews its hash.
"""

import sys
from pathlib import Path

from PIL import Image

TARGET = Path(__file__).parents[1] / "docs" / "pictures" / "cover.png"
WIDTH_PX = 900
COLOURS = 128


def main(arguments: list[str]) -> int:
    """Shrink the drawing; return the exit code."""
    if len(arguments) != 1:
        print("cover_picture: the path of one drawing of the demo", file=sys.stderr)
        return 2
    with Image.open(arguments[0]) as drawing:
        small = shrunk(drawing, WIDTH_PX)
    TARGET.parent.mkdir(exist_ok=True)
    small.quantize(COLOURS).save(TARGET, optimize=True)
    return 0


def shrunk(drawing: Image.Image, width_px: int) -> Image.Image:
    """Make a drawing that many pixels wide."""
    height = round(drawing.height * width_px / drawing.width)
    return drawing.convert("RGB").resize((width_px, height), Image.Resampling.LANCZOS)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
