"""Practising: what is placed is held against the drawn truth, and the hand's bias is kept."""

import statistics
from typing import Any

import pytest
from workbench import OWN, Browser, csrf

from rimwise.web import practise as pages
from rimwise.web.door import Door
from rimwise.web.keeping import Keeping
from rimwise.web.practise import FILE, keep_placed, own_hand
from rimwise.web.practise_jobs import PractisePicture, placed_on, practise_frame_job, practise_job


def post(inside: Browser, path: str, **told: Any) -> Any:
    return inside.post(path, data={"csrf": csrf(inside), **told}, headers=OWN)


@pytest.fixture(scope="module")
def drawn() -> PractisePicture:
    return practise_job("easy", 7)


def test_a_perfect_placement_is_off_by_nothing_and_nasal_is_towards_the_nose(
    drawn: PractisePicture,
) -> None:
    x, y = drawn.centre_px
    exact = placed_on(drawn, x, y, drawn.diameter_px)
    assert (exact.nasal_mm, exact.superior_mm, exact.diameter_off_mm) == (0.0, 0.0, 0.0)
    # Convention: seen by the examiner a right eye's nose lies to the examiner's right.
    right = placed_on(drawn, x + 10.0, y, drawn.diameter_px)
    assert (right.nasal_mm > 0.0) == (drawn.side == "right")
    assert placed_on(drawn, x, y - 10.0, drawn.diameter_px).superior_mm > 0.0


def test_the_measured_diameter_agrees_with_the_drawn_truth(drawn: PractisePicture) -> None:
    assert drawn.measured_mm
    value, sd = drawn.measured_mm
    # Four standard deviations of what the measurement claims: one in ten thousand is beyond.
    assert abs(value - drawn.diameter_px * drawn.mm_per_px) <= 4.0 * sd


def test_truth_is_shown_after_placing_only_and_each_picture_counts_once(
    inside: Browser, door: Door, keeping: Keeping, drawn: PractisePicture,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setattr(pages, "practise_job", lambda _level, _seed: drawn)
    x, y = drawn.centre_px
    offs = [0.0, 10.0, 23.0]
    for off in offs:
        post(inside, "/practise/new", level="easy")
        before = inside.get("/practise").text
        assert "The truth" not in before.replace("The truth is then shown", "")
        told = {"x": f"{x + off:.3f}", "y": f"{y:.3f}", "size": f"{drawn.diameter_px:.3f}"}
        for _ in range(2):
            assert post(inside, "/practise", who="S-9", **told).status_code == 303
        assert 'class="truth"' in inside.get("/practise").text
    own = own_hand(keeping.folder / FILE, "S-9")
    sign = 1.0 if drawn.side == "right" else -1.0
    nasal = [sign * off * drawn.mm_per_px for off in offs]
    assert own[0].eyes == len(offs)
    assert own[0].mean_mm == pytest.approx(statistics.fmean(nasal), abs=1e-4)
    assert own[0].sd_mm == pytest.approx(statistics.stdev(nasal), abs=1e-4)
    assert own_hand(keeping.folder / FILE, "S-1") == ()
    assert door.token is None


@pytest.mark.parametrize("x", ["", "x", "-1", "9999", "1e3"])
def test_what_lies_beside_the_picture_is_refused(
    inside: Browser, drawn: PractisePicture, monkeypatch: pytest.MonkeyPatch, x: str
) -> None:
    monkeypatch.setattr(pages, "practise_job", lambda _level, _seed: drawn)
    post(inside, "/practise/new", level="easy")
    assert post(inside, "/practise", x=x, y="5", size="5").status_code == 400


def test_a_frame_before_the_opening_asks_for_a_size_and_is_another_hand(
    inside: Browser, keeping: Keeping
) -> None:
    drawn = practise_frame_job("easy", 5)
    assert drawn.wanted_mm
    # The cornea enlarges what lies behind it by about an eighth (tests/published): a scale told
    # at the limbus would give a larger circle than the true one.
    assert drawn.diameter_px * drawn.mm_per_px == pytest.approx(drawn.wanted_mm, abs=1e-9)
    width, height = drawn.size_px
    assert 0.2 * width < drawn.centre_px[0] < 0.8 * width
    assert 0.2 * height < drawn.centre_px[1] < 0.8 * height
    if drawn.measured_mm is not None:
        off, sd = drawn.measured_mm
        # Of two coordinates: beyond four standard deviations lies one in three thousand.
        assert off <= 4.0 * sd
    exact = placed_on(drawn, *drawn.centre_px, drawn.diameter_px)
    for surgical in (True, True, True, False):
        keep_placed(keeping.folder / FILE, "S-4", exact, surgical)
    assert own_hand(keeping.folder / FILE, "S-4") == ()
    assert own_hand(keeping.folder / FILE, "S-4", surgical=True)[0].eyes == 3
    post(inside, "/practise/new", frame="easy")
    assert "about the pole of the lens" in inside.get("/practise").text
