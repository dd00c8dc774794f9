"""A surgeon's series of operated eyes: one column a quantity, one row an eye."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from rimwise.terms.arrays import BoolArray, FloatArray, IntArray
from rimwise.terms.errors import WrongInput


@dataclass(frozen=True, slots=True, eq=False)
class Names:
    """A column of names: a number for each eye, and the names in order.

    Parameters
    ----------
    codes : array of int, shape (n,)
        -1 where the cell is empty.
    names : tuple of str
    """

    codes: IntArray
    names: tuple[str, ...]

    @classmethod
    def of(cls, cells: list[str | None]) -> "Names":
        """Return the column of these cells.

        Examples
        --------
        >>> Names.of(["b", None, "a"]).codes.tolist()
        [1, -1, 0]
        """
        names = tuple(sorted({cell for cell in cells if cell}))
        number = {name: index for index, name in enumerate(names)}
        codes = np.array([number[cell] if cell else -1 for cell in cells], dtype=np.int64)
        return cls(codes, names)

    def among(self, rows: BoolArray) -> "Names":
        """Return the rows asked for, under the same names."""
        return Names(self.codes[rows], self.names)

    def where(self, name: str) -> BoolArray:
        """Return which rows bear this name."""
        if name not in self.names:
            return np.zeros(len(self.codes), dtype=bool)
        return np.asarray(self.codes == self.names.index(name))


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Operated eyes as columns.

    Parameters
    ----------
    numbers : mapping of name to array, shape (n,)
        Named as in the sheets, units in the names; NaN where unknown.
    names : mapping of name to Names
        side, surgeon, technique, implant and the like.
    person : array of int, shape (n,)
        From 0, without gaps: who each eye belongs to.
    source : str
        Where the rows came from, for the page.
    strips_mm : array, shape (n, 360), or None
        Cover by anatomical direction (0° nasal, 90° superior); NaN where not seen.
    """

    numbers: Mapping[str, FloatArray]
    names: Mapping[str, Names]
    person: IntArray
    source: str = ""
    strips_mm: FloatArray | None = None

    def __post_init__(self) -> None:
        for name, column in self.numbers.items():
            if column.shape != self.person.shape:
                raise WrongInput(f"the column {name} has {len(column)} rows, not {len(self)}")

    def __len__(self) -> int:
        """Return the number of eyes."""
        return len(self.person)

    def number(self, name: str) -> FloatArray:
        """Return a column; NaN all over where the series has none of this name."""
        return self.numbers.get(name, np.full(len(self), np.nan))

    def has(self, *names: str) -> bool:
        """Return whether all these columns hold at least one number."""
        return all(bool(np.isfinite(self.number(name)).any()) for name in names)

    def among(self, rows: BoolArray) -> "Series":
        """Return the eyes asked for; persons are numbered anew without gaps."""
        there = np.bincount(self.person[rows], minlength=1) > 0
        person = (np.cumsum(there) - 1)[self.person[rows]]
        return Series(
            {name: column[rows] for name, column in self.numbers.items()},
            {name: column.among(rows) for name, column in self.names.items()},
            np.asarray(person, dtype=np.int64),
            self.source,
            None if self.strips_mm is None else self.strips_mm[rows],
        )


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of an audit with its interval, its count and how it was made.

    Parameters
    ----------
    name : str
        In plain words.
    value, low, high : float or None
        None where the series cannot tell.
    unit : str
        "mm", "dpt", "deg", "1" for a share, "logMAR".
    n : int
        Eyes behind it.
    count : int or None
        Of a share: how many; value = count / n.
    persons : int
    way : str
        How the interval was made.
    note : str
    """

    name: str
    value: float | None
    low: float | None
    high: float | None
    unit: str
    n: int
    persons: int
    way: str = ""
    count: int | None = None
    note: str = ""

    def document(self) -> dict[str, object]:
        """Return the entry of the audit's JSON."""
        return {
            "name": self.name,
            "value": self.value,
            "low": self.low,
            "high": self.high,
            "unit": self.unit,
            "n": self.n,
            "persons": self.persons,
            "count": self.count,
            "way": self.way,
            "note": self.note,
        }


@dataclass(frozen=True, slots=True)
class Ellipse:
    """An ellipse of an audit with what lies inside it."""

    kind: str
    center: tuple[float, float]
    semi_major: float
    semi_minor: float
    angle_deg: float
    level: float


