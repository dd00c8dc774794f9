"""The very eye: what was measured, and published priors for the rest, each with its spread."""

import math
from dataclasses import replace

from rimwise.eye.biometry_checks import check_biometry, unusual
from rimwise.eye.implant import ImplantTerms, implant_shape
from rimwise.eye.known import Known
from rimwise.published.load import published_value
from rimwise.records.assumption import Assumption
from rimwise.records.eye import EyeRecord, ImplantShape
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import examiner_from_nasal_superior
from rimwise.terms.units import radius_mm_from_dpt

NUMBERS = (
    "front_flat_mm",
    "front_steep_mm",
    "front_conic",
    "back_flat_mm",
    "back_steep_mm",
    "back_conic",
    "ratio",
    "corneal_thickness_mm",
    "lens_front_depth_mm",
    "lens_thickness_mm",
    "lens_front_radius_mm",
    "lens_back_radius_mm",
    "lens_front_conic",
    "lens_back_conic",
    "lens_index",
    "implant_shape_factor",
    "implant_edge_mm",
    "axial_mm",
    "white_to_white_mm",
    "pupil_diameter_mm",
    "pupil_x_mm",
    "pupil_y_mm",
    "visual_x_deg",
    "visual_y_deg",
)


def eye_record(known: Known) -> EyeRecord:
    """Which eye is this, every assumed number listed with its spread?

    Raises
    ------
    WrongInput
        If the biometry is impossible: one sentence with field, value and what is allowed.

    Examples
    --------
    >>> from rimwise.records.picture import CorneaSheet
    >>> record = eye_record(Known("right", cornea=CorneaSheet(radius_mm=7.7), axial_mm=23.6))
    >>> record.value("front_flat_mm"), len(record.assumptions) > 10
    (7.7, True)
    """
    filled = _Filled(known)
    filled.cornea()
    filled.lens()
    filled.rest()
    shape = None
    if known.lens == "implant":
        shape = filled.implant()
    check_biometry(filled.numbers, known.lens)
    return EyeRecord(
        known.side,
        known.lens,
        filled.numbers,
        known.cornea.steep_axis_deg,
        shape,
        tuple(filled.assumptions),
        unusual(filled.numbers, known.lens),
    )


