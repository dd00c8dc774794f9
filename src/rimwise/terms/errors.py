"""Everything that rimwise can refuse, as one small tree.

::

    RimwiseError
    ├── WrongInput          what came cannot be used; exit code 2
    │   ├── UnknownKey      a key that no sheet knows
    │   └── NotAPicture     a file that is no picture we can read
    ├── MeasurementRefused  the picture cannot answer; exit code 3
    └── OutputFailed        the answer could not be written; exit code 2

A message is one sentence: what came, what is allowed, what to do.
"""


class RimwiseError(Exception):
    """Base of every error that rimwise raises on purpose."""

    exit_code = 2

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


class WrongInput(RimwiseError):
    """What came cannot be used."""


class UnknownKey(WrongInput):
    """A sheet holds a key that nothing reads."""


class NotAPicture(WrongInput):
    """The file is no picture that can be measured."""


class MeasurementRefused(RimwiseError):
    """The picture cannot answer the question; ``code`` names the reason for machines."""

    exit_code = 3

    def __init__(self, code: str, sentence: str) -> None:
        super().__init__(sentence)
        self.code = code


class LookNearer(MeasurementRefused):
    """A refusal that may be lifted by looking at a part of the picture, about a place in it."""

    def __init__(
        self, code: str, sentence: str, centre_px: tuple[float, float], radius_px: float
    ) -> None:
        super().__init__(code, sentence)
        self.centre_px = centre_px
        self.radius_px = radius_px


class OutputFailed(RimwiseError):
    """The answer could not be written."""
