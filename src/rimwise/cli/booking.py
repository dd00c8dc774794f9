"""``rimwise casebook ...``: parse, call the casebook, show."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimwise.cli.talk import one_sentence, print_lines, say, show_table
from rimwise.terms.errors import WrongInput

if TYPE_CHECKING:
    from rimwise.store.book import Casebook, Consent

book_app = typer.Typer(
    help="Keep eyes, plans, pictures and visits: nothing is overwritten, all is checked.\n\n"
    "Example: rimwise casebook add E-017.toml eye.jpg eye.json --who S-2",
    no_args_is_help=True,
    rich_markup_mode=None,
)

Folder = Annotated[
    Path | None,
    typer.Option(metavar="DIR", help="The casebook; RIMWISE_CASEBOOK, else ~/rimwise-casebook."),
]
Url = Annotated[
    str | None, typer.Option(metavar="URL", help="A PostgreSQL database in place of the file.")
]
Name = Annotated[str, typer.Option(metavar="CODE", help="Pseudonym of who writes.")]
Why = Annotated[str, typer.Option(metavar="TEXT", help="Why, for the history.")]


def _open(folder: Path | None, url: str | None) -> "Casebook":
    from rimwise.casebook.book import open_book  # noqa: PLC0415

    return open_book(folder, url)


@book_app.command()
def add(
    files: Annotated[list[Path], typer.Argument(metavar="FILE", help="Sheets, results, pictures.")],
    eye: Annotated[str | None, typer.Option(metavar="CODE", help="Of which eye they are.")] = None,
    who: Name = "unknown",
    why: Why = "",
    folder: Folder = None,
    url: Url = None,
) -> None:
    """Keep case, operation and visit sheets (.toml), results (.json) and pictures."""
    with one_sentence():
        from rimwise.casebook.book import Who, add_file  # noqa: PLC0415

        with _open(folder, url) as book:
            for path in files:
                for one in add_file(book, path, Who(who, why), eye):
                    print_lines([f"{one.eye}: {one.what} of {path.name} kept"])


@book_app.command("list")
def list_eyes(
    search: Annotated[str, typer.Argument(help="Beginning of an eye's or a person's code.")] = "",
    hidden: Annotated[bool, typer.Option("--hidden", help="Those taken out of the list.")] = False,
    limit: Annotated[int, typer.Option(min=1, max=10000, help="How many.")] = 50,
    folder: Folder = None,
    url: Url = None,
) -> None:
    """List the eyes, those touched last first."""
    with one_sentence(), _open(folder, url) as book:
        rows = [
            (one.code, one.side, one.person or "", one.touched.strftime("%Y-%m-%d %H:%M"))
            for one in book.eyes(search, hidden, limit)
        ]
        show_table("", rows, ("eye", "side", "person", "last change (UTC)"))
        print_lines([f"{len(rows)} of {book.count(search, hidden)} eyes"])


@book_app.command()
def show(
    eye: Annotated[str, typer.Argument(help="Code of the eye.")],
    folder: Folder = None,
    url: Url = None,
) -> None:
    """Show what is kept of an eye, and what was done with it."""
    with one_sentence(), _open(folder, url) as book:
        links = book.history(eye)
        if not links:
            raise WrongInput(f"the casebook has no eye {eye}")
        rows = [
            (
                one["at"].strftime("%Y-%m-%d %H:%M:%S"),
                one["who"],
                one["action"],
                one["kind"],
                str(one["version"]),
                one["why"],
            )
            for one in links
        ]
        show_table(f"{eye}", rows, ("when (UTC)", "who", "did", "what", "version", "why"))
        print_lines([f"consent: {', '.join(book.consent(eye)) or 'none'}"])


@book_app.command()
def consent(
    eye: Annotated[str, typer.Argument(help="Code of the eye.")],
    to: Annotated[
        list[str] | None,
        typer.Option("--to", help="care, teaching, research, publication; none without it."),
    ] = None,
    who: Name = "unknown",
    folder: Folder = None,
    url: Url = None,
) -> None:
    """Say to what the person has agreed."""
    with one_sentence():
        from rimwise.casebook.book import Who  # noqa: PLC0415

        with _open(folder, url) as book:
            book.set_consent(eye, tuple(_use(one) for one in to or ()), Who(who))


def _use(told: str) -> "Consent":
    from rimwise.store.book import CONSENTS  # noqa: PLC0415

    for one in CONSENTS:
        if one == told:
            return one
    raise WrongInput(f"consent is to {', '.join(CONSENTS)}; got {told!r}")


@book_app.command()
def hide(
    eye: Annotated[str, typer.Argument(help="Code of the eye.")],
    back: Annotated[bool, typer.Option("--back", help="Into the list again.")] = False,
    who: Name = "unknown",
    why: Why = "",
    folder: Folder = None,
    url: Url = None,
) -> None:
    """Take an eye out of the list; nothing of it is removed."""
    with one_sentence():
        from rimwise.casebook.book import Who  # noqa: PLC0415

        with _open(folder, url) as book:
            book.hide(eye, Who(who, why), not back)


@book_app.command()
def verify(folder: Folder = None, url: Url = None) -> None:
    """Check history, records and pictures; exit code 3 where something is wrong."""
    with one_sentence(), _open(folder, url) as book:
        wrong = book.verify()
        for one in wrong:
            say(one)
        if wrong:
            raise typer.Exit(3)
        print_lines([f"{book.count()} eyes, {len(book.history())} entries: all is whole"])


@book_app.command("backup")
def back_up(
    target: Annotated[Path, typer.Argument(metavar="FILE.zip", help="A new file.")],
    folder: Folder = None,
) -> None:
    """Copy the whole casebook into one file; others may go on reading and writing."""
    with one_sentence():
        from rimwise.casebook.book import backup  # noqa: PLC0415

        with _open(folder, None) as book:
            count = backup(book, target)
            print_lines([f"{target}: {book.count()} eyes, {count} pictures"])


@book_app.command("restore")
def bring_back(
    source: Annotated[Path, typer.Argument(metavar="FILE.zip", help="A backup.")],
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A new folder.")],
) -> None:
    """Bring a backup back into a new folder, and check it."""
    with one_sentence():
        from rimwise.casebook.book import restore  # noqa: PLC0415

        wrong = restore(source, folder)
        for one in wrong:
            say(one)
        if wrong:
            raise typer.Exit(3)
        print_lines([f"{folder}: all is whole"])


@book_app.command()
def export(
    target: Annotated[Path, typer.Argument(metavar="DIR", help="A new folder.")],
    use: Annotated[str, typer.Option("--for", help="care, teaching, research or publication.")],
    folder: Folder = None,
    url: Url = None,
) -> None:
    """Give eyes out as open files; eyes without consent to this use stay out."""
    with one_sentence():
        from rimwise.casebook.book import export_all  # noqa: PLC0415

        with _open(folder, url) as book:
            given, left_out = export_all(book, target, _use(use))
            print_lines([f"{target}: {given} eyes given, {left_out} without consent left out"])
