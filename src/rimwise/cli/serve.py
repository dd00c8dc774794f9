"""``rimwise serve``: the workbench in the browser of this machine."""

import importlib
from pathlib import Path
from typing import Annotated

import typer

from rimwise.cli.talk import one_sentence, print_lines
from rimwise.terms.errors import WrongInput


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
    network: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Be on a network, as this TOML file says."),
    ] = None,
    add: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Let NAME log in there: ask for a password, and end."),
    ] = None,
) -> None:
    """Open the workbench: measure photographs and plan openings on pages of this machine only.

    Opening (capsulotomy). Nothing is sent anywhere; what you save goes into the casebook, nothing
    else is written to disk. On a network only with TLS and log-in.

    Example: rimwise serve --no-browser
    """
    with one_sentence():
        # Command line and workbench do not know each other: this one is started by its name.
        workbench = importlib.import_module("rimwise.web.serve")
        told = None if network is None else workbench.network_of(network)
        if add is None:
            workbench.serve(port, browser, casebook, lambda line: print_lines([line]), told)
            return
        if told is None:
            raise WrongInput("--add needs --network FILE, which names the file of people")
        password: str = typer.prompt("Password", hide_input=True, confirmation_prompt=True)
        importlib.import_module("rimwise.web.people").add_person(told.people, add, password)
        print_lines([f"{add} may log in by {told.people}"])
