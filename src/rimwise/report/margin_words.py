"""What spoils a plan first and how far each thing may go, in words."""

from rimwise.records.lens_power import BandSource
from rimwise.records.margin import Allowed, AllowedThing, BudgetSource, Margin
from rimwise.terms.units import percent

Row = tuple[str, str, str]

SOURCE_WORDS: dict[BudgetSource, str] = {
    "centring-scatter": "the surgeon's scatter of centring",
    "centring-bias": "the surgeon's bias of centring",
    "size-scatter": "the surgeon's scatter of size",
    "size-bias": "the surgeon's bias of size",
    "rest-scatter": "the scatter of the optic about its resting place",
    "target-from-rest": "the distance of the target from the resting place",
    "place-of-centre": "the uncertainty of where the centre lies",
}
BAND_WORDS: dict[BandSource, str] = {
    "lens-position": "the implant's position",
    "chamber-depth": "the chamber depth",
    "lens-thickness": "the lens thickness",
    "keratometry": "the keratometry",
    "posterior-cornea": "the back of the cornea",
    "corneal-thickness": "the corneal thickness",
    "axial-length": "the axial length",
    "refraction-itself": "the refraction itself",
}
_THINGS: dict[AllowedThing, str] = {
    "centring": "centring off by",
    "size": "opening larger by",
    "tilt": "implant tilted by",
    "rotation": "implant turned by",
    "implant-depth": "implant's depth off by",
    "axial-length": "axial length off by",
    "corneal-radius": "corneal radius off by",
}


def allowed_words(one: Allowed) -> str:
    """How is a limit written?

    Examples
    --------
    >>> allowed_words(Allowed("tilt", "refraction", 10.58, "deg"))
    'implant tilted by 10.6°'
    >>> allowed_words(Allowed("rotation", "refraction", 45.0, "deg", at_least=True))
    'implant turned by 45.0° and more'
    """
    size = f"{one.value:.1f}°" if one.unit == "deg" else f"{one.value:.2f} mm"
    return f"{_THINGS[one.thing]} {size}" + (" and more" if one.at_least else "")


def margin_rows(margin: Margin | None, least_cover_mm: float) -> list[Row]:
    """Which rows of a plan's table tell what spoils it first?

    Examples
    --------
    >>> from rimwise.records.lens_power import BandLine
    >>> margin = Margin(None, (), "exact trace", 21.0, (BandLine("axial-length", 0.2),), 0.5, ())
    >>> margin_rows(margin, 0.25)[0][:2]
    ('Spoils the refraction first', 'the axial length: ± 0.20 dpt')
    """
    if margin is None:
        return []
    return [*_cover_rows(margin), *_refraction_rows(margin), *_allowed_rows(margin, least_cover_mm)]


def _cover_rows(margin: Margin) -> list[Row]:
    weakest = next((c for c in margin.cover if c.source == margin.weakest_of_cover), None)
    if weakest is None or margin.p_complete is None:
        return []
    return [
        (
            "Spoils cover first",
            f"{SOURCE_WORDS[weakest.source]}: {weakest.size_mm:.2f} mm",
            f"complete cover {percent(margin.p_complete)} now, {percent(weakest.p_without)} "
            f"without it, {percent(weakest.p_doubled)} with twice as much",
        )
    ]


def _refraction_rows(margin: Margin) -> list[Row]:
    if not margin.refraction:
        return []
    first = margin.refraction[0]
    others = ", ".join(
        f"{BAND_WORDS[line.source]} {line.sd_dpt:.2f}" for line in margin.refraction[1:4]
    )
    return [
        (
            "Spoils the refraction first",
            f"{BAND_WORDS[first.source]}: ± {first.sd_dpt:.2f} dpt",
            f"by {margin.formula} at {margin.power_dpt:.1f} dpt"
            + (f"; then {others} dpt" if others else ""),
        )
    ]


def _allowed_rows(margin: Margin, least_cover_mm: float) -> list[Row]:
    """Return a row a target; what is lost already is said instead of a limit of nothing."""
    heads = {
        "complete-cover": "Until some part is bare",
        "least-cover": f"Until cover falls below {least_cover_mm:.2f} mm",
        "refraction": f"Until refraction is {margin.tolerance_dpt:.2f} dpt off",
    }
    rows = []
    for target, head in heads.items():
        limits = [one for one in margin.allowed if one.target == target]
        if limits and all(one.value == 0.0 for one in limits):
            rows.append((head, "nothing is left", "already so in the expected eye"))
        elif limits:
            words = ", ".join(allowed_words(one) for one in limits)
            rows.append((head, words, "each alone, everything else as expected; worst direction"))
    return rows
