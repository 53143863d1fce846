"""A page of the report as a tree of elements."""

import re
from xml.etree import ElementTree as ET

import html5lib

XHTML = "{http://www.w3.org/1999/xhtml}"


def parsed(text: str) -> ET.Element:
    tree: ET.Element = html5lib.HTMLParser(strict=True).parse(text)
    return tree


def text_of(element: ET.Element) -> str:
    return re.sub(r"\s+", " ", "".join(element.itertext()))
