"""How the command line talks: data to standard output, talk to standard error, one sentence each.

Nothing heavy is imported at the top: ``rimwise --help`` answers before a hand leaves the keys.
"""

import os
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

import typer

from rimwise.cli.usage import give_up_output, unwritable
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.errors import RimwiseError

if TYPE_CHECKING:
    from rich.console import Console

EXIT_FAULT, EXIT_STOPPED, EXIT_PIPE = 1, 130, 141
# A file or a pipe has no width: wide enough that no row of a table needs to be broken twice.
WIDTH_WITHOUT_TERMINAL = 120
MOST_NAME = 30  # signs of a row's name that are never broken

Progress = Callable[[int, int, str], None]


def say(sentence: str) -> None:
    """Tell the person something that is not data."""
    print(f"rimwise: {sentence}", file=sys.stderr)  # noqa: T201


@contextmanager
def one_sentence() -> Iterator[None]:
    """Turn whatever goes wrong inside into one sentence and the right exit code.

    0 done, 1 a fault of the program, 2 wrong input or unwritable output, 3 refused, 130 stopped
    by Ctrl-C. With ``RIMWISE_DEBUG=1`` a fault shows where it happened.
    """
    try:
        yield
    except (typer.Exit, typer.Abort, SystemExit):
        raise
    except RimwiseError as error:
        say(error.sentence)
        raise typer.Exit(error.exit_code) from None
    except KeyboardInterrupt:
        say("stopped by Ctrl-C before all was done; every file that was written is whole")
        raise typer.Exit(EXIT_STOPPED) from None
    except BrokenPipeError:
        # Whoever read our output has gone; nothing is left to be told, not even at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise typer.Exit(EXIT_PIPE) from None
    except Exception as error:
        if isinstance(error, OSError) and unwritable(error):
            raise typer.Exit(give_up_output(error)) from None
        if os.environ.get("RIMWISE_DEBUG"):
            raise
        words = " ".join(str(error).split())[:120]
        say(
            f"a fault of the program ({type(error).__name__}: {words}); report it with the "
            "version, the command and what RIMWISE_DEBUG=1 prints"
        )
        raise typer.Exit(EXIT_FAULT) from None


def console() -> "Console":
    """Where tables go: standard output, in colour on a terminal only."""
    from rich.console import Console  # noqa: PLC0415

    class Piped(Console):
        """A console that leaves a reader who went away to ``one_sentence``."""

        def on_broken_pipe(self) -> None:
            raise BrokenPipeError

    width = None if sys.stdout.isatty() else WIDTH_WITHOUT_TERMINAL
    return Piped(width=width, highlight=False, markup=False, emoji=False)


def show_table(title: str, rows: Iterable[Sequence[str]], header: Sequence[str] = ()) -> None:
    """Print rows as a table on standard output."""
    from rich import box  # noqa: PLC0415
    from rich.table import Table  # noqa: PLC0415
    from rich.text import Text  # noqa: PLC0415

    table = Table(
        title=Text(title, style="bold") if title else None,
        title_justify="left",
        box=box.SIMPLE_HEAD if header else box.SIMPLE,
        show_header=bool(header),
        pad_edge=False,
    )
    listed = [tuple(row) for row in rows]
    columns = header or ("",) * max((len(row) for row in listed), default=1)
    # What a row is about stays in one piece where there is room for it.
    longest = max((len(row[0]) for row in listed if row), default=0)
    for k, column in enumerate(columns):
        least = longest if k == 0 and longest <= MOST_NAME else None
        table.add_column(Text(column), overflow="fold", min_width=least)
    for row in listed:
        table.add_row(*(Text(cell) for cell in row))
    console().print(table)


def print_lines(lines: Iterable[str]) -> None:
    """Print lines of data on standard output, as they are."""
    for line in lines:
        print(line)  # noqa: T201
    sys.stdout.flush()


def show_foot(sentences: Iterable[str] = ()) -> None:
    """Print sentences below a table, the short cautions last."""
    from rich.text import Text  # noqa: PLC0415

    out = console()
    for sentence in sentences:
        out.print(Text(sentence))
    out.print(Text(" ".join((*CAUTIONS[:2], "All cautions: rimwise cautions.")), style="dim"))


@contextmanager
def progress_bar(what: str, total: int) -> Iterator[Progress | None]:
    """Show a bar on standard error while work lasts; on a terminal only, and only if it lasts."""
    if total < 2 or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console  # noqa: PLC0415
    from rich.progress import Progress as Bar  # noqa: PLC0415

    with Bar(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=total)

        def tell(done: int, of: int, name: str) -> None:
            bar.update(task, completed=done, total=of, description=f"{what} {name}".rstrip())

        yield tell


@contextmanager
def told_of_compiling(expected: bool) -> Iterator[None]:
    """Say it, once, where fast code is first made for this computer: nothing else moves then.

    ``expected`` is whether compiled code is asked for at all; else the compiler is not loaded.
    """
    if not expected:
        yield
        return
    from numba.core import event  # noqa: PLC0415 - half a second, and needed next anyway

    told: list[str] = []

    def on_start(*_: object) -> None:
        if not told:
            told.append("making fast code for this computer, this first time only; half a minute")
            say(told[0])

    # The compiler tells of what it did not find in its cache on disk.
    ways = {"on_start": on_start, "on_end": lambda *_: None}
    teller = type("Teller", (event.Listener,), ways)
    with event.install_listener("numba:compile", teller()):
        yield
