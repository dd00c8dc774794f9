"""What the pages say is what the program does."""

import ast
import inspect
import re

import pytest
import tree
from typer.main import get_command

from rimwise.cli.main import app
from rimwise.terms import errors
from rimwise.terms.cautions import CAUTIONS

STATUSES = ("published and read", "computed", "from memory", "common practice, no source")


def _plain(text: str) -> str:
    """Text without line breaks, list marks and quotes, so that a wrapped sentence is found."""
    return re.sub(r"\s+", " ", re.sub(r"^[>\-* ]+", "", text, flags=re.M))


@pytest.mark.parametrize("page", ["README.md", "docs/cautions.md"])
def test_the_cautions_stand_word_for_word_and_complete(page: str) -> None:
    text = _plain(tree.text(page))
    missing = [caution for caution in CAUTIONS if caution not in text]
    assert not missing


def test_every_error_class_is_explained() -> None:
    names = [name for name, item in inspect.getmembers(errors, inspect.isclass)]
    text = tree.text("docs/api.md")
    assert names
    assert not [name for name in names if f"`{name}`" not in text]


def test_every_command_and_flag_stands_in_the_command_reference() -> None:
    text = tree.text("docs/commands.md")
    commands = dict(get_command(app).commands)
    assert {"measure", "plan", "casebook"} <= set(commands)
    for name, group in list(commands.items()):
        for below, command in getattr(group, "commands", {}).items():
            commands[f"{name} {below}"] = command
    missing = []
    for name, command in commands.items():
        section = text.partition(f"\n## {name}\n")[2].partition("\n## ")[0]
        flags = [flag for p in command.params for flag in p.opts if flag.startswith("--")]
        missing += [
            f"{name} {flag}" for flag in flags or [""] if flag not in section or not section
        ]
    assert not missing, "run make docs"


def test_every_setting_in_the_environment_is_explained() -> None:
    used = {m for p in tree.sources() for m in re.findall(r"RIMWISE_[A-Z_]+", p.read_text("utf-8"))}
    assert not [setting for setting in used if setting not in tree.text("docs/commands.md")]


def _published() -> list[str]:
    return [p.stem for p in sorted((tree.ROOT / "tests" / "published").glob("test_*.py"))]


def test_every_published_check_names_its_source_and_how_it_was_seen() -> None:
    silent = []
    for stem in _published():
        module = tree.parsed(tree.ROOT / "tests" / "published" / f"{stem}.py")
        docstrings = [ast.get_docstring(module) or ""]
        docstrings += [ast.get_docstring(node) or "" for node in tree.functions(module)]
        text = "\n".join(docstrings)
        if "Source" not in text or not any(status in text.lower() for status in STATUSES):
            silent.append(stem)
    assert not silent, "a docstring needs a paragraph 'Source: ...; status ...'"


def test_a_check_named_after_a_paper_finds_it_among_the_sources() -> None:
    keys = set(re.findall(r"^\| ([a-z]+\d{4}[a-z]?) \|", tree.text("docs/sources.md"), re.M))
    named = {m[1] for stem in _published() if (m := re.match(r"test_([a-z]+(?:19|20)\d\d)_", stem))}
    assert named <= keys


def test_every_link_between_files_leads_somewhere() -> None:
    dead = []
    for page in tree.tracked():
        if page.suffix != ".md":
            continue
        for target in re.findall(r"\]\(([^)#\s]+)[^)]*\)", page.read_text(encoding="utf-8")):
            if not re.match(r"[a-z]+:", target) and not (page.parent / target).exists():
                dead.append(f"{tree.name(page)} -> {target}")
    assert not dead


def test_a_decision_is_at_most_30_lines_and_says_question_options_choice_and_price() -> None:
    decisions = sorted((tree.ROOT / "docs" / "decisions").glob("*.md"))
    assert len(decisions) >= 4
    for number, path in enumerate(decisions, start=1):
        text = path.read_text(encoding="utf-8")
        assert path.name.startswith(f"{number:04d}-")
        assert len(text.splitlines()) <= 30, path.name
        for part in ("**Question.**", "**Options.**", "**Choice.**", "**Price.**"):
            assert part in text, f"{path.name} lacks {part}"


def test_every_make_target_is_listed_by_make_help() -> None:
    makefile = tree.text("Makefile")
    (phony,) = re.findall(r"^\.PHONY: (.+)$", makefile, re.M)
    targets = set(phony.split()) - {"moved"}
    explained = set(re.findall(r"^([a-z-]+):.*##", makefile, re.M))
    assert targets == explained


def test_every_step_of_the_design_stands_in_the_readme() -> None:
    steps = re.findall(r"^\| (\w+) \| .+\?", tree.text("docs/design.md"), re.M)
    assert len(steps) == 7
    table = tree.text("README.md")
    assert not [step for step in steps if f"| {step} |" not in table]
