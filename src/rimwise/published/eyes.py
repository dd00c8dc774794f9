"""The published schematic eyes: prescriptions with a passport on every number, read once."""

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal, get_args

from rimwise.terms.errors import WrongInput
from rimwise.terms.source import PublishedValue, Source, Status

Role = Literal["cornea front", "cornea back", "lens front", "lens inner", "lens back"]
EYES = (
    "atchison2006",
    "bennett_rabbetts",
    "gullstrand1909",
    "gullstrand_emsley",
    "legrand",
    "liou_brennan1997",
    "navarro1985",
    "navarro1999",
)
_NUMBER = frozenset({"value", "per_dpt", "source"})


@dataclass(frozen=True, slots=True)
class Prescribed:
    """A published number that may change with the eye's refraction.

    Parameters
    ----------
    published : PublishedValue
        At refraction 0, with its passport.
    per_dpt : float
        Growth of the value for each dioptre of spectacle refraction; 0 where it stays.
    """

    published: PublishedValue
    per_dpt: float = 0.0

    def at(self, refraction_dpt: float) -> float:
        """Return the value in an eye of this refraction."""
        return self.published.value + self.per_dpt * refraction_dpt


@dataclass(frozen=True, slots=True)
class EyeSurface:
    """One surface of a schematic eye as the paper gives it.

    Parameters
    ----------
    role : str
        Which surface of an eye it is.
    depth : Prescribed
        From the corneal front, mm.
    radius, conic : Prescribed or None
        mm, positive where the centre lies towards the retina; None for a plane.
    index_behind : Prescribed or None
        Of a uniform medium behind it.
    gradient_behind : tuple of Prescribed
        n0, nz1, nz2, nr2 of the medium behind it, n = n0 + nz1 z + nz2 z² + nr2 r² with z in mm
        from this surface towards the retina; empty where the medium is uniform.
    """

    role: Role
    depth: Prescribed
    radius: Prescribed | None
    conic: Prescribed | None
    index_behind: Prescribed | None
    gradient_behind: tuple[Prescribed, ...]


@dataclass(frozen=True, slots=True)
class SchematicEye:
    """A published eye: surfaces from the cornea inwards, stop and retina by depth, mm."""

    key: str
    name: str
    valid: str
    refraction_limits_dpt: tuple[float, float]
    stop_depth: Prescribed
    retina_depth: Prescribed
    surfaces: tuple[EyeSurface, ...]

    def numbers(self) -> tuple[tuple[str, Prescribed], ...]:
        """Return every number of the prescription by name, for tables of sources."""
        found = [("stop depth, mm", self.stop_depth), ("retina depth, mm", self.retina_depth)]
        for surface in self.surfaces:
            named = (
                ("depth, mm", surface.depth),
                ("radius, mm", surface.radius),
                ("conic", surface.conic),
                ("index behind", surface.index_behind),
            )
            found += [(f"{surface.role} {what}", one) for what, one in named if one is not None]
            found += [(f"{surface.role} gradient", one) for one in surface.gradient_behind]
        return tuple(found)


@cache
def schematic_eye(key: str) -> SchematicEye:
    """What does the paper say of this schematic eye?

    Parameters
    ----------
    key : str
        One of ``EYES``.

    Raises
    ------
    WrongInput
        If there is no such eye.
    ValueError
        If a number of the package's own table lacks a part of its passport.

    Examples
    --------
    >>> eye = schematic_eye("liou_brennan1997")
    >>> eye.surfaces[0].radius.at(0.0), eye.retina_depth.published.source.status
    (7.77, 'published and read')
    """
    if key not in EYES:
        raise WrongInput(f"no schematic eye is called {key!r}; there are {', '.join(EYES)}")
    text = files("rimwise.published").joinpath("eyes", f"{key}.toml").read_text(encoding="utf-8")
    table = tomllib.loads(text)
    low, high = table.get("refraction_limits_dpt", (0.0, 0.0))
    read = _Reader(key, table)
    return SchematicEye(
        key=key,
        name=table["name"],
        valid=table["valid"],
        refraction_limits_dpt=(float(low), float(high)),
        stop_depth=read.number(table["stop_depth_mm"], "mm"),
        retina_depth=read.number(table["retina_depth_mm"], "mm"),
        surfaces=tuple(read.surface(entry) for entry in table["surfaces"]),
    )


class _Reader:
    """Turns the entries of one file into numbers with passports."""

    def __init__(self, key: str, table: dict[str, Any]) -> None:
        self.where = f"eyes/{key}.toml"
        self.valid = table["valid"]
        self.sd = None if table["sd"] == "not given" else float(table["sd"])
        self.sources = {name: self.source(name, entry) for name, entry in table["sources"].items()}

    def source(self, name: str, entry: dict[str, Any]) -> Source:
        if set(entry) != {"cite", "status"} or entry["status"] not in get_args(Status):
            raise ValueError(f"{self.where} [sources.{name}] needs a cite and a known status")
        return Source(entry["cite"], entry["status"])

    def number(self, entry: dict[str, Any], unit: str) -> Prescribed:
        if not {"value", "source"} <= set(entry) <= _NUMBER or entry["source"] not in self.sources:
            raise ValueError(f"{self.where}: {entry} needs a value and the name of a source")
        value, per_dpt = float(entry["value"]), float(entry.get("per_dpt", 0.0))
        if not (math.isfinite(value) and math.isfinite(per_dpt)):
            raise ValueError(f"{self.where}: {entry} is not finite")
        source = self.sources[entry["source"]]
        return Prescribed(PublishedValue(value, self.sd, unit, self.valid, source), per_dpt)

    def surface(self, entry: dict[str, Any]) -> EyeSurface:
        if entry["role"] not in get_args(Role):
            raise ValueError(f"{self.where}: {entry['role']!r} is no surface of an eye")

        def known(name: str, unit: str) -> Prescribed | None:
            return self.number(entry[name], unit) if name in entry else None

        gradient = tuple(self.number(one, "1") for one in entry.get("gradient_behind", ()))
        return EyeSurface(
            role=entry["role"],
            depth=self.number(entry["depth_mm"], "mm"),
            radius=known("radius_mm", "mm"),
            conic=known("conic", "1"),
            index_behind=known("index_behind", "1"),
            gradient_behind=gradient,
        )
