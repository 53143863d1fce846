"""The closed cycle: pressure from intake closing to exhaust opening, many speeds, advances and airs at once.

Single zone, first law, in steps of crank angle (Runge–Kutta of fourth order):
``V dp = (γ − 1)(dQ_burn − dQ_wall) − γ p dV + γ R T dm``, with dm the blow-by.
Burn: Wiebe with a delay; both stretch with piston speed and with the laminar flame speed of the charge at the spark.
Heat to the walls: Hohenberg's coefficient. Friction: Chen and Flynn's form. Formulas from memory of engine handbooks.
"""

from dataclasses import dataclass

import numpy as np

from pullbook.arrays import Array
from tests.simulator.air import STANDARD_DRY_KPA, STANDARD_K, Air
from tests.simulator.engine import Engine

GAS_R = 287.0  # J/(kg·K), charge and burned gas alike
HEAT_PER_AIR = 44.0e6 / 14.7  # J of fuel heat per kg of air at lambda 1
BURN_COMPLETE = 6.908  # exp(-6.908) = 0.1 % left
KNOCK_UNTIL = 0.85  # burned share beyond which too little end gas is left to be heard


@dataclass(frozen=True, slots=True)
class Cycles:
    """What a set of cycles gave; every array has the same shape (the broadcast of rpm, advance and air)."""

    torque_nm: Array
    peak_deg: Array  # after TDC
    half_burned_deg: Array  # after TDC
    heat_burned_j: Array
    heat_lost_j: Array
    closed_work_j: Array
    energy_gained_j: Array  # internal energy, end minus start
    knock_integral: Array  # end gas self-ignites where this passes 1


def gamma(temperature_k: Array) -> Array:
    """Ratio of specific heats of charge and burned gas over temperature (a quadratic known from heat-release work)."""
    t = np.clip(temperature_k, 250.0, 3000.0)
    return np.asarray(1.338 - 6.0e-5 * t + 1.0e-8 * t * t)


def internal_energy(temperature_k: Array) -> Array:
    """Internal energy in J/kg above 250 K, from :func:`gamma` by quadrature."""
    grid = np.linspace(250.0, 4000.0, 7501)
    cv = GAS_R / (gamma(grid) - 1)
    total = np.concatenate([[0.0], np.cumsum((cv[1:] + cv[:-1]) / 2 * np.diff(grid))])
    return np.asarray(np.interp(temperature_k, grid, total))


def volume(engine: Engine, crank_deg: Array) -> tuple[Array, Array, Array]:
    """Cylinder volume (m³), its slope (m³/°) and wetted area (m²) at crank angles (slider–crank)."""
    r, rod = engine.stroke_m / 2, engine.rod_m
    a = np.radians(np.asarray(crank_deg, float))
    root = np.sqrt(rod**2 - (r * np.sin(a)) ** 2)
    down = r + rod - r * np.cos(a) - root
    piston = np.pi / 4 * engine.bore_m**2
    clearance = engine.swept_m3 / (engine.compression_ratio - 1)
    slope = piston * (r * np.sin(a) + r * r * np.sin(a) * np.cos(a) / root) * np.pi / 180
    return clearance + piston * down, slope, 2.15 * piston + np.pi * engine.bore_m * (down + clearance / piston)


