"""A sight on one page: numbers, drawing and pictures, and a table behind each of them."""

import base64
from dataclasses import dataclass

from rimwise.records.as_seen import SeenPicture
from rimwise.records.sight import Likely, PupilComparison, Sensitivity, Sight
from rimwise.report.look import LOOK
from rimwise.report.page import PagePicture, PageTable
from rimwise.report.seen_drawing import NOT_FOR_PATIENTS, NOT_IN_IT, edge_sentence
from rimwise.report.sight_words import HEADER, sight_rows, sight_sentences
from rimwise.terms.cautions import CAUTIONS
from rimwise.terms.estimate import Estimate
from rimwise.terms.frames import Side, direction_words


@dataclass(frozen=True, slots=True)
class SightPage:
    """Everything that stands on the page.

    Parameters
    ----------
    sight : Sight
    notes : tuple of str
        What to beware of.
    drawing : bytes
        Of contrast and focus, SVG.
    pictures : tuple of (SeenPicture, bytes)
        Each with its PNG.
    version : str
        Of the program.

    Examples
    --------
    >>> SightPage(Sight("E-1", "right", "refused", ()), (), b"", (), "0").version
    '0'
    """

    sight: Sight
    notes: tuple[str, ...]
    drawing: bytes
    pictures: tuple[tuple[SeenPicture, bytes], ...]
    version: str


def contrast_table(pupil: PupilComparison) -> PageTable:
    """Which numbers stand behind the curves of contrast?

    Examples
    --------
    >>> len(CONTRAST_HEAD)
    6
    """
    here, ideal = pupil.here.with_glasses, pupil.ideal.with_glasses
    rows = []
    for k, cpd in enumerate(here.frequency_cpd):
        perfect = f"{ideal.mean[k].value:.3f}"
        rows.append((
            f"{cpd:g}", _told(here.mean[k]), _between(here.mean_95[k]), perfect,
            _told(here.tangential[k]), _told(here.sagittal[k]),
        ))  # fmt: skip
    caption = f"Contrast kept, pupil {pupil.pupil_mm:g} mm, behind the glasses"
    return PageTable(caption, CONTRAST_HEAD, tuple(rows))


def focus_table(pupil: PupilComparison) -> PageTable:
    """Which numbers stand behind the curves of contrast through focus?

    Examples
    --------
    >>> from dataclasses import make_dataclass
    >>> from rimwise.records.sight import Focusing
    >>> curve = Focusing(10.0, (-0.25, -0.125, 0.0), (0.2, 0.4, 0.6))
    >>> seen = make_dataclass("Seen", ["through_focus"])(curve)
    >>> focus_table(make_dataclass("Pupil", ["here", "ideal", "pupil_mm"])(seen, seen, 3.0)).rows
    (('-0.25', '0.200', '0.200'), ('+0.00', '0.600', '0.600'))
    """
    here, ideal = pupil.here.through_focus, pupil.ideal.through_focus
    rows = [
        (f"{lens:+.2f}", f"{one:.3f}", f"{other:.3f}")
        for lens, one, other in zip(here.lens_dpt, here.contrast, ideal.contrast, strict=True)
    ]
    caption = (
        f"Contrast at {here.frequency_cpd:g} cycles per degree behind lenses added to the "
        f"glasses, pupil {pupil.pupil_mm:g} mm"
    )
    return PageTable(caption, ("lens, dpt", "here", "ideal placement"), tuple(rows[::2]))


def cost_table(found: Sensitivity, side: Side) -> PageTable:
    """What would a little more shift, and a little more tilt, cost, by direction?

    Examples
    --------
    >>> from rimwise.records.sight import SightMap
    >>> told = ((0.0, 0.012), (90.0, -0.0004))
    >>> one, other = (SightMap(unit, (), (), (), (), (0.0, 0.0), told) for unit in ("mm", "deg"))
    >>> cost_table(Sensitivity(4.0, 15.0, (one, other), ()), "right").rows
    (('nasal', '1.2', '1.2'), ('superior', '0.0', '0.0'))
    """
    rows = [
        (direction_words(turn, side), _points(shift), _points(tilt))
        for (turn, shift), (_, tilt) in zip(*(one.cost for one in found.maps), strict=True)
    ]
    caption = (
        f"Points of contrast at {found.frequency_cpd:g} cycles per degree that more would cost "
        f"from here, pupil {found.pupil_mm:g} mm; a minus gains"
    )
    return PageTable(caption, ("towards", "0.1 mm of shift", "1° of tilt"), tuple(rows))


