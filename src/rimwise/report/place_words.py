"""A placement in words: the rows of its table."""

import math

from rimwise.geometry.arcs import arc_span_deg
from rimwise.records.placement import Placement, Rest, Spot
from rimwise.report.words import number_words, place_words
from rimwise.terms.frames import Side, direction_words
from rimwise.terms.units import deg_from_rad

Row = tuple[str, str, str]


def shift_words(to_mm: tuple[float, float], side: Side) -> str:
    """How is a shift of the optic told: how far, and towards where in this eye?

    Examples
    --------
    >>> shift_words((0.3, 0.0), "right"), shift_words((0.0, 0.0), "left")
    ('0.30 mm nasal', 'no shift')
    """
    length = math.hypot(*to_mm)
    if length < 0.005:
        return "no shift"
    angle = deg_from_rad(math.atan2(to_mm[1], to_mm[0]))
    return f"{length:.2f} mm {direction_words(angle, side)}"


def place_table(placement: Placement) -> list[Row]:
    """Which rows does the table of a placement have: label, value, note?

    Examples
    --------
    >>> place_table(Placement("eye.jpg", "right", "refused", ()))
    [('Place', 'refused', '')]
    """
    if placement.today is None or placement.now is None:
        return [("Place", "refused", " ".join(one.sentence for one in placement.reasons))]
    rows = [
        ("Now: least cover (capsule overlap)", *_spot_words(placement.now, placement)),
        *_today_rows(placement),
        *_trade_rows(placement),
        *_rest_rows(placement),
    ]
    if placement.turning is not None:
        turn = placement.turning
        value = "do not turn for cover" if turn.best_turn_deg is None else _turn(turn.best_turn_deg)
        rows.append(("Turning the implant", value, turn.sentence))
    return rows


def _at_most(placement: Placement) -> str:
    return "" if placement.status == "placed" else "at most "


def _spot_words(spot: Spot, placement: Placement) -> tuple[str, str]:
    value = f"{_at_most(placement)}{number_words(spot.least_cover_mm, None, 'mm')}"
    bare = sum(arc_span_deg(arc) for arc in spot.bare_arcs_deg)
    where = f"at {place_words(spot.at_deg, placement.side)}"
    return value, where if bare == 0.0 else f"{where}; bare over {bare:.0f}°"


def _today_rows(placement: Placement) -> list[Row]:
    today = placement.today
    assert today is not None
    margin = today.margin_mm
    rows = [
        (
            "Today it can be put: best centre of the optic",
            f"{shift_words(today.best.at_mm, placement.side)} (± {today.sd_mm:.2f} mm)",
            "from where it is now; greatest least cover",
        ),
        (
            "Least cover there (how far it may miss)",
            f"{_at_most(placement)}{number_words(margin.value, margin.sd, 'mm')}",
            f"{today.region_area_mm2:.2f} mm² of centres give complete cover",
        ),
    ]
    if today.least_bare is not None:
        bare = sum(arc_span_deg(arc) for arc in today.least_bare.bare_arcs_deg)
        rows.append(
            (
                "No position covers all round: least bare arc",
                f"{bare:.0f}°",
                f"with {shift_words(today.least_bare.at_mm, placement.side)} from now",
            )
        )
    return rows


def _trade_rows(placement: Placement) -> list[Row]:
    trade = placement.trade_off
    if trade is None:
        return [("Optic centred on the visual axis", "not known", "")]
    on, best = trade.curve[0], trade.curve[-1]
    return [
        (
            "Optic centred on the visual axis: least cover",
            f"{_at_most(placement)}{number_words(on.least_cover_mm, None, 'mm')}",
            f"the axis lies {best.from_visual_axis_mm:.2f} mm (± {trade.sd_mm:.2f}) from the best "
            f"centre; {trade.origin}",
        )
    ]


def _rest_rows(placement: Placement) -> list[Row]:
    rest = placement.rest
    if rest is None:
        return [("It will rest", "not known", "what can be done today is not what will stay")]
    return [
        (
            "It will rest: chance of complete cover",
            _chance_words(rest, placement),
            f"{shift_words(rest.mean_mm, placement.side)} from now, least cover there "
            f"{number_words(rest.least_cover_mm, None, 'mm')}; {rest.origin}",
        )
    ]


def _chance_words(rest: Rest, placement: Placement) -> str:
    if rest.p_complete is None:
        return "cannot be told"
    # At a visit the picture's own chance counts what was not seen already.
    bound = "" if rest.sd_mm == (0.0, 0.0) else _at_most(placement)
    if rest.p_complete > 0.999:
        return "cannot be told" if bound else "over 99.9 %"
    return f"{bound}{100.0 * rest.p_complete:.1f} %"


def _turn(turn_deg: float) -> str:
    sense = "counter-clockwise" if turn_deg >= 0.0 else "clockwise"
    return f"{abs(turn_deg):.0f}° {sense} as the examiner sees it"
