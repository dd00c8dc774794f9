"""Files and functions stay short enough to be read in one go."""

import ast

import tree

FILE_LINES = 400
FUNCTION_LINES = 40

# Path -> why this file may be longer.
LONG_FILES: dict[str, str] = {
    "src/rimwise/purkinje/kernel.py": "the compiler's cache watches one file; half is docstrings",
}
# "path: function" -> why this function may be longer.
LONG_FUNCTIONS: dict[str, str] = {}


def _code_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function without its decorators and docstring."""
    assert node.end_lineno is not None
    lines = node.end_lineno - node.lineno + 1
    first = node.body[0]
    if ast.get_docstring(node) is not None and first.end_lineno is not None:
        lines -= first.end_lineno - first.lineno + 1
    return lines


def test_no_source_file_is_longer_than_400_lines_without_a_written_reason() -> None:
    lengths = {
        tree.name(p): len(p.read_text(encoding="utf-8").splitlines()) for p in tree.sources()
    }
    long = {path for path, lines in lengths.items() if lines > FILE_LINES}
    ten_longest = sorted(lengths.items(), key=lambda item: -item[1])[:10]
    assert long == set(LONG_FILES), f"split by idea, or write down why not: {ten_longest}"


def test_no_function_is_longer_than_40_lines_of_code_without_a_written_reason() -> None:
    long = {
        f"{tree.name(path)}: {node.name}": _code_lines(node)
        for path in tree.sources()
        for node in tree.functions(tree.parsed(path))
        if _code_lines(node) > FUNCTION_LINES
    }
    unlisted = {key: lines for key, lines in long.items() if key not in LONG_FUNCTIONS}
    assert not unlisted, f"split by idea, or write the reason into LONG_FUNCTIONS: {unlisted}"
    assert set(LONG_FUNCTIONS) <= set(long), "a function in the list is short now: take it out"
