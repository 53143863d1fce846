"""Columns laid end to end: what is done to each of a thousand columns alone takes a thousand times as long as done to all."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl


class EndToEnd:
    """Columns of text as one.

    Parameters
    ----------
    columns
        Name -> cells, shape (rows,) each.

    Attributes
    ----------
    names, rows
        Of the columns, and how many cells each has.
    flat
        Shape (columns · rows,), one column behind the other.
    """

    def __init__(self, columns: Mapping[str, pl.Series]) -> None:
        self.names = list(columns)
        parts = [cells.alias("") for cells in columns.values()]
        self.rows = len(parts[0]) if parts else 0
        self.flat = pl.concat(parts) if parts else pl.Series("", [], pl.String)

    def parted(self, made: pl.Series) -> npt.NDArray[Any]:
        """What was made of :attr:`flat`, shape (columns, rows); nulls of numbers are NaN."""
        return made.to_numpy().reshape(len(self.names), self.rows)

    def where(self, found: pl.Series) -> list[str]:
        """Names of the columns in which something was found; ``found``: as :attr:`flat`, no null in it."""
        if not found.any():
            return []
        return [name for name, one in zip(self.names, np.logical_or.reduce(self.parted(found), axis=1), strict=True) if one]
