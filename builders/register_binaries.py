"""Write the SHA-256 and the origin of binary files into ``binaries.toml``.

Usage: python builders/register_binaries.py [PATH... ORIGIN]

Without arguments every entry is renewed: its SHA-256 is taken again, and entries of files that
are gone are dropped.
With arguments, the files at PATH get the origin ORIGIN, in one sentence.
"""

import hashlib
import json
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
REGISTRY = ROOT / "binaries.toml"
HEAD = """\
# Every binary file in the repository: what it is, and the SHA-256 of its bytes.
# Written by builders/register_binaries.py; checked by tests/house/test_binaries.py.
"""


def main(arguments: list[str]) -> int:
    """Renew the registry; return the exit code."""
    known: dict[str, dict[str, str]] = {}
    if REGISTRY.exists():
        known = tomllib.loads(REGISTRY.read_text(encoding="utf-8"))
    if len(arguments) == 1:
        print("register_binaries: one PATH or more, then ORIGIN in one sentence", file=sys.stderr)
        return 2
    for path in arguments[:-1]:
        name = Path(path).resolve().relative_to(ROOT).as_posix()
        known[name] = {"origin": arguments[-1]}
    lines = [HEAD]
    for name, entry in sorted(known.items()):
        if not (ROOT / name).is_file():
            continue
        digest = hashlib.sha256((ROOT / name).read_bytes()).hexdigest()
        origin = json.dumps(entry["origin"], ensure_ascii=False)
        lines.append(f'["{name}"]\norigin = {origin}\nsha256 = "{digest}"\n')
    REGISTRY.write_text("\n".join(lines), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
