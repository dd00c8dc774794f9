"""Laws of the sheets: what is written is read; what is garbage is refused and never a fault."""

import dataclasses
import datetime
import json
import math
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rimwise.exchange.sheet_keys import CaseKeys, ClinicKeys, PictureKeys
from rimwise.exchange.sheet_layers import read_layer
from rimwise.exchange.sheets import case_sheet_for, picture_sheet_for
from rimwise.terms.errors import WrongInput

# The folder is the same for all examples of a test: each example writes its file anew.
ONE_FOLDER = settings(suppress_health_check=[HealthCheck.function_scoped_fixture])


def toml(value: Any) -> str:
    """Write a value as TOML, tables inline; the tests' own writer, checked against tomllib."""
    if isinstance(value, dict):
        inside = ", ".join(f"{json.dumps(key)} = {toml(one)}" for key, one in value.items())
        return "{" + inside + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml(one) for one in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value) if math.isfinite(value) else str(value)
    if isinstance(value, datetime.date):
        return value.isoformat()
    return json.dumps(value) if isinstance(value, str) else str(value)


def sheet_text(values: dict[str, Any]) -> str:
    """Write a sheet."""
    return "".join(f"{json.dumps(key)} = {toml(value)}\n" for key, value in values.items())


def _some(**keys: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries({}, optional=keys)


def _between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high)


PICTURE_SHEETS = st.builds(
    dict.__or__,
    st.fixed_dictionaries({"side": st.sampled_from(["right", "left"])}),
    _some(
        state=st.sampled_from(["natural", "gel-natural", "empty-bag", "gel-implant", "implant"]),
        kind=st.sampled_from(["photograph", "frame", "clip"]),
        code=st.from_regex(r"\A[A-Za-z0-9]{1,20}\Z"),
        superior_deg=_between(-360, 360),
        superior_sd_deg=_between(0, 45),
        mirrored=st.booleans(),
        taken=st.dates(),
        visit_day=st.integers(0, 40000),
        optic_diameter_mm=_between(4.5, 7.5),
        optic_diameter_sd_mm=_between(0, 0.5),
        toric_marks_per_end=st.integers(0, 10),
        working_distance_mm=_between(20, 2000),
        px_per_mm=_between(2, 2000),
        ruler=st.fixed_dictionaries(
            {"px": _between(1, 20000), "mm": _between(0.1, 100), "plane": st.just("limbus")}
        ),
        fixation=st.sampled_from(["confirmed", "claimed", "none"]),
        consent=st.lists(st.sampled_from(["care", "teaching", "research"]), max_size=3),
        lamps=st.fixed_dictionaries(
            {"places_mm": st.lists(st.lists(_between(-9, 9), min_size=2, max_size=2), min_size=1)},
            optional={"plane_mm": _between(-500, 500), "fixated": st.just(0)},
        ),
        cornea=_some(radius_mm=_between(5, 12), thickness_um=_between(250, 1000)),
        lengths=_some(white_to_white_mm=_between(8, 15), lens_front_depth_mm=_between(1, 8)),
    ),
)


def _plain(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_plain(one) for one in value]
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    return value


@ONE_FOLDER
@given(PICTURE_SHEETS)
def test_what_is_written_into_a_sheet_is_what_is_read(
    tmp_path: Path, values: dict[str, Any]
) -> None:
    text = sheet_text(values)
    assert tomllib.loads(text) == values
    (tmp_path / "eye.toml").write_text(text, encoding="utf-8")
    read = _plain(dataclasses.asdict(picture_sheet_for(tmp_path / "eye.jpg")))
    for key, value in values.items():
        if isinstance(value, dict):
            assert read[key] is not None
            assert value.items() <= read[key].items()
        else:
            assert read[key] == (value.isoformat() if isinstance(value, datetime.date) else value)


SCALARS = st.one_of(
    st.floats(),
    st.integers(),
    st.booleans(),
    st.text(max_size=30),
    st.dates(),
    st.sampled_from(["right", "left", "none", "visit", "photograph"]),
)
KEYS = st.one_of(
    st.sampled_from(sorted(ClinicKeys.model_fields)),
    st.sampled_from(["radius_mm", "radius_flat_mm", "radius_steep_mm", "axial_mm", "places_mm"]),
    st.text(max_size=12),
)
GARBAGE = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=12,
)


def _both_readers(folder: Path, content: bytes) -> None:
    (folder / "eye.toml").write_bytes(content)
    for read in (
        lambda: picture_sheet_for(folder / "eye.jpg"),
        lambda: picture_sheet_for(folder / "eye.jpg", {"side": "left"}),
        lambda: case_sheet_for(folder / "eye.toml"),
    ):
        try:
            read()
        except WrongInput as refused:
            assert "\n" not in refused.sentence  # noqa: PT017
            assert len(refused.sentence) < 500  # noqa: PT017


@ONE_FOLDER
@given(st.dictionaries(KEYS, GARBAGE, max_size=6))
def test_any_toml_is_a_sheet_or_wrong_input(tmp_path: Path, values: dict[str, Any]) -> None:
    _both_readers(tmp_path, sheet_text(values).encode("utf-8", "replace"))


@ONE_FOLDER
@given(st.binary(max_size=200))
def test_any_bytes_are_a_sheet_or_wrong_input(tmp_path: Path, content: bytes) -> None:
    _both_readers(tmp_path, content)


@ONE_FOLDER
@given(KEYS, GARBAGE)
def test_any_flag_is_taken_or_wrong_input(tmp_path: Path, key: str, value: Any) -> None:
    try:
        picture_sheet_for(tmp_path / "eye.jpg", {"side": "left", key: value})
    except WrongInput as refused:
        assert "\n" not in refused.sentence  # noqa: PT017


@pytest.mark.parametrize("model", [PictureKeys, CaseKeys, ClinicKeys])
def test_every_unknown_key_is_refused_with_the_nearest_right_one(
    tmp_path: Path, model: type[PictureKeys] | type[CaseKeys] | type[ClinicKeys]
) -> None:
    for key in model.model_fields:
        slip = key[:-1] + key[-1] * 2
        (tmp_path / "a.toml").write_text(f"{slip} = 1\n")
        with pytest.raises(WrongInput, match=f'"{slip}" is not a key; .*"{key}"'):
            read_layer(tmp_path / "a.toml", model)
