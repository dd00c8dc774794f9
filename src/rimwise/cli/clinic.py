"""``rimwise demo``: a day at a clinic that never existed."""

from pathlib import Path
from typing import Annotated

import typer

from rimwise.cli.talk import one_sentence, print_lines, progress_bar, show_foot


def demo(
    out: Annotated[
        Path, typer.Option(metavar="DIR", help="Folder for pictures, drawings, results, report.")
    ] = Path("demo-out"),
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help='Copy the results to FILE; "-" prints them.')
    ] = None,
) -> None:
    """Photograph, measure and plan a day at an invented clinic; write what a real one would get.

    Cover (capsule overlap), opening (capsulotomy), optic (implant's lens body).

    Example: rimwise demo --out demo-out
    """
    with one_sentence():
        from rimwise.demo.clinic import run_demo  # noqa: PLC0415
        from rimwise.exchange.writing import check_writable, copy_document  # noqa: PLC0415

        if json is not None:
            check_writable(json)
        with progress_bar("demo", total=2) as progress:
            lines = run_demo(out, progress)
        if json != "-":
            print_lines(lines)
            show_foot()
        if json is not None:
            copy_document(out / "results.json", json)
