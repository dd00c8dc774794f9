"""The project's own look: one set of colours and line shapes for every drawing and page.

Blue-green against rust stays apart under the common colour-vision deficiencies, and nothing is
told by colour alone: bare is also hatched, unseen is also hatched and labelled, and each found
curve has its own line shape.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Look:
    """Colours as ``#rrggbb``, sizes in points at print size."""

    paper: str = "#fbfaf6"
    ink: str = "#1d2a35"
    quiet: str = "#5a6873"
    rule: str = "#d8d5cb"
    covered: str = "#2f8296"
    bare: str = "#b9481b"
    unseen: str = "#8d9499"
    optic_curve: str = "#8fe3ff"
    opening_curve: str = "#fff6c4"
    pupil_curve: str = "#d6c3ff"
    casing: str = "#14202a"
    font: str = "DejaVu Sans"
    small_pt: float = 8.0
    text_pt: float = 9.5
    title_pt: float = 13.0


LOOK = Look()

BARE_HATCH = "////"
UNSEEN_HATCH = "..."
FAINT_HATCH = "."

# Of every drawing that matplotlib makes: the same bytes every time, texts that stay texts.
DRAWING_STYLE = {
    "svg.hashsalt": "rimwise",
    "svg.fonttype": "none",
    "font.family": LOOK.font,
    "font.size": LOOK.small_pt,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": LOOK.ink,
    "text.color": LOOK.ink,
    "axes.labelcolor": LOOK.ink,
    "xtick.color": LOOK.ink,
    "ytick.color": LOOK.ink,
}
