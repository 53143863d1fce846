"""The table is as good as the cycles it stands for."""

import numpy as np
import pytest
from tests.simulator.air import STANDARD, Air
from tests.simulator.cycle import run_cycles
from tests.simulator.engine import CHAMBERS, Chamber, draw_engine
from tests.simulator.torque_map import torque_map


@pytest.fixture(params=CHAMBERS)
def chamber(request: pytest.FixtureRequest) -> Chamber:
    return request.param  # type: ignore[no-any-return]


def test_table_meets_cycles_between_its_nodes(chamber: Chamber) -> None:
    engine = draw_engine(np.random.default_rng(11), chamber)
    rng = np.random.default_rng(5)
    rpm, advance = rng.uniform(engine.rpm_lo, engine.rpm_hi, 60), rng.uniform(5, 55, 60)
    direct = run_cycles(engine, rpm, advance, STANDARD).torque_nm
    np.testing.assert_allclose(torque_map(engine).torque_nm(rpm, advance), direct, rtol=2e-4)


def test_air_is_close_to_the_cycles_own(chamber: Chamber) -> None:
    """A line in ln p and vapour and a parabola in temperature stand for the air's effect: 0.2 % at a season's corners."""
    engine = draw_engine(np.random.default_rng(11), chamber)
    rpm, advance = np.linspace(engine.rpm_lo, engine.rpm_hi, 8), np.full(8, 30.0)
    for air in (Air(95.0, 283.15, 0.8), Air(102.0, 308.15, 2.5)):
        direct = run_cycles(engine, rpm, advance, air).torque_nm
        np.testing.assert_allclose(torque_map(engine).torque_nm(rpm, advance, air), direct, rtol=2e-3)


def test_best_is_the_top_of_the_direct_cycles(chamber: Chamber) -> None:
    engine = draw_engine(np.random.default_rng(2), chamber)
    rpm, grid = np.linspace(engine.rpm_lo, engine.rpm_hi, 4), np.arange(5.0, 60.0, 0.1)
    direct = grid[run_cycles(engine, rpm[:, None], grid[None, :], STANDARD).torque_nm.argmax(axis=1)]
    np.testing.assert_allclose(torque_map(engine).best_deg(rpm), direct, atol=0.12)


def test_hill_is_no_parabola(chamber: Chamber) -> None:
    """Loss ±15° away differs between the sides by more than 3 % of itself, and the curvature is an engine's."""
    engine_map = torque_map(draw_engine(np.random.default_rng(4), chamber))
    e = engine_map.engine
    rpm = np.array([(e.rpm_lo + e.rpm_hi) / 2])
    best = engine_map.best_deg(rpm)
    low, high = (float(engine_map.loss(best + d, rpm)[0]) for d in (-15.0, 15.0))
    assert low > 0
    assert high > 0
    assert abs(low / high - 1) > 0.03
    assert 1.5e-4 < float(engine_map.curvature(rpm)[0]) < 4.2e-4


def test_loss_is_zero_at_the_best_and_nowhere_negative(chamber: Chamber) -> None:
    engine_map = torque_map(draw_engine(np.random.default_rng(4), chamber))
    rpm = np.linspace(engine_map.engine.rpm_lo, engine_map.engine.rpm_hi, 9)
    best = engine_map.best_deg(rpm)
    assert np.abs(engine_map.loss(best, rpm)).max() < 1e-12
    assert engine_map.loss(best[None, :] + np.linspace(-20, 20, 81)[:, None], rpm).min() > -1e-6


def test_knock_grows_with_advance_and_heat_and_falls_with_speed(chamber: Chamber) -> None:
    engine_map = torque_map(draw_engine(np.random.default_rng(4), chamber))
    e = engine_map.engine
    rpm, advance = np.linspace(e.rpm_lo, e.rpm_hi, 5), np.arange(5.0, 50.0, 3.0)
    index = engine_map.knock_index(rpm[:, None], advance[None, :])
    assert np.all(np.diff(index, axis=1) > 0)
    assert np.all(engine_map.knock_index(rpm, np.full(5, 25.0), 313.0) > engine_map.knock_index(rpm, np.full(5, 25.0)))
    assert index[0, 5] > index[-1, 5]


def test_knock_starts_where_it_was_put() -> None:
    engine_map = torque_map(draw_engine(np.random.default_rng(4), "mid"))
    rpm = np.arange(2500.0, 6001.0, 100.0)
    placed = engine_map.with_knock_from(-3.0, rpm)
    assert float(placed.knock_index(rpm, placed.best_deg(rpm) - 3.0).max()) == pytest.approx(1.0, abs=1e-9)
