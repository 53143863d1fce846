"""What weights, springs and a stop can make: initial, a straight rise from the start (with a knee or without), then the stop."""

from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from pullbook.arrays import Array
from pullbook.facts import Spring


@dataclass(frozen=True, slots=True)
class Shapes:
    """N mechanical curves, one value each per curve, (N,): ``total`` ° BTDC, ``stop`` crank °, ``start``, ``all_in`` crank rpm.

    ``knee_at``: part of the way from start to all-in; ``knee_share``: part of the stop reached there; both 0 to 1.
    """

    total: Array
    stop: Array
    start: Array
    all_in: Array
    knee_at: Array
    knee_share: Array

    def __len__(self) -> int:
        return len(self.total)

    def take(self, index: npt.NDArray[np.intp] | list[int]) -> "Shapes":
        """Some of the curves, in the order of ``index``.

        Parameters
        ----------
        index
            Places, (M,); one may be taken more than once.
        """
        return Shapes(*(getattr(self, f.name)[index] for f in fields(self)))

    def join(self, other: "Shapes") -> "Shapes":
        """These curves and then the others."""
        return Shapes(*(np.concatenate([getattr(self, f.name), getattr(other, f.name)]) for f in fields(self)))

    def short(self, rpm: Array) -> Array:
        """Degrees still missing to the total at each ``rpm`` (R,): (N, R), never negative, never rising with rpm."""
        part = np.clip((rpm - self.start[:, None]) / (self.all_in - self.start)[:, None], 0.0, 1.0)
        at, share = self.knee_at[:, None], self.knee_share[:, None]
        risen = np.where(part <= at, part / at * share, share + (part - at) / (1.0 - at) * (1.0 - share))
        return self.stop[:, None] * (1.0 - risen)

    def curves(self, rpm: Array) -> Array:
        """Advance at each ``rpm`` (R,), ° BTDC: (N, R)."""
        return self.total[:, None] - self.short(rpm)

    def flat(self) -> "Shapes":
        """The least advance of each curve at every rpm: no rise left, so never above what the curve was."""
        return replace(self, total=self.total - self.stop, stop=np.zeros(len(self)))

    def with_total(self, total: Array) -> "Shapes":
        """The same shapes turned to another total, ° BTDC, (N,)."""
        return replace(self, total=total)


def straight(total: Array | float, stop: Array | float, start: Array | float, all_in: Array | float) -> Shapes:
    """Curves without a knee; scalars are spread to the longest.

    Parameters
    ----------
    total, stop
        Most total advance, and what the weights add to the initial, crank degrees, (N,) or one for all.
    start, all_in
        Where the advance starts and where it is all in, rpm, (N,) or one for all.
    """
    totals, stops, starts, all_ins = (np.array(v, float) for v in np.broadcast_arrays(*np.atleast_1d(total, stop, start, all_in)))
    half = np.full(len(totals), 0.5)
    return Shapes(totals, stops, starts, all_ins, half, half.copy())


def all_in_rpm(spring: Spring, stop_deg: float) -> float:
    """Crank rpm at which ``spring`` reaches a stop of ``stop_deg``: start + (all-in₀ − start)·stop/at_stop.

    Examples
    --------
    >>> all_in_rpm(Spring("light", 1000.0, 3000.0, 20.0), 10.0)
    2000.0
    """
    return spring.start_rpm + (spring.all_in_rpm - spring.start_rpm) * stop_deg / spring.at_stop_deg


def highest_total(shapes: Shapes, limit_rpm: Array, limit_deg: Array) -> Array:
    """The most total advance each shape may have without passing the ceiling at any row.

    Above the last row the ceiling is held: nothing is known there, and a curve may still be rising.

    Parameters
    ----------
    shapes
        N shapes; their totals are not looked at.
    limit_rpm, limit_deg
        The ceiling: rows, rpm, rising, and degrees of advance, (R,).

    Returns
    -------
    Array
        Degrees, (N,).
    """
    far = np.append(limit_rpm, limit_rpm[-1] + 20_000.0)
    totals: Array = np.min(np.append(limit_deg, limit_deg[-1]) + shapes.short(far), axis=1)
    return totals
