"""Angles, the zero mark, tapes and distributors (reference rows K1 to K5), and inertia torque (row U5)."""

from math import cos, degrees, radians, sin, sqrt

import numpy as np
import pytest
from scipy.optimize import brentq

from pullbook.advice.sums import delay_deg, mm_per_deg
from pullbook.alignment.rows import inertia_torque
from pullbook.facts import ZeroMark
from pullbook.timing.scale import mark_error
from pullbook.units import CRANK_PER_DISTRIBUTOR, DEG_PER_RPM_US

STROKE, ROD = 88.392, 144.78  # mm, the engine of rows K2 and K3b


def piston_drop(angle_deg: float, pin_offset_mm: float = 0.0) -> float:
    """Drop of the piston, mm, from its height at crank angle zero (crank-slider geometry, any engine handbook)."""
    r, a = STROKE / 2.0, radians(angle_deg)

    def height(x: float) -> float:
        return r * cos(x) + sqrt(ROD**2 - (r * sin(x) - pin_offset_mm) ** 2)

    return height(0.0) - height(a)


@pytest.mark.parametrize(
    ("rpm", "delay_us", "expected"),
    [(6000, 20, 0.72), (6000, 50, 1.8), (6000, 100, 3.6), (6000, 150, 5.4), (3000, 100, 1.8), (7000, 100, 4.2)],
)
def test_k1_delay_in_degrees(rpm: float, delay_us: float, expected: float) -> None:
    """Row K1: 6·N·t by definition."""
    assert DEG_PER_RPM_US * rpm * delay_us == pytest.approx(expected, abs=1e-12)
    assert delay_deg(delay_us, rpm) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("angle", "drop"),
    [(5, 0.2194294043), (10, 0.8749875401), (12, 1.257681313), (15, 1.958526142), (34, 9.680809346), (36, 10.79033513),
     (90, 51.10663435), (180, 88.392)],
)  # fmt: skip
def test_k2_piston_drop_of_the_fixture(angle: float, drop: float) -> None:
    """Row K2: the crank-slider geometry that row K3b's check stands on (Heywood 1988, chapter 2)."""
    assert piston_drop(angle) == pytest.approx(drop, abs=1e-8)


def test_k3_positive_stop() -> None:
    """Row K3: stops read at 27 before and 31 after a provisional zero: the true advance is 2° more than the light says."""
    z = mark_error(ZeroMark(stop_before_tdc_deg=27.0, stop_after_tdc_deg=31.0))
    assert z == pytest.approx(-2.0, abs=1e-12)
    assert 32.0 - (z or 0.0) == pytest.approx(34.0, abs=1e-12)


@pytest.mark.parametrize(("depth", "midpoint"), [(5.0, 0.467151), (10.0, 0.480201), (20.0, 0.508619)])
def test_k3b_midpoint_with_an_offset_pin(depth: float, midpoint: float) -> None:
    """Row K3b: pin offset 1.5 mm; the stop's midpoint misses true top centre by 0.012° to 0.054°: no correction needed."""
    pin = 1.5
    top = degrees(np.arctan2(pin, sqrt((ROD + STROKE / 2.0) ** 2 - pin**2)))
    assert top == pytest.approx(0.454791, abs=1e-5)

    def gap(angle: float) -> float:
        return piston_drop(angle, pin) - piston_drop(top, pin) - depth

    after, before = brentq(gap, top, 120.0, xtol=1e-12), -brentq(gap, -120.0, top, xtol=1e-12)
    z = mark_error(ZeroMark(stop_before_tdc_deg=before, stop_after_tdc_deg=after))
    assert z is not None
    assert -z == pytest.approx(midpoint, abs=1e-5)
    assert abs(-z - top) < 0.055


def test_k2_inverse() -> None:
    """Row K2, the other way round: where the piston is 1, 5 and 10 mm down."""
    for depth, angle in ((1.0, 10.69371364), (5.0, 24.14576641), (10.0, 34.58474791)):
        assert brentq(lambda x, d=depth: piston_drop(x) - d, 0.0, 90.0, xtol=1e-13) == pytest.approx(angle, abs=1e-8)


def test_k4_timing_tape() -> None:
    """Row K4: millimetres a degree on a damper's rim, and a tape made for another size."""
    got = [mm_per_deg(d) for d in (160.0, 180.0, 200.0, 203.2)]
    assert got == pytest.approx([1.396263, 1.570796, 1.745329, 1.773255], abs=1e-6)
    assert 34.0 * mm_per_deg(200.0) / mm_per_deg(180.0) == pytest.approx(37.78, abs=5e-3)


def test_k5_distributor_and_crank() -> None:
    """Row K5: both axes double; with 10 initial, 11 distributor degrees make a total of 32."""
    distributor = [(0, 400), (4, 700), (8, 1100), (11, 1500)]
    crank = [(CRANK_PER_DISTRIBUTOR * a, CRANK_PER_DISTRIBUTOR * n) for a, n in distributor]
    assert crank == [(0, 800), (8, 1400), (16, 2200), (22, 3000)]
    assert 10 + crank[-1][0] == 32


@pytest.mark.parametrize(("inertia", "torque"), [(0.30, 9.42477796), (0.15, 4.71238898), (0.60, 18.84955592)])
def test_u5_inertia_torque(inertia: float, torque: float) -> None:
    """Row U5: J·α at 300 rpm/s."""
    assert float(inertia_torque(inertia, np.array(300.0))) == pytest.approx(torque, abs=1e-8)
