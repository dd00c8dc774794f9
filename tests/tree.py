"""The project's own files, as the house tests read them."""

import ast
import subprocess
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
SOURCE = ROOT / "src" / "rimwise"
UNTRACKED = {"site", "demo-out", "out", "__pycache__", "node_modules"}


def tracked() -> list[Path]:
    """Which files belong to the project? Those git knows or would add, else all but made ones."""
    try:
        listed = subprocess.run(
            ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
            cwd=ROOT,
            capture_output=True,
            check=True,
            text=True,
        ).stdout
        files = [ROOT / name for name in listed.split("\0") if name]
    except (OSError, subprocess.CalledProcessError):
        files = [p for p in ROOT.rglob("*") if not _made(p.relative_to(ROOT))]
    return sorted(p for p in files if p.is_file())


def _made(path: Path) -> bool:
    hidden = {part for part in path.parts if part.startswith(".")} - {".ci", ".gitignore"}
    return bool(hidden or UNTRACKED & set(path.parts))


def name(path: Path) -> str:
    """Which name does this file have, seen from the top of the repository?"""
    return path.relative_to(ROOT).as_posix()


def text(relative: str) -> str:
    """What does this file say?"""
    return (ROOT / relative).read_text(encoding="utf-8")


def sources() -> list[Path]:
    """Which Python files make up the package?"""
    return sorted(SOURCE.rglob("*.py"))


def parsed(path: Path) -> ast.Module:
    """What is the syntax tree of this file?"""
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def functions(tree: ast.Module) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Which functions and methods does a module hold, nested ones too?"""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def settings() -> dict[str, Any]:
    """What does pyproject.toml say?"""
    return tomllib.loads(text("pyproject.toml"))


def contract(wanted: str) -> dict[str, Any]:
    """Which import contract has this id?"""
    contracts = settings()["tool"]["importlinter"]["contracts"]
    found: dict[str, Any] = next(c for c in contracts if c["id"] == wanted)
    return found


def pure_packages() -> list[str]:
    """Which packages may touch no disk, clock, network or screen?"""
    return [module.removeprefix("rimwise.") for module in contract("pure-core")["source_modules"]]


def pure_sources() -> list[Path]:
    """Which Python files make up the pure core?"""
    pure = set(pure_packages())
    return [p for p in sources() if p.relative_to(SOURCE).parts[0].removesuffix(".py") in pure]
