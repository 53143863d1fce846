"""Hand-made days solved up to delivered advance: locked settings, their logs and light readings, springs as curves."""

from typing import Any

import numpy as np
from tests.unit.alignment.made import Sweep, day

from pullbook.arrays import Array
from pullbook.facts import EngineFacts, Ignition, ZeroMark
from pullbook.handover import DeliveredDay
from pullbook.stages.align import align_day
from pullbook.stages.delivered import delivered_advance

LOCKED = EngineFacts(ignition=Ignition(kind="locked"))
MAPPED = EngineFacts(ignition=Ignition(kind="mapped"))
CHECKED = ZeroMark(stop_before_tdc_deg=30.0, stop_after_tdc_deg=26.0, checked="2031-03-01")  # the light reads 2° high


def solve(sweeps: list[Sweep], **day_facts: Any) -> DeliveredDay:
    """Align a hand-made day and find its delivered advance."""
    reading = day(sweeps, **day_facts)
    return delivered_advance(reading, align_day(reading))


def lights(settings: dict[str, float], rpms: tuple[float, ...] = (3000, 3700, 4400, 5100), z: float = 0.0) -> list[dict[str, Any]]:
    """Light readings of locked settings, ``z`` high."""
    return [{"setting": s, "rpm": float(n), "advance_deg": a + z, "source": "light"} for s, a in settings.items() for n in rpms]


def logs(settings: dict[str, float], offset: float = 0.0, delay_us: float = 0.0, **more: Any) -> list[Sweep]:
    """Sweeps of locked settings whose log is off by an offset and a delay."""
    return [
        Sweep(s, lambda n, a=a: a + offset + 6e-6 * n * delay_us, sheet={"initial_deg": a, "total_deg": a} | more)
        for s, a in settings.items()
    ]


THREE = {"28": 28.0, "31": 31.0, "34": 34.0}


WEIGHTS = EngineFacts(ignition=Ignition(kind="mechanical"))


SHEET = {"initial_deg": 14.0, "total_deg": 34.0}


def springs(n: Array) -> Array:
    """14° to 3000 rpm, all 34° in at 4500."""
    return np.interp(n, [3000.0, 4500.0], [14.0, 34.0])


def two_stage(n: Array) -> Array:
    """14° to 2800, 26° at 3500, 34° at 4900."""
    return np.interp(n, [2800.0, 3500.0, 4900.0], [14.0, 26.0, 34.0])


def noisy(curve: Any, number: int) -> Any:
    """The same curve with a logger's scatter."""
    rng = np.random.default_rng(number)
    return lambda n: curve(n) + rng.normal(0.0, 0.1, n.shape)
