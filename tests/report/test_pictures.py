"""Pictures: upright, reduced, nothing in them but the picture; hostile ones named and passed over."""

import io
import struct
import zlib
from pathlib import Path

import pytest
from PIL import Image

from pullbook.report.pictures import BUDGET, LONGEST_SIDE, MOST_PICTURES, Shown, prepare

ORIENTATION = 0x0112
GPS = 0x8825


def photo(path: Path, size: tuple[int, int] = (2400, 1200), orientation: int = 6) -> None:
    """A picture taken with the camera on its side: the left half dark, the right half light, with a place in its Exif."""
    image = Image.new("RGB", size, (20, 20, 20))
    image.paste((235, 235, 235), (size[0] // 2, 0, size[0], size[1]))
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    exif.get_ifd(GPS)[1] = "N"
    exif.get_ifd(GPS)[2] = (48.0, 30.0, 12.0)
    exif[0x010F] = "a camera"
    image.save(path, exif=exif, comment=b"taken at home") if path.suffix == ".jpg" else image.save(path, exif=exif)


@pytest.mark.parametrize("ending", [".jpg", ".png", ".webp"])
def test_upright_reduced_and_bare(tmp_path: Path, ending: str) -> None:
    photo(tmp_path / f"mark{ending}")
    (shown,) = prepare([f"mark{ending}"], tmp_path)
    assert shown.jpeg is not None
    image = Image.open(io.BytesIO(shown.jpeg))
    assert image.format == "JPEG"
    assert image.size == (shown.width, shown.height) == (LONGEST_SIDE // 2, LONGEST_SIDE)
    assert image.getpixel((100, 100))[0] < 60 < 200 < image.getpixel((100, LONGEST_SIDE - 100))[0]  # type: ignore[index,operator]
    assert dict(image.getexif()) == {}
    assert not {"exif", "xmp", "comment", "icc_profile", "photoshop"} & set(image.info)
    for trace in (b"Exif", b"camera", b"home", b"GPS"):
        assert trace not in shown.jpeg


def test_see_through_pictures_get_a_ground(tmp_path: Path) -> None:
    Image.new("RGBA", (40, 40), (0, 0, 0, 0)).save(tmp_path / "p.png")
    (shown,) = prepare(["p.png"], tmp_path)
    assert Image.open(io.BytesIO(shown.jpeg or b"")).getpixel((5, 5))[0] > 240  # type: ignore[index,operator]


def bomb() -> bytes:
    """A PNG that says it is 60 000 × 60 000 and holds next to nothing."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")


def test_hostile_pictures_are_named_and_do_not_stop_the_others(tmp_path: Path) -> None:
    photo(tmp_path / "good.jpg", (300, 200))
    (tmp_path / "bomb.png").write_bytes(bomb())
    (tmp_path / "cut.jpg").write_bytes((tmp_path / "good.jpg").read_bytes()[:600])
    (tmp_path / "text.png").write_text("<svg onload=alert(1)>")
    (tmp_path / "empty.webp").write_bytes(b"")
    (tmp_path / "folder.png").mkdir()
    names = ["bomb.png", "cut.jpg", "text.png", "empty.webp", "folder.png", "gone.jpg", "good.jpg"]
    shown = {s.name: s for s in prepare(names, tmp_path)}
    assert list(shown) == names
    assert shown["bomb.png"].why_not == "the picture has too many pixels to show"
    assert shown["gone.jpg"].why_not == "the file is not here"
    assert all(shown[n].jpeg is None and shown[n].why_not for n in names[:-1])
    assert shown["good.jpg"].jpeg is not None


def test_only_plain_names_of_the_day_folder(tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    day = tmp_path / "day"
    outside.mkdir()
    day.mkdir()
    photo(outside / "secret.jpg", (60, 40))
    (day / "link.jpg").symlink_to(outside / "secret.jpg")
    for name in ("../outside/secret.jpg", str(outside / "secret.jpg"), "link.jpg", "", "..", "a\\b.jpg", "nul\0.jpg"):
        assert all(s.jpeg is None for s in prepare([name], day)), name
    assert prepare(["any.jpg"], None) == [Shown("any.jpg", None, why_not="the file is not here")]


def test_many_pictures_stay_within_the_page(tmp_path: Path) -> None:
    import numpy as np

    noise = np.random.default_rng(1).integers(0, 255, (900, 1200, 3), dtype=np.uint8)
    for i in range(MOST_PICTURES + 3):
        Image.fromarray(noise).save(tmp_path / f"{i}.jpg", quality=60)
    shown = prepare([f"{i}.jpg" for i in range(MOST_PICTURES + 3)], tmp_path)
    assert sum(len(s.jpeg or b"") for s in shown) <= BUDGET
    assert len(shown) == MOST_PICTURES + 3
    assert all(s.jpeg or s.why_not for s in shown)
