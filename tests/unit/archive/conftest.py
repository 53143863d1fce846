"""Unit tests pull no plug: flushing to the disk is left out here, and done by the fault harness."""

import pytest

from pullbook.archive import disk


@pytest.fixture(autouse=True)
def no_flushing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(disk.os, "fsync", lambda _number: None)
