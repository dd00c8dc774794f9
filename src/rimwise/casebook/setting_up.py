"""Frames in, a judgement of their set-up out; a proposal is written only where asked."""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rimwise.align.checking import SetupSigns, setup_signs
from rimwise.exchange.pictures import check_file, load_picture
from rimwise.exchange.sheets import read_picture_sheet
from rimwise.exchange.writing import check_not_input, check_writable, write_bytes
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import RimwiseError, WrongInput
from rimwise.terms.estimate import Estimate

_DIFFERS = 2.6  # sds: one honest set-up in a hundred is doubted


@dataclass(frozen=True, slots=True)
class SetupVerdict:
    """Rows of (what, stated, from the frames, verdict), and the sentences of unread frames."""

    rows: tuple[tuple[str, str, str, str], ...]
    refused: tuple[str, ...]
    proposal: str
    agrees: bool


def check_setup(
    paths: Sequence[Path], flags: Mapping[str, object], write: Path | None = None
) -> SetupVerdict:
    """Do these frames agree with their sheets' set-up, and which set-up would they propose?

    Parameters
    ----------
    paths : sequence of path
    flags : mapping
        Keys of the picture sheet that outrank every sheet.
    write : path, optional
        Where a proposal goes; never over a file that exists.

    Raises
    ------
    WrongInput
        If no frame could be read or answered, or the proposal's file exists.
    """
    if write is not None:
        if write.exists():
            raise WrongInput(
                f"{write.name} exists, and a person's sheet is never overwritten; give a new name"
            )
        check_writable(write)
        check_not_input(write, paths)
    told: list[tuple[PictureSheet, SetupSigns]] = []
    refused: list[str] = []
    for path in paths:
        try:
            check_file(path)
            sheet = read_picture_sheet(path, flags).sheet
            told.append((sheet, setup_signs(load_picture(path).raster, sheet, len(paths) > 2)))
        except RimwiseError as error:
            refused.append(f"{path.name}: {error.sentence}")
    if not told:
        raise WrongInput(f"no frame tells the set-up: {refused[0]}")
    verdict = _judged(told, tuple(refused))
    if write is not None:
        write_bytes(write, verdict.proposal.encode())
    return verdict


def _judged(told: list[tuple[PictureSheet, SetupSigns]], refused: tuple[str, ...]) -> SetupVerdict:
    sheet, signs = told[0][0], [one for _, one in told]
    scale = _mean([one.px_per_mm for one in signs])
    rows = [_row("px per mm (limbus)", sheet.px_per_mm, scale, "{:.2f}")]
    sizes = [one.pattern_size for one in signs if one.pattern_size is not None]
    turns = [one.pattern_turn_deg for one in signs if one.pattern_turn_deg is not None]
    if sizes:
        rows.append(_row("distance of the lamps, of the stated", 1.0, _mean(sizes), "{:.3f}"))
        rows.append(_row("turn of the lamps, °", 0.0, _mean(turns), "{:.1f}"))
    off = [one.superior_off_deg for one in signs if one.superior_off_deg is not None]
    if off:
        # The limbus is wider across than up; a turned eye and lids blur that by some degrees.
        middle = Estimate(float(np.median(off)), 12.0, "limbus")
        rows.append(_row("superior from the limbus's short axis, °", 0.0, middle, "{:.0f}"))
    return SetupVerdict(
        tuple(rows), refused, _proposal(sheet, scale), all(row[3] != "differs" for row in rows)
    )


def _mean(estimates: list[Estimate]) -> Estimate:
    """Return the mean; what stands behind each is common to all, so that its ± stays."""
    value = float(np.mean([one.value for one in estimates]))
    return Estimate(value, float(np.mean([one.sd for one in estimates])), estimates[0].origin)


def _row(what: str, stated: float | None, found: Estimate, form: str) -> tuple[str, str, str, str]:
    if stated is None:
        verdict, words = "not stated", "–"
    else:
        words = form.format(stated)
        verdict = "agrees" if abs(found.value - stated) <= _DIFFERS * found.sd else "differs"
    return what, words, f"{form.format(found.value)} ± {form.format(found.sd)}", verdict


def _proposal(sheet: PictureSheet, scale: Estimate) -> str:
    """Write a set-up that ``clinic.toml`` could hold: what was stated, and the limbus's scale."""
    lamps = sheet.lamps
    assert lamps is not None
    places = ", ".join(f"[{x:g}, {y:g}]" for x, y in lamps.places_mm)
    lines = [
        "# proposed from frames; check before it goes into clinic.toml",
        f"superior_deg = {sheet.superior_deg:g}",
        f"mirrored = {'true' if sheet.mirrored else 'false'}",
    ]
    if sheet.working_distance_mm is not None:
        lines.append(f"working_distance_mm = {sheet.working_distance_mm:g}")
    if sheet.px_per_mm is not None:
        lines.append(f"px_per_mm = {sheet.px_per_mm:g}")
    lines.append(f"# from the limbus: px_per_mm = {scale.value:.2f} ± {scale.sd:.2f}")
    lines += ["", "[lamps]", f"plane_mm = {lamps.plane_mm:g}", f"places_mm = [{places}]"]
    text = "\n".join(lines) + "\n"
    tomllib.loads(text)
    return text
