"""What a frame says, as rows of a table and sentences."""

from rimwise.records.frame import CornealMark, FrameFinding, TargetName
from rimwise.report.reflex_words import pair_words
from rimwise.report.words import number_words
from rimwise.terms.frames import Side, nasal_superior

TARGET_WORDS: dict[TargetName, str] = {
    "visual_axis": "visual axis",
    "line_of_sight": "line of sight",
    "lens_pole": "pole of the lens",
    "corneal_axis": "corneal axis",
}


def frame_rows(finding: FrameFinding) -> list[tuple[str, str, str]]:
    """Which rows tell this frame: label, value, note?

    Examples
    --------
    >>> frame_rows(FrameFinding("f.jpg", "left", "natural", "refused"))[0][:2]
    ('status', 'refused')
    """
    side = finding.side
    rows: list[tuple[str, str, str]] = [("status", finding.status, "")]
    if finding.limbus is not None and finding.scale is not None:
        scale = finding.scale
        rows.append(("reflexes found", reflex_words(finding), "by lamp"))
        value = number_words(scale.px_per_mm.value, scale.px_per_mm.sd, "px/mm", 1)
        rows.append(("scale at the limbus", value, f"from: {scale.origin}"))
        rows.append(("limbus seen", f"{finding.limbus.seen_deg}°", ""))
        turned = pair_words(finding.eye_rotation_deg, "°", side)
        rows.append(("eye rotation", turned, "corneal axis from camera axis"))
        tilt = pair_words(finding.lens_tilt_deg, "°", side)
        rows.append(("lens tilt", tilt, "from the corneal axis"))
        shift = pair_words(finding.lens_decentration_mm, " mm", side, 2)
        rows.append(("lens decentration", shift, "pole of the lens from the corneal axis"))
    for name, target in finding.targets.items():
        if target is None:
            rows.append((f"target: {TARGET_WORDS[name]}", "not told", ""))
        else:
            u, v = target.px
            pole = target.from_lens_pole_mm if name != "lens_pole" else None
            away = pair_words(pole, " mm", side, 2)
            note = "" if pole is None else f"{away} of the lens's pole"
            rows.append((f"target: {TARGET_WORDS[name]}", f"{u:.0f}, {v:.0f} px", note))
    if finding.corneal_mark is not None:
        rows.append(("mark on the cornea", *_mark_words(finding.corneal_mark, side)))
    offset = finding.offset
    if offset is not None:
        if offset.p1_to_p4_mm is not None:
            p1_to_p4 = pair_words(offset.p1_to_p4_mm, " mm", side, 2)
            rows.append(("offset P1 to P4", p1_to_p4, "limbus plane"))
        if offset.rolled_deg is not None:
            sense = "counter-clockwise" if offset.rolled_deg.value >= 0.0 else "clockwise"
            amount = number_words(abs(offset.rolled_deg.value), offset.rolled_deg.sd, "°", 1)
            note = "since the reference, as the surgeon sees it, by iris and white"
            rows.append(("eye turned about its axis", f"{amount} {sense}", note))
        if offset.turn_deg is not None:
            words = offset.turn_words or ""
            rows.append(("turn to fixation", pair_words(offset.turn_deg, "°", side), words))
    return rows


def _mark_words(mark: CornealMark, side: Side) -> tuple[str, str]:
    """Tell the mark from P1, the ring, and how it parts from its target when the eye turns."""
    nasal, up = nasal_superior(*mark.from_p1_mm, side)
    across, along = "nasal" if nasal >= 0.0 else "temporal", "up" if up >= 0.0 else "down"
    ring = mark.ring_on_cornea_mm
    drawn = "" if ring is None else f", ring of {ring:.1f} mm for the planned opening"
    return (
        f"{abs(nasal):.2f} mm {across}, {abs(up):.2f} mm {along} of P1",
        f"for the {TARGET_WORDS[mark.target]}{drawn}; parts from it by "
        f"{mark.shift_mm_per_deg:.2f} mm a degree",
    )


def reflex_words(finding: FrameFinding) -> str:
    """Which reflexes were found, of how many lamps?

    Examples
    --------
    >>> reflex_words(FrameFinding("f.jpg", "left", "natural", "refused"))
    'none'
    """
    parts = []
    for name, one in finding.reflexes.items():
        if one is not None:
            count = sum(point is not None for point in one.points_px)
            parts.append(f"{name} {count} of {len(one.points_px)}")
    return ", ".join(parts) or "none"
