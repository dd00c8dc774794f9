"""How many eyes have come to something by a time, some not having been watched that long."""

from dataclasses import dataclass

import numpy as np

from rimwise.terms.arrays import BoolArray, FloatArray
from rimwise.terms.errors import WrongInput


@dataclass(frozen=True, slots=True, eq=False)
class EventFree:
    """The share still free of the event after each time at which one happened.

    Parameters
    ----------
    time : array, shape (k,)
        Increasing, in the unit given.
    share, low, high : array, shape (k,)
        With the 95 % interval at each time.
    at_risk : array of int, shape (k,)
        Watched up to just before each time.
    """

    time: FloatArray
    share: FloatArray
    low: FloatArray
    high: FloatArray
    at_risk: FloatArray

    def at(self, time: float) -> tuple[float, float, float]:
        """Return share, low and high at a time; all 1 before the first event."""
        index = int(np.searchsorted(self.time, time, side="right")) - 1
        if index < 0:
            return 1.0, 1.0, 1.0
        return float(self.share[index]), float(self.low[index]), float(self.high[index])


def event_free(time: FloatArray, happened: BoolArray) -> EventFree:
    """Which share is free of the event, by time?

    Parameters
    ----------
    time : array, shape (n,)
        Of the event or of the last visit, 0 or more.
    happened : array of bool, shape (n,)
        False: watched until then without it.

    Notes
    -----
    Kaplan and Meier 1958; Greenwood's variance on the log-log scale (Kalbfleisch and Prentice),
    which keeps the interval within 0 and 1.

    Examples
    --------
    >>> free = event_free(np.array([1.0, 2.0, 3.0, 4.0]), np.array([True, False, True, False]))
    >>> free.share.tolist()
    [0.75, 0.375]
    """
    time, happened = np.asarray(time, dtype=np.float64), np.asarray(happened, dtype=bool)
    if time.shape != happened.shape or time.ndim != 1 or not len(time):
        raise WrongInput(f"times and events must be rows of one length, got {time.shape}")
    if not (np.isfinite(time).all() and (time >= 0.0).all()):
        raise WrongInput("a time to an event is 0 or more")
    moments = np.unique(time[happened])
    order = np.sort(time)
    at_risk = len(time) - np.searchsorted(order, moments, side="left")
    events = np.searchsorted(np.sort(time[happened]), moments, side="right")
    events = np.diff(np.concatenate([[0], events]))
    share = np.cumprod(1.0 - events / at_risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.cumsum(events / (at_risk * (at_risk - events)))
        half = 1.959963984540054 * np.sqrt(greenwood) / np.abs(np.log(share))
        low, high = share ** np.exp(half), share ** np.exp(-half)
    gone = ~(share > 0.0)
    low, high = (np.where(gone, 0.0, end).astype(np.float64) for end in (low, high))
    return EventFree(
        moments, np.asarray(share, dtype=np.float64), low, high, at_risk.astype(np.float64)
    )


def log_rank(
    time: FloatArray, happened: BoolArray, group: BoolArray, weight_by_risk: bool = False
) -> tuple[float, float]:
    """Do two groups come to the event at different rates: χ² and p?

    Notes
    -----
    Mantel 1966; ``weight_by_risk`` weights each time by the eyes still watched (Gehan, Breslow).

    Examples
    --------
    >>> chi2, p = log_rank(np.array([1.0, 2.0, 3.0, 4.0]), np.array([True] * 4),
    ...     np.array([True, True, False, False]))
    >>> round(chi2, 3)
    2.882
    """
    from scipy.special import chdtrc  # noqa: PLC0415  scipy is loaded late

    time, happened = np.asarray(time, dtype=np.float64), np.asarray(happened, dtype=bool)
    group = np.asarray(group, dtype=bool)
    moments = np.unique(time[happened])
    n = (time[None, :] >= moments[:, None]).sum(axis=1).astype(np.float64)
    n1 = ((time[None, :] >= moments[:, None]) & group).sum(axis=1).astype(np.float64)
    now = (time[None, :] == moments[:, None]) & happened
    d, d1 = now.sum(axis=1).astype(np.float64), (now & group).sum(axis=1).astype(np.float64)
    weight = n if weight_by_risk else np.ones_like(n)
    spare = np.where(n > 1.0, n - 1.0, 1.0)
    variance = float((weight**2 * d * n1 / n * (1.0 - n1 / n) * (n - d) / spare).sum())
    if not variance > 0.0:
        return 0.0, 1.0
    chi2 = float((weight * (d1 - d * n1 / n)).sum()) ** 2 / variance
    return chi2, float(chdtrc(1.0, chi2))
