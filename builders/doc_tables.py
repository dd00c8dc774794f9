"""Parts of the documentation that are written from the program itself.

Called by cog from inside the pages (``make docs``); ``make docs-check`` fails where a page is
behind. What is printed here is the truth of the code: the commands' own help, the published
numbers with their passports, and what the docstrings of ``tests/published`` say.
"""

import ast
import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from typer.main import get_command

from rimwise.published.eyes import EYES, schematic_eye
from rimwise.published.formulas import FORMULAS, published_formula
from rimwise.published.load import TABLES, published_table

ROOT = Path(__file__).parents[1]
STATUSES = ("published and read", "computed", "from memory", "common practice, no source")


def external_checks() -> str:
    """Which numbers from outside are compared with, where are they from, how were they seen?"""
    rows = ["| what is compared | source | status | test |", "|---|---|---|---|"]
    for path, what, source in _checks():
        rows.append(f"| {what} | {_first_sentence(source)} | {_status(source)} | `{path.stem}` |")
    return "\n".join(["", *rows, "", ""])


def _checks() -> Iterator[tuple[Path, str, str]]:
    for path in sorted((ROOT / "tests" / "published").glob("test_*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in [tree, *tree.body]:
            if not isinstance(node, ast.Module | ast.FunctionDef):
                continue
            text = ast.get_docstring(node) or ""
            source = re.search(r"^Sources?:\s*(.+?)(?:\n\s*\n|\Z)", text, re.M | re.S)
            if source:
                yield path, _cell(text.split("\n\n")[0]), _cell(source[1])


def _first_sentence(text: str) -> str:
    return re.split(r"\.\s+(?=[A-Z])", text)[0]


def _cell(text: str) -> str:
    plain = text.replace("``", "`").replace("|", "\\|")
    return re.sub(r"\s+", " ", plain).strip().rstrip(".")


def _status(source: str) -> str:
    found = [status for status in STATUSES if status in source.lower()]
    return "; ".join(found) if found else "not said"


def checks_in(folder: str) -> str:
    """What do the tests of this folder say of themselves, in one line each?"""
    rows = ["| check | test |", "|---|---|"]
    for path in sorted((ROOT / "tests" / folder).glob("test_*.py")):
        text = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
        rows.append(f"| {_cell(text.split(chr(10) * 2)[0])} | `{path.stem}` |")
    return "\n".join(["", *rows, "", ""])


def compared_methods() -> str:
    """How do other ways of finding the opening do on the same pictures?"""
    kept = json.loads((ROOT / "builders" / "compared_methods.json").read_text(encoding="utf-8"))
    rows = ["| pictures | way | answers | edge, median (90 %) | diameter, median (90 %) |"]
    rows.append("|---|---|---|---|---|")
    for one in kept:
        edge, size = (
            f"{one[f'{what}_50_mm']:.3f} mm ({one[f'{what}_90_mm']:.3f})" if one["answers"] else ""
            for what in ("edge", "diameter")
        )
        answers = f"{one['answers']} of {one['pictures']}"
        rows.append(f"| {one['level']} | {one['method']} | {answers} | {edge} | {size} |")
    return "\n".join(["", *rows, "", ""])


def published_values() -> str:
    """Which numbers from outside does the program use, and how sure is each?"""
    rows = ["| table, entry | value | sd | status | source |", "|---|---|---|---|---|"]
    for table in TABLES:
        for key, entry in published_table(table).items():
            unit = "" if entry.unit == "1" else f" {entry.unit}"
            sd = "not given" if entry.sd is None else f"{entry.sd:g}{unit}"
            source = entry.source
            rows.append(
                f"| {table}, {key.replace('_', ' ')} | {entry.value:g}{unit} | {sd} "
                f"| {source.status} | {_cell(source.cite)} |"
            )
    return "\n".join(["", *rows, "", ""])


def eyes_and_formulas() -> str:
    """Which whole prescriptions and formulas from outside does the program hold?"""
    rows = ["| what | valid | status | source |", "|---|---|---|---|"]
    for key in EYES:
        eye = schematic_eye(key)
        sources = [number.published.source for _, number in eye.numbers()]
        statuses = "; ".join(sorted({source.status for source in sources}))
        cites = "; ".join(sorted({_cell(source.cite) for source in sources}))
        rows.append(f"| {eye.name} | {eye.valid} | {statuses} | {cites} |")
    for key in FORMULAS:
        formula = published_formula(key)
        source = formula.source
        rows.append(f"| {formula.name} | {formula.valid} | {source.status} | {source.cite} |")
    return "\n".join(["", *rows, "", ""])


def commands() -> str:
    """What does every command say of itself?"""
    parts = [_block("rimwise --help")]
    parts += [f"## {name}\n\n{_block(f'rimwise {name} --help')}" for name in _command_names()]
    return "\n" + "\n".join(parts)


def _command_names() -> list[str]:
    # The commands alone need the whole program to be there.
    from rimwise.cli.main import app  # noqa: PLC0415

    names = []
    for name, command in get_command(app).commands.items():
        names.append(name)
        names += [f"{name} {below}" for below in getattr(command, "commands", {})]
    return names


def _block(line: str) -> str:
    return f"```console\n$ {line}\n{_output(line)}\n```\n"


def _output(line: str) -> str:
    """Return what a command prints on a plain terminal of 88 columns."""
    plain = {"COLUMNS": "88", "TERMINAL_WIDTH": "88", "NO_COLOR": "1", "TERM": "dumb"}
    program = Path(sys.executable).with_name("rimwise")
    done = subprocess.run(
        [str(program), *line.split()[1:]],
        env=os.environ | plain,
        capture_output=True,
        text=True,
        check=True,
    )
    return "\n".join(row.rstrip() for row in done.stdout.strip("\n").splitlines())
