"""Who may come in: a one-time token opens one session, and what a session keeps in memory."""

import hmac
import secrets
import time
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rimwise.web.bench import Bench
from rimwise.web.healing_jobs import FollowedEye
from rimwise.web.jobs import MeasuredPicture, PlannedOpening
from rimwise.web.masked_jobs import ShownPair
from rimwise.web.practise_jobs import Placed, PractisePicture
from rimwise.web.series_jobs import AuditedSeries
from rimwise.web.sight_run import SightRun

if TYPE_CHECKING:
    from rimwise.web.people import People

IDLE_S = 3600.0  # who does nothing for an hour logs in again
MOST_SESSIONS = 50
MOST_RESULTS = 20  # a drawing is about 2 MB: forty in all stay far below what a desk machine has
MOST_PICTURE_BYTES = 200_000_000  # of the photographs on benches, all together

Result = MeasuredPicture | PlannedOpening | AuditedSeries | FollowedEye | SightRun


def _secret() -> str:
    return secrets.token_urlsafe(24)


@dataclass(slots=True)
class Session:
    """One person at one browser; ends with the program. Nothing of it is on disk.

    Parameters
    ----------
    key : str
        The value of the session's cookie.
    csrf : str
        What every form of this session carries, so that no other page can post in its name.
    theatre : bool
        Whether the dark look for a dark room is wanted, whatever the device says.
    name : str
        Pseudonym of who writes into the casebook, as last given in a form.
    person : str
        Who has logged in, on a network; then nobody else's name is taken from a form.
    used : float
        When something was last asked.
    live, drawn : PlannedOpening or None, int
        The numbers beside a plan's form while it is filled in, and how often they were drawn.
    practised, placed : PractisePicture or None, Placed or None
        The picture to practise on, and what was placed on it.
    pair : ShownPair or None
        Two masked readings that are being decided between.
    """

    key: str = field(default_factory=_secret)
    csrf: str = field(default_factory=_secret)
    theatre: bool = False
    name: str = ""
    person: str = ""
    used: float = field(default_factory=time.monotonic)
    live: PlannedOpening | None = None
    drawn: int = 0
    practised: PractisePicture | None = None
    placed: Placed | None = None
    pair: ShownPair | None = None
    _results: OrderedDict[str, Result] = field(default_factory=OrderedDict)
    _entries: dict[str, Mapping[str, Sequence[str]]] = field(default_factory=dict)

    _benches: OrderedDict[str, Bench] = field(default_factory=OrderedDict)

    @property
    def called(self) -> str:
        """Return by which pseudonym this session writes."""
        return self.person or self.name or "workbench"

    def lay(self, bench: Bench, name: str | None = None) -> str:
        """Lay a photograph on a bench under a name that cannot be guessed; old ones make room."""
        name = name or secrets.token_urlsafe(9)
        self._benches[name] = bench
        while len(self._benches) > 1 and (
            len(self._benches) > MOST_RESULTS
            or sum(one.held_bytes for one in self._benches.values()) > MOST_PICTURE_BYTES
        ):
            self._benches.popitem(last=False)
        return name

    def bench(self, name: str) -> Bench | None:
        """Which photograph lies there? None where there is none, or none any more."""
        return self._benches.get(name)

    def benches(self) -> list[tuple[str, Bench]]:
        """Return the photographs in work that no casebook keeps yet, the newest first."""
        return [
            one
            for one in reversed(self._benches.items())
            if one[1].eye is None and one[1].task is None
        ]

    def keep(self, result: Result, entries: Mapping[str, Sequence[str]] | None = None) -> str:
        """Keep a result under a new name that cannot be guessed; the oldest one makes room.

        ``entries`` are those of the form, so that they can be changed without typing them anew.
        """
        name = secrets.token_urlsafe(9)
        self._results[name] = result
        self._entries[name] = entries or {}
        while len(self._results) > MOST_RESULTS:
            oldest, _ = self._results.popitem(last=False)
            del self._entries[oldest]
        return name

    def result(self, name: str) -> Result | None:
        """Which result has this name? None where there is none, or none any more."""
        return self._results.get(name)

    def entries(self, name: str) -> Mapping[str, Sequence[str]]:
        """Return what was entered for this result; nothing where there is none."""
        return self._entries.get(name, {})

    def newest_first(self) -> list[tuple[str, Result]]:
        """Return what is kept, the newest first."""
        return list(reversed(self._results.items()))

    def handed_out(self, csrf: str) -> bool:
        """Whether a form with this mark was handed out by this session."""
        return _same(csrf, self.csrf)

    def forget(self) -> None:
        """Drop every result."""
        self._results.clear()
        self._entries.clear()
        self.live = None
        self._benches.clear()


class Door:
    """Opens once: for the token that was printed on the terminal.

    Parameters
    ----------
    port : int
    name : str, optional
        On a network: by which name browsers call this machine.
    people : People, optional
        Who may log in there; then there is no token, and all goes through TLS.
    """

    def __init__(self, port: int, name: str = "", people: "People | None" = None) -> None:
        self.people = people
        self._sessions: OrderedDict[str, Session] = OrderedDict()
        if people is not None:
            self.token: str | None = None
            self.scheme, self.cookie = "https", "__Host-rimwise"
            self.hosts = (f"{name}:{port}".lower(), *((name.lower(),) if port == 443 else ()))
            return
        self.token = _secret()
        # Cookies do not know ports: two workbenches on one machine need two names.
        self.scheme, self.cookie = "http", f"rimwise-{port}"
        self.hosts = (f"127.0.0.1:{port}", f"localhost:{port}")

    def open(self, token: str) -> Session | None:
        """Which session does this token open? None for a wrong one, or at the second try."""
        if self.token is None or not _same(token, self.token):
            return None
        self.token = None
        return self._begin(Session())

    def log_in(self, name: str, password: str) -> Session | None:
        """Which session does this person get? None for a wrong name or password."""
        if self.people is None or not self.people.know(name, password):
            return None
        return self._begin(Session(name=name, person=name))

    def log_out(self, session: Session) -> None:
        """End a session; what it holds in memory goes with it."""
        self._sessions.pop(session.key, None)

    def session(self, key: str | None) -> Session | None:
        """Which session has this cookie?"""
        found = None if key is None else self._sessions.get(key)
        if found is None:
            return None
        now = time.monotonic()
        if self.people is not None and now - found.used > IDLE_S:
            self.log_out(found)
            return None
        found.used = now
        return found

    def _begin(self, session: Session) -> Session:
        self._sessions[session.key] = session
        while len(self._sessions) > MOST_SESSIONS:
            self._sessions.popitem(last=False)
        return session


def _same(given: str, wanted: str) -> bool:
    """Compare in a time that does not tell how much was right."""
    return hmac.compare_digest(given.encode("utf-8", "replace"), wanted.encode("utf-8"))
