"""From the checked, merged keys of the sheets to the frozen records further in."""

from typing import Any

from rimwise.exchange.sheet_keys import PictureKeys, PictureLengthKeys
from rimwise.exchange.sheet_layers import Layer
from rimwise.records.picture import CorneaSheet, Lamps, PictureLengths, PictureSheet, Ruler
from rimwise.terms.errors import WrongInput

# In these states the natural lens is in the eye.
NATURAL = ("natural", "gel-natural")


def picture_part(layer: Layer, *, natural_lens: bool) -> Layer:
    """What does a clinic's or a case's layer say about a picture?

    Only what is the same fact: the thickness of the natural lens is none where that lens is gone,
    and the planned optic is the ruler only where the layer does not say which optic it is.

    Parameters
    ----------
    layer : Layer
        Of clinic.toml or a case sheet.
    natural_lens : bool
        Whether the natural lens is in the eye of the picture.
    """
    values = {key: value for key, value in layer.values.items() if key in PictureKeys.model_fields}
    if "lengths" in values:
        same = set(PictureLengthKeys.model_fields)
        if not natural_lens:
            same.discard("lens_thickness_mm")
        values["lengths"] = {key: v for key, v in values["lengths"].items() if key in same}
    planned = layer.values.get("implant", {}).get("optic_diameter_mm")
    if planned is not None:
        values.setdefault("optic_diameter_mm", planned)
    return Layer(layer.origin, values)


def has_natural_lens(layers: list[Layer]) -> bool:
    """Whether the natural lens is in the eye, by the first layer that states it."""
    said = (layer.values["state"] for layer in layers if "state" in layer.values)
    return next(said, "visit") in NATURAL


def picture_record(merged: dict[str, Any], name: str) -> PictureSheet:
    """Which record do the merged keys of a picture make?

    Raises
    ------
    WrongInput
        Keys contradict one another.
    """
    values = {key: value for key, value in merged.items() if key not in ("operation", "visit")}
    lengths = PictureLengths(**values.pop("lengths", {}))
    if lengths.lens_thickness_mm is not None and values.get("state", "visit") not in NATURAL:
        raise WrongInput(
            f"{name}: lens_thickness_mm is that of the natural lens, and in the state "
            f'"{values.get("state", "visit")}" it is gone; leave it out, or correct state'
        )
    cornea = CorneaSheet(**values.pop("cornea", {}))
    ruler = Ruler(**values.pop("ruler")) if "ruler" in values else None
    lamps = _lamps(values.pop("lamps"), name) if "lamps" in values else None
    if "taken" in values:
        values["taken"] = values["taken"].isoformat()
    return PictureSheet(**values, cornea=cornea, lengths=lengths, ruler=ruler, lamps=lamps)


def _lamps(values: dict[str, Any], name: str) -> Lamps | None:
    places = values.get("places_mm")
    if places is None:
        raise WrongInput(f"{name}: [lamps] has no places_mm; give them, or leave out [lamps]")
    fixated = values.get("fixated")
    if fixated is not None and fixated >= len(places):
        raise WrongInput(
            f"{name}: [lamps] fixated is {fixated}, and lamps 0 to {len(places) - 1} are placed; "
            "they are counted from 0"
        )
    return Lamps(**values)
