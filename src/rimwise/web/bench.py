"""A photograph under the hands: what the page draws of it, and what a correction makes of it.

The answers are plain numbers and words, so that the server itself never loads the heavy libraries.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rimwise.web.catalogue import TEXT
from rimwise.web.jobs import picture_sheet
from rimwise.web.masked import Task

if TYPE_CHECKING:
    from rimwise.records.corrections import Corrections
    from rimwise.records.cover import CoverFinding, FoundCurves

WIDEST_SHOWN_PX = 2600  # finer than any screen at twice its size, and a tenth of the bytes
# Beginnings of the rows that stay in sight while hands work.
GLANCE = ("Least cover (", "Complete cover", "Opening (capsulotomy) diameter", "Opening centroid")
Answer = dict[str, Any]
_POINTS = (
    "opening_px",
    "optic_px",
    "hidden_opening_deg",
    "hidden_optic_deg",
    "haptic_px",
    "p1_px",
    "swap",
)


@dataclass(slots=True)
class Bench:
    """One photograph in work.

    Parameters
    ----------
    name : str
        The picture's, for the eyes only.
    values : mapping
        Keys of the picture sheet it was measured with.
    entry : mapping
        Its newest ``rimwise.cover/1``.
    data : bytes or None
        The whole file; None where the casebook keeps it.
    eye : str or None
        Of which eye of the casebook it is.
    version : int
        The version that ``entry`` is, 0 before it was saved.
    shown : ShownPicture or None
        Made when it is first asked for.
    task : Task or None
        Of a masked reader, who sees no numbers.
    """

    name: str
    values: Mapping[str, object]
    entry: Mapping[str, Any]
    data: bytes | None
    eye: str | None = None
    version: int = 0
    shown: "ShownPicture | None" = None
    task: Task | None = None

    @property
    def held_bytes(self) -> int:
        """Return how much memory the pictures take."""
        shown = 0 if self.shown is None else len(self.shown.jpeg)
        return shown + len(self.data or b"")

    @property
    def sha256(self) -> str:
        """Return the hash of the picture's file."""
        return str(self.entry["sha256"])


@dataclass(frozen=True, slots=True)
class ShownPicture:
    """The stored pixels as a browser shows them, without the orientation tag, and what it was."""

    jpeg: bytes
    width_px: int
    height_px: int
    orientation: int


def picture_job(data: bytes, name: str) -> ShownPicture:
    """How is this photograph shown under its curves?

    Raises
    ------
    WrongInput
        The bytes are no picture.
    """
    import io  # noqa: PLC0415

    from PIL import Image  # noqa: PLC0415

    from rimwise.exchange.pictures import picture_from_bytes  # noqa: PLC0415

    raster = picture_from_bytes(data, name).raster
    image = Image.fromarray(raster.pixels)
    image.thumbnail((WIDEST_SHOWN_PX, WIDEST_SHOWN_PX))
    sink = io.BytesIO()
    image.save(sink, "JPEG", quality=88)
    return ShownPicture(sink.getvalue(), raster.width_px, raster.height_px, raster.orientation)


def numbers_job(
    entry: Mapping[str, Any], values: Mapping[str, object], told: Mapping[str, object]
) -> Answer:
    """What do the numbers become with these points?

    Raises
    ------
    WrongInput
        The finding keeps no curves, or a point is no number.
    """
    from rimwise.exchange.results_reading import cover_finding_from_document  # noqa: PLC0415
    from rimwise.journey import corrected_finding  # noqa: PLC0415

    finding = cover_finding_from_document(entry)
    return _shown(
        corrected_finding(
            finding, picture_sheet({"side": finding.side} | dict(values)), corrections_told(told)
        )
    )


def shown_job(entry: Mapping[str, Any]) -> Answer:
    """How is a finding drawn, as it was kept?"""
    import rimwise.measure.correct  # noqa: F401, PLC0415 - loaded now, so that the first drag is not late
    from rimwise.exchange.results_reading import cover_finding_from_document  # noqa: PLC0415

    return _shown(cover_finding_from_document(entry))


def corrected_job(
    entry: Mapping[str, Any],
    values: Mapping[str, object],
    told: Mapping[str, object],
    data: bytes,
) -> Answer:
    """Which document is kept of a correction, the rear capsule graded anew?"""
    from rimwise.exchange.pictures import picture_from_bytes  # noqa: PLC0415
    from rimwise.exchange.results import cover_document  # noqa: PLC0415
    from rimwise.exchange.results_reading import cover_finding_from_document  # noqa: PLC0415
    from rimwise.journey import corrected_finding  # noqa: PLC0415

    finding = cover_finding_from_document(entry)
    raster = picture_from_bytes(data, finding.picture).raster
    new = corrected_finding(
        finding,
        picture_sheet({"side": finding.side} | dict(values)),
        corrections_told(told),
        raster,
    )
    return cover_document(new)