def pictures_table(pictures: tuple[SeenPicture, ...]) -> PageTable:
    """What is in the pictures: pupils, light within the window, light beside the optic?

    Examples
    --------
    >>> pictures_table(()).rows
    ()
    """
    rows = tuple(
        (
            one.scene, f"{one.light}, {one.pupil_mm:g} mm", f"{100.0 * one.share_here:.1f} %",
            f"{100.0 * one.share_ideal:.1f} %", edge_sentence(one),
        )
        for one in pictures
    )  # fmt: skip
    return PageTable("What stands behind the pictures", PICTURES_HEAD, rows)


def seen_description(picture: SeenPicture) -> str:
    """What does a picture show, for those who cannot see it?

    Examples
    --------
    >>> import numpy as np
    >>> from rimwise.records.as_seen import EdgeInPupil
    >>> edge, page = EdgeInPupil(3.0, 6.0, 2.0, (), None, 5.4), np.ones((2, 2))
    >>> seen = SeenPicture("lamps", "photopic", 3.0, page, page, page, 0.5, 1.0, 1.0, edge)
    >>> seen_description(seen)[:44]
    'Two lamps in the dark, photopic pupil 3 mm: '
    """
    what = "A chart of rings and letters" if picture.scene == "chart" else "Two lamps in the dark"
    return (
        f"{what}, {picture.light} pupil {picture.pupil_mm:g} mm: on the left with the implant "
        f"where it stands ({100.0 * picture.share_here:.1f} % of a point's light within the "
        f"window), on the right with it where it should be ({100.0 * picture.share_ideal:.1f} %)."
    )


def assumed_words(sight: Sight) -> list[str]:
    """What was assumed of this eye, with its source?

    Examples
    --------
    >>> assumed_words(Sight("E-1", "right", "refused", ()))
    []
    """
    return [
        f"{one.what}: {one.value:g} {one.unit} ({one.cite}; {one.status})"
        for one in sight.assumptions
    ]


def sight_html(page: SightPage) -> str:
    """How does a sight read as one HTML file: no script, nothing fetched, dark and light?

    Examples
    --------
    >>> page = sight_html(SightPage(Sight("E-<1>", "right", "refused", ()), (), b"", (), "0"))
    >>> "E-&lt;1&gt;" in page, "<script" in page
    (True, False)
    """
    from jinja2 import Environment, StrictUndefined  # noqa: PLC0415 - only pages need it

    sight = page.sight
    tables = [table for one in sight.pupils for table in (contrast_table(one), focus_table(one))]
    if sight.sensitivity is not None:
        tables.append(cost_table(sight.sensitivity, sight.side))
    drawing = PagePicture(
        "sight.svg",
        "Contrast and focus",
        " ".join(sight_sentences(sight)),
        page.drawing,
        "image/svg+xml",
    )
    shown = [
        PagePicture(f"{one.scene}-{one.light}.png", seen_description(one), seen_description(one),
                    png, "image/png")
        for one, png in page.pictures
    ]  # fmt: skip
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    return environment.from_string(TEMPLATE).render(
        title=f"Expected sight, {sight.code} ({sight.side} eye)",
        numbers=PageTable("Here beside the ideal placement", HEADER, tuple(sight_rows(sight))),
        said=sight_sentences(sight), page=page, drawing=drawing, tables=tables, shown=shown,
        behind=pictures_table(tuple(one for one, _ in page.pictures)), look=LOOK,
        cautions=CAUTIONS, not_in_it=NOT_IN_IT, not_for=NOT_FOR_PATIENTS, source=_address,
        assumed=assumed_words(sight),
    )  # fmt: skip


CONTRAST_HEAD = (
    "cycles per degree", "here, all directions", "95 % of placements", "ideal placement",
    "here, along the shift", "here, across it",
)  # fmt: skip
PICTURES_HEAD = ("scene", "pupil", "light in window, here", "ideal placement", "optic's edge")


def _points(share: float) -> str:
    """Return points of contrast; what rounds to nothing has no minus."""
    return f"{round(100.0 * share, 1) + 0.0:.1f}"


