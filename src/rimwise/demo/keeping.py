"""What was made earlier and may be used again: files kept while their recipe is the same."""

import hashlib
import json
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

from rimwise.exchange.writing import write_json

RECIPES = "recipes.json"


class Keeping:
    """The recipes of the files in one folder.

    A file is used again only if its recipe is the one it was made by, and if it still holds the
    bytes that were written then.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        try:
            kept = json.loads((folder / RECIPES).read_text(encoding="utf-8"))["files"]
        except (OSError, ValueError, KeyError, TypeError):
            kept = {}
        self._kept = kept if isinstance(kept, dict) else {}

    def has(self, recipe: str, *paths: Path) -> bool:
        """Is each of these files there as this recipe made it?"""
        return all(
            path.is_file() and self._kept.get(path.name) == [recipe, _hash(path)] for path in paths
        )

    def note(self, recipe: str, *paths: Path) -> None:
        """Remember that this recipe made these files."""
        self._kept |= {path.name: [recipe, _hash(path)] for path in paths}
        write_json(self._folder / RECIPES, {"files": self._kept})


def recipe_of(package: str, *parts: object) -> str:
    """Which recipe do these inputs and all the text of this package make? (SHA-256)

    A changed program makes its files anew.
    """
    digest = hashlib.sha256(_text_hash(package))
    for part in parts:
        digest.update(repr(part).encode("utf-8") + b"\0")
    return digest.hexdigest()


@cache
def _text_hash(package: str) -> bytes:
    digest = hashlib.sha256()
    folders: list[Traversable] = [resources.files(package)]
    while folders:
        for entry in sorted(folders.pop().iterdir(), key=lambda item: item.name):
            if entry.is_dir() and entry.name != "__pycache__":
                folders.append(entry)
            elif entry.name.endswith((".py", ".toml")):
                digest.update(entry.read_bytes())
    return digest.digest()


def _hash(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
