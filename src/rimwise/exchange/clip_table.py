"""The table of a clip: one row a frame, whole rows only, taken up again where it was left."""

import csv
import io
import json
import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import IO

from rimwise.exchange.writing import finite, write_bytes
from rimwise.records.clip import ClipRow, ClipStatus
from rimwise.records.cover import EllipsePx
from rimwise.records.eye import ReflexName
from rimwise.records.frame import Point
from rimwise.terms.errors import OutputFailed, WrongInput

NAMES: tuple[ReflexName, ...] = ("P1", "P2", "P3", "P4")
SUFFIXES = (".csv", ".parquet")
_RINGS = ("pupil", "limbus")
_TURN = ("offset_x_mm", "offset_y_mm", "turn_x_deg", "turn_y_deg", "turn_sd_deg")
_STATUS: tuple[ClipStatus, ...] = ("found", "partial", "lost", "closed")


def columns(lamps: int) -> list[str]:
    """Which columns has the table with so many lamps?

    Examples
    --------
    >>> columns(1)[:5]
    ['frame', 'time_s', 'status', 'P1_0_u', 'P1_0_v']
    """
    spots = [f"{name}_{k}_{c}" for name in NAMES for k in range(lamps) for c in "uv"]
    rings = [f"{ring}_{c}" for ring in _RINGS for c in ("u", "v", "a", "b", "angle_deg")]
    return ["frame", "time_s", "status", *spots, *rings, *_TURN]


def cells(row: ClipRow, lamps: int) -> list[object]:
    """How is a row written? What was not found is None.

    Examples
    --------
    >>> cells(ClipRow(3, 0.1, "lost"), 1)[:4]
    [3, 0.1, 'lost', None]
    """
    out: list[object] = [row.frame, finite(row.time_s, 6), row.status]
    for name in NAMES:
        places = row.reflexes_px.get(name) or (None,) * lamps
        out += [finite(c, 3) for place in places for c in (place or (None, None))]
    for ring in (row.pupil, row.limbus):
        shape = (None,) * 5 if ring is None else (ring.cx, ring.cy, ring.a, ring.b, ring.angle_deg)
        out += [finite(c, 3) for c in shape]
    pairs = (*(row.offset_mm or (None, None)), *(row.turn_deg or (None, None)), row.turn_sd_deg)
    return [*out, *(finite(c, 4) for c in pairs)]


def row_of(cell: Mapping[str, str], lamps: int) -> ClipRow:
    """What does a written row say?"""

    def number(name: str) -> float | None:
        return float(cell[name]) if cell[name] else None

    def pair(first: str, second: str) -> Point | None:
        x, y = number(first), number(second)
        return None if x is None or y is None else (x, y)

    def ring(name: str) -> EllipsePx | None:
        shape = [number(f"{name}_{c}") for c in ("u", "v", "a", "b", "angle_deg")]
        known = [one for one in shape if one is not None]
        return EllipsePx(*known) if len(known) == len(shape) else None

    spots: dict[ReflexName, tuple[Point | None, ...]] = {
        name: tuple(pair(f"{name}_{k}_u", f"{name}_{k}_v") for k in range(lamps)) for name in NAMES
    }
    told = {name: places for name, places in spots.items() if any(places)}
    status = next(one for one in _STATUS if one == cell["status"])
    return ClipRow(
        int(cell["frame"]), float(cell["time_s"]), status, told, ring("pupil"), ring("limbus"),
        pair("offset_x_mm", "offset_y_mm"), pair("turn_x_deg", "turn_y_deg"),
        number("turn_sd_deg"),
    )  # fmt: skip


class GrowingTable:
    """A table that grows row by row beside its final name, and takes the name when it is whole.

    Parameters
    ----------
    path : path
        Where it goes, ``.csv`` or ``.parquet``.
    lamps : int
    made_from : mapping
        What the rows depend on; rows that were made from anything else are not gone on with.
    """

    def __init__(self, path: Path, lamps: int, made_from: Mapping[str, object]) -> None:
        if path.suffix.lower() not in SUFFIXES:
            raise WrongInput(f"{path} ends in {path.suffix!r}, and a table is .csv or .parquet")
        self.path, self.lamps = path, lamps
        self.part = path.with_name(f"{path.name}.part")
        self._first = json.dumps(dict(made_from), sort_keys=True) + "\n"
        self._file: IO[bytes] | None = None
        self.done = 0

    def open(self) -> int:
        """Take up what is there, cut to its last whole row; return how many frames are done."""
        try:
            self._cut()
            self._file = self.part.open("ab")
            if self._file.tell() == 0:
                self._file.write((self._first + _line(columns(self.lamps))).encode())
        except OSError as error:
            raise _failed(self.part, error) from None
        self.done = sum(1 for _ in self.rows())
        return self.done

    def _cut(self) -> None:
        if not self.part.exists():
            return
        head = (self._first + _line(columns(self.lamps))).encode()
        with self.part.open("r+b") as file:
            if file.read(len(head)) != head:
                file.truncate(0)
                return
            file.seek(0, os.SEEK_END)
            whole, size = len(head), file.tell()
            file.seek(max(len(head), size - 100_000))
            start = file.tell()
            whole = start + file.read().rfind(b"\n") + 1 if size > len(head) else size
            file.truncate(max(whole, len(head)))

    def add(self, row: ClipRow) -> None:
        """Write one row at once, so that a stop loses nothing."""
        assert self._file is not None
        try:
            self._file.write(_line(cells(row, self.lamps)).encode())
            self._file.flush()
        except OSError as error:
            raise _failed(self.part, error) from None

    def rows(self) -> Iterator[ClipRow]:
        """Read the rows back, one at a time."""
        if self._file is not None:
            self._file.flush()
        with self.part.open(encoding="utf-8", newline="") as file:
            file.readline()
            for cell in csv.DictReader(file):
                yield row_of(cell, self.lamps)

    def close(self) -> None:
        """Leave the rows for the next run."""
        if self._file is not None:
            self._file.close()
            self._file = None

    def finish(self) -> None:
        """Give the whole table its name.

        Raises
        ------
        OutputFailed
            It cannot be written.
        """
        self.close()
        data = self.part.read_bytes()
        data = data[data.index(b"\n") + 1 :]
        if self.path.suffix.lower() == ".parquet":
            data = _parquet(data)
        write_bytes(self.path, data)
        self.part.unlink()


def _line(values: list[str] | list[object]) -> str:
    sink = io.StringIO()
    csv.writer(sink, lineterminator="\n").writerow(["" if v is None else v for v in values])
    return sink.getvalue()


def _parquet(data: bytes) -> bytes:
    import polars as pl  # noqa: PLC0415 - only where a Parquet file is wanted

    head = data[: data.index(b"\n")].decode().split(",")
    kinds = {name: pl.Float64() for name in head} | {"frame": pl.Int64(), "status": pl.String()}
    sink = io.BytesIO()
    pl.read_csv(data, schema=kinds).write_parquet(sink)
    return sink.getvalue()


def _failed(path: Path, error: OSError) -> OutputFailed:
    words = error.strerror or str(error)
    return OutputFailed(f"{path} could not be written ({words}); give a place that can be written")
