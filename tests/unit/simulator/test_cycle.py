"""The cycle is physics: geometry, energy, reversibility, convergence."""

from dataclasses import replace

import numpy as np
import pytest
from tests.simulator.air import STANDARD, Air, saturation_kpa
from tests.simulator.cycle import run_cycles, volume
from tests.simulator.engine import CHAMBERS, Chamber, Engine, draw_engine


def engine_of(chamber: Chamber, number: int = 3) -> Engine:
    return draw_engine(np.random.default_rng(number), chamber)


def test_piston_drop_is_slider_crank() -> None:
    """Stroke 88.392 mm, rod 144.78 mm: exact values of x = r(1 − cos θ) + l − √(l² − r² sin² θ), 40-digit arithmetic."""
    engine = replace(engine_of("mid"), stroke_m=0.088392, rod_m=0.14478)
    area = np.pi / 4 * engine.bore_m**2
    clearance = engine.swept_m3 / (engine.compression_ratio - 1)
    drop_mm = 1000 * (volume(engine, np.array([5.0, 10.0, 34.0, 90.0, 180.0]))[0] - clearance) / area
    np.testing.assert_allclose(drop_mm, [0.2194294043, 0.8749875401, 9.680809346, 51.10663435, 88.392], rtol=1e-8)


def test_slope_of_volume_is_its_derivative() -> None:
    engine, at = engine_of("two_valve"), np.linspace(-170, 170, 41)
    step = 1e-3
    numeric = (volume(engine, at + step)[0] - volume(engine, at - step)[0]) / (2 * step)
    np.testing.assert_allclose(volume(engine, at)[1], numeric, rtol=1e-6, atol=1e-12)


@pytest.mark.parametrize("chamber", CHAMBERS)
def test_energy_is_conserved(chamber: Chamber) -> None:
    """Heat burned = heat to the walls + work + gain of internal energy, without blow-by, to 1 in 10⁵."""
    engine = replace(engine_of(chamber), blow_by_mm2=0.0)
    rpm, advance = np.linspace(engine.rpm_lo, engine.rpm_hi, 4)[:, None], np.arange(0.0, 61.0, 10.0)[None, :]
    c = run_cycles(engine, rpm, advance, STANDARD)
    left = c.heat_burned_j - c.heat_lost_j - c.closed_work_j - c.energy_gained_j
    assert np.abs(left / c.heat_burned_j).max() < 1e-5


def test_motored_without_loss_gives_its_work_back() -> None:
    engine = replace(
        engine_of("mid"), heat_factor=0.0, blow_by_mm2=0.0, lambda_lean=1e9, lambda_rich=1e9,
        intake_closes_deg=-130.0, exhaust_opens_deg=130.0,
    )  # fmt: skip
    c = run_cycles(engine, np.array([3000.0]), np.array([30.0]), STANDARD)
    assert abs(c.closed_work_j[0]) < 1e-4 * 100e3 * engine.swept_m3
    assert c.peak_deg[0] == pytest.approx(0.0, abs=0.05)


def test_step_is_converged() -> None:
    """A third of the step changes torque by less than 4 in 10⁵ and does not move the best."""
    engine = engine_of("four_valve")
    rpm, advance = np.array([[3500.0], [6500.0]]), np.arange(10.0, 36.0, 1.0)[None, :]
    coarse, fine = (run_cycles(engine, rpm, advance, STANDARD, step_deg=h).torque_nm for h in (1.5, 0.5))
    assert np.abs(coarse / fine - 1).max() < 4e-5
    tops = [advance[0][np.argmax(t, axis=1)] for t in (coarse, fine)]
    np.testing.assert_array_equal(*tops)


@pytest.mark.parametrize("chamber", CHAMBERS)
def test_best_advance_has_the_handbook_signs(chamber: Chamber) -> None:
    """At best torque the peak stands 5–18° after TDC and half is burned some 5–12° after it (handbook facts, from memory)."""
    advance = np.arange(4.0, 60.0, 0.5)
    for number in range(6):
        engine = engine_of(chamber, number)
        rpm = np.linspace(engine.rpm_lo, engine.rpm_hi, 4)
        c = run_cycles(engine, rpm[:, None], advance[None, :], STANDARD)
        at = (np.arange(4), np.argmax(c.torque_nm, axis=1))
        assert np.all((c.peak_deg[at] > 5) & (c.peak_deg[at] < 18))
        assert np.all((c.half_burned_deg[at] > 4.5) & (c.half_burned_deg[at] < 12))
        bmep_bar = c.torque_nm[at] * 4 * np.pi / engine.displacement_l / 100
        assert np.all((bmep_bar > 5) & (bmep_bar < 14))
        lost = (c.heat_lost_j / c.heat_burned_j)[at]
        assert np.all((lost > 0.08) & (lost < 0.3))


def test_slower_burn_wants_more_advance_and_forgives_more() -> None:
    engine = engine_of("mid")
    slow = replace(engine, delay_deg=engine.delay_deg * 1.3, burn_deg=engine.burn_deg * 1.3)
    advance, rpm = np.arange(4.0, 64.0, 0.5), np.array([[4000.0]])
    best, loss = [], []
    for e in (engine, slow):
        torque = run_cycles(e, rpm, advance[None, :], STANDARD).torque_nm[0]
        top = int(torque.argmax())
        best.append(advance[top])
        loss.append(1 - torque[top - 20] / torque[top])  # 10° less
    assert best[1] > best[0] + 4
    assert loss[1] < loss[0]


def test_thinner_air_costs_about_its_density() -> None:
    engine, rpm, advance = engine_of("mid"), np.array([4000.0]), np.array([28.0])
    thin = Air(STANDARD.dry_kpa * 0.95 + 1.0, STANDARD.inlet_k, 1.0)
    ratio = run_cycles(engine, rpm, advance, thin).torque_nm / run_cycles(engine, rpm, advance, STANDARD).torque_nm
    assert 0.92 < ratio[0] < 0.955  # a little more than 5 %, as friction stays


def test_saturation_pressure_of_water() -> None:
    """Steam tables, from memory: 2.339 kPa at 20 °C, 4.247 kPa at 30 °C; the Magnus form is good to 0.4 %."""
    np.testing.assert_allclose(saturation_kpa(np.array([293.15, 303.15])), [2.339, 4.247], rtol=4e-3)
