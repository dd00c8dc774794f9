"""Every number from outside carries its passport."""

import math
import re
from importlib.resources import files
from typing import get_args

import pytest

from rimwise.published.load import TABLES, _value, published_table, published_value
from rimwise.terms.source import Status

ENTRIES = [(table, key) for table in TABLES for key in published_table(table)]
UNITS = {"1", "mm", "um", "dpt", "deg"}


def test_every_table_in_the_package_is_listed():
    found = {name.name for name in files("rimwise.published").iterdir()}
    assert {f"{table}.toml" for table in TABLES} == {n for n in found if n.endswith(".toml")}


@pytest.mark.parametrize(("table", "key"), ENTRIES)
def test_passport(table, key):
    value = published_value(table, key)
    assert math.isfinite(value.value)
    assert value.sd is None or 0.0 <= value.sd < math.inf
    assert value.unit in UNITS
    assert len(value.valid) > 10
    assert value.source.status in get_args(Status)
    assert len(value.source.cite) > 10


@pytest.mark.parametrize(("table", "key"), ENTRIES)
def test_what_is_called_published_names_a_place(table, key):
    """A year with a page, a DOI or an archive number; a bare recollection must say so."""
    source = published_value(table, key).source
    if source.status == "published and read":
        assert re.search(r"PMC\d+|doi|(19|20)\d\d.*\d+[-:(]", source.cite)


def test_a_missing_part_of_the_passport_is_refused():
    whole = {
        "value": 1.0,
        "unit": "mm",
        "sd": "not given",
        "valid": "an invented entry",
        "cite": "an invented source",
        "status": "from memory",
    }
    assert _value("here", whole).sd is None
    for key in whole:
        with pytest.raises(ValueError, match=key):
            _value("here", {k: v for k, v in whole.items() if k != key})
    with pytest.raises(ValueError, match="unknown status"):
        _value("here", whole | {"status": "hearsay"})
    with pytest.raises(ValueError, match="sd of 0 or more"):
        _value("here", whole | {"sd": -0.1})


def test_unknown_names_are_refused_by_name():
    with pytest.raises(KeyError, match="no published table"):
        published_table("corneas")
    with pytest.raises(KeyError, match="no published 'depth'"):
        published_value("lengths", "depth")
