"""An eye in words: the rows of the tables that ``rimwise eye`` prints."""

from rimwise.records.eye import Reflex
from rimwise.records.eye_description import EyeDescription, Pair
from rimwise.terms.frames import Side, nasal_superior

Row = tuple[str, str, str]

_LENS_WORDS = {"natural": "natural lens", "implant": "implant", "none": "no lens"}


def pair_words(pair: Pair, side: Side, unit: str, digits: int = 2) -> str:
    """How is a vector told: by its nasal or temporal and its superior or inferior part?

    Examples
    --------
    >>> pair_words((5.0, -1.0), "left", "°", 1), pair_words((0.12, 0.3), "right", "mm")
    ('5.0° temporal, 1.0° inferior', '0.12 mm nasal, 0.30 mm superior')
    """
    nasal, superior = nasal_superior(*pair, side)
    gap = "" if unit == "°" else " "
    across = "nasal" if nasal >= 0.0 else "temporal"
    up = "superior" if superior >= 0.0 else "inferior"
    return (
        f"{abs(nasal):.{digits}f}{gap}{unit} {across}, {abs(superior):.{digits}f}{gap}{unit} {up}"
    )


def cardinal_rows(told: EyeDescription) -> tuple[Row, ...]:
    """Which rows has the table of powers and cardinal points?

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.purkinje.describe import describe_eye
    >>> cardinal_rows(describe_eye("E-1", eye_record(Known("right"))))[0][1]
    'natural lens'
    """
    c = told.cardinal

    def depth(value: float) -> str:
        return f"{abs(value):.2f} mm {'behind' if value >= 0.0 else 'before'} the corneal front"

    lens = "none" if c.lens_power_dpt is None else f"{c.lens_power_dpt:.2f} dpt"
    refraction = "not known" if c.refraction_dpt is None else f"{c.refraction_dpt:+.2f} dpt"
    return (
        ("Lens in the eye", _LENS_WORDS[told.record.lens], ""),
        ("Power of the eye", f"{c.power_dpt:.2f} dpt", "equivalent, cylinder taken as its mean"),
        ("Power of the cornea", f"{c.corneal_power_dpt:.2f} dpt", "both surfaces"),
        ("Power of the lens", lens, "where it stands"),
        ("Refraction", refraction.replace("-", "−"), "at the corneal vertex"),
        ("Focal points", depth(c.front_focus_mm), depth(c.back_focus_mm)),
        ("Principal points", depth(c.front_principal_mm), depth(c.back_principal_mm)),
        ("Nodal points", depth(c.front_nodal_mm), depth(c.back_nodal_mm)),
        ("Entrance pupil", depth(c.entrance_pupil_mm), f"{c.entrance_pupil_size:.3f} × the pupil"),
        ("Exit pupil", depth(c.exit_pupil_mm), f"{c.exit_pupil_size:.3f} × the pupil"),
    )


def axis_rows(told: EyeDescription) -> tuple[Row, ...]:
    """Which rows has the table of axes, angles and chords?

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.purkinje.describe import describe_eye
    >>> axis_rows(describe_eye("E-1", eye_record(Known("right"))))[0][1]
    '5.0° nasal, 1.0° inferior'
    """
    side, a = told.record.side, told.axes

    def degrees(pair: Pair) -> str:
        return pair_words(pair, side, "°", 1)

    def mm(pair: Pair) -> str:
        return pair_words(pair, side, "mm")

    return (
        ("Visual axis", degrees(a.visual_deg), "from the corneal axis, in front of the eye"),
        ("Line of sight", degrees(a.line_of_sight_deg), "from the corneal axis"),
        ("Pupillary axis", degrees(a.pupillary_deg), "from the corneal axis"),
        ("Optical axis", degrees(a.optical_deg), "from the corneal axis"),
        ("Angle alpha", degrees(a.alpha_deg), "visual axis from optical axis"),
        ("Angle kappa", degrees(a.kappa_deg), "visual axis from pupillary axis"),
        ("Angle lambda", degrees(a.lambda_deg), "line of sight from pupillary axis"),
        ("Chord mu, apparent", mm(a.chord_mu_mm), "pupil centre from P1, as seen when fixating"),
        ("Chord mu, real", mm(a.chord_mu_real_mm), "the same without the cornea's enlargement"),
        ("Chord alpha", mm(a.chord_alpha_mm), "limbus centre from P1, as seen when fixating"),
    )


def reflex_rows(told: EyeDescription) -> tuple[tuple[str, ...], ...]:
    """Which rows has the table of predicted reflexes? See ``REFLEX_HEADER``.

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.purkinje.describe import describe_eye
    >>> reflex_rows(describe_eye("E-1", eye_record(Known("right"))))[0][4]
    'upright'
    """
    first = next(one for one in told.reflexes if one.name == "P1")
    return tuple(_reflex_row(told, one, first) for one in told.reflexes)


REFLEX_HEADER = ("reflex", "from P1", "depth", "size", "stands", "brightness", "seen")


def _reflex_row(told: EyeDescription, one: Reflex, first: Reflex) -> tuple[str, ...]:
    place = told.from_p1_mm(one)
    if place is None:
        return (one.name, "no path", "", "", "", "", one.status)
    return (
        one.name,
        "—" if one is first else pair_words(place, told.record.side, "mm"),
        f"{-one.image_mm[2]:.2f} mm",
        f"{abs(one.magnification / first.magnification):.2f} × P1",
        "upright" if one.upright else "inverted",
        f"{100.0 * one.light / first.light:.3g} % of P1",
        one.status,
    )


def assumption_rows(told: EyeDescription) -> tuple[Row, ...]:
    """Which rows has the list of assumptions: what, how much, and where from?

    Examples
    --------
    >>> from rimwise.eye.this_eye import Known, eye_record
    >>> from rimwise.purkinje.describe import describe_eye
    >>> assumption_rows(describe_eye("E-1", eye_record(Known("right"))))[0][0]
    'corneal power'
    """
    rows = []
    for one in told.record.assumptions:
        unit = "" if one.unit == "1" else f" {one.unit}"
        spread = "" if one.sd is None else f" ± {one.sd:.3g}"
        rows.append((one.what, f"{one.value:.4g}{spread}{unit}", f"{one.cite}; {one.status}"))
    return tuple(rows)
