"""The settings of a day: chosen by the shop around where it guesses the best to lie, and what they then deliver."""

import numpy as np

from tests.simulator.chance import within
from tests.simulator.design import Design
from tests.simulator.ignition import Curve, Setting
from tests.simulator.torque_map import TorqueMap


def settings_of(design: Design, engine: TorqueMap, rng: np.random.Generator) -> dict[str, Setting]:
    """Nominal settings, label -> setting, in the order of ``design.offsets_deg``."""
    e = engine.engine
    middle = (e.rpm_lo + e.rpm_hi) / 2
    wanted = float(engine.best_deg(np.array([middle]))[0]) + float(rng.normal(0, design.centre_sd_deg))
    grain = design.setting_rounded_deg
    stops = (4.0, max(wanted - 2 * max(abs(x) for x in design.offsets_deg), 5.0))  # room for some advance at idle
    stop, all_in = float(np.clip(within(rng, design.stop_deg), *stops)), e.rpm_lo + within(rng, (0.0, 700.0))
    start = all_in - within(rng, (1200.0, 1800.0))
    hysteresis = within(rng, design.hysteresis_deg)
    slope = within(rng, (0.4, 2.2)) / 1000
    sign = -1.0 if design.mirrored and rng.random() < 0.5 else 1.0
    out: dict[str, Setting] = {}
    for i, offset in enumerate(design.offsets_deg):
        total = float(np.round((wanted + sign * offset) / grain) * grain)
        if design.ignition == "locked":
            curve = Curve("locked", total, total)
        elif design.ignition == "mapped":
            points = tuple((x, round(total + slope * (x - middle), 1)) for x in np.arange(500.0, e.rpm_hi + 600, 500.0).tolist())
            curve = Curve("mapped", points[0][1], max(y for _, y in points), points=points)
        else:
            knee = None
            if design.spring_changes:
                stop = float(np.clip(within(rng, design.stop_deg), *stops))
                start = e.rpm_lo + within(rng, (-900.0, 0.0))
                all_in = start + within(rng, (900.0, 2400.0))
                if rng.random() < 0.5:
                    share, up = within(rng, (0.3, 0.5)), within(rng, (0.5, 0.7))
                    knee = (round(start + share * (all_in - start)), round(total - float(np.round(stop)) * (1 - up), 1))
            curve = Curve("mechanical", total - float(np.round(stop)), total, round(start), round(all_in), knee, hysteresis)
        label = (
            f"{total:g} total"
            if design.ignition == "mechanical"
            else f"{total:g} locked"
            if design.ignition == "locked"
            else f"table {offset:+g}"
        )
        while label in out:
            label += f" {chr(ord('a') + i)}"
        out[label] = Setting(label, curve)
    return out


def delivered(rng: np.random.Generator, design: Design, setting: Setting, mark_error_deg: float) -> Curve:
    """What the spark does at a setting: the shop set it by a mark that reads ``mark_error_deg`` high, and not perfectly."""
    return setting.curve.moved(float(rng.normal(0, design.set_error_deg)) - mark_error_deg)
