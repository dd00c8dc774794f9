"""``rimwise constants``: the twelve invented eyes through the command line.

Source: as tests/published/test_lens_constants_computed.py (computed outside this project); here
the table, the command and its document are looked at.
"""

import json

import pytest
from typer.testing import CliRunner

from rimwise.cli.main import app

EYES = """axial_mm,k_dpt,chamber_depth_mm,implant_power_dpt,achieved_dpt,person
22.1,44.25,2.85,25.0,0.375,P1
22.85,43.5,3.02,23.5,-0.25,P1
23.2,43.9,3.1,21.5,0.625,P2
23.48,42.75,3.21,22.0,-0.25,P3
23.75,43.1,3.15,21.0,0.0,P4
24.05,42.3,3.33,21.0,0.0,P5
24.6,43.6,3.4,17.5,-0.125,P6
25.3,42.0,3.52,17.5,0.125,P7
26.2,43.2,3.61,13.5,0.375,P8
21.6,45.5,2.7,25.5,-0.25,P9
23.05,44.8,2.95,21.5,0.0,P10
27.4,41.8,3.7,11.5,-0.375,P11
"""
FLAGS = ["--a-constant", "118.4", "--keratometer-index", "1.3375"]


@pytest.fixture
def table(tmp_path):
    path = tmp_path / "eyes.csv"
    path.write_text(EYES, encoding="utf-8")
    return path


def test_every_formula_answers_by_every_method_with_its_interval(table, tmp_path):
    out = tmp_path / "constants.json"
    told = CliRunner().invoke(app, ["constants", str(table), *FLAGS, "--json", str(out)])
    assert told.exit_code == 0
    (entry,) = json.loads(out.read_text(encoding="utf-8"))["results"]
    assert entry["schema"] == "rimwise.constants/1"
    assert entry["eyes"] == 12
    assert len(entry["constants"]) == 25
    for one in entry["constants"]:
        low, high = one["interval_95"]
        assert low <= one["value"] <= high
        assert one["calibration"] == "uncalibrated"
    zero = [one for one in entry["constants"] if one["method"] == "mean-zero"]
    assert all(abs(one["offset_dpt"]) < 1e-9 for one in zero)
    srkt = {one["method"]: one["value"] for one in entry["constants"] if one["formula"] == "SRK/T"}
    assert len({round(value, 3) for value in srkt.values()}) >= 4
    assert "uncalibrated; 12 eyes" in " ".join(told.stdout.split())


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (("achieved_dpt", "left"), "has a column 'left'"),
        (("24.05,", "2.405,"), "row 7: axial_mm is '2.405', and 14 to 40 is allowed"),
        ((",0.375,P1", ",,P1"), "row 2: achieved_dpt is ''"),
    ],
)
def test_a_wrong_table_is_refused_by_name_and_row(table, change, sentence):
    table.write_text(EYES.replace(*change, 1), encoding="utf-8")
    told = CliRunner().invoke(app, ["constants", str(table), *FLAGS])
    assert told.exit_code == 2
    assert sentence in told.stderr


def test_dioptres_without_their_index_are_refused(table):
    told = CliRunner().invoke(app, ["constants", str(table), *FLAGS[:2]])
    assert told.exit_code == 2
    assert "--keratometer-index" in told.stderr
