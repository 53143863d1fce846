"""Units proved by P = T·ω: which of the nine constants for torque and power units the log's own rows obey.

Source: P[kW] = T[N·m]·rpm/9549.2966 and the unit definitions of :mod:`pullbook.units`.
"""

from dataclasses import dataclass
from itertools import product
from math import log
from typing import Literal

import numpy as np

from pullbook.arrays import Array
from pullbook.measure.normal import MAD_TO_SD
from pullbook.units import power_constants

FLOOR = 6e-4
"""Relative: printed constants (9550, 5252, 7024) and rounding habits alone; the nearest two constants are 28e-4 apart."""


@dataclass(frozen=True, slots=True)
class UnitsFit:
    """One reading of the rows: units as outputs spell them, and how many times too high rpm reads (1, 2 or 0.5).

    ``constant``: c of P = T·rpm/c in those units; ``off``: how far the rows' ratio lies from it, as a difference of ln.
    """

    power: str
    torque: str
    times: float
    constant: float
    off: float


@dataclass(frozen=True, slots=True)
class Proof:
    """``ratio``: median of T·rpm/P in logged units, ``tolerance`` relative. ``state``:

    proved: ``fit`` is the only one (or the headings' own among two); two: ``fits`` cannot be told apart; double: only rpm read
    ``fit.times`` too high fits; factor: headings name both units and the rows are ``factor`` off; none: nothing fits.
    """

    state: Literal["proved", "two", "double", "factor", "none"]
    ratio: float
    tolerance: float
    fits: tuple[UnitsFit, ...] = ()
    factor: float | None = None
    rows: int = 0

    @property
    def fit(self) -> UnitsFit:
        """The best fit."""
        return self.fits[0]


def quantum(values: Array) -> float:
    """Half the last digit written, in the unit of the values.

    Parameters
    ----------
    values
        A column as read, (n,), NaN passed over; the first 2000 are looked at.

    Returns
    -------
    float
        By the fewest decimals (at most four) that hold every value; 0 where none do, as in values some program computed.
    """
    known = values[np.isfinite(values)][:2000]
    for decimals in range(5):
        if np.allclose(known * 10.0**decimals, np.round(known * 10.0**decimals), rtol=0, atol=1e-6 * 10.0**decimals + 1e-9):
            return 0.5 * 10.0**-decimals
    return 0.0


def belong_together(rpm: Array, torque: Array | None, power: Array | None) -> bool:
    """Whether torque and power are of one shaft at that speed, in whatever units; shape (n,) each, as logged."""
    if torque is None or power is None:
        return False
    step = max(1, len(rpm) // 5_000)
    found = prove(rpm[::step], torque[::step], power[::step], torque_unit=None, power_unit=None)
    return found is not None and found.state in ("proved", "two")


def prove(rpm: Array, torque: Array, power: Array, *, torque_unit: str | None, power_unit: str | None) -> Proof | None:
    """Compare T·rpm/P with the nine constants.

    Parameters
    ----------
    rpm, torque, power
        Shape (n,), as logged (rpm in rpm), NaN where missing.
    torque_unit, power_unit
        What the headings say, in the outputs' spelling, or None.

    Returns
    -------
    Proof or None
        None with fewer than four rows under load.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        load = np.isfinite(rpm) & np.isfinite(torque) & np.isfinite(power) & (rpm > 200) & (torque > 0) & (power > 0)
        if load.sum() < 4:
            return None
        load &= power > 0.3 * np.nanquantile(power[load], 0.95)
        ratios = torque[load] * rpm[load] / power[load]
    if len(ratios) < 4:
        return None
    ratio = float(np.median(ratios))
    scatter = MAD_TO_SD * float(np.median(np.abs(np.log(ratios / ratio))))
    digits = quantum(torque[load]) / float(np.median(torque[load])) + quantum(power[load]) / float(np.median(power[load]))
    tolerance = FLOOR + 3.5 * scatter / len(ratios) ** 0.5 + 0.25 * digits
    fits = sorted(
        (
            UnitsFit(p, t, times, c, off)
            for ((p, t), c), times in product(power_constants().items(), (1.0, 2.0, 0.5))
            if (off := abs(log(ratio / (c * times)))) < tolerance
        ),
        key=lambda f: (f.times != 1.0, f.off),
    )
    said = [f for f in fits if (torque_unit is None or f.torque == torque_unit) and (power_unit is None or f.power == power_unit)]
    plain = [f for f in fits if f.times == 1.0]
    plain_said = [f for f in said if f.times == 1.0]

    def proof(
        state: Literal["proved", "two", "double", "factor", "none"], some: list[UnitsFit], factor: float | None = None
    ) -> Proof:
        return Proof(state, ratio, tolerance, tuple(some), factor, len(ratios))

    if scatter > 0.05:
        return proof("none", [])
    if len(plain) == 1 and (plain_said or not said):
        return proof("proved", plain)
    if len(plain_said) == 1 and torque_unit and power_unit:
        return proof("two", plain_said + [f for f in plain if f not in plain_said])
    if len(plain_said) == 1:
        return (
            proof("proved", plain_said) if len(plain) == 1 else proof("two", plain_said + [f for f in plain if f not in plain_said])
        )
    if plain:
        return proof("two", plain)
    if said:
        return proof("double", said)
    if torque_unit and power_unit:
        expected = power_constants()[power_unit, torque_unit]
        if 0.8 < ratio / expected < 1.25:
            return proof("factor", [], ratio / expected)
    return proof("double", fits) if len(fits) == 1 else proof("none", [])
