"""Files that are there whole or not at all, whatever stops the machine."""

import os
import tempfile
from pathlib import Path

from rimwise.terms.errors import OutputFailed


def write_whole(target: Path, data: bytes, failed: str) -> None:
    """Write a file under another name, onto the disk, and only then give it its own.

    Parameters
    ----------
    target : Path
        Its folder is made.
    data : bytes
    failed : str
        What could not be done, as a sentence begins: "the picture could not be kept".

    Raises
    ------
    OutputFailed
        The disk is full or read-only; nothing half-written is left.

    Examples
    --------
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_whole(Path(folder) / "a" / "b", b"whole", "it could not be kept")
    ...     (Path(folder) / "a" / "b").read_bytes()
    b'whole'
    """
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".new-", dir=target.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            os.replace(name, target)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise OutputFailed(
            f"{failed} ({error.strerror}); free space or check the folder's rights, then try again"
        ) from None
