"""Pictures by the hash of their content: written whole, checked when read, never overwritten."""

import hashlib
from pathlib import Path

from rimwise.store.whole import write_whole
from rimwise.terms.errors import WrongInput


def digest(data: bytes) -> str:
    """Under which name does this content lie?

    Examples
    --------
    >>> digest(b"")[:8]
    'e3b0c442'
    """
    return hashlib.sha256(data).hexdigest()


class PictureShelf:
    """A folder of pictures, each named by its SHA-256."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def path(self, sha256: str) -> Path:
        """Where does the picture of this hash lie?

        Raises
        ------
        WrongInput
            It is no hash: a name from outside never becomes a path.
        """
        if len(sha256) != 64 or set(sha256) - set("0123456789abcdef"):
            raise WrongInput("a picture is asked for by its SHA-256, 64 hexadecimal digits")
        return self._folder / sha256[:2] / sha256

    def put(self, data: bytes) -> str:
        """Keep a picture and return its hash; the same picture twice is kept once.

        Raises
        ------
        OutputFailed
            The disk is full or read-only; nothing half-written is left.
        """
        sha256 = digest(data)
        target = self.path(sha256)
        if target.exists():
            return sha256
        write_whole(target, data, "the picture could not be kept")
        return sha256

    def get(self, sha256: str) -> bytes:
        """Return a picture, or refuse where it is missing or no longer what it was.

        Raises
        ------
        WrongInput
        """
        try:
            data = self.path(sha256).read_bytes()
        except OSError:
            raise WrongInput(f"the picture {sha256[:12]}… is missing; restore a backup") from None
        if digest(data) != sha256:
            raise WrongInput(f"the picture {sha256[:12]}… was changed on disk; restore a backup")
        return data

    def all(self) -> list[str]:
        """Return the hashes of all pictures kept."""
        return sorted(one.name for one in self._folder.glob("??/*") if len(one.name) == 64)
