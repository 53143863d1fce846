"""Pictures dropped in the day folder, made fit to show: upright, reduced, nothing in them but the picture."""

import base64
import io
import warnings
from dataclasses import dataclass
from pathlib import Path

from pullbook.report.words import clean

MOST_BYTES = 40_000_000  # of one file: more than any camera of the trade writes
MOST_PIXELS = 120_000_000  # of a JPEG, which is read reduced; a third of it for what must be unpacked whole
TOO_MANY = "the picture has too many pixels to show"
MOST_PICTURES = 12
LONGEST_SIDE = 1100
BUDGET = 1_000_000  # bytes of all pictures of a page together
FORMATS = ("JPEG", "PNG", "WEBP")


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture ready for the page: JPEG without any metadata, ``width`` by ``height`` pixels, or why there is none."""

    name: str
    jpeg: bytes | None
    width: int = 0
    height: int = 0
    why_not: str = ""

    @property
    def address(self) -> str:
        """The picture as an address that needs no file."""
        return "data:image/jpeg;base64," + base64.b64encode(self.jpeg or b"").decode("ascii")


def prepare(names: list[str], folder: Path | None) -> list[Shown]:
    """Read the named pictures of ``folder``; whatever cannot be shown says why, and never stops the others.

    Parameters
    ----------
    names
        Plain file names as the record has them; anything with a path in it is refused.
    folder
        The day folder, or None where the pictures are out of reach.
    """
    shown: list[Shown] = []
    spent = 0
    for name in names[:MOST_PICTURES]:
        label = clean(name.rsplit("/", 1)[-1], 80)
        path = _inside(name, folder)
        if path is None:
            shown.append(Shown(label, None, why_not="the file is not here"))
            continue
        picture = _one(path, label, min(1.0, max(0.15, (BUDGET - spent) / BUDGET)))
        if spent + len(picture.jpeg or b"") > BUDGET:
            picture = Shown(label, None, why_not="the page is full; see the file")
        spent += len(picture.jpeg or b"")
        shown.append(picture)
    shown.extend(
        Shown(clean(n.rsplit("/", 1)[-1], 80), None, why_not=f"only {MOST_PICTURES} pictures are shown")
        for n in names[MOST_PICTURES:60]
    )
    return shown


def _inside(name: str, folder: Path | None) -> Path | None:
    plain = name.rsplit("/", 1)[-1]
    if folder is None or plain in ("", ".", "..") or "\\" in plain or "\0" in plain:
        return None
    path = folder / plain
    try:
        return path if path.is_file() and path.resolve().is_relative_to(folder.resolve()) else None
    except (OSError, RuntimeError, ValueError):
        return None


def _one(path: Path, label: str, share: float) -> Shown:
    from PIL import Image, ImageOps

    try:
        if path.stat().st_size > MOST_BYTES:
            return Shown(label, None, why_not="the file is too large to show")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the bomb guard is ours: the size is looked at before a pixel is read
            with Image.open(path, formats=FORMATS) as image:
                if image.width * image.height > (MOST_PIXELS if image.format == "JPEG" else MOST_PIXELS // 3):
                    return Shown(label, None, why_not=TOO_MANY)
                image.draft("RGB", (2 * LONGEST_SIDE, 2 * LONGEST_SIDE))  # a JPEG is read at a fraction of its size
                image.load()
                upright = ImageOps.exif_transpose(image)
        side = int(LONGEST_SIDE * share**0.5)
        upright.thumbnail((side, side))
        flat = Image.new("RGB", upright.size, (254, 254, 254))
        alpha = upright.convert("RGBA") if upright.mode in ("RGBA", "LA", "P", "PA") else None
        flat.paste(alpha or upright.convert("RGB"), mask=alpha.getchannel("A") if alpha else None)
        out = io.BytesIO()
        flat.save(
            out, "JPEG", quality=72, optimize=True, progressive=True
        )  # a new image: no Exif, no location, no preview comes along
        return Shown(label, out.getvalue(), flat.width, flat.height)
    except Image.DecompressionBombError:
        return Shown(label, None, why_not=TOO_MANY)
    except MemoryError:
        return Shown(label, None, why_not="the picture is too large to show")
    except Exception as fault:  # a hostile picture may raise anything at all from inside a decoder
        return Shown(label, None, why_not=f"the file could not be read as a picture ({type(fault).__name__})")