class _Filled:
    """Fills the numbers in, from what is known or else from the priors, and keeps the book."""

    def __init__(self, known: Known) -> None:
        self.known = known
        self.numbers: dict[str, Estimate] = {}
        self.assumptions: list[Assumption] = []

    def measured(self, name: str, value: float, instrument: str) -> None:
        sd = published_value("instruments", instrument).sd or 0.0
        self.numbers[name] = Estimate(float(value), sd, "measured")

    def assumed(self, name: str, what: str, key: tuple[str, str], factor: float = 1.0) -> None:
        """Take a prior; ``factor`` turns its unit or its direction."""
        published = published_value(*key)
        one = Assumption.of(what, published)
        self.assumptions.append(replace(one, value=one.value * factor))
        value = Estimate(published.value, published.sd or 0.0, "published prior")
        self.numbers[name] = value.times(factor)

    def cornea(self) -> None:
        sheet = self.known.cornea
        flat = sheet.radius_flat_mm if sheet.radius_mm is None else sheet.radius_mm
        steep = sheet.radius_steep_mm if sheet.radius_mm is None else sheet.radius_mm
        if flat is None or steep is None:
            self._prior_radius()
        else:
            self.measured("front_flat_mm", flat, "front_radius")
            self.measured("front_steep_mm", steep, "front_radius")
        if sheet.asphericity_q is None:
            key = ("eye_priors", "cornea_front_conic")
            self.assumed("front_conic", "asphericity of the corneal front", key)
        else:
            self.measured("front_conic", sheet.asphericity_q, "asphericity")
        if sheet.posterior_flat_mm is None or sheet.posterior_steep_mm is None:
            self._back_from_front()
        else:
            self.measured("back_flat_mm", sheet.posterior_flat_mm, "back_radius")
            self.measured("back_steep_mm", sheet.posterior_steep_mm, "back_radius")
        key = ("eye_priors", "cornea_back_conic")
        self.assumed("back_conic", "asphericity of the corneal back", key)
        if sheet.thickness_um is None:
            key = ("cornea", "thickness")
            self.assumed("corneal_thickness_mm", "corneal thickness", key)
        else:
            thickness = sheet.thickness_um / 1000.0
            self.measured("corneal_thickness_mm", thickness, "corneal_thickness")

    def _prior_radius(self) -> None:
        published = published_value("cornea", "mean_power")
        self.assumptions.append(Assumption.of("corneal power", published))
        index = published_value("cornea", "index_keratometric").value
        radius = radius_mm_from_dpt(published.value, index)
        spread = radius * (published.sd or 0.0) / published.value
        for name in ("front_flat_mm", "front_steep_mm"):
            self.numbers[name] = Estimate(radius, spread, "published prior")

    def _back_from_front(self) -> None:
        key = ("cornea", "back_to_front_radius")
        self.assumed("ratio", "ratio of back to front corneal radius", key)
        ratio = self.numbers["ratio"]
        for meridian in ("flat", "steep"):
            front = self.numbers[f"front_{meridian}_mm"].value
            value = Estimate(front * ratio.value, 0.0, "front radius times published ratio")
            self.numbers[f"back_{meridian}_mm"] = value

    def lens(self) -> None:
        known = self.known
        if known.lens == "none":
            return
        kind = known.lens
        if known.lens_front_depth_mm is None:
            key = ("lengths", f"lens_front_depth_{kind}")
            self.assumed("lens_front_depth_mm", f"depth of the front of the {kind} lens", key)
        else:
            self.measured("lens_front_depth_mm", known.lens_front_depth_mm, "chamber_depth")
        if known.gel:
            self._deepened()
        if kind == "implant":
            return
        if known.lens_thickness_mm is None:
            self.assumed("lens_thickness_mm", "lens thickness", ("lengths", "lens_thickness"))
        else:
            self.measured("lens_thickness_mm", known.lens_thickness_mm, "chamber_depth")
        age = self._age()
        for name, stem, what in (
            ("lens_front_radius_mm", "lens_front_radius", "front radius of the lens"),
            ("lens_back_radius_mm", "lens_back_radius", "back radius of the lens"),
            ("lens_index", "lens_index", "equivalent index of the lens"),
        ):
            self._by_age(name, stem, what, age)
        for name in ("lens_front_conic", "lens_back_conic"):
            which = name.split("_")[1]
            self.assumed(name, f"conic constant of the lens {which}", ("eye_priors", name))

    def _deepened(self) -> None:
        """Gel pushes the lens back by nobody knows how much: the depth is known less."""
        gel = published_value("eye_priors", "gel_deepens")
        self.assumptions.append(Assumption.of("gel deepens the chamber by", gel))
        depth = self.numbers["lens_front_depth_mm"]
        sd = math.hypot(depth.sd, gel.sd or 0.0)
        self.numbers["lens_front_depth_mm"] = replace(depth, value=depth.value + gel.value, sd=sd)

    def _age(self) -> Estimate:
        if self.known.age_years is not None:
            return Estimate(float(self.known.age_years), 0.0, "measured")
        published = published_value("eye_priors", "age_unknown")
        self.assumptions.append(Assumption.of("age in years", published))
        return Estimate(published.value, published.sd or 0.0, "published prior")

    def _by_age(self, name: str, stem: str, what: str, age: Estimate) -> None:
        born = published_value("eye_priors", f"{stem}_age_0")
        grows = published_value("eye_priors", f"{stem}_per_year")
        value = born.value + grows.value * age.value
        sd = math.hypot(born.sd or 0.0, grows.value * age.sd)
        one = Assumption.of(f"{what} at {age.value:g} years", born)
        self.assumptions.append(replace(one, value=value, sd=sd))
        self.numbers[name] = Estimate(value, sd, "published prior by age")

    def implant(self) -> ImplantShape:
        """Take the implant's terms, or generic ones; its shape follows from them."""
        terms, generic = self.known.implant, self.known.implant is None
        for name, what, key in (
            ("implant_power_dpt", "power of the implant", "implant_power"),
            ("lens_index", "index of the implant", "implant_index"),
            ("implant_shape_factor", "shape factor of the implant", "implant_shape_factor"),
            ("implant_edge_mm", "edge thickness of the implant", "implant_edge"),
            ("lens_front_conic", "conic constants of the implant", "implant_conic"),
            ("lens_back_conic", "conic constants of the implant", "implant_conic"),
        ):
            self.assumed(name, what, ("eye_priors", key))
        of = self.numbers
        power = of.pop("implant_power_dpt").value
        if terms is None:
            diameter = published_value("eye_priors", "implant_optic").value
            terms = ImplantTerms(power, of["lens_index"].value, diameter,
                                 of["implant_shape_factor"].value,
                                 of["implant_edge_mm"].value)  # fmt: skip
        if not generic:
            self._given(terms)
        shape = implant_shape(terms)
        back = 0.5 * (shape.back_radius_weak_mm + shape.back_radius_steep_mm)
        for name, value in (
            ("lens_thickness_mm", shape.thickness_mm),
            ("lens_front_radius_mm", shape.front_radius_mm),
            ("lens_back_radius_mm", back),
        ):
            of[name] = Estimate(value, 0.0, "implant's terms")
        of["lens_front_conic"] = replace(of["lens_front_conic"], value=shape.front_conic)
        of["lens_back_conic"] = replace(of["lens_back_conic"], value=shape.back_conic)
        return shape

    def _given(self, terms: ImplantTerms) -> None:
        """Centre the spreads on what is said of the implant; what was said is no assumption."""
        of = self.numbers
        of["implant_shape_factor"] = replace(of["implant_shape_factor"], value=terms.shape_factor)
        of["implant_edge_mm"] = replace(of["implant_edge_mm"], value=terms.edge_mm)
        of["lens_index"] = Estimate(terms.index, 0.0, "implant's terms")
        said = ["power of the implant", "index of the implant"]
        if terms.spherical_aberration_um is not None:
            said.append("conic constants of the implant")
        self.assumptions = [one for one in self.assumptions if one.what not in said]

    def rest(self) -> None:
        known = self.known
        for name, value, what, key in (
            ("axial_mm", known.axial_mm, "axial length", ("lengths", "axial")),
            (
                "white_to_white_mm",
                known.white_to_white_mm,
                "white-to-white",
                ("lengths", "white_to_white"),
            ),
            (
                "pupil_diameter_mm",
                known.pupil_diameter_mm,
                "pupil diameter",
                ("eye_priors", "pupil_photopic"),
            ),
        ):
            if value is None:
                self.assumed(name, what, key)
            else:
                self.measured(name, value, "chamber_depth")
        nasal = examiner_from_nasal_superior(1.0, 0.0, known.side)[0]
        centres, priors = "centres", "eye_priors"
        self.assumed("pupil_x_mm", "pupil centre from limbus centre, along +x",
                     (centres, "pupil_from_limbus_nasal"), nasal)  # fmt: skip
        self.assumed("pupil_y_mm", "pupil centre from limbus centre, upwards",
                     (centres, "pupil_from_limbus_superior"))  # fmt: skip
        self.assumed("visual_x_deg", "visual axis from corneal axis, along +x",
                     (priors, "visual_axis_nasal"), nasal)  # fmt: skip
        self.assumed("visual_y_deg", "visual axis from corneal axis, upwards",
                     (priors, "visual_axis_superior"))  # fmt: skip
