"""What the pages show is what happens: their Python examples and their commands are run."""

import doctest
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import tree

API = "docs/api.md"
TUTORIAL = "docs/tutorials/first-measurement.md"
OPTIONS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the shipped pictures in it, as the pages tell the reader to make one."""
    pictures = tree.SOURCE / "demo" / "pictures"
    for path in pictures.iterdir():
        if path.suffix in {".jpg", ".toml"}:
            shutil.copy(path, tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def _blocks(page: str, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", tree.text(page), re.M | re.S)


def _run_python_of(page: str) -> None:
    source = "\n".join(_blocks(page, "pycon"))
    assert ">>>" in source
    test = doctest.DocTestParser().get_doctest(source, {}, page, page, 0)
    report: list[str] = []
    doctest.DocTestRunner(optionflags=OPTIONS).run(test, out=report.append)
    assert not report, "".join(report)


def test_the_page_on_python_prints_what_it_says() -> None:
    _run_python_of(API)


def _run(line: str, folder: Path) -> str:
    program, *arguments = shlex.split(line)
    assert program == "rimwise", f"only rimwise is run from a page, not {line!r}"
    done = subprocess.run(
        [str(Path(sys.executable).with_name("rimwise")), *arguments],
        cwd=folder,
        env=os.environ | {"COLUMNS": "100", "NO_COLOR": "1", "TERM": "dumb"},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.stdout or done.stderr


NUMBER = r"(?<![\w-])\d+(?:\.\d+)?"  # not the digits of a name such as E-004
HOLE = "\0"


def _same(wanted: str, got: str) -> bool:
    """Same words, and numbers that differ by no more than their last digit (or 2 % of a count)?

    A line of three dots stands for anything; another processor may round another way.
    """
    parts = [" ".join(part.split()) for part in re.split(r"^\.\.\.$", wanted, flags=re.M)]
    pattern = " ?.*? ?".join(
        re.escape(re.sub(NUMBER, HOLE, part)).replace(HOLE, f"({NUMBER})") for part in parts
    )
    found = re.fullmatch(pattern, " ".join(got.split()), re.S)
    if not found:
        return False
    numbers = re.findall(NUMBER, wanted)
    return all(_close(a, b) for a, b in zip(numbers, found.groups(), strict=True))


def _close(wanted: str, got: str) -> bool:
    decimals = len(wanted.partition(".")[2])
    slack = 10.0**-decimals if decimals else max(1.0, 0.02 * float(wanted))
    return abs(float(wanted) - float(got)) <= slack * 1.000001


def test_the_tutorial_prints_what_it_says_command_by_command(desk: Path) -> None:
    # Files that the page tells the reader to write come first, named in their first line.
    for block in _blocks(TUTORIAL, "toml"):
        named = re.match(r"# (\S+\.toml)\n", block)
        if named:
            (desk / named[1]).write_text(block, encoding="utf-8")
    ran = 0
    for block in _blocks(TUTORIAL, "console"):
        for part in re.split(r"^\$ ", block, flags=re.M)[1:]:
            line, _, wanted = part.partition("\n")
            got = _run(line, desk)
            assert _same(wanted, got), f"$ {line}\n{got}"
            ran += 1
    assert ran >= 3
    _run_python_of(TUTORIAL)


@pytest.mark.slow
def test_the_readme_shows_what_the_demo_prints(tmp_path: Path) -> None:
    shown = re.search(r"^\$ make demo\n(.*?)^```$", tree.text("README.md"), re.M | re.S)
    assert shown
    wanted = shown[1].replace("demo-out/", f"{tmp_path}/")
    got = _run(f"rimwise demo --out {shlex.quote(str(tmp_path))}", tmp_path)
    assert _same(wanted, got), got
