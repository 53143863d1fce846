"""More advance is not advised for a gain that cannot be told from nothing: there the baseline is as far as the advice goes.

Expected loss alone would turn the distributor up for a mean that luck may have made. Torque that nobody could measure is no sure
loss; advance breaks an engine where knock goes unheard. So where all that a setting with more advance brings over the baseline may
be nothing, what is advised lies no higher than the baseline, and the next pulls go and find out.
"""

from dataclasses import replace

import numpy as np

from pullbook.advice.ground import Ground
from pullbook.advice.parts import Parts
from pullbook.advice.qualifying import Qualified
from pullbook.advice.settings_run import Setting
from pullbook.arrays import Array

_MORE_DEG = 0.25  # mean degrees above the baseline that count as more advance: a light is read to half a degree
_MISFIT_DEG = 0.75  # how far a plain curve of springs and stop may lie off the curve it was read from


def is_for_nothing(ground: Ground, home: Setting | None, advised: Array, gain_lo_pct: float | None) -> bool:
    """Whether more advance than the baseline's is advised for a gain that may be nothing.

    Parameters
    ----------
    ground
        The day's rows and ceiling.
    home
        The baseline, its curve on the rows of ``ground``.
    advised
        The curve that expected loss alone would advise, ° BTDC, (R,).
    gain_lo_pct
        Lower end of the 90 % interval of what ``advised`` changes against the baseline, %; None where it is not known.

    Returns
    -------
    bool
        False too where the baseline cannot stand in: its advance not known on every row, knock noted on it, or above the ceiling.
    """
    if home is None or home.knocked or gain_lo_pct is None or gain_lo_pct > 0.0:
        return False
    if not np.isfinite(home.curve).all() or np.any(home.curve > ground.ceiling + 0.1):
        return False
    return float(np.mean(advised - home.curve)) > _MORE_DEG


def under_baseline(ground: Ground, home: Setting, slack_deg: float = 0.0) -> Ground:
    """The same ground with the baseline's curve as its ceiling, as far as it lies under the ceiling.

    Parameters
    ----------
    ground, home
        The day's rows, and the baseline with its advance known on every row.
    slack_deg
        How far above the baseline's curve the ceiling lies, degrees.
    """
    top = home.curve + slack_deg
    over_day = np.interp(ground.limit_rpm, ground.rpm, top)
    return replace(ground, ceiling=np.minimum(ground.ceiling, top), limit_deg=np.minimum(ground.limit_deg, over_day))


def for_parts(ground: Ground, home: Setting) -> Ground:
    """:func:`under_baseline` for curves of springs and stop, which follow the one delivered as well as they can."""
    return under_baseline(ground, home, _MISFIT_DEG)


def as_fitted(parts: Parts) -> Parts:
    """What is on the engine alone, the baseline's first: nobody changes springs for what cannot be told."""
    return replace(parts, owned=parts.fitted[:1], fitted=parts.fitted[:1]) if parts.fitted else parts


def no_higher(ground: Ground, found: Qualified, home: Setting) -> Qualified:
    """The curve chosen, turned down where its mean over the rows lies above the baseline's."""
    above = float(np.mean(found.chosen.curves(ground.rpm)[0] - home.curve))
    return replace(found, chosen=found.chosen.with_total(found.chosen.total - max(0.0, above)))
