"""What is typed wrongly is answered in one sentence of our own, and so is a full disk."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rimwise.cli.main import app

RUN = [sys.executable, "-c", "from rimwise.cli.main import run; run()"]
FULL = Path("/dev/full")  # answers every write with "no space left"


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        (["plan"], "rimwise plan needs CASE.toml, and none came; see rimwise plan --help"),
        (
            ["plan", "x.toml", "--jsn"],
            "rimwise plan has no flag --jsn; did you mean --json? see rimwise plan --help",
        ),
        (["plan", "x.toml", "--json"], "--json needs a value behind it; see rimwise plan --help"),
        (["place", "x", "--same-eye=3"], "--same-eye takes no value; see rimwise place --help"),
        (
            ["plan", "x.toml", "--optic-diameter-mm", "wide"],
            "--optic-diameter-mm is 'wide', and a number is allowed; see rimwise plan --help",
        ),
        (
            ["plan", "x.toml", "y.toml"],
            "rimwise plan takes fewer words, and also got y.toml; see rimwise plan --help",
        ),
        (["cut"], "rimwise has no command 'cut'; see rimwise --help for those it has"),
        (
            ["casebook", "cut"],
            "rimwise casebook has no command 'cut'; see rimwise casebook --help for those it has",
        ),
    ],
)
def test_one_sentence_says_what_came_and_what_to_do(typed, sentence):
    told = CliRunner().invoke(app, typed)
    assert told.exit_code == 2
    assert told.stderr == f"rimwise: {sentence}\n"
    assert not told.stdout


def test_without_a_word_the_whole_help_is_the_answer():
    told = CliRunner().invoke(app, [])
    assert told.exit_code == 2
    assert "measure eye.jpg" in told.stderr


@pytest.mark.skipif(not FULL.exists(), reason="this system has no place that is always full")
@pytest.mark.parametrize("typed", [["--help"], ["cautions"], ["--version"]])
def test_a_full_disk_behind_standard_output_is_one_sentence(typed):
    with FULL.open("w") as full:
        told = subprocess.run(
            [*RUN, *typed], stdout=full, stderr=subprocess.PIPE, text=True, env=os.environ,
            check=False, timeout=60,
        )  # fmt: skip
    assert told.returncode == 2
    assert told.stderr.startswith("rimwise: standard output could not be written (")
    assert told.stderr.count("\n") == 1


def test_a_table_on_a_full_disk_is_one_sentence(tmp_path):
    if not FULL.exists():
        pytest.skip("this system has no place that is always full")
    case = tmp_path / "E-1.toml"
    case.write_text(
        'code = "E-1"\nside = "right"\ncorneal_surgery = "none"\n'
        "[implant]\noptic_diameter_mm = 6.0\n",
        encoding="utf-8",
    )
    with FULL.open("w") as full:
        told = subprocess.run(
            [*RUN, "plan", str(case)], stdout=full, stderr=subprocess.PIPE, text=True,
            env=os.environ, check=False, timeout=60,
        )  # fmt: skip
    assert (told.returncode, told.stderr.count("\n")) == (2, 1)
