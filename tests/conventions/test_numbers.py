"""Wavelength, units and unknowns: numbers 16, 17 and 18 of docs/conventions.md."""

import ast
import math
from dataclasses import MISSING, fields, is_dataclass
from inspect import getmembers

import pytest
import tree

from rimwise.published.load import TABLES, published_table
from rimwise.records import case, cover, picture
from rimwise.terms.estimate import Estimate
from rimwise.terms.units import deg_from_rad, rad_from_deg

CONVERSIONS = {"radians", "degrees", "deg2rad", "rad2deg"}


def test_16_an_index_of_refraction_names_its_wavelength():
    for table in TABLES:
        for key, value in published_table(table).items():
            if key.startswith("index_") and key != "index_keratometric":
                assert "nm" in value.valid, f"{table} {key}"


def test_17_inside_are_radians_and_at_the_border_degrees():
    assert rad_from_deg(180.0) == pytest.approx(math.pi)
    assert deg_from_rad(math.pi / 2.0) == pytest.approx(90.0)


def test_17_the_kernels_of_geometry_and_optics_meet_no_degrees():
    """What comes in degrees is named so; nothing else is converted there."""
    kernels = [p for p in tree.sources() if p.relative_to(tree.SOURCE).parts[0] == "optics"]
    assert kernels
    for path in kernels:
        for node in ast.walk(tree.parsed(path)):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                assert node.func.attr not in CONVERSIONS, f"{tree.name(path)} line {node.lineno}"


def _records():
    for module in (case, cover, picture):
        for _, record in getmembers(module, is_dataclass):
            if isinstance(record, type) and record.__module__ == module.__name__:
                yield record


def test_18_what_may_be_unknown_is_none_by_default_never_0():
    checked = 0
    for record in _records():
        for field in fields(record):
            if "None" in str(field.type) and field.default is not MISSING:
                assert field.default is None, f"{record.__name__}.{field.name}"
                checked += 1
    assert checked > 20


def test_18_a_measured_number_has_a_value_a_standard_deviation_and_an_origin():
    assert [field.name for field in fields(Estimate)] == ["value", "sd", "origin"]
    for value, sd in [(math.nan, 0.1), (math.inf, 0.1), (1.0, -0.1), (1.0, math.nan)]:
        with pytest.raises(ValueError, match="finite"):
            Estimate(value, sd)