def _told(one: Estimate) -> str:
    return f"{one.value:.3f} ± {one.sd:.3f}"


def _between(likely: Likely) -> str:
    return f"{likely[0]:.3f} to {likely[1]:.3f}"


def _address(picture: PagePicture) -> str:
    return f"data:{picture.mime};base64,{base64.b64encode(picture.data).decode('ascii')}"


TEMPLATE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{ title }}</title>
<style>
:root { color-scheme: light dark; --paper: {{ look.paper }}; --ink: {{ look.ink }};
  --quiet: {{ look.quiet }}; --rule: {{ look.rule }}; --accent: {{ look.covered }}; }
@media (prefers-color-scheme: dark) { :root { --paper: #151b20; --ink: #e9e6dd;
  --quiet: #a9b3ba; --rule: #38434b; --accent: #7cc4d4; } }
body { background: var(--paper); color: var(--ink); margin: 0 auto; padding: 1.5rem;
  max-width: 76rem; font: 1rem/1.45 "DejaVu Sans", Verdana, sans-serif; }
h1 { font-size: 1.5rem; margin: 0; } h2 { font-size: 1.1rem; margin: 2rem 0 .5rem; }
.quiet, figcaption, caption { color: var(--quiet); }
.caution { border-left: .3rem solid var(--accent); padding: .3rem .8rem; margin: 1rem 0; }
figure { margin: 1rem 0; } .wide { overflow-x: auto; }
figure img { min-width: 44rem; width: 100%; height: auto; background: {{ look.paper }}; }
table { border-collapse: collapse; width: 100%; font-size: .9rem; }
caption { text-align: left; padding-bottom: .4rem; }
th, td { text-align: left; padding: .3rem .7rem .3rem 0; border-bottom: 1px solid var(--rule);
  vertical-align: top; }
@media print { body { padding: 0; max-width: none; font-size: 9pt; }
  figure img { min-width: 0; } figure, tr { break-inside: avoid; } }
</style>
</head>
<body>
{% macro lines(one) %}
<div class="wide" tabindex="0" role="region" aria-label="{{ one.caption }}"><table>
<caption>{{ one.caption }}</caption>
<thead><tr>{% for cell in one.head %}<th scope="col">{{ cell }}</th>{% endfor %}</tr></thead>
<tbody>
{% for row in one.rows %}
<tr>{% for cell in row %}<td>{{ cell }}</td>{% endfor %}</tr>
{% endfor %}
</tbody></table></div>
{% endmacro %}
<header><h1>{{ title }}</h1>
<p class="caution"><strong>{{ cautions[0] }}</strong></p>
<p class="caution"><strong>{{ not_for }}</strong> {{ not_in_it }}</p></header>
<main>
{{ lines(numbers) }}
<p class="quiet">± is one standard deviation, of the placement alone.</p>
<ul>{% for one in said %}<li>{{ one }}</li>
{% endfor %}</ul>
<figure><div class="wide" tabindex="0" role="region" aria-label="{{ drawing.caption }}">
<img src="{{ source(drawing) }}" alt="{{ drawing.alt }}"></div>
<figcaption>{{ drawing.caption }}</figcaption></figure>
{% for one in tables %}<details><summary>{{ one.caption }}</summary>{{ lines(one) }}</details>
{% endfor %}
{% if shown %}
<h2>As seen</h2>
{% for one in shown %}
<figure><div class="wide" tabindex="0" role="region" aria-label="{{ one.name }}">
<img src="{{ source(one) }}" alt="{{ one.alt }}"></div>
<figcaption>{{ one.caption }}</figcaption></figure>
{% endfor %}
{{ lines(behind) }}
{% endif %}
{% if page.notes %}<h2>Beware</h2><ul>{% for one in page.notes %}<li>{{ one }}</li>
{% endfor %}</ul>{% endif %}
{% if assumed %}<h2>Assumed</h2><ul>{% for one in assumed %}<li>{{ one }}</li>
{% endfor %}</ul>{% endif %}
<h2>Cautions</h2><ul>{% for one in cautions %}<li>{{ one }}</li>
{% endfor %}</ul>
</main>
<footer><p class="quiet">rimwise {{ page.version }}</p></footer>
</body>
</html>
"""
