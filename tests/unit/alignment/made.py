"""Small hand-made days for alignment and delivered advance: every number can be followed with a pencil."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.columns import FOUND_PULLS, SAMPLES, STROBE, conform
from pullbook.facts import DayFacts, EngineFacts
from pullbook.handover import DayReading


def hump(rpm: Array) -> Array:
    """A torque curve, N·m: 300 at 4000 rpm, less to either side."""
    return 300.0 - 1e-5 * (rpm - 4000.0) ** 2


@dataclass(frozen=True)
class Sweep:
    """One wide-open sweep; ``advance`` maps rpm to logged degrees."""

    setting: str
    advance: Callable[[Array], Array] | None = None
    torque: Callable[[Array], Array] = hump
    rpm: tuple[float, float] = (2400.0, 6100.0)
    rate: float = 300.0
    hz: float = 20.0
    kind: str = "pull"
    sheet: dict[str, Any] = field(default_factory=dict)
    channels: dict[str, Callable[[Array], Array]] = field(default_factory=dict)


def day(
    sweeps: list[Sweep],
    *,
    facts: DayFacts | None = None,
    engine: EngineFacts | None = None,
    strobe: list[dict[str, Any]] | None = None,
    coast_downs: pl.DataFrame | None = None,
) -> DayReading:
    """A day of these sweeps, one file each, in this order."""
    pulls, samples = [], []
    for number, sweep in enumerate(sweeps, start=1):
        name = f"p{number}"
        time = np.arange(0.0, (sweep.rpm[1] - sweep.rpm[0]) / sweep.rate, 1.0 / sweep.hz)
        rpm = sweep.rpm[0] + sweep.rate * time
        columns = {"time_s": time, "rpm": rpm, "torque_nm": sweep.torque(rpm)}
        if sweep.advance is not None:
            columns["advance_deg"] = np.broadcast_to(sweep.advance(rpm), rpm.shape)
        columns |= {channel: f(rpm) for channel, f in sweep.channels.items()}
        samples.append(pl.DataFrame({"pull_id": name, "file": f"{name}.csv", "segment": 1, "kind": sweep.kind, **columns}))
        pulls.append(
            {"pull_id": name, "file": f"{name}.csv", "segment": 1, "kind": sweep.kind, "order": number, "setting": sweep.setting}
            | {"baseline": sweep.setting == sweeps[0].setting, "knock": "not listened", "usable": True}
            | sweep.sheet
        )
    return DayReading(
        engine="bench",
        day="2031-04-05",
        engine_facts=engine or EngineFacts(),
        facts=facts or DayFacts(),
        logs=(),
        pulls=conform(pl.DataFrame(pulls), FOUND_PULLS),
        samples=conform(pl.concat(samples, how="diagonal"), SAMPLES),
        coast_downs=conform(pl.DataFrame() if coast_downs is None else coast_downs, SAMPLES),
        strobe=conform(pl.DataFrame(strobe or []), STROBE),
    )
