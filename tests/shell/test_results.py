"""``rimwise.cover/1``: every key of the docs, nothing that JSON lacks, and the way back."""

import json
import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimwise import __version__
from rimwise.exchange.results import (
    COVER_KEYS,
    cover_document,
    document_of,
    unread_document,
)
from rimwise.exchange.results_reading import cover_finding_from_document
from rimwise.exchange.writing import json_text
from rimwise.records.cover import (
    CoverFinding,
    CoverProfile,
    EllipsePx,
    LeastCover,
    OpeningFinding,
    OpticFinding,
    PupilFinding,
    Reason,
    ScaleFinding,
    VectorEstimate,
)
from rimwise.records.implant_reflexes import ImplantReflexes, MirrorPlace
from rimwise.records.opacification import OpacificationFinding
from rimwise.terms.errors import WrongInput
from rimwise.terms.estimate import Estimate

DOCS = Path(__file__).parents[2] / "docs" / "results.md"

NUMBERS = st.floats(-1e4, 1e4)
ESTIMATES = st.builds(Estimate, NUMBERS, st.floats(0, 1e3))
MAYBE = st.none() | ESTIMATES
POINTS = st.tuples(NUMBERS, NUMBERS)
# One list of few values, repeated: 360 free draws would leave hypothesis no room for the rest.
BY_DIRECTION = st.lists(st.none() | NUMBERS, min_size=1, max_size=6).map(
    lambda v: (*(v * 360)[:360],)
)
ELLIPSES = st.builds(EllipsePx, NUMBERS, NUMBERS, NUMBERS, NUMBERS, NUMBERS)
OPENINGS = st.builds(
    OpeningFinding,
    st.lists(st.none() | POINTS, min_size=1, max_size=5).map(lambda v: (*(v * 360)[:360],)),
    st.none() | st.lists(POINTS, max_size=3).map(tuple),
    st.integers(0, 360),
    st.none() | st.booleans(),
    *([MAYBE] * 6),
)
COVERS = st.builds(
    CoverProfile,
    BY_DIRECTION,
    BY_DIRECTION,
    BY_DIRECTION,
    st.none()
    | st.builds(LeastCover, NUMBERS, st.floats(0, 9), st.floats(0, 359), st.floats(0, 12)),
    MAYBE,
    MAYBE,
    st.none() | st.lists(POINTS, max_size=3).map(tuple),
    MAYBE,
    st.integers(0, 360),
    st.none() | st.booleans(),
    st.none() | st.floats(0, 1),
    st.dictionaries(st.sampled_from(["min_mm", "mean_mm"]), ESTIMATES),
)
VECTORS = st.builds(VectorEstimate, *([ESTIMATES] * 4))
TURNS = st.none() | st.tuples(ESTIMATES, ESTIMATES)
PLACES_PX = st.tuples(NUMBERS, NUMBERS)
MIRRORS = st.none() | st.builds(
    MirrorPlace,
    st.lists(st.none() | PLACES_PX, max_size=3).map(tuple),
    NUMBERS,
    PLACES_PX,
    NUMBERS,
    NUMBERS,
)
REFLEXES = st.builds(
    ImplantReflexes, st.fixed_dictionaries({"P1": MIRRORS, "P4": MIRRORS}), TURNS, TURNS
)
FINDINGS = st.builds(
    CoverFinding,
    st.text(max_size=9),
    st.just("0" * 64),
    st.sampled_from(["right", "left"]),
    st.sampled_from(["visit", "implant"]),
    st.sampled_from(["measured", "partial", "refused"]),
    st.lists(st.builds(Reason, st.text(max_size=5), st.text(max_size=9)), max_size=2).map(tuple),
    st.none() | st.builds(ScaleFinding, ESTIMATES, st.just("optic"), st.just("given")),
    st.none() | st.builds(OpticFinding, ELLIPSES, st.floats(4.5, 7.5), st.integers(0, 360)),
    st.none() | st.builds(PupilFinding, ELLIPSES, ESTIMATES),
    st.none() | OPENINGS,
    st.dictionaries(st.sampled_from(["opening-from-optic", "optic-from-P1"]), st.none() | VECTORS),
    st.none() | COVERS,
    MAYBE,
    MAYBE,
    st.none()
    | st.builds(OpacificationFinding, ESTIMATES, ESTIMATES, st.just((1.0,) * 5), st.floats(0, 100)),
    reflexes=st.none() | REFLEXES,
)


@given(FINDINGS)
def test_a_finding_is_read_back_as_it_was_written(finding: CoverFinding) -> None:
    document = cover_document(finding)
    read = cover_finding_from_document(json.loads(json_text(document)))
    assert cover_document(read) == document
    assert (read.picture, read.status, read.reasons) == (
        finding.picture,
        finding.status,
        finding.reasons,
    )


