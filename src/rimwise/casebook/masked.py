"""What a masked reader is shown: a picture without any finding, and two readings side by side."""

import io
from collections.abc import Mapping
from typing import Any

import numpy as np

from rimwise.exchange.pictures import picture_from_bytes
from rimwise.picture.raster import Raster
from rimwise.records.cover import CoverFinding, EllipsePx, FoundCurves
from rimwise.records.picture import PictureSheet
from rimwise.report.on_photo import ellipse_points
from rimwise.report.upright import upright_pixels, upright_points
from rimwise.terms.arrays import FloatArray

_WIDEST_PX = 1600


def blank_finding(data: bytes, sheet: PictureSheet, sha256: str, name: str) -> CoverFinding:
    """With which finding does a masked reader begin? With none: only how the picture is held.

    Raises
    ------
    WrongInput
        The bytes are no picture.
    """
    raster = picture_from_bytes(data, name).raster
    held = sheet.frame.stored(raster.orientation).picture_from_examiner(np.eye(2))
    right, up = (tuple(float(one) for one in row) for row in held)
    curves = FoundCurves((right[0], right[1]), (up[0], up[1]), 1.0)
    return CoverFinding(name, sha256, sheet.side, sheet.state, "refused", curves=curves)


def shown_jpeg(raster: Raster) -> bytes:
    """How does a picture look on a page, upright and no wider than it needs to be?

    Examples
    --------
    >>> shown_jpeg(Raster(np.zeros((40, 60, 3), dtype=np.uint8)))[6:10]
    b'JFIF'
    """
    from PIL import Image  # noqa: PLC0415

    image = Image.fromarray(np.ascontiguousarray(upright_pixels(raster)))
    image.thumbnail((_WIDEST_PX, _WIDEST_PX))
    sink = io.BytesIO()
    image.convert("RGB").save(sink, "JPEG", quality=88)
    return sink.getvalue()


def reading_outlines(raster: Raster, cover: Mapping[str, Any]) -> list[FloatArray]:
    """Which closed curves of the upright picture did a reading draw: optic, then opening?

    Examples
    --------
    >>> reading_outlines(Raster(np.zeros((4, 6), dtype=np.uint8)), {"status": "refused"})
    []
    """
    outlines = []
    optic, opening = cover.get("optic"), cover.get("opening")
    if optic and optic.get("ellipse_px"):
        around = ellipse_points(EllipsePx(**optic["ellipse_px"]))
        outlines.append(upright_points(around, raster))
    if opening:
        known = [one for one in opening["edge_px"] if one is not None]
        outlines.append(upright_points(np.array([*known, known[0]]), raster))
    return outlines
