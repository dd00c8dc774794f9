"""The contrast of a perfect pupil against its closed form.

Source: tests/data/diffraction_mtf.csv; status *computed*.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from rimwise.optics.contrast import (
    Transfer,
    cutoff_cpd,
    perfect_modulation,
    transfer_of_image,
    transfer_of_pupil,
)
from rimwise.optics.point_spread import point_spread_fft, sample_pupil
from rimwise.optics.zernike import Wavefront

TABLE = Path(__file__).parents[1] / "data" / "diffraction_mtf.csv"
LINES = [line for line in TABLE.read_text().splitlines() if not line.startswith("#")]
ROWS = [{k: float(v) for k, v in row.items()} for row in csv.DictReader(LINES)]


@pytest.mark.parametrize("pupil_mm", [2.0, 3.0, 4.0, 5.0, 6.0])
def test_contrast_and_cut_off_match_the_table(pupil_mm: float) -> None:
    rows = [row for row in ROWS if row["entrance_pupil_mm"] == pupil_mm]
    assert len(rows) == 10
    transfers: dict[float, Transfer] = {}
    for row in rows:
        nm, cpd = row["lambda_nm"], row["cpd"]
        assert cutoff_cpd(pupil_mm, nm) == pytest.approx(row["cutoff_cpd"], abs=5.1e-3)
        assert float(perfect_modulation(cpd, pupil_mm, nm)) == pytest.approx(row["MTF"], abs=6e-6)
        perfect = Wavefront(np.zeros(1), pupil_mm / 2.0, wavelength_nm=nm)
        transfer = transfers.setdefault(nm, transfer_of_pupil(sample_pupil(perfect, 512)))
        for direction in (0.0, np.pi / 2):
            assert float(transfer.at(cpd, direction)) == pytest.approx(row["MTF"], abs=1e-4)
        # Off the grid's axes the tip of the cone at frequency 0 is interpolated too.
        assert float(transfer.at(cpd, 0.4)) == pytest.approx(row["MTF"], abs=2e-4)


@pytest.mark.parametrize("samples", [127, 128])
def test_contrast_of_the_image_is_that_of_the_pupil(samples: int) -> None:
    wave = Wavefront(np.array([0.0, 0.0, 0.0, 0.05, 0.1, -0.03, 0.02, 0.08]), 2.0)
    pupil = sample_pupil(wave, samples)
    image = transfer_of_image(point_spread_fft(pupil, 3))
    direct = transfer_of_pupil(pupil)
    # The image's own energy counts rim cells squared: 0.5 % at 128 cells, the same at all
    # frequencies; phases carry no such factor.
    ratio = float(pupil.energy / np.sum(np.abs(pupil.field()) ** 2))
    for cpd in (5.0, 20.0, 60.0):
        for turn in (0.0, 1.0, 2.0):
            assert float(direct.at(cpd, turn)) * ratio == pytest.approx(
                float(image.at(cpd, turn)), abs=1e-9
            )
