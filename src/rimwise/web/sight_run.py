"""A sight in the making: its steps go one after the other beside the pages."""

import threading
from dataclasses import dataclass, field

from rimwise.terms.errors import RimwiseError
from rimwise.web.catalogue import TEXT
from rimwise.web.sight_jobs import (
    AskedSight,
    SightNumbers,
    SightScene,
    numbers_job,
    scenes_job,
    whole_document,
)
from rimwise.web.worker import Worker

LIGHTS = ("photopic", "mesopic")


@dataclass(slots=True)
class SightRun:
    """What has been found so far, and what is being worked on.

    Parameters
    ----------
    code, side : str
    asked : AskedSight
    pupils_mm : tuple of floats
    map_pupil_mm : float
        Worked out last, with maps of other placements: with a profile they take half a minute.
    numbers, scenes : list
        In the order in which they were found.
    sentence : str
        Why it stopped, where it did.
    """

    code: str
    side: str
    asked: AskedSight
    pupils_mm: tuple[float, ...]
    map_pupil_mm: float
    numbers: list[SightNumbers] = field(default_factory=list)
    scenes: list[SightScene] = field(default_factory=list)
    sentence: str = ""

    @property
    def steps(self) -> int:
        """How many steps are there in all?"""
        return len(self.pupils_mm) + len(LIGHTS) + 1

    @property
    def done(self) -> int:
        """How many steps are done?"""
        return len(self.numbers) + len(self.scenes) // 2

    @property
    def open(self) -> bool:
        """Is it still being worked on?"""
        return not self.sentence and self.done < self.steps

    @property
    def document(self) -> str:
        """The numbers of all pupils found so far, to be downloaded."""
        return whole_document([one.document for one in self.numbers]) if self.numbers else "{}"

    def start(self, worker: Worker) -> None:
        """Work all steps in a thread of its own; each is one job of the worker."""
        threading.Thread(target=self._work, args=(worker,), daemon=True).start()

    def _work(self, worker: Worker) -> None:
        try:
            for pupil_mm in self.pupils_mm:
                self.numbers.append(worker.run(numbers_job, self.asked, pupil_mm))
            for light in LIGHTS:
                self.scenes.extend(worker.run(scenes_job, self.asked, light))
            self.numbers.append(worker.run(numbers_job, self.asked, self.map_pupil_mm, True))
        except RimwiseError as error:
            self.sentence = error.sentence
        except Exception:
            self.sentence = TEXT["error.fault"]
