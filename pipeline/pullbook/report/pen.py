"""matplotlib's drawing put on a sheet of a PDF file: the renderer that a figure is drawn with. Points from the lower left.

matplotlib's own renderer looks every letter up in the font file each time it stands on a sheet; a report has sixteen thousand.
"""

from typing import Any, Literal
from unicodedata import bidirectional, combining

import numpy as np
from matplotlib.backend_bases import GraphicsContextBase, RendererBase
from matplotlib.path import Path
from matplotlib.transforms import Affine2D, Transform

from pullbook.report.pdf_file import PdfFile
from pullbook.report.typeface import typeface

_CAPS = {"butt": 0, "round": 1, "projecting": 2}
_JOINS = {"miter": 0, "round": 1, "bevel": 2}
_RIGHT_TO_LEFT = ("R", "AL", "AN")
_STOP, _MOVE, _CURVE3, _CURVE4, _CLOSE = (int(c) for c in (Path.STOP, Path.MOVETO, Path.CURVE3, Path.CURVE4, Path.CLOSEPOLY))


def is_heavy(font: Any) -> bool:
    """Whether letters of a matplotlib font are drawn with the bold typeface."""
    return font.get_weight() in ("bold", 700)


class Pen(RendererBase):
    """Draws on one sheet.

    Parameters
    ----------
    file
        The file the sheet will be part of.
    width, height
        Its size, points.
    """

    def __init__(self, file: PdfFile, width: float, height: float) -> None:
        super().__init__()
        self._file, self._size = file, (width, height)
        self.drawn: list[str] = []

    def finish(self) -> None:
        """Put what was drawn into the file as its next sheet."""
        self._file.sheet(*self._size, "\n".join(self.drawn))

    def draw_path(self, gc: GraphicsContextBase, path: Path, transform: Transform, rgbFace: Any = None) -> None:
        """A line, an area or both."""
        way = _way(path, transform, clip=(0.0, 0.0, *self._size) if rgbFace is None else None, simplify=path.should_simplify)
        if way:
            self.drawn.append(f"q {self._style(gc, rgbFace)}\n{way} {_painted(gc, rgbFace)} Q")

    def draw_markers(
        self, gc: GraphicsContextBase, marker_path: Path, marker_trans: Transform, path: Path, trans: Transform, rgbFace: Any = None
    ) -> None:
        """The same small drawing at every point of a line."""
        places = np.asarray(trans.transform(np.asarray(path.vertices)))
        places = places[np.isfinite(places).all(axis=1)]
        mark = f"{_way(marker_path, marker_trans)} {_painted(gc, rgbFace)}"
        marks = [f"q 1 0 0 1 {x:.2f} {y:.2f} cm {mark} Q" for x, y in places.tolist()]
        self.drawn.append(f"q {self._style(gc, rgbFace)}\n" + "\n".join(marks) + " Q")

    def photograph(self, jpeg: bytes, pixels: tuple[int, int], box: tuple[float, float, float, float]) -> None:
        """A picture of ``pixels`` in ``box`` (left, bottom, width, height)."""
        left, bottom, width, height = box
        name = self._file.image(jpeg, *pixels)
        self.drawn.append(f"q {width:.2f} 0 0 {height:.2f} {left:.2f} {bottom:.2f} cm {name} Do Q")

    def draw_text(
        self,
        gc: GraphicsContextBase,
        x: float,
        y: float,
        s: str,
        prop: Any,
        angle: float,
        ismath: bool | Literal["TeX"] = False,
        mtext: Any = None,
    ) -> None:
        """A line of words; letters that have to be joined or turned round are drawn as outlines by matplotlib."""
        if not s.isascii() and any(combining(c) or bidirectional(c) in _RIGHT_TO_LEFT for c in s):
            super().draw_text(gc, x, y, s, prop, angle, ismath, mtext)
            return
        heavy = is_heavy(prop)
        turned = Affine2D().rotate_deg(angle).get_matrix()[:2, :2].T.ravel() if angle else (1, 0, 0, 1)
        matrix = " ".join(f"{v:g}" for v in turned)
        red, green, blue = gc.get_rgb()[:3]
        words = self._file.face(bold=heavy).coded(s)
        self.drawn.append(
            f"{red:.3f} {green:.3f} {blue:.3f} rg BT /F{heavy:d} {prop.get_size_in_points():g} Tf"
            f" {matrix} {x:.2f} {y:.2f} Tm <{words}> Tj ET"
        )

    def get_text_width_height_descent(self, s: str, prop: Any, ismath: Any) -> tuple[float, float, float]:
        """Advance of a line of words, and the height and depth of what is to be seen of it."""
        font = typeface(is_heavy(prop))
        outlines = [font.letters.get(ord(c), 0) for c in s]
        lows, highs = zip(*(font.heights(o) for o in outlines), strict=True) if outlines else ((0.0,), (0.0,))
        size = prop.get_size_in_points() / 1000
        low = min(lows)
        return sum(map(font.advance, outlines)) * size, (max(highs) - low) * size, -low * size

    def get_canvas_width_height(self) -> tuple[float, float]:
        """Size of the sheet."""
        return self._size

    def points_to_pixels(self, points: Any) -> Any:
        """Points are what we draw in."""
        return points

    def flipy(self) -> bool:
        """Whether y counts downwards: no."""
        return False

    def _style(self, gc: GraphicsContextBase, face: Any) -> str:
        """Where may be drawn, and with what."""
        said: list[str] = []
        rectangle: Any = gc.get_clip_rectangle()
        outline, moved = gc.get_clip_path()
        if rectangle is not None:
            said.append(f"{rectangle.x0:.2f} {rectangle.y0:.2f} {rectangle.width:.2f} {rectangle.height:.2f} re W n")
        if outline is not None:
            said.append(f"{_way(outline, moved)} W n")
        red, green, blue, cover = gc.get_rgb()
        line = fill = gc.get_alpha()
        if not gc.get_forced_alpha():
            line, fill = cover, 1.0 if face is None or len(face) < 4 else face[3]
        if (line, fill) != (1.0, 1.0):
            said.append(f"{self._file.ink(float(line), float(fill))} gs")
        if face is not None:
            said.append("{:.3f} {:.3f} {:.3f} rg".format(*face[:3]))
        dashes: Any
        offset, dashes = gc.get_dashes()
        said.append(f"{red:.3f} {green:.3f} {blue:.3f} RG {gc.get_linewidth():g} w")
        said.append(f"{_CAPS[gc.get_capstyle()]} J {_JOINS[gc.get_joinstyle()]} j")
        if dashes is not None:
            said.append(f"[{' '.join(f'{d:g}' for d in dashes)}] {offset:g} d")
        return " ".join(said)


