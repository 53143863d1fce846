"""How far the log's advance stands from true: a constant offset and a delay, found from light, sheet and the parts' own flats.

log = a(N) + o + 6·10⁻⁶·N·t_d. Everything that speaks of (o, t_d) is one linear observation; the prior is a mixture, because a
recorder mostly repeats the truth, sometimes nearly, and else is off by something nobody knows.
"""

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import polars as pl

from pullbook.arrays import Array, Mask
from pullbook.facts import ZeroMark
from pullbook.measure import gls, mixture
from pullbook.timing.logged import LoggedCurve
from pullbook.timing.misread import misread
from pullbook.timing.witnesses import LIGHT_SD_DEG, SHEET_COMMON_SD_DEG, SHEET_SD_DEG, Witnesses
from pullbook.units import DEG_PER_RPM_US

OFFSET_SD_DEG = 3.0
DELAY_US, DELAY_SD_US = 30.0, 45.0
#: (SD of o in degrees, mean and SD of t_d in µs): a log that is true, nearly true, prompt but from another zero, or off
_TRUE, _NEARLY, _SHIFTED, _OFF = (
    (0.003, 0.0, 0.1),
    (0.5, 15.0, 20.0),
    (OFFSET_SD_DEG, 0.0, 4.0),
    (OFFSET_SD_DEG, DELAY_US, DELAY_SD_US),
)
_KINDS = ((0.73, *_TRUE), (0.03, *_NEARLY), (0.07, *_SHIFTED), (0.17, *_OFF))
_KINDS_ASKED_FOR = ((0.20, *_TRUE), (0.45, *_NEARLY), (0.35, *_OFF))  # a controller logs what it asked for; coils take their time
FLAT_DEG_PER_1000 = 1.5
"""Less slope than any spring gives, more than any delay fakes."""

_FLAT_LEAST_RPM = 500.0
_FLAT_SLOPE_SD = 0.06  # parts' flats are flat to this, degrees per 1000 rpm
STOP_SD_DEG = 0.15
"""Both stop readings to quarter degrees: what a check leaves open of the mark."""

_LIGHT_RPM_SD = 40.0  # how well the speed stands while a light is read
_SEASON_DAYS = 366
MARK_UNCHECKED_DEG, MARK_CHECKED_DEG = 3.0, 1.0


@dataclass(frozen=True, slots=True)
class TimingScale:
    """Posterior of (o in degrees, t_d in µs): a mixture of C Gaussians.

    ``weight`` (C,), ``mean`` (C, 2), ``cov`` (C, 2, 2); ``witnesses``: which of strobe, sheet, flats spoke; ``on_sheet``:
    settings whose sheet did; ``misread``: positions of light readings that stand off so far that they are not believed.
    ``light_against``, ``light_apart``: log minus light, degrees, where log and sheet agree against the light, and where the two
    stand far apart with nobody to judge; else None. ``light_split``: the readings fall into groups far apart.
    """

    weight: Array
    mean: Array
    cov: Array
    witnesses: tuple[str, ...]
    on_sheet: tuple[str, ...] = ()
    misread: tuple[int, ...] = ()
    light_against: float | None = None
    light_apart: float | None = None
    light_split: bool = False

    def shift(self, rpm: Array) -> tuple[Array, Array]:
        """Mean and SD of log minus true, degrees, at ``rpm`` (n,), one row a component: (C, n) each."""
        h = np.column_stack([np.ones_like(rpm), DEG_PER_RPM_US * rpm])
        variance = np.einsum("ni,cij,nj->cn", h, self.cov, h)
        return self.mean @ h.T, np.sqrt(np.maximum(variance, 0.0))

    def joint(self) -> tuple[Array, Array]:
        """Mean (2,) and covariance (2, 2) of (o in degrees, t_d in µs) over the whole mixture."""
        mean = self.weight @ self.mean
        gap = self.mean - mean
        return mean, np.einsum("c,cij->ij", self.weight, self.cov + gap[:, :, None] * gap[:, None, :])

    def interval(self, which: int) -> tuple[float, float, float]:
        """Median and 90 % interval of o, degrees (``which`` 0), or t_d, µs (1)."""
        mean, sd = self.mean[:, which, None], np.sqrt(self.cov[:, which, which])[:, None]
        lo, middle, hi = (float(mixture.quantile(self.weight, mean, sd, q)[0]) for q in (0.05, 0.5, 0.95))
        return middle, lo, hi


