"""The paper's fonts: DejaVu Sans, regular and bold, without the tables that only text shapers use.

Cutting a font down to the letters of one document spends most of its time on tables a PDF never carries; leaving them out
first makes a report about a third of a CPU second cheaper. The files live as long as the process.
"""

import atexit
import shutil
import tempfile
from functools import cache
from pathlib import Path

from matplotlib import font_manager
from matplotlib.font_manager import FontProperties, findfont

SCREEN = "DejaVu Sans"
_NAME = "Pullbook Paper"
_SHAPERS = ("GSUB", "GPOS", "GDEF", "kern", "MATH", "FFTM")


@cache
def family() -> str:
    """Name of the family to draw paper with; the plain one where there is no room for temporary files."""
    from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

    try:
        folder = Path(tempfile.mkdtemp(prefix="pullbook-"))
        atexit.register(shutil.rmtree, folder, ignore_errors=True)
        for weight in ("normal", "bold"):
            with TTFont(str(findfont(FontProperties(family=SCREEN, weight=weight))), lazy=True, recalcTimestamp=False) as font:
                for table in _SHAPERS:
                    if table in font:
                        del font[table]
                for record in font["name"].names:
                    if record.nameID in (1, 4, 6, 16):
                        record.string = {6: _NAME.replace(" ", "") + ("-Bold" if weight == "bold" else "")}.get(
                            record.nameID, _NAME
                        )
                font.save(folder / f"{weight}.ttf", reorderTables=False)
            font_manager.fontManager.addfont(folder / f"{weight}.ttf")
    except OSError:
        return SCREEN
    return _NAME