def _painted(gc: GraphicsContextBase, face: Any) -> str:
    """The operator that paints: a line where it has a width and is to be seen, an area where it has a colour."""
    filled = face is not None and (len(face) <= 3 or face[3] != 0)
    lined = gc.get_linewidth() > 0 and gc.get_alpha() > 0 and gc.get_rgb()[3] != 0
    return {(True, True): "B", (True, False): "f", (False, True): "S", (False, False): "n"}[filled, lined]


def _way(path: Any, transform: Any, *, clip: Any = None, simplify: bool = False) -> str:
    """A path as PDF says it; empty where nothing of it is left."""
    plain = path.cleaned(transform=transform, remove_nans=True, clip=clip, simplify=simplify, curves=True)
    said: list[str] = []
    bend: list[tuple[float, float]] = []  # where the pen stands, then the points of a curve not yet whole
    for point, code in zip(np.asarray(plain.vertices).tolist(), np.asarray(plain.codes).tolist(), strict=True):
        if code == _STOP:
            break
        if code == _CLOSE:
            said.append("h")
            continue
        if code in (_CURVE3, _CURVE4):
            bend.append(point)
            if len(bend) <= (2 if code == _CURVE3 else 3):
                continue
            said.append(" ".join(f"{x:.2f} {y:.2f}" for x, y in _cubic(bend)) + " c")
        else:
            said.append(f"{point[0]:.2f} {point[1]:.2f} {'m' if code == _MOVE else 'l'}")
        bend = [point]
    return " ".join(said)


def _cubic(bend: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """The three points of a curve of third order behind its start; one of second order raised to it."""
    if len(bend) == 4:
        return bend[1:]
    start, middle, end = (np.array(p) for p in bend)
    return [*((p + 2 * (middle - p) / 3).tolist() for p in (start, end)), bend[2]]
