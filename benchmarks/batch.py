"""A folder of photographs by ``rimwise batch``: pictures a second, processor time, peak memory.

RIMWISE_BENCH_PICTURES sets how many pictures (default 120; 1,000 takes ten minutes on busy cores).
"""

import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

from rimwise.demo.photos import draw_photo, photo_jpeg

Row = tuple[str, str, str, float | None]
DIFFERENT = 24
LEVELS = ("easy", "medium")


def rows() -> list[Row]:
    """Return name, value, peer and peer's time over ours; nobody else does this job."""
    count = int(os.environ.get("RIMWISE_BENCH_PICTURES", "120"))
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "pictures"
        folder.mkdir()
        _draw(folder, count)
        program = str(Path(sys.executable).with_name("rimwise"))
        command = [program, "batch", str(folder), "--out", f"{place}/out"]
        started = time.perf_counter()
        with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as run:
            watch = Watch(run.pid)
            run.wait()
            wall_s = time.perf_counter() - started
            watch.stop()
    return [
        (f"batch of {count}, 1400 x 1050, 2 workers", f"{count / wall_s:.2f} pictures/s", "", None),
        ("  processor time a picture", f"{watch.cpu_s / count:.2f} s", "", None),
        ("  peak memory, all processes", f"{watch.peak_mb:.0f} MB", "", None),
    ]


def _draw(folder: Path, count: int) -> None:
    """Render a few pictures and link them under many names: each is measured all the same."""
    for number in range(count):
        path, first = folder / f"p{number:04d}.jpg", folder / f"p{number % DIFFERENT:04d}.jpg"
        if number >= DIFFERENT:
            os.link(first, path)
            os.link(first.with_suffix(".toml"), path.with_suffix(".toml"))
            continue
        pixels, _, sheet = draw_photo(np.random.default_rng([number, 40]), LEVELS[number % 2])
        path.write_bytes(photo_jpeg(pixels, 90))
        told = f'side = "{sheet.side}"\noptic_diameter_mm = {sheet.optic_diameter_mm}\n'
        path.with_suffix(".toml").write_text(told)


class Watch:
    """Looks at a process and all that descend from it: processor time and memory (Linux)."""

    def __init__(self, pid: int) -> None:
        self.peak_mb = 0.0
        self._cpu: dict[int, float] = {}
        self._pid = pid
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)
        self._thread.start()

    @property
    def cpu_s(self) -> float:
        """Processor seconds of all of them."""
        return sum(self._cpu.values())

    def stop(self) -> None:
        """Stop looking."""
        self._over.set()
        self._thread.join()

    def _look(self) -> None:
        tick = os.sysconf("SC_CLK_TCK")
        while not self._over.wait(0.1):
            total_kb = 0
            for pid in _family(self._pid):
                try:
                    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
                    self._cpu[pid] = (int(fields[11]) + int(fields[12])) / tick
                    total_kb += _shared_out_kb(pid)
                except OSError:
                    continue
            self.peak_mb = max(self.peak_mb, total_kb / 1024.0)


def _family(pid: int) -> list[int]:
    parents = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                fields = (entry / "stat").read_text().rpartition(")")[2].split()
                parents[int(entry.name)] = int(fields[1])
            except OSError:
                continue
    found = [pid]
    for one in found:
        found += [child for child, parent in parents.items() if parent == one]
    return found


def _shared_out_kb(pid: int) -> int:
    """Return the memory of a process, pages shared with others counted by their part."""
    for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
        if line.startswith("Pss:"):
            return int(line.split()[1])
    return 0


if __name__ == "__main__":
    for row in rows():
        print(*row[:2], sep="\t")
