"""Letters that the drawings' font lacks, written as their numbers: a name stays readable."""

from functools import cache
from typing import TYPE_CHECKING

from rimwise.report.look import LOOK

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def drawable(words: str) -> str:
    r"""How are these words drawn: a letter that the font lacks by its number in Unicode?

    Another font of the machine could draw it, but then a drawing would hang on the machine.

    Examples
    --------
    >>> drawable("Łucja Ünal, 6.0 ± 0.1 mm"), drawable("患者01.jpg")
    ('Łucja Ünal, 6.0 ± 0.1 mm', '\\u60a3\\u800501.jpg')
    """
    has = _letters()
    return "".join(
        one if one < " " or ord(one) in has else one.encode("unicode_escape").decode("ascii")
        for one in words
    )


def keep_drawable(figure: "Figure") -> None:
    """Write every text of a figure in letters that its font has."""
    from matplotlib.text import Text  # noqa: PLC0415 - heavy

    for text in figure.findobj(Text):
        words = text.get_text()
        told = drawable(words)
        if told != words:
            text.set_text(told)


@cache
def _letters() -> frozenset[int]:
    from matplotlib.font_manager import findfont, get_font  # noqa: PLC0415 - heavy

    return frozenset(get_font(findfont(LOOK.font)).get_charmap())
