"""Forms: what a surgeon types, what the sheets refuse, what a page then says."""

import ast
import contextlib
import json
import re
import tomllib
from typing import Any, get_args

import pytest
import tree
from hypothesis import given
from hypothesis import strategies as st

from rimwise.exchange.course_sheets import CourseKeys
from rimwise.exchange.sheet_keys import CaseKeys, PictureKeys
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.errors import WrongInput
from rimwise.web.catalogue import TEXT
from rimwise.web.examples import EXAMPLES, example_picture
from rimwise.web.fields import Group, WrongField, in_words, key_in, values_of
from rimwise.web.forms import FORMS, MEASURE_FORM, OPERATION_FORM, PLAN_FORM, VISIT_FORM
from rimwise.web.jobs import measure_job, plan_job
from rimwise.web.pages import Filled, page

PLAN = {
    "side": ["right"],
    "corneal_surgery": ["none"],
    "age_years": ["71"],
    "cornea.radius_flat_mm": ["7,80"],
    "cornea.radius_steep_mm": ["7.65"],
    "lengths.chamber_depth_mm": [" 3,15 "],
    "implant.optic_diameter_mm": ["6"],
    "opening.centre": ["lens"],
}


def _fields(form: tuple[Group, ...]) -> list[Any]:
    return [field for group in form for field in group.fields]


def _leaves(model: Any, prefix: str = "") -> set[str]:
    """Every key of a sheet, those of its tables with the table's name before them."""
    leaves: set[str] = set()
    for name, info in model.model_fields.items():
        inner = [one for one in (*get_args(info.annotation), info.annotation)
                 if isinstance(one, type) and hasattr(one, "model_fields")]  # fmt: skip
        leaves |= _leaves(inner[0], f"{prefix}{name}.") if inner else {prefix + name}
    return leaves


@pytest.mark.parametrize(
    ("form", "keys"),
    [(MEASURE_FORM, PictureKeys), (PLAN_FORM, CaseKeys), (OPERATION_FORM, CourseKeys),
     (VISIT_FORM, CourseKeys)],
)  # fmt: skip
def test_every_field_is_a_key_of_the_sheet(form: tuple[Group, ...], keys: Any) -> None:
    assert {field.key for field in _fields(form)} <= _leaves(keys)


def test_every_key_of_case_operation_and_visit_sheets_is_asked_for() -> None:
    asked = {field.key for field in _fields(PLAN_FORM)}
    own = {key for key in _leaves(CaseKeys) if not key.startswith(("operation.", "visit."))}
    assert own - asked == {"reference"}, "a file, which no page takes by its name"
    course = {field.key for form in (OPERATION_FORM, VISIT_FORM) for field in _fields(form)}
    assert _leaves(CourseKeys) - course == {"code", "side"}


def test_numbers_are_read_with_point_or_comma_and_a_true_minus() -> None:
    told = PLAN | {
        "spread.opening_from_target_bias_mm.first": ["−0,10"],
        "spread.opening_from_target_bias_mm.second": ["+.05"],
    }
    values: Any = values_of(PLAN_FORM, told)
    assert values["cornea"] == {"radius_flat_mm": 7.8, "radius_steep_mm": 7.65}
    assert values["lengths"] == {"chamber_depth_mm": 3.15}
    assert values["spread"] == {"opening_from_target_bias_mm": (-0.1, 0.05)}


def test_empty_fields_are_left_out_and_unknown_ones_not_looked_at() -> None:
    told = {"side": ["left"], "optic_diameter_mm": ["6"], "code": [" "], "evil": ["1"], "": [""]}
    assert values_of(MEASURE_FORM, told) == {"side": "left", "optic_diameter_mm": 6.0}


@pytest.mark.parametrize("key", ["side", "optic_diameter_mm"])
def test_what_has_no_default_is_asked_for(key: str) -> None:
    told = {"side": ["left"], "optic_diameter_mm": ["6"]} | {key: [" "]}
    with pytest.raises(WrongField) as refused:
        values_of(MEASURE_FORM, told)
    assert refused.value.key == key


GARBAGE = ["nan", "NaN", "inf", "-Infinity", "1e999", "1e3", "0x10", "1,2,3", "१२", "six", "1_0",
           "99999", "-6", "6 mm", "\x00", "٦"]  # fmt: skip


