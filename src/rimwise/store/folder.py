"""Where a casebook lies where nothing else is said; apart, since opening one loads much more."""

import os
from pathlib import Path


def default_folder() -> Path:
    """Where does a casebook lie where nothing else is said?

    RIMWISE_CASEBOOK, else a folder in the home folder.

    Examples
    --------
    >>> default_folder().is_absolute() or "RIMWISE_CASEBOOK" in os.environ
    True
    """
    told = os.environ.get("RIMWISE_CASEBOOK")
    return Path(told) if told else Path.home() / "rimwise-casebook"