def run_cycles(engine: Engine, rpm: Array, advance_deg: Array, air: Air, *, step_deg: float = 1.5) -> Cycles:
    """Run closed cycles and turn them into brake torque.

    Parameters
    ----------
    engine
        The engine.
    rpm, advance_deg
        Crank speed and spark advance (° before TDC), any shapes that broadcast.
    air
        Inlet air; its fields may be arrays that broadcast with the others.
    step_deg
        Crank step; 1.5° is converged to about 3 in 10⁵ of torque (tests/unit/simulator).
    """
    rpm, advance, dry, inlet, vapour = np.broadcast_arrays(rpm, advance_deg, air.dry_kpa, air.inlet_k, air.vapour_kpa)
    shape = rpm.shape
    rpm, advance, dry, inlet, vapour = (np.ravel(x).astype(float) for x in (rpm, advance, dry, inlet, vapour))
    speed = engine.piston_speed(rpm)
    first, last = engine.intake_closes_deg, engine.exhaust_opens_deg

    # what is in the cylinder when the intake closes
    density = (
        1.169
        * (dry / STANDARD_DRY_KPA)
        * ((STANDARD_K + engine.charge_heating_k) / (inlet + engine.charge_heating_k)) ** engine.filling_exponent
    )
    m_air = engine.filling(rpm) * density * engine.swept_m3
    mixture = engine.mixture(rpm)
    residual = engine.residual_share(rpm)
    mass = m_air * (1 + 1 / (14.7 * mixture) + 0.62 * vapour / dry) / (1 - residual)
    start_k = (1 - residual) * (inlet + engine.charge_heating_k) + residual * 1000.0
    v0 = float(volume(engine, np.array(first))[0])
    start_pa = mass * GAS_R * start_k / v0
    heat = 0.93 * m_air * HEAT_PER_AIR * np.minimum(1 / mixture, 1.0) * (1 + 0.25 * np.clip(1 - mixture, 0, 0.12))
    delay, duration = burn_angles(engine, rpm, advance, start_pa, start_k, residual, mixture, vapour)
    burn_starts = -advance + delay

    def flows(crank: float, pa: Array, kg: Array) -> tuple[Array, ...]:
        v, slope, area = (float(x) for x in volume(engine, np.array(crank)))
        kelvin = pa * v / (kg * GAS_R)
        g = gamma(kelvin)
        y = np.maximum((crank - burn_starts) / duration, 0.0)
        power = y**engine.wiebe_m
        burn = heat * BURN_COMPLETE * (engine.wiebe_m + 1) / duration * power * np.exp(-BURN_COMPLETE * power * y)
        to_wall = engine.heat_factor * 130.0 * v**-0.06 * (pa * 1e-5) ** 0.8 * kelvin**-0.4 * (speed + 1.4) ** 0.8
        lost = to_wall * area * (kelvin - engine.wall_k) / (6 * rpm)
        leak = -0.6 * engine.blow_by_mm2 * 1e-6 * pa / np.sqrt(GAS_R * kelvin) / (6 * rpm)
        dp = ((g - 1) * (burn - lost) - g * pa * slope + g * GAS_R * kelvin * leak) / v
        return dp, leak, pa * slope, lost, burn

    steps = max(int(np.ceil((last - first) / step_deg)), 2)
    h = (last - first) / steps
    pa, kg = start_pa.copy(), mass.copy()
    sums = [np.zeros_like(pa) for _ in range(3)]  # work, heat lost, heat burned
    trace = np.empty((steps + 1, pa.size))
    trace[0] = pa
    ends = np.zeros_like(pa)
    k1 = flows(first, pa, kg)
    for i in range(steps):
        crank = first + i * h
        k2 = flows(crank + h / 2, pa + h / 2 * k1[0], kg + h / 2 * k1[1])
        k3 = flows(crank + h / 2, pa + h / 2 * k2[0], kg + h / 2 * k2[1])
        k4 = flows(crank + h, pa + h * k3[0], kg + h * k3[1])
        grown = [h / 6 * (a + 2 * b + 2 * c + d) for a, b, c, d in zip(k1, k2, k3, k4, strict=True)]
        pa, kg = pa + grown[0], kg + grown[1]
        for total, part in zip(sums, grown[2:], strict=True):
            total += part
        trace[i + 1] = pa
        y = (crank + h - burn_starts) / duration
        unburned = start_k * (pa / start_pa) ** 0.27
        left = 1 / (1 + np.exp((y - _burned_at(engine, KNOCK_UNTIL)) * 40))  # a soft end keeps the table smooth
        ends += left * (pa / 101_325) ** 1.7 * np.exp(-3800 / unburned) / 0.01768 * h / (6 * rpm)
        k1 = flows(crank + h, pa, kg)
    v1 = float(volume(engine, np.array(last))[0])
    peak, peak_deg = _peak(trace, first, h)
    final_k = pa * v1 / (kg * GAS_R)
    gained = kg * internal_energy(final_k) - mass * internal_energy(start_k)

    # open ends: constant pressure from bottom centre to intake closing, falling pressure after the exhaust opens
    bottom = engine.swept_m3 * engine.compression_ratio / (engine.compression_ratio - 1)
    indicated = sums[0] - start_pa * (bottom - v0) + 0.5 * (pa + 110e3) * (bottom - v1)
    a, b, c, d = engine.friction_bar
    friction = a + b * peak / 1e5 + c * speed + d * speed**2 + engine.pumping_bar * (speed / 15) ** 2
    torque = (indicated - friction * 1e5 * engine.swept_m3) * engine.cylinders / (4 * np.pi)
    knock = ends * (engine.octane / 100) ** -3.402
    half = burn_starts + duration * _burned_at(engine, 0.5)
    out = (torque, peak_deg, half, sums[2], sums[1], sums[0], gained, knock)
    return Cycles(*(np.reshape(x, shape) for x in out))