@pytest.mark.parametrize("text", GARBAGE)
@pytest.mark.parametrize("key", ["implant.optic_diameter_mm", "cornea.radius_flat_mm", "age_years"])
def test_garbage_is_refused_in_one_sentence_that_names_the_field(text: str, key: str) -> None:
    with pytest.raises(WrongInput) as refused:
        plan_job(values_of(PLAN_FORM, PLAN | {key: [text]}))
    sentence = refused.value.sentence
    assert "\n" not in sentence
    assert "allowed" in sentence
    assert key_in(sentence, PLAN_FORM) == key
    label = next(field.label for field in _fields(PLAN_FORM) if field.key == key)
    assert in_words(sentence, PLAN_FORM).startswith(f"{label} is ")


@given(
    st.dictionaries(
        st.sampled_from([name for field in _fields(PLAN_FORM) for name in field.names]),
        st.lists(st.text(max_size=12) | st.floats().map(str), max_size=3),
    )
)
def test_no_entry_whatever_meets_anything_but_a_refusal(told: dict[str, list[str]]) -> None:
    with contextlib.suppress(WrongInput):
        values_of(PLAN_FORM, PLAN | told)
    text = page("plan.html", csrf="c", theatre=False, path="/plan", back="/plan", form=PLAN_FORM,
                filled=Filled(told, "no", "side"))  # fmt: skip
    assert text.count("<form") == 2


def test_a_field_that_comes_twice_or_far_too_long_is_refused() -> None:
    for given_ in (["6", "7"], ["6" * 201]):
        with pytest.raises(WrongField):
            values_of(MEASURE_FORM, {"side": ["left"], "optic_diameter_mm": given_})


def test_flat_below_steep_says_what_the_command_line_says() -> None:
    told = PLAN | {"cornea.radius_flat_mm": ["7.5"]}
    with pytest.raises(WrongInput) as refused:
        plan_job(values_of(PLAN_FORM, told))
    assert "the flat radius is the longer one" in refused.value.sentence
    assert key_in(refused.value.sentence, PLAN_FORM) == "cornea.radius_flat_mm"
    assert "_mm" not in in_words(refused.value.sentence, PLAN_FORM)


def test_a_plan_says_what_the_plan_command_says() -> None:
    from rimwise.exchange.case_records import case_record  # noqa: PLC0415
    from rimwise.journey import plan_of  # noqa: PLC0415

    values: dict[str, Any] = dict(values_of(PLAN_FORM, PLAN))
    planned = plan_job(values)
    entry = json.loads(planned.document)["results"][0]
    plan = plan_of(case_record({"code": "without code"} | values, "x")[0], None)
    assert plan.chosen
    assert entry["opening"]["best_diameter_mm"] == plan.chosen.best_mm
    assert entry["opening"]["p_complete"] == (
        None if plan.diameter_mm is None else plan.chosen.p_complete
    )
    assert planned.drawing
    assert planned.drawing.lstrip().startswith(b"<?xml")
    assert planned.budget
    assert len(planned.chances) >= 8


def test_a_refused_plan_has_no_drawing_and_says_why() -> None:
    planned = plan_job(values_of(PLAN_FORM, PLAN | {"age_years": ["6"]}))
    assert planned.headline.startswith("Refused")
    assert planned.drawing is None
    assert "child" in planned.rows[0][2]


def test_an_example_is_measured_as_the_command_measures_it() -> None:
    values, data = example_picture("easy")
    measured = measure_job(values, data, "invented eye")
    entry = json.loads(measured.document)["results"][0]
    assert entry["schema"] == "rimwise.cover/1"
    assert entry["status"] == measured.status
    truth = json.loads(
        (tree.SOURCE / "demo/pictures" / f"{EXAMPLES['easy'][1]}.truth.json").read_text("utf-8")
    )
    assert entry["side"] == tomllib.loads(
        (tree.SOURCE / "demo/pictures" / f"{EXAMPLES['easy'][1]}.toml").read_text("utf-8")
    )["side"]  # fmt: skip
    assert truth
    for hour, where, value in measured.by_hour:
        at_deg = int(where.partition("°")[0])
        assert at_deg == (90 - 30 * int(hour.split()[0])) % 360
        width = entry["cover"]["width_mm"][at_deg]
        assert value == "not seen" if width is None else f"{abs(width):.2f}" in value


