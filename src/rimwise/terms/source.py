"""Where a number came from."""

from dataclasses import dataclass
from typing import Literal

Status = Literal["published and read", "computed", "from memory", "common practice, no source"]


@dataclass(frozen=True, slots=True)
class Source:
    """The passport of a published number.

    Parameters
    ----------
    cite : str
        Author, year, title or journal, table or page.
    status : str
        How it was seen; a value "from memory" is never a pass criterion.
    """

    cite: str
    status: Status


@dataclass(frozen=True, slots=True)
class PublishedValue:
    """A number from outside with its spread, unit, valid range and source.

    ``sd`` is None where the source gives none.
    """

    value: float
    sd: float | None
    unit: str
    valid: str
    source: Source