def masked(answer: Answer) -> Answer:
    """What of an answer does a masked reader see? Curves and what is missing, no number.

    Examples
    --------
    >>> masked({"status": "measured", "headline": "0.3 mm", "reasons": ["x"], "rows": [1],
    ...         "glance": [1], "by_hour": [("12", "90°, up", "0.3")], "width_mm": [0.3],
    ...         "sd_mm": [0.1], "least": 1})["by_hour"]
    [('12', '90°, up', '')]
    """
    refused = answer["status"] == "refused"
    return answer | {
        "headline": TEXT["masked.more" if refused else "masked.ready"],
        "reasons": answer["reasons"] if refused else (),
        "rows": (),
        "glance": (),
        "by_hour": [(hour, where, "") for hour, where, _ in answer["by_hour"]],
        "width_mm": None,
        "sd_mm": None,
        "least": None,
    }


def told_of(entry: Mapping[str, Any]) -> Answer:
    """Which points and arcs does a finding rest on?

    Examples
    --------
    >>> told_of({"correction": None})["opening_px"]
    []
    """
    told = (entry.get("correction") or {}).get("told") or {}
    blank: Answer = {name: [] for name in _POINTS[:-1]} | {"swap": False}
    return {name: told.get(name, blank[name]) for name in _POINTS}


def corrections_told(told: Mapping[str, object]) -> "Corrections":
    """Which corrections did a page send? None of them is no error here."""
    from rimwise.exchange.points import corrections_of  # noqa: PLC0415
    from rimwise.records.corrections import Corrections  # noqa: PLC0415

    if not any(told.get(name) for name in _POINTS):
        return Corrections()
    return corrections_of(told, "the page")


def _shown(finding: "CoverFinding") -> Answer:
    from rimwise.measure.visibility import visibility  # noqa: PLC0415
    from rimwise.report.words import cover_rows, headline, reason_sentences  # noqa: PLC0415
    from rimwise.web.jobs import lines_by_hour, table_lines  # noqa: PLC0415

    cover, scale = finding.cover, finding.scale
    rows = table_lines(cover_rows(finding)[1:])
    return {
        "status": finding.status,
        "headline": headline(finding),
        "reasons": reason_sentences(finding),
        "rows": rows,
        "glance": [row for start in GLANCE for row in rows if row[0].startswith(start)],
        "by_hour": lines_by_hour(finding),
        "px_per_mm": None if scale is None else scale.px_per_mm.value,
        "width_mm": None if cover is None else cover.width_mm,
        "sd_mm": None if cover is None else cover.sd_mm,
        "least": None if cover is None or cover.min_mm is None
        else {"value": cover.min_mm.value, "sd": cover.min_mm.sd, "at_deg": cover.min_mm.at_deg},
        "curves": None if finding.curves is None else _drawn(finding.curves),
        "seen": visibility(finding.curves),
    }  # fmt: skip


def _drawn(curves: "FoundCurves") -> Answer:
    """Return the curves as radii by direction about the rim's centre, stored pixels."""
    from rimwise.measure.curves import (  # noqa: PLC0415
        directions_of,
        oval_of,
        picture_rad,
        rim_basis,
    )

    rim, limbus = curves.rim, curves.limbus
    rings = (curves.pupil, None if limbus is None else limbus.ellipse_px)
    radii = None
    if rim is not None:
        basis = rim_basis(picture_rad(directions_of(curves)))[:, [0, 3, 4]]
        radii = [round(float(r), 2) for r in basis @ oval_of(rim.ellipse_px)]
    return {
        "right": curves.right_px,
        "up": curves.up_px,
        "centre": None if rim is None else (rim.ellipse_px.cx, rim.ellipse_px.cy),
        "rim": radii,
        "opening": None
        if curves.opening is None
        else [round(radius, 2) for radius in curves.opening.radius_px],
        "shown": {
            name: "".join("1" if flag else "0" for flag in flags)
            for name, flags in curves.shown.items()
        },
        "rings": [
            (ring.cx, ring.cy, ring.a, ring.b, ring.angle_deg) for ring in rings if ring is not None
        ],
    }
