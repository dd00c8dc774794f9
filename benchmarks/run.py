"""Run every benchmark beside this file, print one table, keep it with machine and versions.

Each module has ``rows()``: (name, value, peer, peer's time over ours).
"""

import importlib
import json
import os
import platform
import sys
import time
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

HERE = Path(__file__).parent
PACKAGES = (
    "rimwise",
    "numpy",
    "scipy",
    "numba",
    "optiland",
    "batoid",
    "prysm",
    "opencv-python-headless",
)


def machine() -> dict[str, object]:
    """Return what the figures depend on."""
    model = platform.processor()
    info = Path("/proc/cpuinfo")
    if info.exists():
        names = [
            line.split(":", 1)[1].strip()
            for line in info.read_text().splitlines()
            if line.startswith("model name")
        ]
        model = names[0] if names else model
    versions = {}
    for name in PACKAGES:
        try:
            versions[name] = version(name)
        except PackageNotFoundError:
            versions[name] = "not installed"
    return {
        "processor": model,
        "cores": os.cpu_count(),
        "load_before": os.getloadavg()[0],
        "python": platform.python_version(),
        "versions": versions,
    }


def main(names: list[str]) -> None:
    """Run the named modules, or all."""
    sys.path.insert(0, str(HERE))
    found = names or sorted(p.stem for p in HERE.glob("*.py") if p.stem != "run")
    facts: dict[str, object] = {"when": time.strftime("%Y-%m-%d %H:%M"), "machine": machine()}
    table = []
    for name in found:
        for what, value, peer, ratio in importlib.import_module(name).rows():
            table.append(
                {"module": name, "name": what, "value": value, "peer": peer, "ratio": ratio}
            )
            shown = "" if ratio is None else f"{ratio:8.2f} ×"
            print(f"{what:52} {value:28} {peer:52} {shown}", flush=True)
    folder = HERE / "results"
    folder.mkdir(exist_ok=True)
    target = folder / f"{time.strftime('%Y-%m-%d')}-{'-'.join(found)}.json"
    target.write_text(json.dumps(facts | {"rows": table}, indent=1) + "\n")
    print(f"kept in {target.relative_to(HERE.parent)}")


if __name__ == "__main__":
    main(sys.argv[1:])
