"""The flags of ``rimwise audit``."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from rimwise.terms.errors import WrongInput

if TYPE_CHECKING:
    from rimwise.casebook.audit_writing import AuditRequest

Table = Annotated[
    Path | None, typer.Argument(metavar="TABLE.csv", help="One row an eye, one heading line.")
]
Book = Annotated[bool, typer.Option("--casebook", help="Audit the casebook in place of a table.")]
BookFolder = Annotated[
    Path | None, typer.Option(metavar="DIR", help="The casebook's folder, if not the usual one.")
]
Column = Annotated[
    list[str] | None,
    typer.Option(metavar="NAME=HEADING", help="Which heading is which column; see --columns."),
]
Only = Annotated[
    list[str] | None,
    typer.Option(metavar="NAME=VALUE", help="Keep these rows, e.g. technique=manual."),
]
Eyes = Annotated[str, typer.Option(help="Two eyes of one person: both, first or random.")]
Seed = Annotated[int, typer.Option(min=0, help="For all that is drawn at random.")]
Compare = Annotated[
    str | None, typer.Option(metavar="NAME=FIRST,SECOND", help="Two groups side by side.")
]
Adjust = Annotated[
    list[str] | None, typer.Option(metavar="NAME", help="A number held equal in --compare.")
]
Paired = Annotated[
    bool, typer.Option("--paired", help="In --compare: the two eyes of the same persons.")
]
Margin = Annotated[
    list[str] | None,
    typer.Option(
        metavar="NAME=NUMBER", help="In --compare: equivalent if within, e.g. complete=0.05."
    ),
]
EyesNeeded = Annotated[
    str | None,
    typer.Option(
        metavar="WHAT=A,B",
        help="Eyes a group to tell two shares apart, or a difference with its SD, and end: "
        "share=0.80,0.95 or mean=0.25,0.50.",
    ),
]
Charts = Annotated[
    bool, typer.Option("--charts", help="Learning charts in the order of operation.")
]
Bare = Annotated[
    float | None,
    typer.Option(min=0.0, max=1.0, help="Share of incomplete covers to expect, for its chart."),
]
OwnSpreadFile = Annotated[
    str | None, typer.Option(metavar="FILE", help="Write this surgeon's bias and scatter for plan.")
]
HandName = Annotated[
    str, typer.Option(help="Published spread behind a small series: manual or guided.")
]
RecountOnly = Annotated[
    bool, typer.Option("--recount", help="Check printed percentages: count, total, percent.")
]
ColumnsOnly = Annotated[
    bool, typer.Option("--columns", help="List the columns that an audit knows, and end.")
]
JsonFile = Annotated[
    str | None, typer.Option(metavar="FILE", help='Write the audit as JSON; "-" prints it.')
]
TablesFolder = Annotated[
    Path | None, typer.Option(metavar="DIR", help="One CSV a chapter, same bytes every time.")
]
DrawingFolder = Annotated[
    Path | None, typer.Option(metavar="DIR", help="Folder for the drawings, singly.")
]
PageFile = Annotated[
    Path | None, typer.Option(metavar="FILE.html", help="The whole audit as one page.")
]
Covers = Annotated[
    Path | None,
    typer.Option(metavar="FILE.json", help="From measure, for the cover strips of all eyes."),
]
Funnel = Annotated[
    str | None,
    typer.Option(metavar="NAME", help="Each name of a column about the common rate: surgeon."),
]
Fewest = Annotated[
    int | None,
    typer.Option("--share", metavar="N", min=2, help="For sharing: withhold counts below N."),
]
PdfFile = Annotated[
    Path | None, typer.Option("--pdf", metavar="FILE.pdf", help="The whole audit in print.")
]
DrawingKind = Annotated[
    str, typer.Option("--drawing-as", help="Kind of the single drawings: svg, png or pdf.")
]


@dataclass(frozen=True, slots=True)
class Told:
    """The flags as they were given, each under its name."""

    table: Path | None
    column: list[str] | None
    only: list[str] | None
    eyes: str
    seed: int
    compare: str | None
    adjust: list[str] | None
    paired: bool
    margin: list[str] | None
    eyes_needed: str | None
    charts: bool
    expected_bare: float | None
    covers: Path | None
    funnel: str | None
    share: int | None
    spread: str | None
    hand: str
    recount: bool
    columns: bool
    casebook: bool
    folder: Path | None
    json: str | None
    tables: Path | None
    drawing: Path | None
    drawing_as: str
    page: Path | None
    pdf: Path | None

    def request(self) -> "AuditRequest":
        """Return what the casebook is asked for.

        Raises
        ------
        WrongInput
        """
        from rimwise.audit.select import eyes_choice  # noqa: PLC0415
        from rimwise.audit.spread import hand_named  # noqa: PLC0415
        from rimwise.casebook.audit_writing import AuditRequest  # noqa: PLC0415

        return AuditRequest(
            self.table,
            _pairs(self.column, "--column"),
            _pairs(self.only, "--only"),
            eyes_choice(self.eyes),
            self.seed,
            _groups(self.compare),
            tuple(self.adjust or ()),
            self.charts,
            self.expected_bare,
            json_out=self.json,
            tables=self.tables,
            drawings=self.drawing,
            page=self.page,
            spread_out=self.spread,
            hand=hand_named(self.hand),
            casebook=self.folder,
            covers=self.covers,
            funnel=self.funnel,
            fewest=self.share,
            pdf=self.pdf,
            drawing_kind=_kind(self.drawing_as),
            paired=self.paired,
            margins={
                key: _number(key, one) for key, one in _pairs(self.margin, "--margin").items()
            },
        )


def _number(key: str, told: str) -> float:
    try:
        return float(told.replace(",", "."))
    except ValueError:
        raise WrongInput(f"--margin {key}={told}: a number is needed") from None


def needed_words(told: str) -> str:
    """How many eyes a group are needed, in a sentence?

    Raises
    ------
    WrongInput

    Examples
    --------
    >>> needed_words("share=0.80,0.95")[:25]
    '76 eyes a group, one a pe'
    """
    from rimwise.audit.series_size import eyes_for_mean, eyes_for_share  # noqa: PLC0415

    what, _, both = told.partition("=")
    try:
        first, second = (float(one) for one in both.split(","))
    except ValueError:
        raise WrongInput(
            f"--eyes-needed {told}: share=0.80,0.95 or mean=DIFFERENCE,SD is needed"
        ) from None
    if what == "share":
        eyes, words = eyes_for_share(first, second), f"shares of {first:g} and {second:g}"
    elif what == "mean":
        eyes = eyes_for_mean(first, second)
        words = f"means that differ by {first:g} with an SD of {second:g}"
    else:
        raise WrongInput(f"--eyes-needed {told}: share or mean is allowed")
    return (
        f"{eyes} eyes a group, one a person, tell {words} apart in 80 % of studies (both sides, "
        "5 %); two eyes of a person, alike to 0.6, count as 1.25"
    )


def _kind(told: str) -> Literal["svg", "png", "pdf"]:
    for one in ("svg", "png", "pdf"):
        if told == one:
            return one
    raise WrongInput(f"--drawing-as {told}: svg, png or pdf is allowed")


def _pairs(told: list[str] | None, flag: str) -> dict[str, str]:
    pairs = {}
    for one in told or []:
        name, sign, value = one.partition("=")
        if not (sign and name and value):
            raise WrongInput(f"{flag} {one}: NAME=VALUE is needed")
        pairs[name.strip().replace("-", "_")] = value.strip()
    return pairs


def _groups(told: str | None) -> tuple[str, str, str] | None:
    if told is None:
        return None
    name, sign, both = told.partition("=")
    first, comma, second = both.partition(",")
    if not (sign and comma and name and first and second):
        raise WrongInput(f"--compare {told}: NAME=FIRST,SECOND is needed")
    return name.strip(), first.strip(), second.strip()
