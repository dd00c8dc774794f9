"""Every picture and other binary file in the repository is listed with its hash and origin."""

import hashlib
import tomllib

import tree


def _binaries() -> set[str]:
    return {tree.name(p) for p in tree.tracked() if b"\0" in p.read_bytes()[:8192]}


def _registry() -> dict[str, dict[str, str]]:
    return tomllib.loads(tree.text("binaries.toml"))


def test_the_registry_holds_exactly_the_binary_files() -> None:
    known = {n for n in _registry() if b"\0" in (tree.ROOT / n).read_bytes()[:8192]}
    assert _binaries() == known, "run builders/register_binaries.py"


def test_every_binary_file_has_the_hash_and_the_origin_it_is_listed_with() -> None:
    for path, entry in _registry().items():
        digest = hashlib.sha256((tree.ROOT / path).read_bytes()).hexdigest()
        assert digest == entry["sha256"], f"{path} is not the file that was registered"
        assert len(entry["origin"].split()) >= 3, f"{path}: say where it came from"
