"""Torque and power no heading names, found by P = T·ω: of all columns only those two make one of the nine constants."""

from collections.abc import Sequence
from itertools import permutations

import numpy as np

from pullbook.arrays import Array
from pullbook.channels.column import Column, Talk, find
from pullbook.channels.proof import prove
from pullbook.channels.watch_channels import blank_sentinels
from pullbook.measure.normal import MAD_TO_SD

SCATTER = 0.01
"""Relative: rows of torque times speed over power lie as close as their digits allow; other products of an engine do not."""
MOST_SPARE = 12
"""Columns without a channel beyond which none is tried: every pair of them is."""
_LEAST_ROWS = 20


def name_by_proof(columns: list[Column], taken: Sequence[str], talk: Talk) -> None:
    """Give torque and power to columns whose headings say nothing, where they obey P = T·ω with speed, and say so.

    Parameters
    ----------
    columns
        Of one log, channels assigned.
    taken
        Headings the log's clock is read from.
    talk
        Takes the warning.
    """
    rpm, torque, power = (find(columns, name) for name in ("rpm", "torque_nm", "power_kw"))
    if rpm is None or (torque is not None and power is not None):
        return
    if any(c.channel and c.channel.startswith(("torque_", "power_")) and c not in (torque, power) for c in columns):
        return  # at the wheels, or corrected: a column that fits is of that kind, perhaps
    spare = [c for c in columns if c.channel is None and c.kind == "number" and not c.hint and c.header not in taken]
    spare = [c for c in spare if c.values is not None and (c.meaning.unit is None or c.meaning.unit.kind in ("torque", "power"))]
    if len(spare) > MOST_SPARE:
        return
    pairs: list[tuple[Column, Column]]
    if torque is None and power is None:
        pairs = list(permutations(spare, 2))
    elif torque is None:
        pairs = [(c, power) for c in spare if power is not None]
    else:
        pairs = [(torque, c) for c in spare]
    speed = rpm.kept()
    found = [(t, p, ratio) for t, p in pairs if (ratio := _constant(speed, t.values, p.values)) is not None]
    if len(found) != 1:
        return
    t, p, ratio = found[0]
    told = " and ".join(
        f"{c.header!r} as {what}" for c, known, what in ((t, torque, "torque"), (p, power, "power")) if known is None
    )
    t.channel, p.channel = "torque_nm", "power_kw"
    for column in (t, p):
        blank_sentinels(column, talk)
    talk.warn(
        f"{told}: no heading says so, but {t.header!r} x rpm / {p.header!r} is {ratio:.1f} on every row, as P = T x speed has it"
    )


def _constant(rpm: Array, torque: Array | None, power: Array | None) -> float | None:
    """T·rpm/P where it is one of the nine constants on every row under load, else None."""
    if torque is None or power is None:
        return None
    step = max(1, len(rpm) // 5_000)
    rpm, torque, power = rpm[::step], torque[::step], power[::step]
    proof = prove(rpm, torque, power, torque_unit=None, power_unit=None)
    if proof is None or proof.state not in ("proved", "two") or proof.rows < _LEAST_ROWS:
        return None
    with np.errstate(invalid="ignore", divide="ignore"):
        off = np.abs(np.log(torque * rpm / power / proof.ratio))
    load = (torque > 0) & (power > 0.3 * np.nanmax(power)) & np.isfinite(off)
    return proof.ratio if load.any() and MAD_TO_SD * float(np.median(off[load])) < SCATTER else None
