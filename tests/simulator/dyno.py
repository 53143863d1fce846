"""One pull on the dyno: what the brake, the load cell and the recorder make of the engine's torque."""

from dataclasses import dataclass
from itertools import accumulate

import numpy as np

from pullbook.arrays import Array
from tests.simulator.air import Air
from tests.simulator.design import Design
from tests.simulator.ignition import Curve
from tests.simulator.torque_map import TorqueMap

FINE = 5  # brake steps per recorded sample
TWO_PI_60 = 2 * np.pi / 60


@dataclass(frozen=True, slots=True)
class Dyno:
    """Brake and recorder as they are (the shop knows little of it)."""

    pull_sd: float  # fraction, of one pull's level
    wander_sd: float
    inertia_kg_m2: float
    lag_s: float
    noise_sd: float
    sweep_rpm_s: float
    log_offset_deg: float
    log_delay_us: float


@dataclass(frozen=True, slots=True)
class Trace:
    """What the recorder wrote, one element a sample; ``phase``: 0 before the throttle opens, 1 pull, 2 coast-down."""

    time_s: Array
    rpm: Array
    torque_nm: Array
    advance_deg: Array
    throttle_pct: Array
    knock: Array
    roller_rpm: Array
    phase: Array


def wander(rng: np.random.Generator, rpm: Array, sd: float, length_rpm: float) -> Array:
    """A wandering share with correlation exp(−Δrpm/length), piecewise linear on 25-rpm nodes."""
    nodes = np.arange(rpm.min() - 25, rpm.max() + 50, 25.0)
    keep = float(np.exp(-25.0 / length_rpm))
    shocks = rng.normal(size=nodes.size)
    walk = np.array(list(accumulate(shocks[1:] * np.sqrt(1 - keep**2), lambda w, s: keep * w + s, initial=shocks[0])))
    return np.interp(rpm, nodes, sd * walk)


def run_pull(
    rng: np.random.Generator, design: Design, dyno: Dyno, engine: TorqueMap, curve: Curve, air: Air, level: float,
    *, rpm_to: float | None = None, spoiled_rpm: tuple[float, float] | None = None,
) -> Trace:  # fmt: skip
    """Run one pull and record it.

    Parameters
    ----------
    rng
        Chance of this pull alone.
    curve
        Delivered advance, true crank degrees.
    air
        Air of this pull as it is.
    level
        Offset and drift of this pull, fraction of torque.
    rpm_to
        Where it is lifted early (None: the end of the span).
    spoiled_rpm
        A span with 6 % less torque (misfire).
    """
    e = engine.engine
    dt = 1 / (design.rate_hz * FINE)
    sweep = dyno.sweep_rpm_s * (1 + design.sweep_varies * rng.normal())
    wait, opening = rng.uniform(0.3, 0.9), 0.15
    low, high = e.rpm_lo - rng.uniform(150, 260), (rpm_to or e.rpm_hi) + rng.uniform(15, 60)
    # brake: held, then released to the sweep rate, which breathes a little
    n_up = int((high - low) / sweep / dt * 1.3 + (wait + 2.5) / dt)
    t = np.arange(n_up) * dt
    since = np.maximum(t - wait - 0.4, 0.0)
    rate = sweep * (1 - np.exp(-since / 0.3)) * (1 + 0.04 * np.sin(2 * np.pi * t / rng.uniform(2.5, 6) + rng.uniform(0, 6)))
    rpm_up = low + np.concatenate([[0.0], np.cumsum(rate[:-1]) * dt])
    top = int(np.searchsorted(rpm_up, high))
    fall = sweep * rng.uniform(1.4, 2.2)
    tail = np.arange(1, int(2.2 / dt)) * dt
    rpm_down = rpm_up[top - 1] - fall * (tail - 0.12 * (1 - np.exp(-tail / 0.12)))
    rpm = np.concatenate([rpm_up[:top], rpm_down])
    t = np.arange(rpm.size) * dt
    phase = np.where(np.arange(rpm.size) >= top, 2, (t >= wait).astype(int))

    up = phase < 2
    advance = np.where(up, curve.advance_deg(rpm), curve.advance_deg(rpm, down=True))
    whole = engine.torque_nm(rpm, advance, air) * (1 + level + wander(rng, rpm, dyno.wander_sd, design.wander_rpm))
    if spoiled_rpm:
        whole = whole * (1 - 0.06 * ((rpm > spoiled_rpm[0]) & (rpm < spoiled_rpm[1]) & up))
    drag = engine.motored_nm(rpm)
    light_load = 0.04 - drag / (whole - drag)  # just carries itself while it waits for the throttle
    opened = np.where(phase == 1, 1 - (1 - light_load) * np.exp(-np.maximum(t - wait, 0) / opening), light_load)
    opened[phase == 2] = 0.0
    torque = drag + (whole - drag) * opened
    if design.dyno_kind == "engine":
        torque = torque - dyno.inertia_kg_m2 * TWO_PI_60 * np.gradient(rpm, dt)
    gain = 1 - float(np.exp(-dt / dyno.lag_s)) if dyno.lag_s > 0 else 1.0
    read = np.array(list(accumulate(torque[1:].tolist(), lambda y, x: y + gain * (x - y), initial=float(torque[0]))))

    at = np.arange(int(rng.integers(FINE)), rpm.size, FINE)
    n = at.size
    noise = dyno.noise_sd * float(whole[up].mean()) * rng.normal(size=n)
    logged = advance[at] + dyno.log_offset_deg + 6e-6 * rpm[at] * dyno.log_delay_us + design.log_noise_deg * rng.normal(size=n)
    count = np.zeros(n)
    if design.knock_channel:
        excess = np.maximum(engine.knock_index(rpm[at], advance[at], float(air.inlet_k)) - 1, 0) * (phase[at] == 1)
        count = np.cumsum(rng.poisson(excess * 12 * FINE * dt * rpm[at] / 1000)).astype(float)
    return Trace(
        time_s=np.round(np.arange(n) * FINE * dt, 3), rpm=np.round(rpm[at] + design.rpm_noise * rng.normal(size=n), 0),
        torque_nm=np.round(read[at] + noise, design.torque_digits),
        advance_deg=np.round(np.round(logged / design.log_step_deg) * design.log_step_deg, 2),
        throttle_pct=np.round(100 * opened[at], 0), knock=count,
        roller_rpm=np.round(rpm[at] / 4.31 + 0.3 * design.rpm_noise * rng.normal(size=n) / 4.31, 1), phase=phase[at],
    )  # fmt: skip
