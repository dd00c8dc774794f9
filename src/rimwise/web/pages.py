"""From results and forms to HTML: every text escaped, no script and no style inside a page."""

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from rimwise import __version__
from rimwise.report.look import LOOK
from rimwise.terms.cautions import CAUTIONS
from rimwise.web.catalogue import TEXT

if TYPE_CHECKING:
    from jinja2 import Environment


OUTSIDE = "door.css"  # all that whoever has not logged in may fetch beside that page


@dataclass(frozen=True, slots=True)
class Filled:
    """A form as somebody filled it in: what was said, and what is wrong with it."""

    told: Mapping[str, Sequence[str]] = field(default_factory=dict)
    wrong: str = ""
    wrong_key: str | None = None

    def first(self, name: str) -> str:
        """Return what was said under a name, for the control to show again."""
        given = self.told.get(name, ())
        return given[0] if given else ""

    def among(self, name: str, value: str) -> bool:
        """Whether this value was ticked."""
        return value in self.told.get(name, ())


@cache
def _environment() -> "Environment":
    from jinja2 import Environment, PackageLoader, StrictUndefined  # noqa: PLC0415

    environment = Environment(
        loader=PackageLoader("rimwise.web"),
        autoescape=True,  # for every template, whatever its name
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals |= {
        "t": TEXT.__getitem__,
        "cautions": CAUTIONS,
        "version": __version__,
        "kept_kinds": {key.partition(".")[2] for key in TEXT if key.startswith("kind.")},
    }
    return environment


def page(template: str, **shown: Any) -> str:
    """How does this page read as HTML?

    Parameters
    ----------
    template : str
        Name of a file in ``templates``.
    **shown
        What the template shows.
    """
    return _environment().get_template(template).render(**shown)


def plain_page(title: str, sentence: str, onward: str = "") -> str:
    """How does a page of one sentence read, before anyone has come in?

    Nothing else is fetched by it: whoever has no session gets no style sheet either.

    Parameters
    ----------
    title, sentence : str
        Plain text.
    onward : str
        Where the browser goes next by itself, if anywhere.

    Examples
    --------
    >>> "1 &lt; 2" in plain_page("A title", "1 < 2")
    True
    """
    refresh = f'<meta http-equiv="refresh" content="0; url={html.escape(onward)}">'
    link = f'<p><a href="{html.escape(onward)}">{html.escape(TEXT["welcome.onward"])}</a></p>'
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="color-scheme" content="light dark">'
        f"{refresh if onward else ''}<title>{html.escape(title)}</title></head>\n"
        f"<body><main><h1>{html.escape(title)}</h1><p>{html.escape(sentence)}</p>"
        f"{link if onward else ''}</main></body></html>\n"
    )


def log_in_page(sentence: str) -> str:
    """How does the page read that asks who somebody is, with what went wrong?

    Examples
    --------
    >>> "&lt;b&gt;" in log_in_page("<b>")
    True
    """
    wrong = f'<p role="alert"><strong>{html.escape(sentence)}</strong></p>' if sentence else ""
    asked = {"name": "login.name", "password": "login.password", "send": "login.send"}
    said = {key: html.escape(TEXT[word]) for key, word in asked.items()}
    form = (
        '<form method="post" action="/log-in">'
        f'<p><label for="name">{said["name"]}</label><br>'
        '<input id="name" name="name" maxlength="64" autocomplete="username" required></p>'
        f'<p><label for="password">{said["password"]}</label><br><input id="password" '
        'name="password" type="password" maxlength="200" autocomplete="current-password" '
        f'required></p><p><button type="submit">{said["send"]}</button></p></form>'
    )
    cautions = "".join(f"<li>{html.escape(one)}</li>" for one in CAUTIONS)
    page = plain_page(TEXT["login.title"], TEXT["login.sentence"])
    page = page.replace("</head>", f'<link rel="stylesheet" href="/static/{OUTSIDE}"></head>')
    return page.replace("</main>", f"{wrong}{form}<ul>{cautions}</ul></main>")


def look_css() -> str:
    """Which colours do the pages share with the drawings?"""
    return (
        ":root { "
        f"--paper: {LOOK.paper}; --ink: {LOOK.ink}; --quiet: {LOOK.quiet}; --rule: {LOOK.rule}; "
        f"--covered: {LOOK.covered}; --bare: {LOOK.bare}; --drawing: {LOOK.paper}; "
        "}\n"
    )


def outside_css() -> bytes:
    """How does the page look on which people log in?"""
    return resources.files("rimwise.web").joinpath("static", OUTSIDE).read_bytes()
