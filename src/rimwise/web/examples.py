"""Three pictures of invented eyes that come with the program, to try the workbench on."""

import tomllib
from importlib import resources

# Name of the choice: what the catalogue calls it, and the file.
EXAMPLES = {
    "easy": ("example.easy", "photo_easy_001"),
    "medium": ("example.medium", "photo_medium_002"),
    "hard": ("example.hard", "photo_hard_009"),
}


def example_picture(name: str) -> tuple[dict[str, object], bytes]:
    """Which values and which file make up this example?

    Examples
    --------
    >>> values, data = example_picture("easy")
    >>> values["side"], data[6:10]
    ('left', b'JFIF')
    """
    folder = resources.files("rimwise.demo").joinpath("pictures")
    stem = EXAMPLES[name][1]
    values = tomllib.loads(folder.joinpath(f"{stem}.toml").read_text("utf-8"))
    return values, folder.joinpath(f"{stem}.jpg").read_bytes()