@dataclass(frozen=True, slots=True)
class _Speaks:
    """Observations ``y = basis @ (o, t_d) + e`` with covariance ``noise``; shapes (n,), (n, 2), (n, n)."""

    y: Array
    basis: Array
    noise: Array

    def only(self, keep: Mask) -> "_Speaks":
        """Those observations alone."""
        return _Speaks(self.y[keep], self.basis[keep], self.noise[np.ix_(keep, keep)])


def mark_error(mark: ZeroMark) -> float | None:
    """Light minus true from positive-stop readings, degrees: (before − after)/2; None where the mark was not checked."""
    if mark.stop_before_tdc_deg is None or mark.stop_after_tdc_deg is None:
        return None
    return (mark.stop_before_tdc_deg - mark.stop_after_tdc_deg) / 2.0


def mark_uncertainty(mark: ZeroMark, day: str) -> float:
    """What is open of the damper's mark (90 %), the same for everything of the day: ±1° where checked this season, else ±3°.

    Parameters
    ----------
    mark
        Stop readings and the date of the check (without a date: this day's).
    day
        The day folder's name, which starts with YYYY-MM-DD.
    """
    if mark_error(mark) is None:
        return MARK_UNCHECKED_DEG
    try:
        age = date.fromisoformat(day[:10]) - date.fromisoformat(str(mark.checked)[:10])
    except ValueError:
        return MARK_CHECKED_DEG
    return MARK_CHECKED_DEG if abs(age.days) <= _SEASON_DAYS else MARK_UNCHECKED_DEG


def timing_scale(witnesses: Witnesses, zero_deg: float | None, family: str | None) -> TimingScale:
    """Posterior of the log's offset and delay from every setting together.

    Parameters
    ----------
    witnesses
        The day's logged curves, light readings and sheet.
    zero_deg
        The mark's error as checked; None where unchecked (then light is taken at its word, ±3° carried beside).
    family
        What engine.yaml says: flats of ``mechanical`` and ``locked`` parts then tell the delay. None where it is silent.
    """
    stop_doubt = 0.0 if zero_deg is None else STOP_SD_DEG**2
    light, which = _from_light(witnesses, zero_deg or 0.0, family, stop_doubt)
    sheet, on_sheet = _from_sheet(witnesses, zero_deg or 0.0, family)
    others = {"sheet": sheet, "flats": _from_flats(witnesses, family)}
    asked_for = family == "mapped" or witnesses.logged.channel == "advance_commanded_deg"
    kinds = _KINDS_ASKED_FOR if asked_for else _KINDS
    judged = misread(light.y, sheet.y)
    scale = _posterior({"strobe": light.only(~judged.off)} | others, kinds)
    left_out = tuple(w for w, bad in zip(which, judged.off, strict=True) if bad)
    return replace(
        scale,
        misread=left_out,
        on_sheet=on_sheet,
        light_against=judged.against,
        light_apart=judged.asked,
        light_split=judged.split,
    )


def _posterior(parts: dict[str, _Speaks], kinds: tuple[tuple[float, float, float, float], ...]) -> TimingScale:
    """The mixture given everything that speaks."""
    spoken = {k: v for k, v in parts.items() if len(v.y)}
    y = np.concatenate([np.zeros(0), *(v.y for v in spoken.values())])
    basis = np.concatenate([np.zeros((0, 2)), *(v.basis for v in spoken.values())])
    noise = np.zeros((len(y), len(y)))
    at = 0
    for v in spoken.values():
        noise[at : at + len(v.y), at : at + len(v.y)] = v.noise
        at += len(v.y)
    fits, weights = [], []
    for share, offset_sd, delay, delay_sd in kinds:
        one = gls.fit(basis, y, noise, np.array([0.0, delay]), np.diag([offset_sd**2, delay_sd**2]))
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
    flat = np.array([abs(curve.slope_at(n)) < FLAT_DEG_PER_1000 for n in curve.rpm])
    first = len(flat) - int(np.argmin(flat[::-1])) if not flat.all() else 0
    lo = float(curve.rpm[first]) + 200.0 if 0 < first < len(flat) else float(curve.rpm[0]) if first == 0 else np.inf
    return (lo, float(curve.rpm[-1])) if curve.rpm[-1] - lo >= _FLAT_LEAST_RPM else None


