"""``rimwise``: the commands, put together; each lives in a module of its own."""

import sys
from typing import Annotated

import typer

from rimwise import __version__
from rimwise.cli.aligning import align
from rimwise.cli.auditing import audit
from rimwise.cli.batching import batch
from rimwise.cli.booking import book_app
from rimwise.cli.clinic import demo
from rimwise.cli.constants import constants
from rimwise.cli.eye import eye
from rimwise.cli.following import follow
from rimwise.cli.measuring import measure
from rimwise.cli.placing import place
from rimwise.cli.planning import plan
from rimwise.cli.predicting import predict
from rimwise.cli.serve import serve
from rimwise.cli.setting_up import setup
from rimwise.cli.talk import EXIT_STOPPED, say
from rimwise.cli.usage import OneSentence
from rimwise.terms.cautions import CAUTIONS

EPILOG = (
    "Exit codes: 0 done, 1 a fault of the program, 2 wrong input or unwritable output, "
    "3 refused measurement, 130 stopped by Ctrl-C.\n\n" + " ".join(CAUTIONS)
)

app = typer.Typer(
    name="rimwise",
    cls=OneSentence,
    help="Plan, measure and audit the capsule opening of a cataract operation.\n\n"
    "Start with: rimwise measure eye.jpg --side left --optic-diameter-mm 6.0",
    epilog=EPILOG,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"rimwise {__version__}")
        raise typer.Exit


@app.callback()
def _whole(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Print the version."),
    ] = False,
) -> None:
    pass


@app.command()
def cautions() -> None:
    """Print the cautions that hold for every number."""
    for caution in CAUTIONS:
        typer.echo(caution)


app.command(short_help="Cover of the optic in photographs.")(measure)
app.command(short_help="Cover in a whole folder of photographs.")(batch)
app.command(short_help="Centre and turn in microscope frames.")(align)
app.command(short_help="Lamps, scale and orientation of a microscope.")(setup)
app.command(short_help="The opening to be made in one eye.")(plan)
app.command(short_help="Where the optic should sit behind an opening.")(place)
app.command(short_help="What an eye will see with its implant there.")(predict)
app.command(short_help="What has changed in an eye since.")(follow)
app.command(short_help="A series of eyes, and the spread of a hand.")(audit)
app.command(short_help="An implant's constants from own eyes.")(constants)
app.command(short_help="What one eye's optics do, and its reflexes.")(eye)
app.command(short_help="A day at an invented clinic.")(demo)
app.command(short_help="The workbench in the browser.")(serve)
app.add_typer(book_app, name="casebook", short_help="Keep eyes, plans, pictures and visits.")


def run() -> None:
    """Run the command line; the entry point of the package."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that lacks "±" shows a question mark instead of a fault.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        app()
    except KeyboardInterrupt:
        say("stopped by Ctrl-C")
        sys.exit(EXIT_STOPPED)
