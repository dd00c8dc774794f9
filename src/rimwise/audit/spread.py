"""A surgeon's own bias and scatter, ready for the next plan."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from rimwise.audit.chapters import known
from rimwise.published.load import published_value
from rimwise.records.case import Spread
from rimwise.records.series import Series
from rimwise.stats.clustered import count_persons
from rimwise.terms.arrays import BoolArray, FloatArray, IntArray
from rimwise.terms.errors import MeasurementRefused, WrongInput

FEWEST = 10  # fewer eyes say less about a hand than the published spread does
_PRIOR_EYES = 10.0  # the published scatter counts as much as so many own eyes (own choice)
Hand = Literal["manual", "guided"]


@dataclass(frozen=True, slots=True)
class OwnComponent:
    """One component's bias and scatter, and what was done to get it.

    Parameters
    ----------
    bias, bias_sd : float
        Mean and its own sd, after shrinking.
    sd : float
        Scatter from eye to eye without the measurement's own, after shrinking.
    seen_sd : float
        As it stands in the table.
    measurement_sd : float
        Root mean square of the measurement's own sd that was taken off.
    shrunk : float
        Share of the published value in the result, 0 to 1.
    eyes : int
    """

    bias: float
    bias_sd: float
    sd: float
    seen_sd: float
    measurement_sd: float
    shrunk: float
    eyes: int


@dataclass(frozen=True, slots=True)
class OwnSpread:
    """What a series says about a hand: the record behind ``rimwise.spread/1``."""

    technique: str
    eyes: int
    nasal: OwnComponent
    superior: OwnComponent
    diameter: OwnComponent
    rest: tuple[OwnComponent, OwnComponent] | None
    rest_prior_sd_mm: float
    visual_axis: tuple[OwnComponent, OwnComponent] | None
    prior: str
    notes: tuple[str, ...]

    def spread(self) -> Spread:
        """Return it as plan takes it."""
        rest = self.rest
        rest_sd = (
            (self.rest_prior_sd_mm, self.rest_prior_sd_mm)
            if rest is None
            else (rest[0].sd, rest[1].sd)
        )
        return Spread(
            opening_from_target_bias_mm=(self.nasal.bias, self.superior.bias),
            opening_from_target_sd_mm=(self.nasal.sd, self.superior.sd),
            diameter_bias_mm=self.diameter.bias,
            diameter_sd_mm=self.diameter.sd,
            optic_from_rest_sd_mm=rest_sd,
            origin=f"own series of {self.eyes} eyes, {self.technique}",
        )


def hand_named(told: str) -> Hand:
    """Which published spread is meant?

    Examples
    --------
    >>> hand_named("guided")
    'guided'
    """
    if told == "manual":
        return "manual"
    if told == "guided":
        return "guided"
    raise WrongInput(f"hand {told!r} is neither manual nor guided")


def own_component(
    values: FloatArray, measurement_sd: FloatArray, prior_sd: float, person: IntArray
) -> OwnComponent:
    """What are bias and true scatter of a hand in one direction?

    The measurement's own variance is taken off what is seen; the rest is drawn towards the
    published scatter by as much as the series is small.

    Parameters
    ----------
    values, measurement_sd : array, shape (n,)
        Same unit.
    prior_sd : float
        Published scatter; the prior's mean is 0.
    person : array of int

    Notes
    -----
    Scatter: (n (s² - m²) + k p²) / (n + k), s seen, m measurement, p published, k = 10 eyes' worth
    of the published scatter. Bias: weighted by its own variance against the published scatter
    (normal theory, own derivation; simulated in the tests).

    Examples
    --------
    >>> rng = np.random.default_rng(2)
    >>> seen = 0.1 + rng.normal(0, 0.2, 400) + rng.normal(0, 0.05, 400)
    >>> one = own_component(seen, np.full(400, 0.05), 0.2, np.arange(400))
    >>> abs(one.bias - 0.1) < 0.03, abs(one.sd - 0.2) < 0.03
    (True, True)
    """
    n = len(values)
    persons = count_persons(person)
    seen2, taken2 = float(values.var(ddof=1)), float((measurement_sd**2).mean())
    # Never below nothing: a sample may scatter less than its measurement.
    own2 = max(seen2 - taken2, 0.0)
    weight = _PRIOR_EYES / (n + _PRIOR_EYES)
    sd2 = (1.0 - weight) * own2 + weight * prior_sd**2
    mean, error2 = float(values.mean()), seen2 / persons
    pull = error2 / (error2 + prior_sd**2)
    return OwnComponent(
        bias=(1.0 - pull) * mean,
        bias_sd=math.sqrt(error2 * (1.0 - pull)),
        sd=math.sqrt(sd2),
        seen_sd=math.sqrt(seen2),
        measurement_sd=math.sqrt(taken2),
        shrunk=weight,
        eyes=n,
    )


def own_spread(series: Series, technique: str, hand: Hand = "manual") -> OwnSpread:
    """Which bias and scatter of size and centring does this series show?

    Parameters
    ----------
    series : Series
        Of one surgeon and one technique.
    technique : str
        For the record.
    hand : "manual" or "guided"
        Which published spread a small series is drawn towards.

    Raises
    ------
    MeasurementRefused
        Fewer than ten eyes, or no distance from the target in the table.

    Examples
    --------
    >>> rng = np.random.default_rng(7)
    >>> columns = {f"opening_from_target_{way}_mm": rng.normal(0.1, 0.2, 90) for way in
    ...     ("nasal", "superior")}
    >>> columns |= {"diameter_mm": rng.normal(5.2, 0.1, 90), "target_diameter_mm": np.full(90, 5.2)}
    >>> own_spread(Series(columns, {}, np.arange(90)), "manual").spread().origin
    'own series of 90 eyes, manual'
    """
    pair = _pair(series)
    nasal, superior = series.number(f"{pair}_nasal_mm"), series.number(f"{pair}_superior_mm")
    made, wanted = series.number("diameter_mm"), series.number("target_diameter_mm")
    rows, sized = known(nasal, superior), known(made, wanted)
    if min(int(rows.sum()), int(sized.sum())) < FEWEST:
        raise MeasurementRefused(
            "few-eyes",
            f"a spread needs at least {FEWEST} eyes with the opening's distance from its target "
            f"and with made and wanted diameter, got {int(rows.sum())} and {int(sized.sum())}; "
            "plan with the published spread until then",
        )
    centring = published_value("spreads", f"{hand}_centring").sd or 0.0
    size = published_value("spreads", f"{hand}_diameter").sd or 0.0
    sd = np.nan_to_num(series.number("centre_sd_mm"), nan=0.0)
    size_sd = np.nan_to_num(series.number("diameter_sd_mm"), nan=0.0)
    people = series.person
    axis, why = _from_visual_axis(series, sd)
    return OwnSpread(
        technique=technique,
        eyes=int(rows.sum()),
        nasal=own_component(nasal[rows], sd[rows], centring, people[rows]),
        superior=own_component(superior[rows], sd[rows], centring, people[rows]),
        diameter=own_component((made - wanted)[sized], size_sd[sized], size, people[sized]),
        rest=_rest(series, sd),
        rest_prior_sd_mm=published_value("spreads", "optic_from_rest").sd or 0.0,
        visual_axis=axis,
        prior=published_value("spreads", f"{hand}_centring").source.cite,
        notes=_notes(series, rows, sized) + why,
    )


def _pair(series: Series) -> str:
    if series.has("opening_from_target_nasal_mm", "opening_from_target_superior_mm"):
        return "opening_from_target"
    raise MeasurementRefused(
        "no-target",
        "a spread needs the opening's distance from its target (opening_from_target_nasal_mm and "
        "_superior_mm); a distance from the optic mixes the hand with where the optic rests",
    )


def _rest(series: Series, sd: FloatArray) -> tuple[OwnComponent, OwnComponent] | None:
    nasal = series.number("optic_from_rest_nasal_mm")
    superior = series.number("optic_from_rest_superior_mm")
    rows = known(nasal, superior)
    if int(rows.sum()) < FEWEST:
        return None
    prior = published_value("spreads", "optic_from_rest").sd or 0.0
    person = series.person[rows]
    return (
        own_component(nasal[rows], sd[rows], prior, person),
        own_component(superior[rows], sd[rows], prior, person),
    )


def _from_visual_axis(
    series: Series, sd: FloatArray
) -> tuple[tuple[OwnComponent, OwnComponent] | None, tuple[str, ...]]:
    """Bias to the visual axis, from eyes that fixated or have a registered reference alone."""
    nasal = series.number("opening_from_visual_axis_nasal_mm")
    superior = series.number("opening_from_visual_axis_superior_mm")
    rows = known(nasal, superior)
    if not rows.any():
        return None, ()
    fixation = series.names.get("fixation")
    stands = np.zeros(len(series), dtype=bool)
    if fixation is not None:
        stands = fixation.where("confirmed") | fixation.where("reference")
    kept = rows & stands
    if int(kept.sum()) < FEWEST:
        return None, (
            f"no bias to the visual axis: {int(kept.sum())} of {int(rows.sum())} eyes have P1 "
            f"under confirmed fixation or a registered reference (column fixation), and {FEWEST} "
            "are needed",
        )
    prior = published_value("spreads", "manual_centring").sd or 0.0
    person = series.person[kept]
    return (
        own_component(nasal[kept], sd[kept], prior, person),
        own_component(superior[kept], sd[kept], prior, person),
    ), ()


def _notes(series: Series, rows: BoolArray, sized: BoolArray) -> tuple[str, ...]:
    notes = []
    if not np.isfinite(series.number("centre_sd_mm")[rows]).all():
        notes.append(
            "some eyes lack the ± of their centre (centre_sd_mm): nothing was taken off for them, "
            "and the scatter is told a little too wide"
        )
    if not np.isfinite(series.number("diameter_sd_mm")[sized]).all():
        notes.append(
            "some eyes lack the ± of their diameter (diameter_sd_mm): nothing was taken off"
        )
    return tuple(notes)