def _row(rpm: float) -> list[float]:
    return [1.0, DEG_PER_RPM_US * rpm]


def _speaks(y: list[float], basis: list[list[float]], variance: list[float], common: float = 0.0) -> _Speaks:
    n = len(y)
    return _Speaks(np.array(y), np.array(basis).reshape(n, 2), np.diag(np.array(variance)) + common * np.ones((n, n)))


def _from_light(witnesses: Witnesses, zero_deg: float, family: str | None, common: float) -> tuple[_Speaks, list[int]]:
    """Log minus light, where both saw the up curve (light = a + z), and which readings these are."""
    y, basis, variance, which = [], [], [], []
    table = witnesses.light.with_row_index("at").filter(pl.col("used") & (pl.col("source") == "light"))
    for at, setting, rpm, advance, direction in table.select("at", "setting", "rpm", "advance_deg", "direction").iter_rows():
        curve = witnesses.logged.curves.get(setting)
        if curve is None or not np.isfinite(logged := float(curve.at(rpm))):
            continue
        slope = abs(curve.slope_at(rpm))
        if direction == "down" and witnesses.parts(setting, family) not in ("locked", "mapped") and slope > FLAT_DEG_PER_1000:
            continue
        y.append(logged - (advance - zero_deg))
        basis.append(_row(rpm))
        doubt = _LIGHT_RPM_SD * slope / 1000.0 if np.isfinite(slope) else 0.5
        variance.append(LIGHT_SD_DEG**2 + doubt**2 + float(np.interp(rpm, curve.rpm, curve.sd_deg)) ** 2)
        which.append(at)
    return _speaks(y, basis, variance, common), which


def _from_sheet(witnesses: Witnesses, zero_deg: float, family: str | None) -> tuple[_Speaks, tuple[str, ...]]:
    """Log on its flat top minus the total the sheet says. The shop may or may not have known of the mark's error."""
    y, basis, variance, which = [], [], [], []
    for setting, curve in witnesses.logged.curves.items():
        total, span = witnesses.sheet[setting].total_deg, flat_top(curve, witnesses.parts(setting, family))
        if total is None or span is None:
            continue
        top = (curve.rpm >= span[0]) & (curve.rpm <= span[1])
        y.append(float(curve.advance_deg[top].mean()) - (total - zero_deg / 2.0))
        basis.append(_row(float(curve.rpm[top].mean())))
        variance.append(SHEET_SD_DEG**2)
        which.append(setting)
    return _speaks(y, basis, variance, SHEET_COMMON_SD_DEG**2 + (zero_deg / 2.0) ** 2), tuple(which)


def _from_flats(witnesses: Witnesses, family: str | None) -> _Speaks:
    """Slope of the log where the parts deliver a constant: all of it is delay."""
    y, basis, variance = [], [], []
    for setting, curve in witnesses.logged.curves.items():
        span = flat_top(curve, witnesses.parts(setting, family))
        if span is None:
            continue
        top = (curve.rpm >= span[0]) & (curve.rpm <= span[1])
        x = (curve.rpm[top] - curve.rpm[top].mean()) / 1000.0
        slope = float(x @ curve.advance_deg[top] / (x @ x))
        y.append(slope)
        basis.append([0.0, 1000.0 * DEG_PER_RPM_US])
        variance.append(float(np.mean(curve.sd_deg[top] ** 2) / (x @ x)) + _FLAT_SLOPE_SD**2)
    return _speaks(y, basis, variance, _FLAT_SLOPE_SD**2)
