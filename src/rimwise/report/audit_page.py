"""An audit as one HTML file."""

from collections.abc import Sequence

from rimwise.records.series import Audit
from rimwise.report.audit_words import audit_head, figure_words
from rimwise.report.look import LOOK
from rimwise.report.side_tables import SideTable
from rimwise.terms.cautions import CAUTIONS


def audit_page(
    audit: Audit,
    drawings: list[tuple[str, str, bytes]],
    version: str,
    tables: Sequence[SideTable] = (),
) -> str:
    """How does an audit read as one HTML file: nothing fetched, no script?

    Parameters
    ----------
    audit : Audit
    drawings : list of (title, description, SVG)
    version : str
    tables : sequence of SideTable
        Beside the chapters.

    Examples
    --------
    >>> "<script" in audit_page(Audit("<t>.csv", 0, 0, "", (), ()), [], "0")
    False
    """
    from base64 import b64encode  # noqa: PLC0415

    from jinja2 import Environment, StrictUndefined  # noqa: PLC0415 - only pages need it

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    return environment.from_string(_PAGE).render(
        audit=audit,
        head=audit_head(audit),
        words=figure_words,
        look=LOOK,
        cautions=CAUTIONS,
        version=version,
        tables=tables,
        drawings=[
            (title, text, "data:image/svg+xml;base64," + b64encode(data).decode("ascii"))
            for title, text, data in drawings
        ],
    )


_PAGE = """<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Audit of {{ audit.source }}</title>
<style>
:root { color-scheme: light dark; --ink: {{ look.ink }}; --paper: {{ look.paper }};
  --rule: {{ look.rule }}; --quiet: {{ look.quiet }}; }
@media (prefers-color-scheme: dark) { :root { --ink: #e8edf0; --paper: #10181e; --rule: #33424d;
  --quiet: #a9b5bd; } }
body { font: 15px/1.45 "DejaVu Sans", sans-serif; color: var(--ink); background: var(--paper);
  max-width: 62rem; margin: 1.5rem auto; padding: 0 1rem; }
table { border-collapse: collapse; width: 100%; margin: .4rem 0 1.2rem; }
caption, .quiet { color: var(--quiet); text-align: left; }
th, td { text-align: left; padding: .2rem .8rem .2rem 0; border-bottom: 1px solid var(--rule);
  vertical-align: top; font-weight: normal; }
thead th { font-weight: bold; } .wide { overflow-x: auto; }
td.number { font-variant-numeric: tabular-nums; white-space: nowrap; }
figure { margin: 0 0 1rem; display: inline-block; max-width: 100%; }
figure img { max-width: 100%; background: #fbfaf6; }
.caution { border-left: 4px solid #b9481b; padding-left: .8rem; }
@media print { body { max-width: none; margin: 0; } h2 { break-after: avoid; } }
</style>
<h1>Audit of {{ audit.source }}</h1>
<p class="caution">{{ cautions[0] }}</p>
<table><caption>Who is in it</caption><tbody>
{% for label, value in head %}<tr><th scope="row">{{ label }}</th><td>{{ value }}</td></tr>
{% endfor %}</tbody></table>
{% for warning in audit.warnings %}<p>Beware: {{ warning }}.</p>
{% endfor %}
{% for title, text, source in drawings %}<figure><img src="{{ source }}" alt="{{ text }}">
<figcaption class="quiet">{{ title }}</figcaption></figure>
{% endfor %}
{% for part in audit.parts %}<h2>{{ part.title }}</h2>
{% for one in part.left_out %}<p class="quiet">{{ one }}.</p>
{% endfor %}<div class="wide"><table><thead><tr><th scope="col">Number</th>
<th scope="col">Value</th>
<th scope="col">95 % interval</th><th scope="col">Eyes</th><th scope="col">How</th></tr></thead>
<tbody>{% for one in part.figures %}{% set told = words(one) %}
<tr><th scope="row">{{ one.name }}</th>
<td class="number">{{ told[0] }}</td><td class="number">{{ told[1] }}</td>
<td class="number">{{ told[2] }}</td>
<td class="quiet">{{ [one.way, one.note] | select | join("; ") }}</td>
</tr>
{% endfor %}</tbody></table></div>
{% endfor %}
{% for one in tables %}<h2>{{ one.title }}</h2>
{% if one.note %}<p class="quiet">{{ one.note }}</p>
{% endif %}<div class="wide"><table><thead><tr>
{% for cell in one.head %}<th scope="col">{{ cell }}</th>
{% endfor %}</tr></thead>
<tbody>{% for row in one.rows %}<tr>{% for cell in row %}{% if loop.first %}
<th scope="row">{{ cell }}</th>
{% else %}<td{% if not loop.last %} class="number"{% endif %}>{{ cell }}</td>
{% endif %}{% endfor %}</tr>
{% endfor %}</tbody></table></div>
{% endfor %}
<h2>Methods</h2><p>{{ audit.methods }}</p>
<h2>To do it again</h2>
<p>rimwise {{ version }}{% if audit.seed is not none %}, seed {{ audit.seed }}{% endif %}.
{% for name, digest in audit.inputs %}{{ name }}: SHA-256 <code>{{ digest }}</code>.
{% endfor %}</p>
{% for caution in cautions %}<p class="quiet">{{ caution }}</p>
{% endfor %}</html>
"""
