"""Who may log in where the workbench is on a network: names with salted, slow hashes in a file."""

import hashlib
import hmac
import json
import os
import secrets
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path

from rimwise.terms.errors import OutputFailed, WrongInput

# scrypt: 16 MB and about 50 ms for each try (RFC 7914 names the parameters; these are common
# practice, no source).
COST, BLOCK, LANES = 2**14, 8, 1
LEAST_SIGNS, MOST_SIGNS = 12, 200
TRIES, PAUSE_S = 5, 60.0


def _slow_hash(password: str, salt: bytes) -> bytes:
    return hashlib.scrypt(password.encode("utf-8"), salt=salt, n=COST, r=BLOCK, p=LANES)


class People:
    """Names and hashes, read once; who guesses too often has to wait.

    Parameters
    ----------
    hashes : mapping
        Name to (salt, hash).
    clock : callable
        Seconds that only go forward.
    """

    def __init__(
        self,
        hashes: Mapping[str, tuple[bytes, bytes]],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._hashes = dict(hashes)
        self._clock = clock
        self._wrong: dict[str, list[float]] = {}
        self._nobody = (secrets.token_bytes(16), secrets.token_bytes(64))

    def know(self, name: str, password: str) -> bool:
        """Whether this is the name's password; an unknown name takes as long as a known one."""
        if self.must_wait(name):
            return False
        salt, wanted = self._hashes.get(name, self._nobody)
        right = hmac.compare_digest(_slow_hash(password[:MOST_SIGNS], salt), wanted)
        if right:
            self._wrong.pop(name, None)
            return True
        key = name if name in self._hashes else ""  # unknown names share one place
        self._wrong.setdefault(key, []).append(self._clock())
        return False

    def must_wait(self, name: str) -> bool:
        """Whether this name was tried wrongly too often within the last minute."""
        key = name if name in self._hashes else ""
        since = self._clock() - PAUSE_S
        recent = [one for one in self._wrong.get(key, []) if one > since]
        self._wrong[key] = recent
        return len(recent) >= TRIES


def read_people(path: Path) -> People:
    """Who may log in, by this file?

    Raises
    ------
    WrongInput
        It cannot be read, or nobody is in it.
    """
    hashes = _read(path)
    if not hashes:
        raise WrongInput(f"{path} holds nobody yet; add a person with --add NAME")
    return People(hashes)


def _read(path: Path) -> dict[str, tuple[bytes, bytes]]:
    try:
        told = json.loads(path.read_text("utf-8"))
        return {
            str(name): (bytes.fromhex(one["salt"]), bytes.fromhex(one["hash"]))
            for name, one in told.items()
        }
    except OSError as error:
        raise WrongInput(f"{path} cannot be read ({error.strerror}); check the name") from None
    except (ValueError, KeyError, TypeError, AttributeError):
        raise WrongInput(
            f"{path} is no file of people; name the one that --add NAME wrote"
        ) from None


def add_person(path: Path, name: str, password: str) -> None:
    """Let a person log in from now on; a name that is there gets the new password.

    Raises
    ------
    WrongInput
        The name is empty, or the password too short or too long.
    OutputFailed
        The file cannot be written.
    """
    if not name.strip() or len(name) > 64 or not name.isprintable():
        raise WrongInput("a person needs a pseudonym of 1 to 64 signs; give another")
    if not LEAST_SIGNS <= len(password) <= MOST_SIGNS:
        raise WrongInput(
            f"the password has {len(password)} signs, and {LEAST_SIGNS} to {MOST_SIGNS} are "
            "allowed; take a longer one"
        )
    hashes = _read(path) if path.exists() else {}
    salt = secrets.token_bytes(16)
    hashes[name] = (salt, _slow_hash(password, salt))
    told = {who: {"salt": one.hex(), "hash": two.hex()} for who, (one, two) in hashes.items()}
    try:
        handle, draft = tempfile.mkstemp(dir=path.absolute().parent, prefix=".people-")  # 0600
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            json.dump(told, file, indent=1)
        os.replace(draft, path)
    except OSError as error:
        raise OutputFailed(f"{path} could not be written ({error.strerror})") from None