def test_numbers_survive_to_the_digits_that_are_written(finding: CoverFinding) -> None:
    read = cover_finding_from_document(cover_document(finding))
    assert read.cover is not None
    assert finding.cover is not None
    # Half of the last digit written.
    assert read.cover.width_mm == pytest.approx(finding.cover.width_mm, abs=5e-7)
    assert read.cover.min_mm == finding.cover.min_mm
    assert read.optic == finding.optic
    assert read.scale == ScaleFinding(Estimate(60.1, 0.4), "optic", "optic")
    assert read.opening is not None
    assert finding.opening is not None
    for got, put in zip(read.opening.edge_px, finding.opening.edge_px, strict=True):
        assert (got is None) == (put is None)
        assert got is None or got == pytest.approx(put, abs=5e-5)


def _names_in_docs() -> set[str]:
    text = DOCS.read_text(encoding="utf-8")
    block = text.split("## `rimwise.cover/1`")[1].split("```")[1]
    plain = re.sub(r"\(.*?\)", "", block)
    return set(re.findall(r'"?([A-Za-z][\w-]*)"?(?=[,:])', plain))


def _keys(value: Any) -> set[str]:
    if isinstance(value, dict):
        return set(value).union(*(_keys(one) for one in value.values()))
    return set().union(*(_keys(one) for one in value)) if isinstance(value, list) else set()


def test_every_key_of_the_docs_is_written(finding: CoverFinding) -> None:
    written = _keys(cover_document(finding))
    prose = {"index", "curve", "u", "optional", "given", "same", "counter-clockwise"}
    values = {
        "optic",
        "limbus",
        "ruler",
        "measured",
        "refused",
        "numbers",
        "true",
        "false",
        "estimate",
        "estimates",
    }
    wanted = _names_in_docs() - prose - values
    assert len(wanted) > 40, "the block of the docs was not understood"
    missing = wanted - written - {"optic-from-pupil", "optic-from-limbus", "null", "v"}
    assert not missing


def test_estimates_wear_the_unit_of_their_field(finding: CoverFinding) -> None:
    document = cover_document(finding)
    assert document["scale"]["px_per_mm"]["unit"] == "px/mm"
    assert document["opening"]["area_mm2"]["unit"] == "mm2"
    assert document["opening"]["circularity"]["unit"] == "1"
    assert document["cover"]["area_percent"]["unit"] == "percent"
    assert document["cover"]["bare_total_deg"]["unit"] == "deg"
    assert document["implant_toric_axis_deg"] == {"value": 91.0, "sd": 1.0, "unit": "deg"}
    assert document["cover"]["min_mm"] == {
        "value": 0.14, "sd": 0.03, "unit": "mm", "at_deg": 91.0, "clock_hour": 11.97,
    }  # fmt: skip


def test_the_outer_document_names_the_version() -> None:
    assert document_of([{"schema": "x"}]) == {"rimwise": __version__, "results": [{"schema": "x"}]}


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_no_document_holds_what_json_lacks(finding: CoverFinding, value: float) -> None:
    assert finding.cover is not None
    broken = replace(finding, cover=replace(finding.cover, p_complete=value))
    with pytest.raises(ValueError, match="no answer"):
        cover_document(broken)
    with pytest.raises(ValueError, match="JSON"):
        json_text({"a": value})


def test_an_unread_picture_keeps_every_key() -> None:
    entry = unread_document("eye.jpg", Reason("wrong-input", "it is a folder"))
    assert set(entry) == set(COVER_KEYS)
    assert (entry["status"], entry["side"], entry["cover"]) == ("refused", None, None)
    with pytest.raises(WrongInput, match="could not be read"):
        cover_finding_from_document(entry)


SCRAPS = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=4),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["value", "sd", "cx"]), inner)
    ),
    max_leaves=4,
)


@given(st.data())
def test_a_damaged_entry_is_read_or_wrong_input(data: st.DataObject) -> None:
    document = json.loads(json_text(cover_document(data.draw(FINDINGS))))
    node: Any = document
    for _ in range(data.draw(st.integers(0, 3))):
        inner = [one for one in node.values() if isinstance(one, dict) and one]
        node = data.draw(st.sampled_from(inner)) if inner else node
    key = data.draw(st.sampled_from(sorted(node)))
    if data.draw(st.booleans()):
        del node[key]
    else:
        node[key] = data.draw(SCRAPS)
    try:
        cover_finding_from_document(document)
    except WrongInput as refused:
        assert "\n" not in refused.sentence  # noqa: PT017


def test_what_is_no_entry_is_refused() -> None:
    for entry in ({}, {"schema": "rimwise.plan/1"}, [], None):
        with pytest.raises(WrongInput, match=r"rimwise\.cover/1"):
            cover_finding_from_document(entry)  # a document from anywhere may hold anything
