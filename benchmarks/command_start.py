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
LIMIT_S = 0.35
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


def main() -> None:
    """Print one line a command."""
    took_s: dict[str, list[float]] = {name: [] for name in COMMANDS}
    for _ in range(ROUNDS):
        for name, words in COMMANDS.items():
            took_s[name].append(seconds_of(words))
    bare_s = statistics.median(took_s["bare interpreter"])
    for name, times_s in took_s.items():
        median_s = statistics.median(times_s)
        print(f"{name:28s} {median_s:6.3f} s   {median_s / bare_s:6.1f} x bare")
    print(f"limit for rimwise --help     {LIMIT_S:6.3f} s")


if __name__ == "__main__":
    main()
