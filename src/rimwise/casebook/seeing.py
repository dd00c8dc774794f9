"""What a sight's pictures need from disk and leave there: covers in, PNG files out."""

from dataclasses import replace
from pathlib import Path

from rimwise.casebook.placing import read_cover_findings
from rimwise.exchange.writing import make_folder, write_bytes
from rimwise.records.as_seen import EdgeInPupil, SeenPicture
from rimwise.records.case import CaseSheet
from rimwise.records.cover import Reason
from rimwise.records.eye import EyeRecord
from rimwise.records.implant_profile import ImplantProfile
from rimwise.records.sight import ImplantPlace, Sight

# Where the sheet does not tell: an undilated pupil by day, and one in the dusk. A setting of the
# pictures, written into each, not a claim about this eye.
PHOTOPIC_MM, MESOPIC_MM = 3.0, 5.0
# A picture as seen, and its PNG.
Shown = tuple[SeenPicture, bytes]


def measured_cover(placement: Path | None) -> tuple[float | None, ...] | None:
    """Which cover was measured along with the placement? None where it was not."""
    if placement is None:
        return None
    cover = read_cover_findings(placement)[0].cover
    return None if cover is None else cover.width_mm


def edge_notes(edges: tuple[EdgeInPupil, ...]) -> tuple[Reason, ...]:
    """What has to be said of light that passes beside the optic?"""
    met = [f"{one.pupil_mm:g}" for one in edges if one.arcs_deg]
    if not met:
        return ()
    return (
        Reason(
            "beside-optic",
            f"Through pupils of {', '.join(met)} mm light passes beside this optic or meets its "
            f"edge, from {edges[0].from_pupil_mm:.1f} mm on: that light is not modelled, these "
            "pupils are reckoned as if the optic went on.",
        ),
    )


def marked(sight: Sight, edges: tuple[EdgeInPupil, ...]) -> Sight:
    """Mark every pupil whose light passes beside the optic: that light is in no number."""
    pupils = []
    for pupil, edge in zip(sight.pupils, edges, strict=True):
        said = () if not edge.arcs_deg else (Reason("beside-optic", _beside_words(edge)),)
        pupils.append(replace(pupil, reasons=(*pupil.reasons, *said)))
    return replace(sight, pupils=tuple(pupils))


def _beside_words(edge: EdgeInPupil) -> str:
    arcs = ", ".join(f"{start:.0f}° to {end:.0f}°" for start, end in edge.arcs_deg)
    return (
        f"Through this pupil light passes beside the optic or meets its edge over {arcs} (as the "
        f"examiner sees the optic): it is not modelled; true from {edge.from_pupil_mm:.1f} mm down."
    )


def profile_notes(profile: ImplantProfile | None) -> tuple[Reason, ...]:
    """What has to be said of numbers of an implant with a profile?"""
    if profile is None:
        return ()
    what = "the far focus of the profile" if profile.kind == "diffractive" else "the whole profile"
    return (
        Reason(
            "profile-in-numbers",
            f"The wave, and refraction near the axis and by least squares, are those of {what}, "
            "fitted to the 8th order; contrast, its best sphere and focus are those of all its "
            "light. Steps are taken as sharp and without loss, ± from 64 placements.",
        ),
    )


def shown_pictures(
    case: CaseSheet,
    record: EyeRecord,
    place: ImplantPlace,
    cover_mm: tuple[float | None, ...] | None,
    lights: tuple[str, ...] = ("photopic", "mesopic"),
) -> tuple[Shown, ...]:
    """How do the chart and the lamps look, by day and in the dusk? Each with its PNG."""
    from rimwise.predict.looks import Looking, seen_pictures  # noqa: PLC0415
    from rimwise.report.seen_drawing import draw_seen  # noqa: PLC0415 - brings matplotlib

    by_day = case.lengths.pupil_photopic_mm or PHOTOPIC_MM
    pupils = {"photopic": by_day, "mesopic": max(MESOPIC_MM, by_day)}
    profile = None if case.implant is None else case.implant.profile
    looking = Looking(profile, tuple((one, pupils[one]) for one in lights), cover_mm)
    return tuple((one, draw_seen(one)) for one in seen_pictures(record, place, looking))


def keep_pictures(folder: Path, code: str, shown: tuple[Shown, ...]) -> tuple[Path, ...]:
    """Write the chart and the lamps as seen.

    Returns
    -------
    tuple of Path
        CODE-chart-photopic.png and so on.
    """
    make_folder(folder)
    drawn = []
    for one, png in shown:
        path = folder / f"{code}-{one.scene}-{one.light}.png"
        write_bytes(path, png)
        drawn.append(path)
    return tuple(drawn)
