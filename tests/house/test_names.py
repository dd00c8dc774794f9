"""Names say the thing, one word for one idea, and every bare number's name wears its unit."""

import ast
import re
from pathlib import Path

import tree

# Method names that a library calls: SQLAlchemy's types.
ASKED_BY_A_LIBRARY = {"process_bind_param", "process_result_value"}
BANNED = {"utils", "util", "helper", "helpers", "manager", "process", "data2", "misc"}

UNITS = (
    "_mm",
    "_um",
    "_nm",
    "_rad",
    "_deg",
    "_arcmin",
    "_dpt",
    "_px",
    "_mm2",
    "_per_mm3",
    "_px2",
    "_percent",
    "_years",
    "_day",
    "_s",
    "_px_per_mm",
    "_mm_per_deg",
    "_pt",
    "_cpd",
)
# Field name -> why a float of this name wears no unit. Besides: index_... and ..._index are
# refractive indices, ..._conic conic constants, p_... probabilities.
UNITLESS = {
    "relative_sd": "a share of the scale",
    "inward_share": "a length over the rim's radius",
    "out_share": "a length over the rim's radius",
    "misfit": "squared residuals over their expected size",
    "value": "the unit is worn by the field that holds the estimate",
    "parts": "each in the unit that its record names",
    "sd": "the unit is worn by the field that holds the estimate",
    "px": "the name is the unit",
    "mm": "the name is the unit",
    "px_per_mm": "the name is the unit",
    "pattern_size": "a distance over the one foretold",
    "index": "a refractive index has no unit",
    "asphericity_q": "a pure number",
    "conic_x": "a pure number",
    "front_conic": "a pure number",
    "back_conic": "a pure number",
    "p_fit": "a probability",
    "entrance_pupil_size": "a ratio",
    "exit_pupil_size": "a ratio",
    "conic_y": "a pure number",
    "coefficients": "each has its own power of the unit, said in the docstring",
    "terms": "each has its own power of the unit, said in the docstring",
    "back_to_front": "a ratio",
    "magnification": "a ratio",
    "kept": "a share of a path",
    "kept_green": "a share of a path",
    "light": "a share of the light",
    "share": "a share of the lens thickness",
    "acuity_logmar": "the name is the scale",
    "limits": "shares of eyes",
    "target": "a share of eyes",
    "share_here": "a share of the light",
    "share_ideal": "a share of the light",
    "inside_95": "a share of drawn eyes",
    "factor": "a ratio",
    "factor_sd": "a ratio",
    "stretch_ratio": "a ratio",
    "stretch_ratio_sd": "a ratio",
    "shape_factor": "a ratio",
    "likeness": "a pure number that ranks candidates",
    "quality": "a pure number that ranks candidates",
    "values": "each has its own unit, worn by its name in the sheet",
    "votes": "a count",
    "contrast": "a ratio",
    "transmission": "a ratio",
    "gain": "a difference of probabilities",
    "chi2": "a pure number",
    "covariance": "each entry has its own unit, said in the docstring",
    "circularity": "a pure number",
    "slope_x": "a slope",
    "slope_y": "a slope",
    "factors": "ratios of units",
    "size": "a ratio",
    "size_sd": "a ratio",
    "height": "a ratio",
    "small": "a ratio",
    "level": "in noise levels",
    "grey": "of 255, as the pictures' pixels are",
    "off": "in sds",
    "worth": "a pure number that ranks candidates",
    "score": "a pure number that ranks candidates",
    "efficiency": "a share of the light",
    "strength": "in noise levels",
    "lead": "a ratio of strengths",
    "noise": "of log brightness",
    "unbroken": "a share of the way",
    "waver": "a pure number: scatter in its usual size",
    "weights": "shares of the light",
    "tangential": "a contrast, 0 to 1",
    "sagittal": "a contrast, 0 to 1",
    "visual_strehl": "a ratio",
    "contrast_lost": "a difference of contrasts",
    "loss": "a difference of contrasts",
    "opacification_score": "a pure number, 0 to 4",
    "inner": "logarithms of grey values",
    "outer": "logarithms of grey values",
    "mean": "each entry has its own unit, said in the docstring",
    "clock_hour": "hours of the clock are named in words",
    "at_deg": "wears its unit already",
}
# Record -> why its floats wear no unit each.
UNIT_IN_THE_RECORD = {
    "EllipsePx": "the record's name wears the unit",
    "SightMap": "the unit stands in the record",
    "Tolerance": "the unit stands in the record",
    "NumberColumn": "the column's name wears the unit",
    "Difference": "the unit stands in the record",
    "LearningChart": "sums are in standard deviations, the rest in the unit of the record",
    "Figure": "the unit stands in the record",
    "Ellipse": "in the unit of its chapter's axes",
    "AuditPart": "in the unit that its axes name",
    "Audit": "counts and shares; each figure names its unit",
    "BareArc": "its growth is in degrees a month, which its name says",
    "OwnComponent": "mm; centring and size share one record",
}
# Package -> why its records wear no units.
UNIT_OF_THE_CALLER = {
    "geometry": "plane curves in whatever unit they came in",
    "stats": "laws of chance in whatever unit they came in",
}