@dataclass(frozen=True, slots=True)
class AuditPart:
    """One chapter of an audit: its figures, its clouds of points, and what it left out.

    Parameters
    ----------
    key, title : str
    figures : tuple of Figure
    ellipses : tuple of Ellipse
    cloud : tuple of (float, float)
        At most a few thousand points, for the drawing.
    left_out : tuple of str
        Which eyes are not in it and why.
    axes : (str, str)
        What the cloud's two directions are.
    """

    key: str
    title: str
    figures: tuple[Figure, ...]
    ellipses: tuple[Ellipse, ...] = ()
    cloud: tuple[tuple[float, float], ...] = ()
    left_out: tuple[str, ...] = ()
    axes: tuple[str, str] = ("", "")


@dataclass(frozen=True, slots=True)
class CoverStrips:
    """Cover by anatomical direction (0° nasal, 90° superior, 180° temporal) over a series.

    Parameters
    ----------
    eyes, persons : int
        With a strip.
    seen, bare : tuple of 360 int
        Eyes whose edge is seen there, and those bare there (empty where withheld).
    levels_mm : five rows of 360 numbers or None
        Below which lie 10, 25, 50, 75 and 90 % of the eyes seen there.
    lines_mm : rows of 360 numbers or None
        Single eyes, evenly picked where they are many, for the drawing.

    Examples
    --------
    >>> blank = (None,) * 360
    >>> len(CoverStrips(0, 0, (0,) * 360, (0,) * 360, (blank,) * 5, ()).rows())
    361
    """

    eyes: int
    persons: int
    seen: tuple[int, ...]
    bare: tuple[int, ...]
    levels_mm: tuple[tuple[float | None, ...], ...]
    lines_mm: tuple[tuple[float | None, ...], ...]

    def rows(self) -> list[tuple[str, ...]]:
        """Return the table: direction, eyes seen, bare, and the five levels."""
        head = ("direction_deg", "seen", "bare", "p10_mm", "p25_mm", "p50_mm", "p75_mm", "p90_mm")
        told = [
            (str(at), str(self.seen[at]), str(self.bare[at]) if self.bare else "",
             *("" if (one := row[at]) is None else f"{one:.4f}" for row in self.levels_mm))
            for at in range(360)
        ]  # fmt: skip
        return [head, *told]

    def document(self) -> dict[str, object]:
        """Return the entry of the audit's JSON, without single eyes."""
        return {
            "eyes": self.eyes,
            "persons": self.persons,
            "seen": list(self.seen),
            "bare": list(self.bare),
            "levels_percent": [10, 25, 50, 75, 90],
            "levels_mm": [list(row) for row in self.levels_mm],
        }


@dataclass(frozen=True, slots=True)
class FlowStep:
    """How many rows were left after a reason, and which reason it was."""

    reason: str
    rows_out: int
    rows_left: int


@dataclass(frozen=True, slots=True)
class Audit:
    """All that a series says: the record behind ``rimwise.audit/1``."""

    source: str
    eyes: int
    persons: int
    eyes_choice: str
    flow: tuple[FlowStep, ...]
    parts: tuple[AuditPart, ...]
    warnings: tuple[str, ...] = ()
    methods: str = ""
    inputs: tuple[tuple[str, str], ...] = field(default=())
    seed: int | None = None
    strips: CoverStrips | None = None

    def document(self) -> dict[str, object]:
        """Return the document ``rimwise.audit/1``."""
        return {
            "schema": "rimwise.audit/1",
            "source": self.source,
            "eyes": self.eyes,
            "persons": self.persons,
            "eyes_choice": self.eyes_choice,
            "flow": [
                {"reason": one.reason, "rows_out": one.rows_out, "rows_left": one.rows_left}
                for one in self.flow
            ],
            "parts": [
                {
                    "key": part.key,
                    "title": part.title,
                    "figures": [one.document() for one in part.figures],
                    "ellipses": [
                        {
                            "kind": one.kind,
                            "center": list(one.center),
                            "semi_major": one.semi_major,
                            "semi_minor": one.semi_minor,
                            "angle_deg": one.angle_deg,
                            "level": one.level,
                        }
                        for one in part.ellipses
                    ],
                    "left_out": list(part.left_out),
                }
                for part in self.parts
            ],
            "cover_strips": None if self.strips is None else self.strips.document(),
            "warnings": list(self.warnings),
            "methods": self.methods,
            "inputs": [{"name": name, "sha256": digest} for name, digest in self.inputs],
            "seed": self.seed,
        }
