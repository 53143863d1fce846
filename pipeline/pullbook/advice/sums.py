"""The sums people do in their heads at the bench, done once and always consistent. Degrees are crank degrees unless said.

Source: definitions (one crank turn is 360°; a four-stroke's distributor turns at half crank speed).
"""

from math import pi
from typing import Any

from pullbook.units import CRANK_PER_DISTRIBUTOR, DEG_PER_RPM_US
from pullbook.wording import plain


def delay_deg(delay_us: float, rpm: float) -> float:
    """Crank degrees that pass in ``delay_us`` microseconds at ``rpm``: 6·10⁻⁶·rpm·µs.

    Examples
    --------
    >>> round(delay_deg(100.0, 6000.0), 12)
    3.6
    """
    return DEG_PER_RPM_US * rpm * delay_us


def mm_per_deg(diameter_mm: float) -> float:
    """Arc on the rim of a damper for one crank degree, mm: π·D/360.

    Raises
    ------
    ValueError
        ``diameter_mm`` is not above zero.

    Examples
    --------
    >>> round(mm_per_deg(203.2), 6)
    1.773255
    """
    if not diameter_mm > 0:
        raise ValueError(f"a damper's diameter is above zero mm, not {diameter_mm}")
    return pi * diameter_mm / 360.0


def distributor_from_crank(value: float) -> float:
    """Distributor degrees (or rpm) from crank degrees (or rpm)."""
    return value / CRANK_PER_DISTRIBUTOR


def enter_deg(delivered_deg: float, log_minus_true_deg: float, rpm: float, delay_us: float) -> float:
    """What to put in an ignition table so that the spark comes at ``delivered_deg``.

    Parameters
    ----------
    delivered_deg
        Wanted at the spark, true ° BTDC.
    log_minus_true_deg, delay_us
        What the log reads above the truth, and how late the spark comes, µs.
    rpm
        Crankshaft speed of the entry.

    Source: log = true + offset + 6·10⁻⁶·rpm·delay, solved for what the controller must be told.
    """
    return delivered_deg + log_minus_true_deg + delay_deg(delay_us, rpm)


def bench_sums(
    *,
    initial_deg: float | None,
    stop_deg: float | None,
    total_deg: float | None,
    mark_error_deg: float | None,
    mark_uncertainty_deg: float | None,
    damper_diameter_mm: float | None,
    delay_us: float | None,
    at_rpm: float | None,
) -> tuple[dict[str, str], ...]:
    """Every sum that the day's numbers allow, as ``{"what", "text"}``, in the order a builder works.

    Parameters
    ----------
    initial_deg, stop_deg, total_deg
        The setting advised, true crank degrees BTDC; None leaves the sum out.
    mark_error_deg, mark_uncertainty_deg
        What a light reads too high, and how well that is known (90 %).
    damper_diameter_mm, delay_us, at_rpm
        The damper, the ignition's delay, and an rpm to work the delay at.
    """
    rows: list[dict[str, str]] = []

    def add(what: str, text: str) -> None:
        rows.append({"what": what, "text": text})

    if initial_deg is not None and stop_deg is not None and total_deg is not None:
        add("initial + mechanical = total", f"{plain(initial_deg)}° + {plain(stop_deg)}° = {plain(total_deg)}°")
    if stop_deg is not None:
        half = distributor_from_crank(stop_deg)
        add("crank and distributor degrees", f"{plain(stop_deg)}° at the crank = {plain(half, 2)}° in the distributor")
    if total_deg is not None:
        if mark_error_deg is not None:
            sign = "−" if mark_error_deg < 0 else "+"
            shown = f"{plain(total_deg)}° {sign} {plain(abs(mark_error_deg))}° = {plain(total_deg + mark_error_deg)}°"
            add("true advance + mark error = light reading", shown)
        elif mark_uncertainty_deg is not None:
            text = f"{plain(total_deg)}° true may read {plain(total_deg - mark_uncertainty_deg)}° to "
            text += f"{plain(total_deg + mark_uncertainty_deg)}° on the light: the mark is not checked"
            add("true advance and light reading", text)
    if damper_diameter_mm is not None and damper_diameter_mm > 0:
        per_deg = mm_per_deg(damper_diameter_mm)
        text = f"1° = {per_deg:.2f} mm on the rim of a {plain(damper_diameter_mm)} mm damper"
        if total_deg is not None:
            text += f"; {plain(total_deg)}° = {per_deg * total_deg:.1f} mm"
        add("degrees and millimetres", text)
    if delay_us is not None and at_rpm is not None and abs(delay_us) >= 0.5:
        late = delay_deg(delay_us, at_rpm)
        word = "late" if late >= 0 else "early"
        text = f"{plain(abs(delay_us), 0)} µs at {at_rpm:.0f} rpm = {plain(abs(late))}° {word}"
        add("delay and degrees", text)
    return tuple(rows)


def setting_sum(initial_deg: Any, total_deg: Any) -> float | None:
    """Mechanical degrees a sheet's initial and total imply, or None where either is missing.

    Examples
    --------
    >>> setting_sum(8.0, 35.0), setting_sum(None, 35.0)
    (27.0, None)
    """
    if initial_deg is None or total_deg is None:
        return None
    return float(total_deg) - float(initial_deg)
