"""How far the log's advance stands from true: a constant offset and a delay, found from light, sheet and the parts' own flats.

log = a(N) + o + 6·10⁻⁶·N·t_d. Everything that speaks of (o, t_d) is one linear observation; the prior is a mixture, because a
recorder either tells the truth or is off by something nobody knows: "true", "constant only", "delay only", "both".
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.facts import ZeroMark
from pullbook.measure import gls, mixture
from pullbook.stages.witnesses import LIGHT_SD_DEG, SHEET_COMMON_SD_DEG, SHEET_SD_DEG, LoggedCurve, Witnesses

Array = npt.NDArray[np.float64]

DEG_PER_RPM_US = 6e-6
OFFSET_SD_DEG = 3.0
DELAY_US, DELAY_SD_US = 30.0, 45.0
_TRUE_SD_DEG, _TRUE_SD_US = 0.02, 0.5  # a log that is true, as far as a digit and a clock allow
_KINDS = ((0.40, True, True), (0.10, False, True), (0.10, True, False), (0.40, False, False))  # (share, no offset, no delay)
_FLAT_DEG_PER_1000 = 1.5  # less slope than any spring gives, more than any delay fakes
_FLAT_LEAST_RPM = 500.0
_FLAT_SLOPE_SD = 0.06  # parts' flats are flat to this, degrees per 1000 rpm
_STOP_SD_DEG = 0.15  # both stop readings to quarter degrees: what a check leaves open of the mark
MARK_UNCHECKED_DEG, MARK_CHECKED_DEG = 3.0, 1.0


@dataclass(frozen=True, slots=True)
class TimingScale:
    """Posterior of (o in degrees, t_d in µs): a mixture of C Gaussians.

    ``weight`` (C,), ``mean`` (C, 2), ``cov`` (C, 2, 2); ``witnesses``: which of strobe, sheet, flats spoke.
    """

    weight: Array
    mean: Array
    cov: Array
    witnesses: tuple[str, ...]

    def shift(self, rpm: Array) -> tuple[Array, Array]:
        """Mean and SD of log minus true at ``rpm`` (n,), one row a component: (C, n) each."""
        h = np.column_stack([np.ones_like(rpm), DEG_PER_RPM_US * rpm])
        variance = np.einsum("ni,cij,nj->cn", h, self.cov, h)
        return self.mean @ h.T, np.sqrt(np.maximum(variance, 0.0))

    def joint(self) -> tuple[Array, Array]:
        """Mean (2,) and covariance (2, 2) of the whole mixture."""
        mean = self.weight @ self.mean
        gap = self.mean - mean
        return mean, np.einsum("c,cij->ij", self.weight, self.cov + gap[:, :, None] * gap[:, None, :])

    def interval(self, which: int) -> tuple[float, float, float]:
        """Mean and 90 % interval of o (``which`` 0) or t_d (1)."""
        mean, sd = self.mean[:, which, None], np.sqrt(self.cov[:, which, which])[:, None]
        lo, hi = (float(mixture.quantile(self.weight, mean, sd, q)[0]) for q in (0.05, 0.95))
        return float(self.weight @ mean[:, 0]), lo, hi


@dataclass(frozen=True, slots=True)
class _Speaks:
    """Observations ``y = basis @ (o, t_d) + e`` with covariance ``noise``; shapes (n,), (n, 2), (n, n)."""

    y: Array
    basis: Array
    noise: Array


def mark_error(mark: ZeroMark) -> float | None:
    """Light minus true from positive-stop readings, degrees: (before − after)/2; None where the mark was not checked."""
    if mark.stop_before_tdc_deg is None or mark.stop_after_tdc_deg is None:
        return None
    return (mark.stop_before_tdc_deg - mark.stop_after_tdc_deg) / 2.0


def timing_scale(witnesses: Witnesses, zero_deg: float | None, family: str | None) -> TimingScale:
    """Posterior of the log's offset and delay from every setting together.

    Parameters
    ----------
    witnesses
        The day's logged curves, light readings and sheet.
    zero_deg
        The mark's error as checked; None where unchecked (then light is taken at its word, ±3° carried beside).
    family
        ``mechanical`` or ``locked`` where the shop says so: its flats then tell the delay. Else None.
    """
    parts = {
        "strobe": _from_light(witnesses, zero_deg or 0.0, family, 0.0 if zero_deg is None else _STOP_SD_DEG**2),
        "sheet": _from_sheet(witnesses, zero_deg or 0.0, family),
        "flats": _from_flats(witnesses, family),
    }
    spoken = {k: v for k, v in parts.items() if len(v.y)}
    y = np.concatenate([v.y for v in spoken.values()]) if spoken else np.zeros(0)
    basis = np.concatenate([v.basis for v in spoken.values()]) if spoken else np.zeros((0, 2))
    noise = np.zeros((len(y), len(y)))
    at = 0
    for v in spoken.values():
        noise[at : at + len(v.y), at : at + len(v.y)] = v.noise
        at += len(v.y)
    fits, weights = [], []
    for share, no_offset, no_delay in _KINDS:
        mean = np.array([0.0, 0.0 if no_delay else DELAY_US])
        sd = np.array([_TRUE_SD_DEG if no_offset else OFFSET_SD_DEG, _TRUE_SD_US if no_delay else DELAY_SD_US])
        one = gls.fit(basis, y, noise, mean, np.diag(sd**2))
        fits.append(one)
        weights.append(np.log(share) + one.log_evidence)
    weight = np.exp(np.array(weights) - max(weights))
    return TimingScale(weight / weight.sum(), np.stack([f.mean for f in fits]), np.stack([f.cov for f in fits]), tuple(spoken))


def flat_top(curve: LoggedCurve, family: str | None) -> tuple[float, float] | None:
    """The rpm span at the top of a logged curve where parts on their stop deliver a constant; None where there is none."""
    if family == "locked":
        return (float(curve.rpm[0]), float(curve.rpm[-1])) if curve.rpm[-1] - curve.rpm[0] >= _FLAT_LEAST_RPM else None
    if family != "mechanical":
        return None
    flat = np.array([abs(_reach_slope(curve, n)) < _FLAT_DEG_PER_1000 for n in curve.rpm])
    first = len(flat) - int(np.argmin(flat[::-1])) if not flat.all() else 0
    lo = float(curve.rpm[first]) + 200.0 if 0 < first < len(flat) else float(curve.rpm[0]) if first == 0 else np.inf
    return (lo, float(curve.rpm[-1])) if curve.rpm[-1] - lo >= _FLAT_LEAST_RPM else None


def _reach_slope(curve: LoggedCurve, rpm: float) -> float:
    near = np.abs(curve.rpm - rpm) <= 250.0
    if near.sum() < 3:
        return float("inf")
    return float(np.polyfit(curve.rpm[near] / 1000.0, curve.advance_deg[near], 1)[0])


def _row(rpm: float) -> list[float]:
    return [1.0, DEG_PER_RPM_US * rpm]


def _speaks(y: list[float], basis: list[list[float]], variance: list[float], common: float = 0.0) -> _Speaks:
    n = len(y)
    return _Speaks(np.array(y), np.array(basis).reshape(n, 2), np.diag(np.array(variance)) + common * np.ones((n, n)))


def _from_light(witnesses: Witnesses, zero_deg: float, family: str | None, common: float) -> _Speaks:
    """Log minus light, where both saw the up curve: light = a + z."""
    y, basis, variance = [], [], []
    table = witnesses.light.filter(pl.col("used") & (pl.col("source") == "light"))
    for setting, rpm, advance, direction in table.select("setting", "rpm", "advance_deg", "direction").iter_rows():
        curve = witnesses.logged.get(setting)
        if curve is None or not np.isfinite(logged := float(curve.at(rpm))):
            continue
        if direction == "down" and family not in ("locked", "mapped") and curve.slope_at(rpm) > _FLAT_DEG_PER_1000:
            continue
        y.append(logged - (advance - zero_deg))
        basis.append(_row(rpm))
        variance.append(LIGHT_SD_DEG**2 + float(np.interp(rpm, curve.rpm, curve.sd_deg)) ** 2)
    return _speaks(y, basis, variance, common)


def _from_sheet(witnesses: Witnesses, zero_deg: float, family: str | None) -> _Speaks:
    """Log on its flat top minus the total the sheet says. The shop may or may not have known of the mark's error."""
    y, basis, variance = [], [], []
    for setting, curve in witnesses.logged.items():
        total, span = witnesses.sheet[setting].total_deg, flat_top(curve, family)
        if total is None or span is None:
            continue
        top = (curve.rpm >= span[0]) & (curve.rpm <= span[1])
        y.append(float(curve.advance_deg[top].mean()) - (total - zero_deg / 2.0))
        basis.append(_row(float(curve.rpm[top].mean())))
        variance.append(SHEET_SD_DEG**2)
    return _speaks(y, basis, variance, SHEET_COMMON_SD_DEG**2 + (zero_deg / 2.0) ** 2)


def _from_flats(witnesses: Witnesses, family: str | None) -> _Speaks:
    """Slope of the log where the parts deliver a constant: all of it is delay."""
    y, basis, variance = [], [], []
    for curve in witnesses.logged.values():
        span = flat_top(curve, family)
        if span is None:
            continue
        top = (curve.rpm >= span[0]) & (curve.rpm <= span[1])
        x = (curve.rpm[top] - curve.rpm[top].mean()) / 1000.0
        slope = float(x @ curve.advance_deg[top] / (x @ x))
        y.append(slope)
        basis.append([0.0, 1000.0 * DEG_PER_RPM_US])
        variance.append(float(np.mean(curve.sd_deg[top] ** 2) / (x @ x)) + _FLAT_SLOPE_SD**2)
    return _speaks(y, basis, variance, _FLAT_SLOPE_SD**2)
