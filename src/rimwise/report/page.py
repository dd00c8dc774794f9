"""One page about a day's photographs and the next plan: self-contained HTML, and data for print."""

import base64
from dataclasses import dataclass
from typing import Any

from rimwise.report.look import LOOK
from rimwise.report.words import EXPLANATIONS, Row
from rimwise.terms.cautions import CAUTIONS


@dataclass(frozen=True, slots=True)
class PagePicture:
    """A picture on the page: ``alt`` says for those who cannot see it what it shows."""

    name: str
    caption: str
    alt: str
    data: bytes
    mime: str


@dataclass(frozen=True, slots=True)
class PageTable:
    """A table with a caption; cells are words."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class DayPage:
    """Everything that stands on the page.

    Parameters
    ----------
    title, subtitle : str
        The subtitle says whose data they are, and that they are invented where they are.
    numbers : tuple of Row
        The few numbers at the top.
    pictures : tuple of PagePicture
        The first is printed on the one-page PDF; HTML shows all.
    plan : PagePicture or None
        The plan's drawing.
    table : PageTable
        Measured numbers beside what they are checked against.
    methods : str
        The methods paragraph.
    inputs : tuple of (name, SHA-256)
        What was read.
    version : str
        Of the program.
    """

    title: str
    subtitle: str
    numbers: tuple[Row, ...]
    pictures: tuple[PagePicture, ...]
    plan: PagePicture | None
    table: PageTable
    methods: str
    inputs: tuple[tuple[str, str], ...]
    version: str


def day_html(page: DayPage) -> str:
    """How does the page read as one HTML file: no script, nothing fetched, dark and light?

    Examples
    --------
    >>> table = PageTable("None", ("Picture",), ())
    >>> page = DayPage("A <day>", "invented", (), (), None, table, "By hand.", (), "0")
    >>> "A &lt;day&gt;" in day_html(page), "<script" in day_html(page)
    (True, False)
    """
    from jinja2 import Environment, StrictUndefined  # noqa: PLC0415 - only pages need it

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    template = environment.from_string(TEMPLATE)
    return template.render(
        page=page, look=LOOK, cautions=CAUTIONS, words=EXPLANATIONS, source=_data_address
    )


def day_data(page: DayPage) -> dict[str, Any]:
    """Which plain data does the print template get? (pictures by file name)

    Examples
    --------
    >>> table = PageTable("None", ("Picture",), ())
    >>> page = DayPage("A day", "invented", (), (), None, table, "By hand.", (), "0")
    >>> day_data(page)["title"], day_data(page)["picture"]
    ('A day', None)
    """
    shown = page.pictures[0] if page.pictures else None
    return {
        "title": page.title,
        "subtitle": page.subtitle,
        "numbers": [[row.label, row.value, row.note] for row in page.numbers],
        "picture": None if shown is None else _named(shown),
        "plan": None if page.plan is None else _named(page.plan),
        "table": {
            "caption": page.table.caption,
            "head": list(page.table.head),
            "rows": [list(row) for row in page.table.rows],
        },
        "words": [list(pair) for pair in EXPLANATIONS],
        "methods": page.methods,
        "inputs": [list(pair) for pair in page.inputs],
        "version": page.version,
        "cautions": list(CAUTIONS),
        "look": {"ink": LOOK.ink, "quiet": LOOK.quiet, "rule": LOOK.rule, "accent": LOOK.covered},
    }


def _named(picture: PagePicture) -> dict[str, str]:
    return {"file": picture.name, "caption": picture.caption, "alt": picture.alt}


def _data_address(picture: PagePicture) -> str:
    """Return the picture as an address that holds its own bytes."""
    return f"data:{picture.mime};base64,{base64.b64encode(picture.data).decode('ascii')}"


TEMPLATE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{ page.title }}</title>
<style>
:root { color-scheme: light dark; --paper: {{ look.paper }}; --ink: {{ look.ink }};
  --quiet: {{ look.quiet }}; --rule: {{ look.rule }}; --accent: {{ look.covered }}; }
@media (prefers-color-scheme: dark) { :root { --paper: #151b20; --ink: #e9e6dd;
  --quiet: #a9b3ba; --rule: #38434b; --accent: #7cc4d4; } }
body { background: var(--paper); color: var(--ink); margin: 0 auto; padding: 1.5rem;
  max-width: 76rem; font: 1rem/1.45 "DejaVu Sans", Verdana, sans-serif; }
h1 { font-size: 1.5rem; margin: 0; } h2 { font-size: 1.1rem; margin: 2rem 0 .5rem; }
.quiet { color: var(--quiet); margin: .2rem 0; }
.caution { border-left: .3rem solid var(--accent); padding: .3rem .8rem; margin: 1rem 0; }
dl.numbers { display: grid; gap: 1rem; margin: 1.2rem 0;
  grid-template-columns: repeat(auto-fit, minmax(15rem, 1fr)); }
dl.numbers div { border-top: .18rem solid var(--accent); padding-top: .4rem; }
dl.numbers dt { color: var(--quiet); } dl.numbers dd { margin: 0; }
dd.value { font-size: 1.45rem; font-weight: 700; }
.gallery { display: grid; gap: 1.2rem;
  grid-template-columns: repeat(auto-fit, minmax(26rem, 1fr)); }
figure { margin: 0; } figure img { width: 100%; height: auto; background: {{ look.paper }}; }
figcaption { color: var(--quiet); font-size: .9rem; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-size: .9rem; }
caption { text-align: left; color: var(--quiet); padding-bottom: .4rem; }
th, td { text-align: left; padding: .3rem .7rem .3rem 0; border-bottom: 1px solid var(--rule);
  vertical-align: top; }
.inputs td { font-family: "DejaVu Sans Mono", monospace; font-size: .78rem; word-break: break-all; }
@media (max-width: 34rem) { .gallery { grid-template-columns: 1fr; } }
@media print { body { padding: 0; max-width: none; font-size: 9pt; }
  figure, tr, dl.numbers div { break-inside: avoid; } }
</style>
</head>
<body>
<header>
<h1>{{ page.title }}</h1>
<p class="quiet">{{ page.subtitle }}</p>
<p class="caution"><strong>{{ cautions[0] }}</strong></p>
</header>
<main>
<dl class="numbers">
{% for row in page.numbers %}
<div><dt>{{ row.label }}</dt><dd class="value">{{ row.value }}</dd><dd>{{ row.note }}</dd></div>
{% endfor %}
</dl>
<p class="quiet">{% for word, meaning in words %}<strong>{{ word }}</strong>: {{ meaning }}.
{% endfor %}± is one standard deviation.</p>
{% if page.pictures %}
<h2>Pictures</h2>
<div class="gallery">
{% for picture in page.pictures %}
<figure><img src="{{ source(picture) }}" alt="{{ picture.alt }}">
<figcaption>{{ picture.caption }}</figcaption></figure>
{% endfor %}
</div>
{% endif %}
{% if page.plan %}
<h2>The next plan</h2>
<figure><img src="{{ source(page.plan) }}" alt="{{ page.plan.alt }}">
<figcaption>{{ page.plan.caption }}</figcaption></figure>
{% endif %}
<h2>Measured against truth</h2>
<div class="wide"><table>
<caption>{{ page.table.caption }}</caption>
<thead><tr>{% for cell in page.table.head %}<th scope="col">{{ cell }}</th>{% endfor %}</tr></thead>
<tbody>
{% for row in page.table.rows %}
<tr>{% for cell in row %}<td>{{ cell }}</td>{% endfor %}</tr>
{% endfor %}
</tbody>
</table></div>
<h2>Methods</h2>
<p>{{ page.methods }}</p>
<h2>Cautions</h2>
<ul>
{% for caution in cautions %}
<li>{{ caution }}</li>
{% endfor %}
</ul>
</main>
<footer>
<h2>What was read</h2>
<p class="quiet">rimwise {{ page.version }}; SHA-256 of every picture.</p>
<table class="inputs">
{% for name, digest in page.inputs %}
<tr><td>{{ name }}</td><td>{{ digest }}</td></tr>
{% endfor %}
</table>
</footer>
</body>
</html>
"""
