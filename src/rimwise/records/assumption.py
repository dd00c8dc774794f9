"""What had to be assumed because nobody measured it."""

from dataclasses import dataclass

from rimwise.terms.source import PublishedValue, Status


@dataclass(frozen=True, slots=True)
class Assumption:
    """A prior that was used, with its passport, so that the reader can weigh it.

    Parameters
    ----------
    what : str
        The quantity in plain words.
    value, sd : float
        In ``unit``; sd is None where the source gives none.
    unit : str
        "mm", "dpt" or "1".
    cite, status : str
        Where the number came from and how it was seen.
    """

    what: str
    value: float
    sd: float | None
    unit: str
    cite: str
    status: Status

    @classmethod
    def of(cls, what: str, published: PublishedValue) -> "Assumption":
        """Return the assumption that a published value stands for ``what``."""
        source = published.source
        return cls(what, published.value, published.sd, published.unit, source.cite, source.status)

    def document(self) -> dict[str, object]:
        """Return the entry of a result's ``assumptions``."""
        return {
            "what": self.what,
            "value": self.value,
            "sd": self.sd,
            "unit": self.unit,
            "source": self.cite,
            "status": self.status,
        }
