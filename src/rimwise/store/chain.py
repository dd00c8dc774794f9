"""The chain over all that was done: each link's hash holds the one before."""

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

FIRST = "0" * 64
_FIELDS = ("seq", "at", "who", "program", "action", "eye", "kind", "slot", "version", "sha256",
           "why", "before")  # fmt: skip


def canonical(document: Mapping[str, Any]) -> str:
    """How is a document written so that equal ones have equal text?

    Raises
    ------
    ValueError
        It holds NaN or infinity.

    Examples
    --------
    >>> canonical({"b": 1, "a": "µ"})
    '{"a":"µ","b":1}'
    """
    return json.dumps(
        document, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False
    )


def link_hash(link: Mapping[str, Any]) -> str:
    """Which hash has a link of the history?

    Examples
    --------
    >>> link = dict.fromkeys(_FIELDS, "") | {"before": FIRST}
    >>> link_hash(link) == link_hash(link | {"why": "another"})
    False
    """
    told = {name: link[name] for name in _FIELDS}
    at = told["at"]
    told["at"] = at if isinstance(at, str) else at.isoformat(timespec="microseconds")
    return hashlib.sha256(canonical(told).encode("utf-8")).hexdigest()


def broken_link(links: Iterable[Mapping[str, Any]]) -> int | None:
    """Which is the first link that does not hold, if any?

    Examples
    --------
    >>> broken_link([]) is None
    True
    """
    before = FIRST
    for number, link in enumerate(links, 1):
        if link["seq"] != number or link["before"] != before or link["hash"] != link_hash(link):
            return int(link["seq"])
        before = link["hash"]
    return None
