"""The reference setting that every other is told against: chosen here, wherever it is asked for."""

from collections.abc import Collection, Sequence

import polars as pl


def reference(settings: Sequence[str], marked: Collection[str] = ()) -> str | None:
    """The first of ``settings`` that is marked, else the one most often run, the first run on a tie.

    Parameters
    ----------
    settings
        The setting of each pull that counts, in the order run.
    marked
        Settings that the sheet, or an earlier stage, calls the baseline.

    Examples
    --------
    >>> reference(["34", "32", "34"]), reference(["34", "32", "34"], {"32"}), reference(["34", "32"]), reference([])
    ('34', '32', '34', None)
    """
    named = next((s for s in settings if s in marked), None)
    return named if named is not None else max(dict.fromkeys(settings), key=settings.count, default=None)


def reference_of(pulls: pl.DataFrame, counts: pl.Expr) -> str | None:
    """The same from the day's pulls.

    Parameters
    ----------
    pulls
        ``setting, baseline, order`` of all pulls, those left out too.
    counts
        Which of them count.
    """
    marked = set(pulls.filter(pl.col("baseline").fill_null(value=False))["setting"].drop_nulls().to_list())
    return reference(pulls.filter(counts).drop_nulls("setting").sort("order")["setting"].to_list(), marked)