def burn_angles(
    engine: Engine, rpm: Array, advance: Array, start_pa: Array, start_k: Array, residual: Array, mixture: Array, vapour: Array
) -> tuple[Array, Array]:
    """Delay from spark to first burn and burn duration, crank degrees, for charges of the given state.

    The form (speed and flame speed to fixed powers) is that of well-known burn-angle correlations, from memory.
    """
    v0 = float(volume(engine, np.array(engine.intake_closes_deg))[0])

    def flame(at_deg: Array, k0: Array, pa0: Array, gone: Array, lam: Array, wet: Array) -> Array:
        squeeze = v0 / volume(engine, at_deg)[0]
        kelvin, pa = k0 * squeeze**0.33, pa0 * squeeze**1.33
        rich = 1 - 2.0 * (lam - 0.92) ** 2 / 0.09
        return np.asarray(
            (kelvin / 298) ** engine.flame_exponent
            * (pa / 1e5) ** -0.16
            * (1 - 2.06 * gone**0.77)
            * rich
            * (1 - engine.humidity_slows * wet)
        )

    ref = np.array(engine.burn_rpm)
    gone = engine.residual_share(ref)
    base = flame(
        np.array(-30.0),
        (1 - gone) * (298.0 + engine.charge_heating_k) + gone * 1000.0,
        np.array(1.1e5),
        gone,
        engine.mixture(ref),
        np.array(1.0),
    )
    swirl = (rpm / engine.burn_rpm) ** engine.speed_exponent * engine.tuning(rpm) ** -engine.motion_gain
    delay = engine.delay_deg * swirl * (flame(-advance, start_k, start_pa, residual, mixture, vapour) / base) ** (-2 / 3)
    middle = -advance + delay + 0.35 * engine.burn_deg
    late = (volume(engine, middle)[0] / float(volume(engine, np.array(5.0))[0])) ** 0.22
    near_top = flame(np.zeros_like(advance), start_k, start_pa, residual, mixture, vapour) / flame(
        np.zeros(()),
        (1 - gone) * (298.0 + engine.charge_heating_k) + gone * 1000.0,
        np.array(1.1e5),
        gone,
        engine.mixture(ref),
        np.array(1.0),
    )
    return delay, engine.burn_deg * swirl * near_top ** (-2 / 3) * late


def _burned_at(engine: Engine, share: float) -> float:
    """Where in the burn (0 … 1) a share is burned."""
    return float((-np.log(1 - share) / BURN_COMPLETE) ** (1 / (engine.wiebe_m + 1)))


def _peak(trace: Array, first: float, h: float) -> tuple[Array, Array]:
    """Height and place of each column's maximum, by the parabola through its three highest neighbours."""
    at = np.clip(np.argmax(trace, axis=0), 1, len(trace) - 2)
    column = np.arange(trace.shape[1])
    a, b, c = trace[at - 1, column], trace[at, column], trace[at + 1, column]
    bend = a - 2 * b + c
    shift = np.where(bend < 0, 0.5 * (a - c) / np.where(bend < 0, bend, 1.0), 0.0)
    return b - 0.25 * (a - c) * shift, first + (at + shift) * h
