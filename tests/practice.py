"""Where the practice pictures lie, if they are there at all."""

from pathlib import Path

FOLDER = Path(__file__).parents[2] / "shared" / "practice"
# The one reason for which a test may be skipped in the gate, too.
AWAY = "no practice pictures: the folder is not beside the project"
