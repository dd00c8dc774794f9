"""Invented eyes whose gap and view scatter as a ± takes them to, however hard their picture is."""

from dataclasses import replace

import numpy as np

from rimwise.demo.photos import TILT_SD_DEG, TILT_TEMPORAL_DEG, PhotographedEye
from rimwise.published.load import published_value
from rimwise.terms.frames import examiner_from_nasal_superior


def as_usual(rng: np.random.Generator, eye: PhotographedEye) -> PhotographedEye:
    """Give an eye the usual gap and view, each with its published scatter.

    Parameters
    ----------
    rng : numpy.random.Generator
    eye : PhotographedEye

    Notes
    -----
    No photograph without known lamps tells gap and view; its ± holds their scatter over eyes
    (published table "photograph"). Whether a ± is true is asked over eyes that scatter so.

    Examples
    --------
    >>> from rimwise.demo.scene import RoundShape
    >>> eye = as_usual(np.random.default_rng(1), PhotographedEye("right", RoundShape(2.6)))
    >>> round(eye.gap_mm, 2), [round(angle, 1) for angle in eye.tilt_deg]
    (0.16, [-4.3, 3.9])
    """
    gap, across, up = (
        published_value("photograph", name) for name in ("gap", "view_temporal", "view_vertical")
    )
    gap_mm = abs(float(rng.normal(gap.value, gap.sd or 0.0)))
    tilt = rng.normal((TILT_TEMPORAL_DEG, 0.0), TILT_SD_DEG)
    mean_deg = across.value - TILT_TEMPORAL_DEG, up.value
    # A tilt of the optic is a part of the view; what it leaves is the eye's turn.
    turn_sd = np.sqrt(np.square([across.sd or 0.0, up.sd or 0.0]) - TILT_SD_DEG**2)
    view, own = (
        examiner_from_nasal_superior(-float(temporal), float(upward), eye.side)
        for temporal, upward in (tilt + rng.normal(mean_deg, turn_sd), tilt)
    )
    return replace(eye, gap_mm=gap_mm, tilt_deg=view, lens_tilt_deg=own)
