"""The HTML of a plan sheet: one page of A4 when printed."""

SHEET_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{ sheet.title }}</title>
<style>
:root { color-scheme: light dark; --paper: {{ look.paper }}; --ink: {{ look.ink }};
  --quiet: {{ look.quiet }}; --rule: {{ look.rule }}; --accent: {{ look.covered }}; }
@media (prefers-color-scheme: dark) { :root { --paper: #151b20; --ink: #e9e6dd;
  --quiet: #a9b3ba; --rule: #38434b; --accent: #7cc4d4; } }
body { background: var(--paper); color: var(--ink); margin: 0 auto; padding: 1.2rem;
  max-width: 70rem; font: .86rem/1.35 "DejaVu Sans", Verdana, sans-serif; }
h1 { font-size: 1.4rem; margin: 0; } h2 { font-size: 1rem; margin: 1rem 0 .3rem; }
p { margin: .3rem 0; } .quiet { color: var(--quiet); }
dl.answers { display: grid; gap: .8rem; margin: .8rem 0;
  grid-template-columns: repeat(auto-fit, minmax(11.5rem, 1fr)); }
dl.answers div { border-top: .18rem solid var(--accent); padding-top: .3rem; }
dl.answers dt { color: var(--quiet); } dl.answers dd { margin: 0; }
dd.value { font-size: 1.15rem; font-weight: 700; }
.views { display: grid; gap: 1rem; grid-template-columns: 1.35fr 1fr; }
figure { margin: 0; } figure img { width: 100%; height: auto; background: {{ look.paper }}; }
figcaption { color: var(--quiet); font-size: .78rem; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-size: .8rem; }
caption { text-align: left; color: var(--quiet); }
th, td { text-align: left; padding: .16rem .6rem .16rem 0; border-bottom: 1px solid var(--rule);
  vertical-align: top; font-weight: normal; }
thead th { font-weight: 700; } tbody th { white-space: nowrap; }
.named { font-weight: 700; }
ul { margin: .2rem 0; padding-left: 1.1rem; } .small { font-size: .76rem; }
.hash { font-family: "DejaVu Sans Mono", monospace; word-break: break-all; }
@media (max-width: 44rem) { .views { grid-template-columns: 1fr; } }
@page { size: A4; margin: 9mm; }
@media print { :root { --paper: #ffffff; --ink: {{ look.ink }}; --quiet: {{ look.quiet }};
    --rule: {{ look.rule }}; --accent: {{ look.covered }}; }
  body { padding: 0; max-width: none; font-size: 5.8pt; line-height: 1.15; }
  h1 { font-size: 12pt; } h2 { font-size: 7.5pt; margin: .8mm 0 .2mm; }
  dd.value { font-size: 9pt; } table { font-size: 5.7pt; } .small { font-size: 5.3pt; }
  dl.answers { grid-template-columns: repeat(5, 1fr); gap: 2mm; margin: 1mm 0; }
  th, td { padding: .25mm 1.5mm .25mm 0; }
  .views { grid-template-columns: 1.35fr 1fr; gap: 2mm; width: 60%; }
  figcaption { font-size: 5.4pt; line-height: 1.1; } h2 { margin: .5mm 0 0; } p { margin: .3mm 0; }
  ul { margin: 0; } }
</style>
</head>
<body>
<header>
<h1>{{ sheet.title }}</h1>
<p class="quiet">{{ sheet.subtitle }}</p>
<p><strong>{{ cautions[0] }}</strong></p>
</header>
<main>
<dl class="answers">
{% for label, value, note in sheet.answers %}
<div><dt>{{ label }}</dt><dd class="value">{{ value }}</dd><dd>{{ note }}</dd></div>
{% endfor %}
</dl>
<div class="views">
{% for picture in sheet.pictures %}
<figure><img src="{{ source(picture) }}" alt="{{ picture.alt }}">
<figcaption>{{ picture.caption }}</figcaption></figure>
{% endfor %}
</div>
{% if sheet.refraction %}
<div class="wide"><table>
<caption>Expected refraction at the spectacles (dpt) for each power; the surgeon chooses</caption>
<thead><tr><th scope="col">Power (dpt)</th>
{% for power in sheet.powers %}<th scope="col"{% if loop.index0 == sheet.named %} class="named"
{% endif %}>{{ power }}{% if loop.index0 == sheet.named %} (named){% endif %}</th>{% endfor %}
<th scope="col">± at most</th><th scope="col">Status</th></tr></thead>
<tbody>
{% for row in sheet.refraction %}
<tr><th scope="row">{{ row[0] }}</th>{% for cell in row[1:] %}
<td{% if loop.index0 == sheet.named %} class="named"{% endif %}>{{ cell }}</td>{% endfor %}</tr>
{% endfor %}
</tbody>
</table></div>
{% endif %}
<h2>Numbers</h2>
<div class="wide"><table>
<tbody>
{% for label, value, note in sheet.rows %}
<tr><th scope="row">{{ label }}</th><td>{{ value }}</td><td>{{ note }}</td></tr>
{% endfor %}
</tbody>
</table></div>
<p class="quiet">{% for word, meaning in words %}<strong>{{ word }}</strong>: {{ meaning }}.
{% endfor %}± is one standard deviation.</p>
<h2>Beware</h2>
<ul class="small">
{% for one in sheet.warnings %}
<li>{{ one }}</li>
{% endfor %}
</ul>
<h2>Assumed, not measured</h2>
<p class="small">{{ sheet.assumed | join("; ") or "Nothing" }}.</p>
<h2>Cautions</h2>
<ul class="small">
{% for caution in cautions[1:] %}
<li>{{ caution }}</li>
{% endfor %}
</ul>
</main>
<footer><p class="quiet small hash">{{ sheet.origin }}</p></footer>
</body>
</html>
"""
