"""What the day's pulls, sheet and notes say against each other: asked, with both sides named; no number is moved here."""

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
import polars as pl

from pullbook.alignment.pull_words import pull_words
from pullbook.columns import NOTED
from pullbook.handover import AlignedDay
from pullbook.sheets.words import fold

STUCK_DEG, MOVES_DEG = 0.01, 3.0  # a channel constant to the decimal, where the others of the label rise by so much
MORE_DEG = 3.0  # clean with so much more advance, a note of knock is worth a second look
_CHANGES = frozenset({
    "fuel", "petrol", "gasoline", "oil", "plug", "plugs", "sparkplugs", "jet", "jets", "mainjet", "mixture",
    "benzin", "kraftstoff", "kerzen", "duse", "dusen", "carburant", "huile", "bougies",
})  # fmt: skip
_FEW = 3  # values; a column with more of them counts something (litres left) and does not name what was in use


def at_odds(aligned: AlignedDay, knock: pl.DataFrame, ran: Mapping[str, Mapping[int, float]]) -> list[str]:
    """Questions about what cannot both be true, or not be compared.

    Parameters
    ----------
    aligned
        The day.
    knock
        KNOCK of the day.
    ran
        Advance each used pull ran, by pull and rpm row, °BTDC.
    """
    pulls = aligned.pulls.sort("order")
    called = pull_words(pulls)
    return [
        *_stuck(aligned, called), *_changed(pulls, called), *_knock_below_clean(knock, ran, called),
    ]  # fmt: skip


def _stuck(aligned: AlignedDay, called: Mapping[str, str]) -> list[str]:
    """Pulls whose logged advance never moves while the other pulls of their label rise: the label cannot be locked."""
    rows = aligned.rows.filter(pl.col("advance_log_deg").is_not_null()).join(
        aligned.pulls.select("pull_id", "setting").drop_nulls(), on="pull_id"
    )
    spans = rows.group_by("setting", "pull_id", maintain_order=True).agg(
        span=pl.col("advance_log_deg").max() - pl.col("advance_log_deg").min(), at=pl.col("advance_log_deg").median(), n=pl.len()
    )
    out = []
    for part in spans.filter(pl.col("n") >= 10).partition_by("setting", maintain_order=True):
        moving = part.filter(pl.col("span") >= MOVES_DEG)
        if moving.is_empty():
            continue
        out += [
            f"the logged advance of {called[p]} stands at {at:.1f}° throughout, while {called[moving['pull_id'][0]]} of its label "
            f"rises by {moving['span'][0]:.0f}°: a stuck channel? It is used as logged; if wrong, say so in the pull's `exclude`"
            for p, at in part.filter(pl.col("span") <= STUCK_DEG).select("pull_id", "at").iter_rows()
        ]
    return out


def _changed(pulls: pl.DataFrame, called: Mapping[str, str]) -> list[str]:
    """Columns of the sheet (kept in the notes) that name fuel and the like, with more than one value in a day."""
    seen: dict[str, list[tuple[str, str]]] = {}
    for pull_id, notes in pulls.select("pull_id", "notes").drop_nulls().iter_rows():
        for item in str(notes).split("; "):
            header, colon, value = item.partition(":")
            if colon and fold(header) in _CHANGES and value.strip():
                seen.setdefault(header.strip(), []).append((pull_id, value.strip()))
    return [text for header, run in seen.items() if (text := _change_words(header, run, called))]


def _change_words(header: str, run: Sequence[tuple[str, str]], called: Mapping[str, str]) -> str | None:
    if not 1 < len({fold(value) for _, value in run}) <= min(_FEW, len(run) - 1):
        return None
    (one, was), (other, became) = next((a, b) for a, b in pairwise(run) if fold(a[1]) != fold(b[1]))
    return (
        f"the sheet's {header!r} goes from {was[:40]!r} at {called[one]} to {became[:40]!r} at {called[other]}: was anything else "
        "changed? All pulls are compared as they stand; only those on one of them tell timing apart from it"
    )


def _knock_below_clean(knock: pl.DataFrame, ran: Mapping[str, Mapping[int, float]], called: Mapping[str, str]) -> list[str]:
    """Notes of knock at less advance than pulls that were listened to and clean at the same rpm; the ceiling stays."""
    noted = knock.filter(pl.col("word").is_in(NOTED) & pl.col("rpm_lo").is_not_null() & pl.col("rpm_hi").is_not_null())
    loud = set(noted["pull_id"])
    clean = [p for p in knock.filter(pl.col("word") == "not heard")["pull_id"].unique(maintain_order=True) if p not in loud]
    out = []
    for pull, lo, hi, word in (
        noted.unique("pull_id", keep="first", maintain_order=True).select("pull_id", "rpm_lo", "rpm_hi", "word").iter_rows()
    ):
        own = {n: a for n, a in ran.get(pull, {}).items() if lo - 50 <= n <= hi + 50}
        more = []
        for other in clean:
            gaps = [ran[other][n] - a for n, a in own.items() if n in ran.get(other, {})]
            if gaps and min(gaps) >= MORE_DEG:
                more.append((float(np.median(gaps)), other))
        if more:
            gap, other = max(more)
            out.append(
                f"knock is noted ({word}) at {np.median(list(own.values())):.0f}° with {called[pull]}, {lo:.0f}–{hi:.0f} rpm, and "
                f"{called[other]} was listened to and clean with {gap:.0f}° more there: a slip of the pen or another noise? "
                "The note caps until it is taken back"
            )
    return out
