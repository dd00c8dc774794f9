"""Does a spot stand out from what lies about it?"""

import numpy as np

from rimwise.picture.spots import SpotMap
from rimwise.terms.arrays import FloatArray


def stands_out(spots: SpotMap, points_px: FloatArray, radius_px: float) -> bool:
    """Is it darker about each spot than on it? In the white of a dense lens no lamp shows.

    Examples
    --------
    >>> from dataclasses import replace
    >>> v, u = np.indices((60, 60))
    >>> disc = 200.0 * (np.hypot(u - 30.0, v - 30.0) < 4.0).astype(np.float32)
    >>> spots, at = SpotMap((0, 0), disc, disc, disc), np.array([[30.0, 30.0]])
    >>> stands_out(spots, at, 4.0), stands_out(replace(spots, white=0.0 * disc + 250.0), at, 4.0)
    (True, False)
    """
    theta = 2.0 * np.pi * np.arange(_ASKED) / _ASKED
    away = _BESIDE * radius_px * np.stack([np.cos(theta), np.sin(theta)], axis=-1)
    around = points_px[:, None] + away
    apart = around[:, :, None] - points_px
    alone = np.hypot(apart[..., 0], apart[..., 1]).min(axis=-1) > 0.9 * _BESIDE * radius_px
    white = spots.white_at(around.reshape(-1, 2)).reshape(alone.shape)
    own = spots.white_at(points_px)
    rises = [
        float(here - np.median(row[there]))
        for here, row, there in zip(own, white, alone, strict=True)
        if there.sum() >= _ASKED // 4
    ]
    return not rises or min(rises) > _STANDS_OUT


_ASKED, _BESIDE = 16, 2.5  # directions, and radii from a spot's middle
_STANDS_OUT = 20.0  # grey