def _floats(annotation: ast.expr) -> bool:
    return bool(re.search(r"\b(float|Estimate)\b", ast.unparse(annotation)))


def _record_fields(path: Path) -> list[tuple[str, str]]:
    found = []
    for node in ast.walk(tree.parsed(path)):
        if not isinstance(node, ast.ClassDef) or node.name in UNIT_IN_THE_RECORD:
            continue
        # Settings are weights and thresholds of one algorithm, each with its reason beside it.
        if node.name.startswith("_") or node.name.endswith("Settings"):
            continue
        if not any("dataclass" in ast.unparse(d) for d in node.decorator_list):
            continue
        for item in node.body:
            if (
                isinstance(item, ast.AnnAssign)
                and isinstance(item.target, ast.Name)
                and _floats(item.annotation)
                and not ast.unparse(item.annotation).startswith("dict")
            ):
                found.append((node.name, item.target.id))
    return found


def test_every_number_in_a_record_wears_its_unit() -> None:
    # The renderer's records hold colours and strengths of invented pictures; the rest is measured.
    bare = [
        f"{tree.name(path)}: {record}.{field}"
        for path in tree.pure_sources()
        if path.relative_to(tree.SOURCE).parts[0] not in UNIT_OF_THE_CALLER
        for record, field in _record_fields(path)
        if not field.endswith((*UNITS, "_index", "_conic"))
        and not field.startswith(("index_", "p_"))
        and field not in UNITLESS
    ]
    assert not bare, "give the name its unit, or write into UNITLESS why it has none"


def _words(identifier: str) -> set[str]:
    spaced = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", identifier)
    return set(spaced.lower().split("_"))


def _identifiers(path: Path) -> set[str]:
    names = {path.stem}
    for node in ast.walk(tree.parsed(path)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.arg):
            names.add(node.arg)
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            names.add(node.id)
    return names


def test_no_name_is_a_word_that_says_nothing() -> None:
    found = [
        f"{tree.name(path)}: {identifier}"
        for path in tree.sources()
        for identifier in _identifiers(path)
        if _words(identifier) & BANNED and identifier not in ASKED_BY_A_LIBRARY
    ]
    assert not found


def test_one_word_for_one_idea() -> None:
    """The third column of docs/words.md holds the words that names in the code do not use."""
    rows = re.findall(r"^\| ([^|]+) \| [^|]+ \| ?([^|]*) ?\|$", tree.text("docs/words.md"), re.M)
    banned = {
        other.strip(): word.strip()
        for word, others in rows
        if word.strip() not in {"word", "---"}
        for other in others.split(",")
        if other.strip()
    }
    assert len(banned) >= 10, "the table of docs/words.md was not understood"
    found = [
        f"{tree.name(path)}: {identifier} (say {banned[word]})"
        for path in tree.sources()
        for identifier in sorted(_identifiers(path))
        for word in _words(identifier) & set(banned)
    ]
    assert not found
