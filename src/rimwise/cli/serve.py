"""``rimwise serve``: the workbench in the browser of this machine."""

import importlib
from pathlib import Path
from typing import Annotated

import typer

from rimwise.cli.talk import one_sentence, print_lines


def serve(
    port: Annotated[
        int | None,
        typer.Option(metavar="N", help="Port to use; the usual or a free one if left out."),
    ] = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the address in the browser.")
    ] = True,
    casebook: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR", help="The casebook; RIMWISE_CASEBOOK, else ~/rimwise-casebook."
        ),
    ] = None,
) -> None:
    """Open the workbench: measure photographs and plan openings on pages of this machine only.

    Opening (capsulotomy). Nothing is sent anywhere; what you save goes into the casebook, nothing
    else is written to disk.

    Example: rimwise serve --no-browser
    """
    with one_sentence():
        # Command line and workbench do not know each other: this one is started by its name.
        workbench = importlib.import_module("rimwise.web.serve")
        workbench.serve(port, browser, casebook, lambda line: print_lines([line]))
