"""Spellings of a setting's label that are one."""

import pytest

from pullbook.pulls.labels import label_key, with_lost_dash


@pytest.mark.parametrize("spelled", ["base-4", "Base−4", " base–4 ", "BASE‑4"])
def test_case_spaces_and_the_sort_of_dash_do_not_tell_settings_apart(spelled: str) -> None:
    assert label_key(spelled) == "base-4"


def test_a_sign_does() -> None:
    assert len({label_key(s) for s in ("base-4", "base+4", "base 4", "base4")}) == 4


@pytest.mark.parametrize(
    ("torn", "known", "meant"),
    [
        ("base?4", ["base-4", "base?4", "base+40"], "base-4"),
        ("base\ufffd4", ["base-4"], "base-4"),
        ("a?b?c", ["a-b-c", "a-bc"], "a-b-c"),
        ("base?4", ["base-4", "base+4"], "base?4"),
        ("base?4", ["base 4"], "base?4"),
        ("base?4", ["base?4"], "base?4"),
        ("gro?", ["groß", "gro-"], "gro?"),
        ("base-4", ["base-4", "base?4"], "base-4"),
    ],
)
def test_a_lost_dash_is_taken_for_one_where_a_single_label_fits(torn: str, known: list[str], meant: str) -> None:
    assert with_lost_dash(torn, known) == meant
