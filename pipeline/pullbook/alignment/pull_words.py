"""How a pull is called in words: its number in the order run, as on the report's pages, and its file."""

import polars as pl


def pull_words(pulls: pl.DataFrame) -> dict[str, str]:
    """``pull 6 (warm 2.csv)`` by pull_id.

    Parameters
    ----------
    pulls
        One row a pull: ``pull_id``, ``order``, ``file``.
    """
    return {p: f"pull {order} ({file})" for p, order, file in pulls.select("pull_id", "order", "file").iter_rows()}
