"""The command line: parses and shows; holds no formula."""

import os

# One picture per core: inner thread pools multiply the work five times. Set before NumPy loads.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
