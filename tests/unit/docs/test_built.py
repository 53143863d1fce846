"""The pages build into a site, every link between them found: `make docs`."""

import shutil
import subprocess
import sys
from pathlib import Path

import html5lib
import pytest
from tests.unit.docs.test_pages import PAGES, ROOT

pytest.importorskip("myst_parser", reason="the site is built by Sphinx and MyST (test extra)")


def build(source: Path, out: Path) -> subprocess.CompletedProcess[str]:
    """`make docs`' command on the pages in ``source``; anything doubtful is an error."""
    command = [
        sys.executable,
        "-m",
        "sphinx",
        "-q",
        "-W",
        "--keep-going",
        "-n",
        "-E",
        "-d",
        str(out / "kept"),
        "-c",
        str(ROOT / "docs"),
    ]
    return subprocess.run([*command, str(source), str(out / "site")], capture_output=True, text=True, check=False)


def copied(to: Path) -> Path:
    """The pages, and what they show and point to beside them, in a folder of their own."""
    for page in PAGES:
        target = to / page.relative_to(ROOT)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(page, target)
    for beside in ("reports/example_page.png", "LICENSE", "docs/day.schema.json"):
        shutil.copy(ROOT / beside, to / beside)
    return to


def test_every_page_becomes_one_and_its_pictures_come_along(tmp_path: Path) -> None:
    done = build(ROOT, tmp_path)
    assert done.returncode == 0, done.stderr
    for page in PAGES:
        html = tmp_path / "site" / page.relative_to(ROOT).with_suffix(".html")
        tree = html5lib.parse(html.read_bytes(), namespaceHTMLElements=False)
        assert tree.find(".//h1") is not None, page
        for shown in tree.iter("img"):
            assert (html.parent / shown.get("src")).is_file(), f"{page}: {shown.get('src')}"


@pytest.mark.parametrize(
    ("page", "link"),
    [
        ("README.md", "[gone](docs/gone.md)"),
        ("docs/method.md", "[gone](contract.md#no-such-heading)"),
        ("docs/cautions.md", "![x](gone.png)"),
    ],
)
def test_a_link_that_leads_nowhere_stops_the_build(tmp_path: Path, page: str, link: str) -> None:
    pages = copied(tmp_path / "pages")
    with (pages / page).open("a", encoding="utf-8") as file:
        file.write(f"\n{link}\n")
    done = build(pages, tmp_path)
    assert done.returncode != 0
    (only,) = done.stderr.strip().splitlines()
    assert f"{page}:" in only
    assert "gone" in only or "no-such-heading" in only
