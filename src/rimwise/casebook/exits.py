"""The exit codes of the commands, and which of several holds for a whole run."""

from collections.abc import Callable, Iterable

from rimwise.records.cover import CoverFinding, Reason
from rimwise.records.frame import FrameFinding

EXIT_DONE, EXIT_UNEXPECTED, EXIT_WRONG_INPUT, EXIT_REFUSED = 0, 1, 2, 3
WRONG_INPUT, UNEXPECTED = "wrong-input", "unexpected-error"

Graded = CoverFinding | FrameFinding
Progress = Callable[[int, int, str], None]


def exit_of(finding: Graded | None, reason: Reason | None) -> int:
    """Which exit code would one picture alone give?

    Parameters
    ----------
    finding : CoverFinding or FrameFinding or None
    reason : Reason or None
        Why there is no finding.

    Examples
    --------
    >>> exit_of(None, Reason("wrong-input", "not a picture")), exit_of(None, None)
    (2, 2)
    >>> exit_of(None, Reason("unexpected-error", "a fault"))
    1
    """
    if finding is not None:
        return EXIT_REFUSED if finding.status == "refused" else EXIT_DONE
    faulty = reason is not None and reason.code == UNEXPECTED
    return EXIT_UNEXPECTED if faulty else EXIT_WRONG_INPUT


def worst_exit(codes: Iterable[int]) -> int:
    """Which code does a run of several pictures give: a fault before bad input before a refusal?

    Examples
    --------
    >>> worst_exit([0, 3, 2]), worst_exit([])
    (2, 0)
    """
    seen = set(codes)
    order = (EXIT_UNEXPECTED, EXIT_WRONG_INPUT, EXIT_REFUSED)
    return next((code for code in order if code in seen), EXIT_DONE)


def not_read(reason: Reason | None) -> Reason:
    """Which reason is told when a picture gave no finding?"""
    return reason or Reason(WRONG_INPUT, "not read")


def fault_sentence(what: str, error: BaseException) -> str:
    """How is a fault of the program itself told in one sentence?

    Examples
    --------
    >>> fault_sentence("eye.jpg", KeyError("limbus"))[:62]
    "eye.jpg met a fault of the program (KeyError: 'limbus'); repor"
    """
    words = " ".join(str(error).split())[:120]
    return (
        f"{what} met a fault of the program ({type(error).__name__}: {words}); report it with the "
        "version, the command and what RIMWISE_DEBUG=1 prints"
    )
