"""Spellings of a setting's label that are one."""

import pytest

from pullbook.pulls.grouping import label_key


@pytest.mark.parametrize("spelled", ["base-4", "Base−4", " base–4 ", "BASE‑4"])
def test_case_spaces_and_the_sort_of_dash_do_not_tell_settings_apart(spelled: str) -> None:
    assert label_key(spelled) == "base-4"


def test_a_sign_does() -> None:
    assert len({label_key(s) for s in ("base-4", "base+4", "base 4", "base4")}) == 4
