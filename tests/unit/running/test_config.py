"""config.yaml: every mistake gets one line that says what to write."""

from pathlib import Path

import pytest

from pullbook.config import ConfigError, load


def test_defaults_without_a_file(tmp_path: Path) -> None:
    settings = load(tmp_path)
    assert (settings.logs, settings.page, settings.settle_s, settings.days_per_job) == ("logs", "A4", 2, 8)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("pages: A4", "did you mean `page`"),
        ("page: A3", "`page` is 'A3'"),
        ("logs: ../elsewhere", "plain name inside the book"),
        ("logs: archive", "`logs` is 'archive'"),
        ("settle_s: -1", "`settle_s` is -1"),
        ("- a list", "found list; expected `key: value`"),
        ("page: [", "line"),
        ("page: !!python/object/apply:os.system ['true']", "cannot be read"),
    ],
)
def test_a_wrong_config_says_what_to_do(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "config.yaml").write_text(text)
    with pytest.raises(ConfigError, match=r"config\.yaml") as wrong:
        load(tmp_path)
    assert says in str(wrong.value)
    assert "\n" not in str(wrong.value)


def test_an_empty_file_is_all_defaults(tmp_path: Path) -> None:
    (tmp_path / "config.yaml").write_text("# nothing\n")
    assert load(tmp_path).page == "A4"


def test_a_huge_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "config.yaml").write_text("#" * 100_000)
    with pytest.raises(ConfigError, match="larger than"):
        load(tmp_path)
