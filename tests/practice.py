"""Where the practice pictures lie, if they are there at all."""

from pathlib import Path

FOLDER = Path(__file__).parents[2] / "shared" / "practice"
