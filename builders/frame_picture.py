"""Make ``docs/pictures/frame.png``: an invented eye that has turned away from its reference.

Usage: python builders/frame_picture.py

The eye is drawn, its reference taken, the eye turned, and the second frame aligned and drawn by
the program itself. ``make register`` then renews the picture's hash.
"""

import io
import sys
from dataclasses import replace

import numpy as np
from cover_picture import TARGET as COVER
from cover_picture import shrunk
from PIL import Image

from rimwise.align.frame import Question, align_frame
from rimwise.align.reference import make_reference
from rimwise.demo.frame_render import render_frame
from rimwise.demo.frames import FrameWish, draw_frame_scene
from rimwise.picture.raster import Raster
from rimwise.report.frame_drawing import draw_frame

TARGET = COVER.with_name("frame.png")
SEED = 23
OPENING_MM = 5.2
COLOURS = 160


def main() -> int:
    """Draw, align, draw what was found; return the exit code."""
    rng = np.random.default_rng(SEED)
    wish = FrameWish(turn_deg=(0.0, 0.0), lamps="triangle", superior_deg=90.0)
    scene, sheet = draw_frame_scene(rng, wish)
    scene = replace(scene, look=replace(scene.look, veil=0.5))
    sheet = replace(sheet, fixation="confirmed", code="E-23", lamps=replace(sheet.lamps, fixated=0))
    fixating = []
    for _ in range(3):
        raster = Raster(render_frame(scene, rng)[0])
        fixating.append(align_frame(raster, sheet, "fixating.png").fixating)
    pose = replace(scene.pose, turn_rad=(0.055, -0.035), shift_mm=(-0.6, 0.4, 0.0))
    now = Raster(render_frame(replace(scene, pose=pose), rng)[0])
    later = replace(sheet, fixation="none")
    question = Question(make_reference([one for one in fixating if one is not None]), OPENING_MM)
    answer = align_frame(now, later, "E-23-invented.png", question)
    with Image.open(io.BytesIO(draw_frame(now, answer.finding, later))) as drawing:
        shrunk(drawing, 1100).quantize(COLOURS).save(TARGET, optimize=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
