"""Where the workflow and the config schema lie: in a checkout, in a wheel, and what a broken installation says."""

from pathlib import Path

import pytest

from pullbook import place


@pytest.mark.parametrize("home", ["site/pullbook", "."])
def test_inside_the_package_or_beside_it(tmp_path: Path, home: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A wheel carries them in the package; a checkout has them two folders above it."""
    package = tmp_path / "site" / "pullbook"
    (tmp_path / home / "workflow").mkdir(parents=True)
    monkeypatch.setattr(place, "_PACKAGE", package)
    assert place.carried("workflow") == tmp_path / home / "workflow"
    with pytest.raises(FileNotFoundError, match="config/ is missing beside the package; install pullbook again"):
        place.carried("config")
