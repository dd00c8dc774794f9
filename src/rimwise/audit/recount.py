"""Does every percentage agree with its counts? For one's own tables and for anybody's."""

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal, InvalidOperation

from rimwise.terms.errors import WrongInput


@dataclass(frozen=True, slots=True)
class Recount:
    """One printed percentage set against its counts.

    Parameters
    ----------
    count, total : int
    printed : str
        As printed, without the sign.
    right : str
        What the counts give, with as many decimals.
    agrees : bool
        Whether the printed one is what the counts give, rounded or cut off.
    """

    count: int
    total: int
    printed: str
    right: str
    agrees: bool

    @property
    def sentence(self) -> str:
        """Return what to tell the reader."""
        says = f"{self.count} of {self.total} printed as {self.printed} %"
        if self.count > self.total:
            return f"{says}: more than all of them cannot be"
        return f"{says}: agrees" if self.agrees else f"{says}: the counts give {self.right} %"


def recount(count: int, total: int, printed: str) -> Recount:
    """Is this percentage what its counts give, to the decimals that were printed?

    Parameters
    ----------
    count, total : int
        0 or more, total above 0; a count above its total is told as impossible.
    printed : str
        "72.7", "88,76 %".

    Raises
    ------
    WrongInput
        The counts or the percentage are none.

    Notes
    -----
    Rounded to nearest either way at a tie, since programs differ there.

    Examples
    --------
    >>> recount(60, 94, "67").sentence
    '60 of 94 printed as 67 %: the counts give 64 %'
    >>> recount(7938, 8943, "88.76").agrees
    True
    """
    if count < 0 or total <= 0:
        raise WrongInput(
            f"{count} of {total} is no share; a count from 0 and a total from 1 are allowed"
        )
    text = printed.strip().removesuffix("%").strip().replace(",", ".")
    try:
        told = Decimal(text)
    except InvalidOperation:
        raise WrongInput(f"{printed!r} is no percentage; give one such as 72.7") from None
    if not told.is_finite() or told < 0:
        raise WrongInput(f"{printed!r} is no percentage; one from 0 up is allowed")
    step = Decimal(1).scaleb(min(int(told.as_tuple().exponent), 0))
    exact = Decimal(100 * count) / Decimal(total)
    doubled = exact / step * 2
    low = ((doubled - 1) / 2).to_integral_value(ROUND_CEILING) * step
    high = ((doubled + 1) / 2).to_integral_value(ROUND_FLOOR) * step
    return Recount(count, total, text, str(exact.quantize(step)),
                   count <= total and low <= told <= high)  # fmt: skip
