"""Where the workflow and the config schema lie: beside the package in a checkout, inside it in an installed wheel."""

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def carried(name: str) -> Path:
    """Folder ``workflow`` or ``config`` that came with this pullbook.

    Raises
    ------
    FileNotFoundError
        The installation is broken: neither place holds it.
    """
    for home in (_PACKAGE, _PACKAGE.parents[1]):
        if (home / name).is_dir():
            return home / name
    raise FileNotFoundError(f"{name}/ is missing beside the package; install pullbook again")
