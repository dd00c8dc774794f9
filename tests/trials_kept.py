"""Trials on own pictures, kept between runs: a study of hours may be broken off and taken up.

What is kept lies under the temporary folder by a hash of the program and of the libraries that
count for it, so that no trial outlives the code that it tried.
"""

import hashlib
import json
import os
import tempfile
from dataclasses import asdict
from functools import cache
from importlib.metadata import version
from pathlib import Path

import rimwise
from rimwise.demo.trial import Trial, try_photo


@cache
def folder() -> Path:
    """Where are this program's trials kept?"""
    code = hashlib.sha256()
    for library in ("numpy", "scipy"):
        code.update(version(library).encode())
    for path in sorted(Path(rimwise.__file__).parent.rglob("*")):
        if path.suffix in (".py", ".toml"):
            code.update(path.read_bytes())
    kept = Path(tempfile.gettempdir()) / f"rimwise-trials-{code.hexdigest()[:12]}"
    kept.mkdir(exist_ok=True)
    return kept


def tried(level: int, seed: int, usual: bool = False) -> Trial:
    """Return the trial of one picture, as kept or anew."""
    path = folder() / f"{'usual' if usual else 'photo'}-{level}-{seed}.json"
    if not path.exists():
        text = json.dumps(asdict(try_photo(level, seed, usual)), default=lambda one: one.item())
        part = path.with_suffix(f".{os.getpid()}.part")  # a broken run leaves no half a trial
        part.write_text(text, encoding="utf-8")
        part.replace(path)
    return Trial(**json.loads(path.read_text(encoding="utf-8")))
