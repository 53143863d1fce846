"""Side channels of a pull: temperatures, mixture, manifold pressure; believable company for rpm and torque."""

import numpy as np

from pullbook.arrays import Array
from tests.simulator.chance import stream
from tests.simulator.day import SimulatedDay


def channels_of(day: SimulatedDay, pull: int) -> dict[str, Array]:
    """Every channel a recorder could have written for pull number ``pull`` (from 0), one element a sample."""
    trace, row = day.traces[pull], day.sheet[pull]
    rng = stream(day.number, day.design.name, day.day, "side", pull)
    n, t, open_share = trace.rpm.size, trace.time_s, trace.throttle_pct / 100
    air = day.truth.pull_airs[pull]
    heat = np.cumsum(open_share) / max(float(open_share.sum()), 1.0)
    return {
        "time_s": t, "rpm": trace.rpm, "torque_nm": trace.torque_nm, "advance_deg": trace.advance_deg,
        "power_kw": trace.torque_nm * trace.rpm * np.pi / 30_000, "throttle_pct": trace.throttle_pct, "knock": trace.knock,
        "roller_rpm": trace.roller_rpm, "oil_c": row.oil_c + 4 * heat + rng.normal(0, 0.1, n),
        "coolant_c": 81 + 2.5 * heat + rng.normal(0, 0.1, n),
        "inlet_c": float(air.inlet_k) - 273.15 + 0.8 * heat + rng.normal(0, 0.1, n),
        "lambda": day.truth.engine.engine.mixture(trace.rpm) + 0.12 * (1 - open_share) + rng.normal(0, 0.004, n),
        "map_kpa": 35 + (float(air.pressure_kpa) - 37.5) * open_share + rng.normal(0, 0.2, n),
        "exhaust_c": 520 + 210 * heat + rng.normal(0, 2, n),
    }  # fmt: skip
