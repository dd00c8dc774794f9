"""What was typed wrongly, said in one sentence; and a full disk, at which no sentence fits."""

import errno
import os
import sys
from collections.abc import Sequence
from typing import Any

import typer
from typer.core import TyperGroup
from typer.exceptions import TyperException

EXIT_WRONG = 2
# By what the reader of the command line says of a value.
_KINDS = {"valid number": "a number", "valid integer": "a whole number"}
# What a full or broken place for standard output answers.
_UNWRITABLE = frozenset({errno.ENOSPC, errno.EIO, errno.EFBIG, errno.EDQUOT})


class OneSentence(TyperGroup):
    """The commands; whatever is typed wrongly is answered in the project's own words."""

    def main(self, args: Sequence[str] | None = None, *given: Any, **more: Any) -> Any:
        """Run a command line and leave with its exit code."""
        if not more.get("standalone_mode", True):
            return super().main(args, *given, **more)
        typed = sys.argv[1:] if args is None else list(args)
        try:
            code = super().main(typed, *given, **(more | {"standalone_mode": False}))
            sys.stdout.flush()
        except TyperException as error:
            sys.exit(_told(error, typed))
        except typer.Abort:
            _say("stopped before all was done")
            sys.exit(1)
        except OSError as error:
            if not unwritable(error):
                raise
            sys.exit(give_up_output(error))
        sys.exit(code if isinstance(code, int) else 0)


def unwritable(error: OSError) -> bool:
    """Did standard output, and not a named file, refuse what was printed?

    Examples
    --------
    >>> unwritable(OSError(errno.ENOSPC, "No space left on device"))
    True
    >>> unwritable(OSError(errno.ENOENT, "No such file or directory"))
    False
    """
    return error.errno in _UNWRITABLE and error.filename is None


def give_up_output(error: OSError) -> int:
    """Say that nothing more can be printed, and leave nothing behind to be printed at the end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    _say(
        f"standard output could not be written ({error.strerror}); give a place that can be written"
    )
    return EXIT_WRONG


def wrong_sentence(error: TyperException, typed: Sequence[str]) -> str:
    """Which sentence tells what was typed wrongly: what came, what is allowed, what to do?

    Parameters
    ----------
    error : TyperException
        As the reader of the command line raised it.
    typed : sequence of str
        The words behind ``rimwise``.
    """
    path = getattr(getattr(error, "ctx", None), "command_path", None) or _command(typed)
    see = f"see {path} --help"
    name = getattr(error, "option_name", None)
    if name is not None and hasattr(error, "possibilities"):
        near = " or ".join(error.possibilities or ())
        return f"{path} has no flag {name}; " + (f"did you mean {near}? " if near else "") + see
    message = str(getattr(error, "message", ""))
    if name is not None:
        does = "needs a value behind it" if "requires" in message else "takes no value"
        return f"{name} {does}; {see}"
    param = getattr(error, "param", None)
    if param is not None:
        called = _called(param)
        if hasattr(error, "param_type"):
            return f"{path} needs {called}, and none came; {see}"
        kind = next((words for mark, words in _KINDS.items() if mark in message), None)
        came = _behind(called, typed)
        if kind is not None and came is not None:
            return f"{called} is {came!r}, and {kind} is allowed; {see}"
        return f"{called} cannot be used: {message.rstrip('.')}; {see}"
    if message.startswith("No such command"):
        return f"{path} has no command {message.split(chr(39))[1]!r}; {see} for those it has"
    if message.startswith("Got unexpected extra argument"):
        return f"{path} takes fewer words, and also got {message.rpartition('(')[2][:-1]}; {see}"
    return f"{message.rstrip('.')}; {see}"


def _command(typed: Sequence[str]) -> str:
    """Return the command that the words begin with."""
    named = typed and not typed[0].startswith("-")
    return f"rimwise {typed[0]}" if named else "rimwise"


def _told(error: TyperException, typed: Sequence[str]) -> int:
    """Say what was wrong; without any word typed the whole help is the answer."""
    if type(error).__name__ == "NoArgsIsHelpError":
        typer.echo(str(getattr(error, "message", "")), err=True)
    else:
        _say(wrong_sentence(error, typed))
    return int(getattr(error, "exit_code", EXIT_WRONG))


def _called(param: Any) -> str:
    """Return how a flag is typed, or what stands for an argument."""
    if param.param_type_name == "option":
        return str(max(param.opts, key=len))
    return str(param.metavar or param.name)


def _behind(flag: str, typed: Sequence[str]) -> str | None:
    """Return the value that was typed for a flag, if it is found."""
    for k, word in enumerate(typed):
        if word.startswith(f"{flag}="):
            return word.partition("=")[2]
        if word == flag and k + 1 < len(typed):
            return typed[k + 1]
    return None


def _say(sentence: str) -> None:
    print(f"rimwise: {sentence}", file=sys.stderr)  # noqa: T201
