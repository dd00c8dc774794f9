"""The cornea as a thick lens: its power by two surfaces, for comparison with a keratometer's."""

from dataclasses import dataclass

from rimwise.published.load import published_value
from rimwise.terms.errors import WrongInput
from rimwise.terms.units import dpt_from_radius_mm

_MM = 1000.0


@dataclass(frozen=True, slots=True)
class CorneaIndices:
    """Indices of cornea and aqueous."""

    index_cornea: float
    index_aqueous: float


@dataclass(frozen=True, slots=True)
class ThickCornea:
    """A cornea of two surfaces.

    Parameters
    ----------
    front_dpt, back_dpt, total_dpt : float
        Powers of the surfaces and of both; the total is at the principal planes.
    front_plane_mm, back_plane_mm : float
        Principal planes from the vertices of front and back, positive towards the retina.
    back_vertex_dpt : float
        Vergence that leaves the back surface for light from afar.
    equivalent_index : float
        Index with which the front radius alone would give the total power.
    """

    front_dpt: float
    back_dpt: float
    total_dpt: float
    front_plane_mm: float
    back_plane_mm: float
    back_vertex_dpt: float
    equivalent_index: float


def thick_cornea(
    front_mm: float,
    back_mm: float,
    thickness_mm: float,
    indices: CorneaIndices | None = None,
) -> ThickCornea:
    """How strong is a cornea with these two radii?

    Parameters
    ----------
    front_mm, back_mm, thickness_mm : float
        Above 0, mm.
    indices : CorneaIndices, optional
        The published ones unless given.

    Raises
    ------
    WrongInput
        A radius or the thickness is not above 0.

    Notes
    -----
    F = F1 + F2 - (t/n) F1 F2 (Gullstrand's equation; any optics textbook).

    Examples
    --------
    >>> round(thick_cornea(7.7, 6.8, 0.5).total_dpt, 6)
    43.053192
    """
    if not min(front_mm, back_mm, thickness_mm) > 0.0:
        raise WrongInput(
            f"a cornea needs radii and a thickness above 0 mm, got {front_mm}, {back_mm} and "
            f"{thickness_mm}"
        )
    if indices is None:
        indices = CorneaIndices(
            published_value("cornea", "index_cornea").value,
            published_value("cornea", "index_aqueous").value,
        )
    inside, behind = indices.index_cornea, indices.index_aqueous
    front = dpt_from_radius_mm(front_mm, inside)
    back = _MM * (behind - inside) / back_mm
    reduced = thickness_mm / _MM / inside
    total = front + back - reduced * front * back
    return ThickCornea(
        front_dpt=front,
        back_dpt=back,
        total_dpt=total,
        front_plane_mm=_MM * reduced * back / total,
        back_plane_mm=-_MM * behind * reduced * front / total,
        back_vertex_dpt=front / (1.0 - reduced * front) + back,
        equivalent_index=1.0 + total * front_mm / _MM,
    )
