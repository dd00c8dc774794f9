"""Everything public says what it answers; what a package offers others shows an example that runs.

A function that only its own package calls is shown by the function that calls it.
"""

import ast
from collections.abc import Iterator
from pathlib import Path
from typing import TypeGuard

import tree

# "module: name" -> why it shows no example.
_ONE_LINE = "one line; System and conic show it"
_A_RECORD = "a record; the function that makes it shows it"
_A_PICTURE = "needs a whole picture; measure_photograph shows what comes of it"
_A_COURSE = "needs pictures of one eye; tests/honest/test_follow_course.py shows it"
_A_PLAN = "needs a whole plan, which its layer cannot make; tests/steps shows it"
NO_EXAMPLE: dict[str, str] = {
    "audit.spread: OwnSpread": _A_RECORD,
    "eye.model: EyeModel": _A_RECORD,
    "optics.pose: as_matrix3": _ONE_LINE,
    "optics.pose: as_vec3": _ONE_LINE,
    "optics.surface: plane": _ONE_LINE,
    "optics.system: pass_through": _ONE_LINE,
    "optics.system: reflect": _ONE_LINE,
    "optics.system: refract": _ONE_LINE,
    "follow.make: follow_visits": _A_COURSE,
    "picture.implant_turn: implant_turn": _A_COURSE,
    "picture.registration: Registration": _A_RECORD,
    "picture.registration: register": _A_COURSE,
    "picture.pupil: find_pupil": _A_PICTURE,
    "picture.rim: find_rims": _A_PICTURE,
    "picture.seam: find_seams": _A_PICTURE,
    "picture.which_edge: which_edge": _A_PICTURE,
    "picture.marks: find_marks": _A_PICTURE,
    "picture.haptics: find_haptics": _A_PICTURE,
    "predict.looks: seen_pictures": "takes seconds; tests/steps/test_as_seen.py runs it",
    "records.as_seen: EdgeInPupil": _A_RECORD,
    "published.eyes: SchematicEye": _A_RECORD,
    "records.assumption: Assumption": _A_RECORD,
    "records.eye: EyeRecord": _A_RECORD,
    "records.healing: BareArc": _A_RECORD,
    "records.healing: Change": _A_RECORD,
    "records.healing: Healing": _A_RECORD,
    "records.healing: Visit": _A_RECORD,
    "records.lens_power: ExpectedRefraction": _A_RECORD,
    "records.lens_power: ToricPlan": _A_RECORD,
    "records.margin: Margin": _A_RECORD,
    "records.placement: Placement": _A_RECORD,
    "records.plan: Plan": _A_RECORD,
    "records.sight: ContrastCurve": _A_RECORD,
    "records.sight: Focusing": _A_RECORD,
    "records.sight: ImplantPlace": _A_RECORD,
    "records.sight: Lens": _A_RECORD,
    "records.sight: PupilComparison": _A_RECORD,
    "records.sight: PupilSight": _A_RECORD,
    "records.sight: Sight": _A_RECORD,
    "records.sight: Sensitivity": _A_RECORD,
    "records.sight: SightMap": _A_RECORD,
    "records.sight: Tolerance": _A_RECORD,
    "plan.formulas: Biometry": _A_RECORD,
    "plan.lens_series: LensSeries": _A_RECORD,
    "records.series: Audit": _A_RECORD,
    "records.series: Figure": _A_RECORD,
    "records.series: Series": _A_RECORD,
    "report.audit_drawing: draw_chart": "tests/shell/test_audit_command.py shows it",
    "report.audit_drawing: numbers_description": "tests/shell/test_audit_command.py shows it",
    "report.series_drawing: draw_funnel": "tests/shell/test_audit_report.py shows it",
    "report.margin_drawing: draw_margin": _A_PLAN,
    "report.plan_drawing: draw_plan": _A_PLAN,
    "report.plan_drawing: plan_description": _A_PLAN,
    "report.plan_words: judged_words": _A_PLAN,
    "report.plan_words: plan_table": _A_PLAN,
}


def _module(path: Path) -> str:
    return ".".join(path.relative_to(tree.SOURCE).with_suffix("").parts)


def _public(path: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef]:
    for node in tree.parsed(path).body:
        if isinstance(
            node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef
        ) and not node.name.startswith("_"):
            yield node


def _offered() -> set[str]:
    """Names that a module takes from another package, as "module: name"; tests do not count."""
    found = set()
    for path in tree.sources():
        own = path.relative_to(tree.SOURCE).parts[0]
        for node in ast.walk(tree.parsed(path)):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("rimwise."):
                module = str(node.module).removeprefix("rimwise.")
                if module.split(".")[0] != own:
                    found |= {f"{module}: {alias.name}" for alias in node.names}
    return found


def _only_fields(node: ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) -> bool:
    """Records, errors and protocols: their docstring and their fields say all there is."""
    if not isinstance(node, ast.ClassDef):
        return False
    bases = {ast.unparse(base) for base in node.bases}
    methods = [m for m in node.body if _is_function(m)]
    silent = all(m.name in {"__init__", "__post_init__"} or _is_property(m) for m in methods)
    shown = any(">>>" in (ast.get_docstring(m) or "") for m in methods)
    return silent or shown or bool(bases & {"Protocol", "Exception"})


def _is_function(node: ast.stmt) -> TypeGuard[ast.FunctionDef]:
    return isinstance(node, ast.FunctionDef)


def _is_property(node: ast.FunctionDef) -> bool:
    return "property" in {ast.unparse(d) for d in node.decorator_list}


def test_everything_public_has_a_docstring() -> None:
    bare = [
        f"{_module(path)}: {node.name}"
        for path in tree.sources()
        for node in _public(path)
        if not ast.get_docstring(node)
    ]
    assert not bare


def test_every_module_says_what_it_is_for() -> None:
    bare = [tree.name(path) for path in tree.sources() if not ast.get_docstring(tree.parsed(path))]
    assert not bare


def test_what_a_package_of_the_pure_core_offers_to_others_shows_an_example() -> None:
    without = _offered() & {
        f"{_module(path)}: {node.name}"
        for path in tree.pure_sources()
        for node in _public(path)
        if not _only_fields(node) and ">>>" not in (ast.get_docstring(node) or "")
    }
    unlisted = sorted(without - set(NO_EXAMPLE))
    assert not unlisted, "show an example, or write into NO_EXAMPLE why there can be none"
    assert set(NO_EXAMPLE) <= without, "a name in the list has an example now: take it out"
