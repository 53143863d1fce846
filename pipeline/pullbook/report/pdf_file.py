"""A PDF file (ISO 32000-1): sheets, the letters they use and the pictures on them. The same bytes for the same contents."""

import zlib
from typing import Any

from pullbook.report.typeface import typeface

_HEADER = b"%PDF-1.4\n%\xac\xdc\xab\xba\n"
_SYMBOLIC = 4
_STEM = 80


class Face:
    """The letters of one typeface that a file uses, numbered as they come; 0 stands for what the font does not have."""

    def __init__(self, *, bold: bool) -> None:
        self.font = typeface(bold)
        self.outlines = [0]
        self._codes: dict[str, str] = {}

    def coded(self, text: str) -> str:
        """``text`` as the hexadecimal digits a PDF shows it by."""
        known = self._codes
        for letter in text:
            if letter not in known:
                outline = self.font.letters.get(ord(letter), 0)
                known[letter] = f"{len(self.outlines) if outline else 0:04x}"
                if outline:
                    self.outlines.append(outline)
        return "".join([known[letter] for letter in text])

    def unicode_map(self) -> bytes:
        """What each number stands for, so that words can be searched and copied."""
        pairs = [f"<{code}> <{letter.encode('utf-16-be').hex()}>" for letter, code in self._codes.items() if code != "0000"]
        blocks = [pairs[i : i + 100] for i in range(0, len(pairs), 100)]
        said = "\n".join(f"{len(block)} beginbfchar\n" + "\n".join(block) + "\nendbfchar" for block in blocks)
        return (
            "/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n/CMapName /Letters def\n/CMapType 2 def\n"
            f"1 begincodespacerange\n<0000> <ffff>\nendcodespacerange\n{said}\nendcmap\n"
            "CMapName currentdict /CMap defineresource pop\nend\nend\n"
        ).encode("ascii")


class PdfFile:
    """A PDF being written.

    Parameters
    ----------
    title
        Its title.
    """

    def __init__(self, title: str) -> None:
        self._objects: list[bytes] = []
        self._title = title
        self._sheets: list[int] = []
        self._catalog, self._pages, self._resources = (self._new(b"") for _ in range(3))
        self._images: list[int] = []
        self._faces = {bold: Face(bold=bold) for bold in (False, True)}
        self._inks: dict[tuple[float, float], int] = {}

    def face(self, *, bold: bool) -> Face:
        """The letters used so far of one weight; its resource is called ``/F0`` or ``/F1``."""
        return self._faces[bold]

    def ink(self, line: float, fill: float) -> str:
        """Resource name of how much lines and fills cover (1: all)."""
        return f"/A{self._inks.setdefault((line, fill), len(self._inks))}"

    def image(self, jpeg: bytes, width: int, height: int) -> str:
        """Resource name of a picture of ``width`` × ``height`` pixels, put in as it is."""
        about = f"/Type /XObject /Subtype /Image /Width {width} /Height {height} /ColorSpace /DeviceRGB /BitsPerComponent 8"
        self._images.append(self._stream(jpeg, f"{about} /Filter /DCTDecode", packed=True))
        return f"/I{len(self._images) - 1}"

    def sheet(self, width: float, height: float, drawn: str) -> None:
        """Add a sheet of ``width`` × ``height`` points with what is drawn on it."""
        contents = self._stream(drawn.encode("ascii"))
        self._sheets.append(
            self._new(
                f"<< /Type /Page /Parent {self._pages} 0 R /MediaBox [0 0 {width:.2f} {height:.2f}]"
                f" /Resources {self._resources} 0 R /Contents {contents} 0 R >>".encode("ascii")
            )
        )

    def finished(self) -> bytes:
        """The file's bytes."""
        faces = " ".join(f"/F{bold:d} {self._embedded(face)} 0 R" for bold, face in self._faces.items() if len(face.outlines) > 1)
        inks = " ".join(f"/A{i} << /CA {line:g} /ca {fill:g} >>" for (line, fill), i in self._inks.items())
        images = " ".join(f"/I{i} {at} 0 R" for i, at in enumerate(self._images))
        kids = " ".join(f"{at} 0 R" for at in self._sheets)
        self._set(self._resources, f"<< /Font << {faces} >> /ExtGState << {inks} >> /XObject << {images} >> >>")
        self._set(self._pages, f"<< /Type /Pages /Kids [{kids}] /Count {len(self._sheets)} >>")
        self._set(self._catalog, f"<< /Type /Catalog /Pages {self._pages} 0 R >>")
        title = (b"\xfe\xff" + self._title.encode("utf-16-be", "replace")).hex()
        about = self._new(f"<< /Title <{title}> /Creator (pullbook) >>".encode("ascii"))
        out, starts = bytearray(_HEADER), []
        for number, body in enumerate(self._objects, 1):
            starts.append(len(out))
            out += b"%d 0 obj\n%b\nendobj\n" % (number, body)
        table = len(out)
        out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(starts) + 1)
        out += b"".join(b"%010d 00000 n \n" % at for at in starts)
        out += b"trailer\n<< /Size %d /Root %d 0 R /Info %d 0 R >>\n" % (len(starts) + 1, self._catalog, about)
        return bytes(out + b"startxref\n%d\n%%%%EOF\n" % table)

    def _embedded(self, face: Face) -> int:
        font, widths = face.font, " ".join(f"{face.font.advance(o):.0f}" for o in face.outlines)
        data = font.part(face.outlines)
        file = self._stream(data, f"/Length1 {len(data)}")
        box = " ".join(f"{v:.0f}" for v in font.box)
        name = f"/{_mark(data)}+{font.name}"
        descriptor = self._dict(
            Type="/FontDescriptor", FontName=name, Flags=_SYMBOLIC, FontBBox=f"[{box}]", ItalicAngle=0, Ascent=f"{font.ascent:.0f}",
            Descent=f"{font.descent:.0f}", CapHeight=f"{font.ascent:.0f}", StemV=_STEM, FontFile2=f"{file} 0 R",
        )  # fmt: skip
        letters = self._dict(
            Type="/Font", Subtype="/CIDFontType2", BaseFont=name, FontDescriptor=f"{descriptor} 0 R", W=f"[0 [{widths}]]",
            CIDSystemInfo="<< /Registry (Adobe) /Ordering (Identity) /Supplement 0 >>", CIDToGIDMap="/Identity",
        )  # fmt: skip
        words = self._stream(face.unicode_map())
        return self._dict(
            Type="/Font", Subtype="/Type0", BaseFont=name, Encoding="/Identity-H", DescendantFonts=f"[{letters} 0 R]",
            ToUnicode=f"{words} 0 R",
        )  # fmt: skip

    def _new(self, body: bytes) -> int:
        self._objects.append(body)
        return len(self._objects)

    def _set(self, number: int, body: str) -> None:
        self._objects[number - 1] = body.encode("ascii")

    def _dict(self, **entries: Any) -> int:
        return self._new(("<< " + " ".join(f"/{k} {v}" for k, v in entries.items()) + " >>").encode("ascii"))

    def _stream(self, data: bytes, about: str = "", *, packed: bool = False) -> int:
        body = data if packed else zlib.compress(data, 6)
        how = about if packed else f"{about} /Filter /FlateDecode"
        return self._new(f"<< {how} /Length {len(body)} >>\nstream\n".encode("ascii") + body + b"\nendstream")


def _mark(data: bytes) -> str:
    """Six letters that tell this part of a font from every other."""
    rest, letters = zlib.crc32(data), ""
    for _ in range(6):
        rest, place = divmod(rest, 26)
        letters += chr(ord("A") + place)
    return letters
