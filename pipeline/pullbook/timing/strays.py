"""Pulls that ran another advance than the other pulls of their setting: each is asked about and counts with its own log."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from pullbook.alignment.pull_words import pull_words
from pullbook.timing.mixed_up import APART_DEG, mixed_up

_PART, _LEAST_ROWS = 0.75, 5  # of a pull's rows; and how few are no part of it


@dataclass(frozen=True, slots=True)
class Strays:
    """``label_of``: pull -> the label it has and did not run; ``mixed``: labels stand on the wrong pulls; what to ask."""

    label_of: dict[str, str]
    mixed: bool
    questions: tuple[str, ...]


def find_strays(table: pl.DataFrame, pulls: pl.DataFrame) -> Strays:
    """Find pulls that ran another curve than the other pulls of their setting.

    Parameters
    ----------
    table
        Logged advance: ``pull_id, setting, rpm`` (1/min), ``a`` (crank degrees), pulls in the order run.
    pulls
        All pulls of the day (ALIGNED_PULLS); their sheet's totals tell the odd one of two.
    """
    called = pull_words(pulls)
    totals = dict(pulls.drop_nulls("setting").group_by("setting").agg(pl.col("total_deg").median()).iter_rows())
    label_of: dict[str, str] = {}
    asked: dict[str, str] = {}
    for key, part in table.partition_by("setting", as_dict=True, maintain_order=True).items():
        label = str(key[0])
        few_pulls = part["pull_id"].n_unique() < 3
        found = _asked_of_two(label, part, table, totals, called) if few_pulls else _asked_of_many(label, part, called)
        asked |= found
        label_of |= dict.fromkeys(found, label)
    mixed = mixed_up(table, totals, called) if asked else None
    open_still = [text for pull, text in asked.items() if mixed is None or pull not in mixed[1]]
    return Strays(label_of, mixed is not None, (*([] if mixed is None else [mixed[0]]), *open_still))


def _asked_of_two(
    label: str, part: pl.DataFrame, table: pl.DataFrame, totals: dict[str, float | None], called: Mapping[str, str]
) -> dict[str, str]:
    """The odd one of a setting's two pulls and what to ask of it; empty where they ran alike."""
    odd = _odd_of_two(part, table, totals)
    if odd is None:
        return {}
    pull, kept, gaps, like = odd
    gap = float(gaps["d"].to_numpy().mean())
    less, more = (pull, kept) if gap < 0 else (kept, pull)
    ran = f", as {like!r} did" if like is not None else ""
    confined = _part_of_it(called[less], called[more], gaps.with_columns(pl.col("d") * (1.0 if gap < 0 else -1.0)))
    return {
        pull: confined
        or f"{called[pull]} logged {gap:+.1f}° against {called[kept]}{ran}, and both are called {label!r}: which of them was it "
        "(pull sheet, column `setting`)? Each counts with its own log."
    }


def _asked_of_many(label: str, part: pl.DataFrame, called: Mapping[str, str]) -> dict[str, str]:
    """Pulls far from the median curve of their setting, and what to ask of each."""
    middle = part.group_by("rpm").agg(pl.col("a").median().alias("middle"), pl.len().alias("n")).filter(pl.col("n") >= 3)
    apart = part.join(middle, on="rpm").select("pull_id", "rpm", d=pl.col("a") - pl.col("middle"))
    others = f"the other pulls of {label!r}"
    asked = {}
    for key, gaps in apart.partition_by("pull_id", as_dict=True, maintain_order=True).items():
        pull, gap = str(key[0]), float(gaps["d"].to_numpy().mean())
        if abs(gap) > APART_DEG:
            asked[pull] = (
                _part_of_it(called[pull], others, gaps)
                or f"{called[pull]} logged {gap:+.1f}° against {others}: was it another setting? Its own log counts."
            )
    return asked


def _part_of_it(pull: str, others: str, gaps: pl.DataFrame) -> str | None:
    """The question where a pull parts from its setting in some of its rpm alone, which another label does not explain."""
    d, rpm = gaps.sort("rpm")["d"].to_numpy(), gaps.sort("rpm")["rpm"].to_numpy()
    off = np.flatnonzero(np.abs(d) > APART_DEG)
    inside = np.zeros(len(d), bool)
    inside[off[0] : off[-1] + 1] = True
    confined = inside.mean() <= _PART and (~inside).sum() >= _LEAST_ROWS and np.median(np.abs(d[~inside])) <= APART_DEG / 3
    if not confined or len(off) < 0.8 * inside.sum():
        return None
    why = "did something take advance out there, on knock or by a limit" if d[inside].mean() < 0 else "what added advance there"
    return (
        f"{pull} logged {float(np.median(d[off])):+.1f}° against {others} from {rpm[off[0]]} to {rpm[off[-1]]} rpm alone: {why}, "
        "or do the weights stick? Its own log counts."
    )


def _odd_of_two(
    part: pl.DataFrame, table: pl.DataFrame, totals: dict[str, float | None]
) -> tuple[str, str, pl.DataFrame, str | None] | None:
    """Of a setting's two pulls that ran apart the odd one: (it, the other, ``rpm, d`` how far off, the setting it ran like).

    It is the one that ran like another setting; else the one whose top lies off the sheet; else the later one. None where they
    ran alike.
    """
    ids = part["pull_id"].unique(maintain_order=True).to_list()
    if len(ids) != 2 or (gap := _apart(part.filter(pull_id=ids[1]), part.filter(pull_id=ids[0]))) is None or abs(gap) <= APART_DEG:
        return None
    setting = str(part["setting"][0])
    rest = table.filter(pl.col("setting") != setting).partition_by("setting", as_dict=True, maintain_order=True)
    like: dict[str, tuple[float, str]] = {}
    for pull in ids:
        far = [(abs(d), str(s[0])) for s, t in rest.items() if (d := _apart(part.filter(pull_id=pull), t)) is not None]
        like[pull] = min(far, default=(np.inf, ""))
    near = {p: d <= APART_DEG for p, (d, _) in like.items()}
    odd = ids[1]
    if near[ids[0]] != near[ids[1]]:
        odd = ids[0] if near[ids[0]] else ids[1]
    elif (total := totals.get(setting)) is not None:
        off = [abs(_top(part.filter(pull_id=p)) - total) for p in ids]
        odd = ids[0] if off[0] > off[1] + APART_DEG else ids[1]
    kept = ids[1] if odd == ids[0] else ids[0]
    return odd, kept, _gaps(part.filter(pull_id=odd), part.filter(pull_id=kept)), like[odd][1] if near[odd] else None


def _top(pull: pl.DataFrame) -> float:
    return float(pull.sort("rpm")["a"].to_numpy()[-_LEAST_ROWS:].mean())


def _gaps(one: pl.DataFrame, other: pl.DataFrame) -> pl.DataFrame:
    """``rpm, d``: how far ``one`` ran above ``other``, degrees, on the rows of both."""
    a, b = (t.group_by("rpm").agg(pl.col("a").mean()) for t in (one, other))
    return a.join(b, on="rpm").select("rpm", d=pl.col("a") - pl.col("a_right")).sort("rpm")


def _apart(one: pl.DataFrame, other: pl.DataFrame) -> float | None:
    """How far ``one`` ran above ``other``, degrees, mean over the rows of both; None where they share none."""
    gap = _gaps(one, other)["d"].mean()
    return float(gap) if isinstance(gap, int | float) else None