@pytest.mark.parametrize("data", [b"", b"GIF89a", b"<svg/>", b"\x89PNG\r\n\x1a\n" + b"\0" * 99])
def test_what_is_no_picture_is_refused(data: bytes) -> None:
    with pytest.raises(WrongInput):
        measure_job({"side": "left", "optic_diameter_mm": 6.0}, data, "eye.png")


def _texts() -> list[str]:
    folder = tree.SOURCE / "web"
    paths = [path for path in folder.glob("*.py") if not path.stem.startswith("catalogue")]
    return [path.read_text("utf-8") for path in (*paths, *folder.rglob("*.html"))]


def _used_keys() -> set[str]:
    return set(re.findall(r"[\"']([a-z]+(?:\.[\w-]+)+)[\"']", "\n".join(_texts())))


def test_the_catalogue_holds_every_word_that_is_asked_for_and_no_other() -> None:
    asked = _used_keys()
    for form in FORMS:
        for group in form:
            asked.add(group.title)
            for field in group.fields:
                asked |= {f"field.{field.key}", *(word for _, word in field.choices)}
                asked |= {field.hint, field.missing} - {""}
    # Where a page picks one of several words by what is kept, all of them are asked for.
    picked = {
        start for text in _texts() for start in re.findall(r't\([\'"]([a-z.]+\.)[\'"] ~', text)
    }
    asked |= {key for key in TEXT if key.startswith(tuple(picked))}
    starts = {key.partition(".")[0] for key in TEXT}
    keys = {key for key in asked if key.partition(".")[0] in starts}
    files = re.compile(r"\.(html|css|js|svg|png|jpg|pdf|csv|json|jsonl|toml|py)$")
    missing = {k for k in keys - set(TEXT) if not files.search(k)}
    assert not {key for key in missing if not _is_field(key)}
    assert not set(TEXT) - asked


def _is_field(key: str) -> bool:
    return key in {field.key for form in FORMS for field in _fields(form)}


def test_no_page_holds_a_word_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    for key in TEXT:
        monkeypatch.setitem(TEXT, key, "·")
    frame = {
        "csrf": "c",
        "theatre": False,
        "path": "/",
        "back": "/",
        "filled": Filled({}, "·", "side"),
    }
    texts = [page("home.html", recent=(), examples={}, **frame), page("sentence.html", sentence="·",
             **frame)]  # fmt: skip
    texts += [page("measure.html", form=MEASURE_FORM, **frame)]
    texts += [page("plan.html", form=PLAN_FORM, **frame)]
    for text in texts:
        plain = re.sub(r"<[^>]*>", " ", text)
        for known in (*CAUTIONS, "mm", "dpt", "nm"):
            plain = plain.replace(known, " ")
        assert not re.findall(r"[A-Za-z]{2,}", plain)


def test_every_control_has_a_label() -> None:
    for template, form in (("measure.html", MEASURE_FORM), ("plan.html", PLAN_FORM)):
        text = page(
            template, csrf="c", theatre=False, path="/", back="/", form=form, filled=Filled()
        )
        labelled = set(re.findall(r'<label for="([^"]+)"', text))
        for tag in re.findall(r"<(?:input|select)\b[^>]*>", text):
            kind = re.search(r'type="(\w+)"', tag)
            if kind and kind[1] in {"hidden", "radio", "checkbox"}:
                continue
            name = re.search(r'\bid="([^"]+)"', tag)
            assert name
            assert name[1] in labelled or "aria-label=" in tag
        ids = re.findall(r'\bid="([^"]+)"', text)
        assert len(ids) == len(set(ids))


def test_the_server_loads_none_of_the_heavy_libraries() -> None:
    heavy = {"numpy", "scipy", "matplotlib", "cv2", "PIL", "numba"}
    for path in (tree.SOURCE / "web").glob("*.py"):
        for node in ast.walk(tree.parsed(path)):
            if isinstance(node, ast.Import):
                assert not heavy & {alias.name.partition(".")[0] for alias in node.names}
