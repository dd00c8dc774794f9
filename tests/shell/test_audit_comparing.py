"""Comparisons from the command line: pairs, margins, trimmed means, sizes of studies."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.contingency_tables import mcnemar
from statsmodels.stats.power import NormalIndPower, TTestIndPower
from statsmodels.stats.proportion import proportion_effectsize
from typer.testing import CliRunner

from rimwise.cli.main import app

PERSONS = 60


def table(path: Path) -> tuple[Path, np.ndarray, np.ndarray]:
    """An invented series: manual in one eye of a person and guided in the other."""
    rng = np.random.default_rng(12)
    shared = rng.normal(0.2, 0.2, PERSONS)
    cover = np.round(np.column_stack([shared, shared + 0.08]) + rng.normal(0, 0.1, (60, 2)), 3)
    error = np.round(rng.standard_t(3, (60, 2)) * 0.3, 2)
    rows = ["person,side,technique,least_cover_mm,complete,predicted_dpt,achieved_dpt"]
    for person in range(PERSONS):
        for eye, way in enumerate(("manual", "guided")):
            told = cover[person, eye]
            rows.append(
                f"P-{person},{('left', 'right')[eye]},{way},{told},{str(told > 0).lower()},0,"
                f"{error[person, eye]}"
            )
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path, cover, error


def run(*words: str | Path) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, ["audit", *(str(one) for one in words)])
    return done.exit_code, done.stdout, done.stderr


def differences(told: Path) -> dict[str, dict[str, object]]:
    entry = json.loads(told.read_text(encoding="utf-8"))["results"][0]
    return {one["outcome"]: one for one in entry["differences"]}


def test_pairs_say_what_general_libraries_say(tmp_path: Path) -> None:
    eyes, cover, _ = table(tmp_path / "eyes.csv")
    code, _, _ = run(
        eyes, "--compare", "technique=manual,guided", "--paired", "--json", tmp_path / "a.json",
        "--margin", "least_cover_mm=0.2",
    )  # fmt: skip
    assert code == 0
    told = differences(tmp_path / "a.json")
    # Student's t of pairs: scipy.stats.ttest_rel.
    assert told["least cover"]["p"] == pytest.approx(
        stats.ttest_rel(cover[:, 1], cover[:, 0]).pvalue, rel=1e-9
    )
    assert told["least cover"]["equivalent"] is True
    # McNemar, exact: statsmodels.
    covered = cover > 0.0
    fourfold = [[np.sum(a & b) for b in (covered[:, 1], ~covered[:, 1])]
                for a in (covered[:, 0], ~covered[:, 0])]  # fmt: skip
    assert told["complete cover"]["p"] == pytest.approx(mcnemar(fourfold, exact=True).pvalue)
    assert all(one["p_holm"] >= one["p"] for one in told.values())


def test_one_eye_a_person_is_compared_by_trimmed_means_as_well(tmp_path: Path) -> None:
    eyes, _, _ = table(tmp_path / "eyes.csv")
    words = (eyes, "--compare", "technique=manual,guided", "--json", tmp_path / "a.json")
    assert run(*words, "--eyes", "random", "--seed", "4")[0] == 0
    told = differences(tmp_path / "a.json")
    trimmed = told["absolute prediction error, trimmed"]["difference"]
    assert trimmed["n"] == PERSONS
    assert told["least cover"]["difference"]["n"] == PERSONS, "the eyes that are audited"
    assert run(*words)[0] == 0
    assert "absolute prediction error, trimmed" not in differences(tmp_path / "a.json")


def test_trimmed_means_say_what_scipy_says(tmp_path: Path) -> None:
    eyes, _, error = table(tmp_path / "eyes.csv")
    # Every eye another person's: without the column the test knows of no pair.
    lines = [one.split(",", 1)[1] for one in eyes.read_text(encoding="utf-8").splitlines()]
    eyes.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert run(eyes, "--compare", "technique=manual,guided", "--json", tmp_path / "a.json")[0] == 0
    told = differences(tmp_path / "a.json")["absolute prediction error, trimmed"]
    want = stats.ttest_ind(abs(error[:, 1]), abs(error[:, 0]), equal_var=False, trim=0.2)
    assert told["p"] == pytest.approx(want.pvalue, rel=1e-6)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (("--paired", "--adjust", "achieved_dpt"), "leave --adjust out"),
        (("--paired", "--eyes", "first"), "leave --eyes out"),
        (("--margin", "cover=0.1"), "is allowed"),
        (("--margin", "least_cover_mm=-1"), "above 0"),
        (("--margin", "least_cover_mm=x"), "a number is needed"),
    ],
)
def test_what_cannot_be_compared(tmp_path: Path, more: tuple[str, ...], says: str) -> None:
    eyes, _, _ = table(tmp_path / "eyes.csv")
    code, _, err = run(eyes, "--compare", "technique=manual,guided", *more)
    assert code == 2
    assert says in " ".join(err.split())


def test_sizes_of_studies_are_those_of_a_general_library() -> None:
    """statsmodels: exact for Student's t; for shares by arcsines, which differ by a few eyes."""
    _, out, _ = run("--eyes-needed", "mean=0.25,0.50")
    exact = TTestIndPower().solve_power(effect_size=0.5, alpha=0.05, power=0.8)
    assert int(out.split()[0]) == np.ceil(exact)
    _, out, _ = run("--eyes-needed", "share=0.80,0.95")
    size = proportion_effectsize(0.95, 0.80)
    near = NormalIndPower().solve_power(effect_size=size, alpha=0.05, power=0.8)
    assert int(out.split()[0]) == pytest.approx(near, rel=0.1)
    for wrong in ("share=1,2,3", "share=0.5,0.5", "odds=1,2"):
        assert run("--eyes-needed", wrong)[0] == 2
