"""Who waits for the compiler is told so, once, and only then."""

import subprocess
import sys

from numba import njit

from rimwise.cli.talk import told_of_compiling


def _halved(x):
    return x / 2.0


def _doubled(x):
    return 2.0 * x


def test_the_first_compiling_is_told_once(capsys):
    with told_of_compiling(True):
        assert njit(_halved)(3.0) == 1.5
        assert njit(_doubled)(3.0) == 6.0
    told = capsys.readouterr().err
    assert told.count("making fast code for this computer") == 1


def test_what_is_compiled_already_is_not_told(capsys):
    ready = njit(_halved)
    ready(1.0)
    with told_of_compiling(True):
        assert ready(4.0) == 2.0
    assert capsys.readouterr().err == ""


def test_where_nothing_is_compiled_the_compiler_is_not_loaded():
    code = (
        "import sys\n"
        "from rimwise.cli.talk import told_of_compiling\n"
        "with told_of_compiling(False):\n"
        "    sys.exit(int('numba' in sys.modules))\n"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
