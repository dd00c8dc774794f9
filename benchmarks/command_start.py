"""How long does a command take before it does anything, beside a bare interpreter?

Whole processes in turn, so that a busy machine slows all alike; medians, and ratios to the bare
interpreter of the same run. ``rimwise --help`` is to answer within 0.35 s.
"""

import statistics
import subprocess
import sys
import time
from pathlib import Path

ROUNDS = 11
RIMWISE = str(Path(sys.executable).with_name("rimwise"))
COMMANDS = {
    "bare interpreter": [sys.executable, "-c", "pass"],
    "import numpy": [sys.executable, "-c", "import numpy"],
    "rimwise --help": [RIMWISE, "--help"],
    "rimwise measure --help": [RIMWISE, "measure", "--help"],
    "rimwise measure none.jpg": [RIMWISE, "measure", "none.jpg"],
}


def seconds_of(words: list[str]) -> float:
    """How long does this whole process take?"""
    start = time.perf_counter()
    subprocess.run(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False)
    return time.perf_counter() - start


def rows() -> list[tuple[str, str, str, float | None]]:
    """Return name, median, peer and the time over the bare interpreter's."""
    took_s: dict[str, list[float]] = {name: [] for name in COMMANDS}
    for _ in range(ROUNDS):
        for name, words in COMMANDS.items():
            took_s[name].append(seconds_of(words))
    bare_s = statistics.median(took_s["bare interpreter"])
    medians_s = {name: statistics.median(times_s) for name, times_s in took_s.items()}
    return [
        (name, f"{median_s:.3f} s", f"bare interpreter {bare_s:.3f} s", median_s / bare_s)
        for name, median_s in medians_s.items()
    ]


if __name__ == "__main__":
    for row in rows():
        print(*row)
