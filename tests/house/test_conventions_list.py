"""Every numbered convention has a test of the same number, and no test a number of its own."""

import ast
import re

import tree

# Number -> which code must arrive before it can be tested. This list only ever shrinks.
WAITING: dict[int, str] = {}
# Number -> which part of a tested line still waits.
PARTLY = {
    12: "the prediction error arrives with audit",
}


def _listed() -> list[int]:
    return [int(n) for n in re.findall(r"^(\d+)\. \*\*", tree.text("docs/conventions.md"), re.M)]


def _tested() -> dict[int, list[str]]:
    found: dict[int, list[str]] = {}
    for path in sorted((tree.ROOT / "tests" / "conventions").glob("test_*.py")):
        for node in tree.parsed(path).body:
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                number = re.match(r"test_(\d\d)_\w+", node.name)
                assert number, f"{path.name}: {node.name} needs its convention's number, test_NN_"
                found.setdefault(int(number[1]), []).append(node.name)
    return found


def test_the_list_is_numbered_without_a_gap() -> None:
    assert _listed() == list(range(1, len(_listed()) + 1))
    assert len(_listed()) >= 20


def test_every_convention_has_a_test_or_waits_for_code_by_name() -> None:
    listed, tested = set(_listed()), set(_tested())
    assert tested <= listed, "a test bears a number that the list does not have"
    assert listed - tested == set(WAITING), "write the test, or take the number out of WAITING"
    assert set(PARTLY) <= tested


def test_every_test_name_is_a_sentence() -> None:
    for names in _tested().values():
        for name in names:
            assert len(name.split("_")) >= 6, f"{name} says too little"
