"""A masked study as its pages know it: who reads what next, what is done, who must not see what."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from rimwise.audit.masked import Reading, differences, reading_order

JUDGE = "judge"
MASKED_KINDS = ("reading", "verdict")  # no page of an eye shows them: a reader would see them


@dataclass(frozen=True, slots=True)
class MaskedPicture:
    """One picture of a study; arm and visit are told when the study is closed."""

    eye: str
    sha256: str
    arm: str
    visit: str


@dataclass(frozen=True, slots=True)
class Study:
    """What is read, by whom, how often, and from which difference on a third decides."""

    code: str
    version: int
    title: str
    readers: tuple[str, str]
    judge: str
    turns: int
    limit_mm: float
    salt: str
    pictures: tuple[MaskedPicture, ...]
    left_out: int
    closed: bool

    def picture(self, sha256: str) -> MaskedPicture:
        """Return the picture of this hash."""
        return next(one for one in self.pictures if one.sha256 == sha256)

    def slot(self, sha256: str, reader: str, turn: int) -> str:
        """Under which name is a reading kept among the records of its eye?"""
        return f"{self.code}/{sha256}/{turn}/{reader}"


@dataclass(frozen=True, slots=True)
class Task:
    """What somebody reads now: it stays on the server, the page knows only how many are left."""

    study: str
    eye: str
    sha256: str
    reader: str
    turn: int  # 0: the one who decides
    number: int
    of: int


@dataclass(frozen=True, slots=True)
class Course:
    """A study with all that was read and decided so far."""

    study: Study
    readings: tuple[Reading, ...]
    judged: Mapping[str, Reading]

    def of(self, sha256: str, reader: str) -> tuple[Reading, ...]:
        """Return what a reader read in a picture."""
        return tuple(one for one in self.readings if (one.picture, one.reader) == (sha256, reader))

    def done(self, reader: str) -> int:
        """Return how many readings this reader has made."""
        return sum(one.reader == reader for one in self.readings)

    def next_for(self, reader: str) -> Task | None:
        """Return what this reader reads next; None where all is read."""
        study = self.study
        keys = [one.sha256 for one in study.pictures]
        read = {(one.picture, one.turn) for one in self.readings if one.reader == reader}
        for turn in range(1, study.turns + 1):
            for number, sha256 in enumerate(reading_order(keys, study.salt, reader, turn), 1):
                if (sha256, turn) not in read:
                    eye = study.picture(sha256).eye
                    return Task(study.code, eye, sha256, reader, turn, number, len(keys))
        return None

    def both(self, sha256: str) -> tuple[tuple[Reading, ...], tuple[Reading, ...]]:
        """Return what each reader read in a picture."""
        first, second = self.study.readers
        return self.of(sha256, first), self.of(sha256, second)

    @property
    def differing(self) -> dict[str, tuple[str, ...]]:
        """Return the pictures that both have read and in which they differ, with what differs."""
        found = {}
        for one in self.study.pictures:
            first, second = self.both(one.sha256)
            if len(first) == len(second) == self.study.turns:
                what = differences(first, second, self.study.limit_mm)
                if what:
                    found[one.sha256] = what
        return found

    @property
    def is_read(self) -> bool:
        """Whether both readers have read everything."""
        whole = self.study.turns * len(self.study.pictures)
        return all(self.done(one) == whole for one in self.study.readers)

    @property
    def to_judge(self) -> list[str]:
        """Return the pictures that wait for a decision; none before all is read."""
        if not self.is_read:
            return []
        keys = [one for one in self.differing if one not in self.judged]
        return reading_order(keys, self.study.salt, JUDGE, 0)


def study_from(code: str, version: int, document: Mapping[str, Any]) -> Study:
    """Which study does this document hold?"""
    first, second = document["readers"]
    return Study(
        code, version, str(document["title"]), (str(first), str(second)), str(document["judge"]),
        int(document["turns"]), float(document["limit_mm"]), str(document["salt"]),
        tuple(MaskedPicture(**one) for one in document["pictures"]),
        int(document["left_out"]), bool(document.get("closed")),
    )  # fmt: skip


def reading_from(document: Mapping[str, Any]) -> Reading:
    """Which reading does this document hold?"""
    values = document["values"]
    return Reading(
        str(document["picture"]), str(document["reader"]), int(document["turn"]),
        None if values is None else {str(key): float(one) for key, one in values.items()},
    )  # fmt: skip
