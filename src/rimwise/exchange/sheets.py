"""The sheets a person writes (docs/sheets.md): read, checked, put in order of authority.

A flag outranks the picture's sheet, that outranks ``clinic.toml``, that outranks the case sheet.
A sheet is only read here; no program edits what a person wrote.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from rimwise.exchange.sheet_layers import (
    CLINIC,
    Layer,
    find_clinic,
    flag_layer,
    merge,
    read_layer,
)
from rimwise.records.case import CaseSheet
from rimwise.records.cover import Reason
from rimwise.records.picture import PictureSheet
from rimwise.terms.errors import WrongInput


class ReadPicture(NamedTuple):
    """A picture's sheet with what should be said about where it came from."""

    sheet: PictureSheet
    notes: tuple[Reason, ...]


def picture_sheet_for(
    path: Path | str,
    flags: Mapping[str, object] | None = None,
    *,
    sheet: Path | str | None = None,
    case: Path | str | None = None,
) -> PictureSheet:
    """What is known about this picture before anyone looks at it?

    Parameters
    ----------
    path : path
        The picture; ``NAME.toml`` beside it is its sheet, ``clinic.toml`` in its folder or above
        holds what stays the same.
    flags : mapping, optional
        Keys of the sheet given on the command line; None counts as not given.
    sheet : path, optional
        A sheet to use in place of the one beside the picture.
    case : path, optional
        The case sheet of the eye, for what no other source says.

    Raises
    ------
    WrongInput
        A sheet cannot be read, holds an unknown key or a value outside its range, or no source
        says which eye it is.
    """
    return read_picture_sheet(path, flags, sheet=sheet, case=case).sheet


def read_picture_sheet(
    path: Path | str,
    flags: Mapping[str, object] | None = None,
    *,
    sheet: Path | str | None = None,
    case: Path | str | None = None,
) -> ReadPicture:
    """Answer as ``picture_sheet_for``, with notes on what came from where."""
    from rimwise.exchange.sheet_keys import CaseKeys, ClinicKeys, PictureKeys  # noqa: PLC0415
    from rimwise.exchange.sheet_records import (  # noqa: PLC0415
        has_natural_lens,
        picture_part,
        picture_record,
    )

    path = Path(path)
    own = Path(sheet) if sheet is not None else path.with_suffix(".toml")
    layers = [flag_layer(flags or {}, PictureKeys)]
    if sheet is not None or own.is_file():
        layers.append(read_layer(own, PictureKeys))
    wider = []
    clinic = find_clinic(path)
    if clinic is not None and not (own.exists() and clinic.samefile(own)):
        wider.append(read_layer(clinic, ClinicKeys))
    if case is not None:
        wider.append(read_layer(Path(case), CaseKeys))
    natural_lens = has_natural_lens([*layers, *wider])
    layers += [picture_part(layer, natural_lens=natural_lens) for layer in wider]
    merged = merge(layers)
    if "side" not in merged:
        raise WrongInput(
            f"{path.name}: which eye it is, is not stated and never guessed; give --side right or "
            f'--side left, or write side = "right" or side = "left" in {own.name}'
        )
    return ReadPicture(picture_record(merged, path.name), _side_notes(layers))


def _side_notes(layers: list[Layer]) -> tuple[Reason, ...]:
    speaking = next(layer for layer in layers if "side" in layer.values)
    if Path(speaking.origin).name != CLINIC:
        return ()
    side = speaking.values["side"]
    sentence = f"that this is a {side} eye stands only in {speaking.origin}; check it"
    return (Reason("side-from-clinic", sentence),)


class ReadCase(NamedTuple):
    """A case sheet with what should be said about where it came from."""

    sheet: CaseSheet
    notes: tuple[Reason, ...]


def case_sheet_for(path: Path | str, flags: Mapping[str, object] | None = None) -> CaseSheet:
    """What is known of this eye before surgery, and what does the surgeon want?

    Parameters
    ----------
    path : path
        The case sheet; ``clinic.toml`` in its folder or above holds what stays the same.
    flags : mapping, optional
        Keys of the sheet given on the command line; a table's key is written ``table.key``.

    Raises
    ------
    WrongInput
        A sheet cannot be read, holds an unknown key or a value outside its range, contradicts
        another, or does not state the side or earlier corneal surgery.
    """
    return read_case_sheet(path, flags).sheet


def read_case_sheet(path: Path | str, flags: Mapping[str, object] | None = None) -> ReadCase:
    """Answer as ``case_sheet_for``, with notes on what came from where."""
    from rimwise.exchange.case_records import (  # noqa: PLC0415
        case_part,
        case_record,
        contradictions,
        planned_optic,
    )
    from rimwise.exchange.sheet_keys import CaseKeys, ClinicKeys  # noqa: PLC0415

    path = Path(path)
    own = read_layer(path, CaseKeys)
    layers = [flag_layer(flags or {}, CaseKeys)]
    notes: tuple[Reason, ...] = ()
    clinic_path = find_clinic(path)
    if clinic_path is None or clinic_path.samefile(path):
        layers.append(own)
    else:
        clinic = read_layer(clinic_path, ClinicKeys)
        notes = contradictions(case_part(clinic), own)
        layers += [case_part(clinic), own, planned_optic(clinic)]
    merged = merge(layers)
    if "code" not in merged:
        merged["code"] = path.stem
        notes += (Reason("code-from-file", f"{path.name} has no code; the file's name is used"),)
    sheet, filled = case_record(merged, path.name)
    return ReadCase(sheet, (*notes, *filled))
