"""The pure core touches no disk, clock, network, screen or global randomness."""

import ast
from fnmatch import fnmatch
from pathlib import Path

import tree

CALLS = {"open", "print", "input", "eval", "exec", "breakpoint", "__import__"}
MODULES = {
    "os",
    "io",
    "sys",
    "pathlib",
    "time",
    "random",
    "socket",
    "urllib",
    "http",
    "subprocess",
    "tempfile",
    "shutil",
    "threading",
    "multiprocessing",
    "logging",
    "importlib",
}
ATTRIBUTES = {
    "open",
    "now",
    "today",
    "utcnow",
    "imread",
    "imwrite",
    "savefig",
    "fromfile",
    "tofile",
}
GLOBAL_RANDOMNESS = {
    "np.random.seed",
    "np.random.rand",
    "np.random.randn",
    "np.random.normal",
    "np.random.uniform",
    "np.random.random",
    "np.random.choice",
    "np.random.default_rng",
}
# Drawings save themselves into bytes in memory (io.BytesIO); the shell writes those to disk.
DRAWINGS, IN_MEMORY = "src/rimwise/report/*_drawing.py", {"io", "savefig"}
# "path: what" -> why the pure core may do it here.
ALLOWED = {
    "src/rimwise/published/load.py: importlib": "reads the package's own tables",
    "src/rimwise/published/eyes.py: importlib": "reads the package's own tables",
    "src/rimwise/published/formulas.py: importlib": "reads the package's own tables",
}


def _uses(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(tree.parsed(path)):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names} & MODULES
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module.split(".")[0]} & MODULES
        elif isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            found |= {called} & (CALLS | GLOBAL_RANDOMNESS)
            if isinstance(node.func, ast.Attribute):
                found |= {node.func.attr} & ATTRIBUTES
    if fnmatch(tree.name(path), DRAWINGS):
        found -= IN_MEMORY
    return {f"{tree.name(path)}: {use}" for use in found}


def test_the_pure_core_touches_nothing_outside() -> None:
    found = set[str]().union(*(_uses(path) for path in tree.pure_sources()))
    assert not found - set(ALLOWED), "move it to the shell, or pass the value in"
    assert set(ALLOWED) <= found, "an exception is no longer needed: take it out"


def test_every_package_below_the_shell_is_pure() -> None:
    shell = {"casebook", "demo", "store", "exchange", "cli", "web", "__main__", "_version"}
    packages = {
        p.relative_to(tree.SOURCE).parts[0].removesuffix(".py")
        for p in tree.sources()
        if p.parent != tree.SOURCE or p.stem != "__init__"
    }
    assert packages - shell <= set(tree.pure_packages()), "add it to the contract pure-core"
