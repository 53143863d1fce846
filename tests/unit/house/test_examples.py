"""The examples in docstrings are run: one that is wrong teaches wrong."""

import doctest
import importlib
from pathlib import Path

import pytest

import pullbook

HOME = Path(pullbook.__file__).parent
WITH_EXAMPLES = [p for p in sorted(HOME.rglob("*.py")) if ">>> " in p.read_text(encoding="utf-8")]


def test_there_are_examples() -> None:
    assert len(WITH_EXAMPLES) > 20


@pytest.mark.parametrize("path", WITH_EXAMPLES, ids=lambda p: p.relative_to(HOME).as_posix())
def test_examples_are_true(path: Path) -> None:
    name = ".".join(path.relative_to(HOME.parent).with_suffix("").parts)
    found = doctest.testmod(importlib.import_module(name))
    assert found.attempted > 0
    assert found.failed == 0
