"""The six intraclass correlations of the classical table of 6 subjects and 4 judges.

Source: Shrout & Fleiss 1979, Psychol Bull 86:420-428, table 4 and the values printed there; status
*computed* outside this project (tests/data/agreement.toml), to the printed two digits the same.
"""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from rimwise.stats.correlation_within import intraclass_correlations

VALUES = tomllib.loads(
    (Path(__file__).parents[1] / "data" / "agreement.toml").read_text(encoding="utf-8")
)["icc_shrout_fleiss"]


def test_six_values() -> None:
    found = intraclass_correlations(np.array(VALUES["data"], dtype=float))
    six = [found.one.value, found.two.value, found.three.value]
    six += [found.one_mean, found.two_mean, found.three_mean]
    assert six == pytest.approx(VALUES["values"], abs=1e-10)
    assert [round(one, 2) for one in six] == VALUES["printed"]
