"""Settings whose log stands alone: sheet and light agree with each other against it, while the other settings' logs are right.

A recorder that cannot go past a value, or a pull that ran under another label, looks so; an offset of the whole log does not.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.timing.logged import LoggedCurve
from pullbook.timing.mixed_up import APART_DEG
from pullbook.timing.scale import flat_top
from pullbook.timing.witnesses import Witnesses

ALONE_DEG = 2.5  # of sheet and of light, more than the other settings' logs stand off: two witnesses against one
AGREE_DEG = 1.5  # how near sheet and light must be to each other
_LEAST_ROWS = 5


@dataclass(frozen=True, slots=True)
class AgainstLog:
    """``log_deg`` at the top of ``setting``; ``true_deg``: what the sheet and, where ``lit``, the light have there.

    ``like``: the setting it ran like.
    """

    setting: str
    log_deg: float
    true_deg: float
    like: str | None
    lit: bool

    @property
    def heard(self) -> bool:
        """Whether its log counts all the same: only two witnesses outvote it, and only where it is not another setting's."""
        return self.like is not None or not self.lit

    @property
    def question(self) -> str:
        """What to ask."""
        others = "sheet and light" if self.lit else "the sheet"
        stands = f"‘{self.setting}’: the log says {self.log_deg:.1f}° at the top, {others} {self.true_deg:.1f}°"
        if self.like is not None:
            return f"{stands}, and it ran as ‘{self.like}’ did: was it that setting (pull sheet, column `setting`)? Its log counts."
        if not self.lit:
            return (
                f"{stands}, while the other settings’ logs fit: a slip on the sheet, or can the recorder read no further? "
                "A light reading at the top would tell. Its log counts."
            )
        return (
            f"{stands}, while the other settings’ logs fit: can the recorder read no further, or was its channel clipped? "
            "The log of this setting is not used."
        )


def against_log(witnesses: Witnesses, zero_deg: float, family: str | None) -> list[AgainstLog]:
    """Find settings whose log both sheet and light speak against, as they do of no most others.

    Parameters
    ----------
    witnesses
        The day's log, light and sheet.
    zero_deg
        Light minus true of the mark as checked, else 0.
    family
        As engine.yaml says, or None.

    Returns
    -------
    list[AgainstLog]
        Empty on most days. Needs a total on the sheet and half of the settings in order.
    """
    tops = {s: t for s, c in witnesses.logged.curves.items() if (t := _top(witnesses, c, zero_deg, family)) is not None}
    gaps = {s: sheet for s, (_, sheet, _) in tops.items() if sheet is not None}
    if len(gaps) < 2:
        return []
    usual = _largest_group(np.array(list(gaps.values())))
    if usual is None:
        return []
    out = []
    asked = {c.setting for c in witnesses.logged.strays.values()}  # their labels are asked about already
    for setting, (at, sheet, light) in tops.items():
        if sheet is None or setting in asked or abs(sheet - usual) <= ALONE_DEG:
            continue
        if light is not None and (abs(sheet - light) > AGREE_DEG or abs(light - usual) <= ALONE_DEG):
            continue
        true = at + (sheet if light is None else (sheet + light) / 2.0)
        out.append(AgainstLog(setting, at, true, _ran_like(setting, witnesses.logged.curves), light is not None))
    return out


def without_logs(witnesses: Witnesses, settings: Iterable[str]) -> Witnesses:
    """The same witnesses, the log of ``settings`` not heard."""
    aside = set(settings)
    kept = {s: c for s, c in witnesses.logged.curves.items() if s not in aside}
    return replace(witnesses, logged=replace(witnesses.logged, curves=kept))


def _top(
    witnesses: Witnesses, curve: LoggedCurve, zero_deg: float, family: str | None
) -> tuple[float, float | None, float | None] | None:
    """Logged advance on the flat top, and what sheet and light have more there; None where there is no flat top."""
    span = flat_top(curve, witnesses.parts(curve.setting, family))
    if span is None:
        return None
    inside = (curve.rpm >= span[0]) & (curve.rpm <= span[1])
    at = float(curve.advance_deg[inside].mean())
    total = witnesses.sheet[curve.setting].total_deg
    lit = witnesses.light.filter(
        pl.col("used") & (pl.col("source") == "light") & (pl.col("setting") == curve.setting) & pl.col("rpm").is_between(*span)
    )
    light = float(np.median(lit["advance_deg"].to_numpy())) - zero_deg - at if len(lit) else None
    return at, None if total is None else total - at, light


def _largest_group(gaps: Array) -> float | None:
    """Middle of the gaps that lie within AGREE_DEG of one another; None where that is not half of them."""
    near = np.abs(gaps[:, None] - gaps[None, :]) <= AGREE_DEG
    most = int(near.sum(axis=1).argmax())
    return float(np.median(gaps[near[most]])) if 2 * int(near[most].sum()) >= len(gaps) and near[most].sum() > 1 else None


def _ran_like(setting: str, curves: dict[str, LoggedCurve]) -> str | None:
    """The other setting whose log is the same over the rows of both; None where there is none."""
    mine = curves[setting]
    for name, other in curves.items():
        if name == setting:
            continue
        gap = other.at(mine.rpm) - mine.advance_deg
        gap = gap[np.isfinite(gap)]
        if len(gap) >= _LEAST_ROWS and float(np.abs(gap).max()) <= APART_DEG:
            return name
    return None
