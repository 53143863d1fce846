"""A table of an earlier schema version as the present one has it, whenever it is read; the files stay as they were written.

To change a table: change :data:`pullbook.archive.schema.TABLES`, raise ``SCHEMA_VERSION``, add the step from the version before to
``STEPS`` (none is needed where columns were only added: they read as null), and note the new fingerprint in the test that asks.
"""

from collections.abc import Callable

import polars as pl

from pullbook.archive.schema import SCHEMA_VERSION, conformed

Step = Callable[[str, pl.DataFrame], pl.DataFrame]

STEPS: dict[int, Step] = {}
"""version -> what turns a table (name, rows) of that version into one of the next."""


def upgraded(name: str, table: pl.DataFrame, version: int) -> pl.DataFrame:
    """A table as the present version has it.

    Parameters
    ----------
    name, table
        The table, as written under ``version``.
    version
        ``schema`` of the day's seal.

    Returns
    -------
    polars.DataFrame
        With the columns of :data:`pullbook.archive.schema.TABLES`; the very same frame where nothing has to be done.
    """
    if version >= SCHEMA_VERSION:
        return table
    for step in range(version, SCHEMA_VERSION):
        if step in STEPS:
            table = STEPS[step](name, table)
    return conformed(name, table)
