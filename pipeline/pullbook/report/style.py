"""Colours, sizes and line patterns: few hues that colour-blind eyes and a grey print keep apart, with line patterns beside them.

A hue is written as a CSS variable into pictures, so that the page can turn dark with them; the value beside it is for paper.
Contrast of every word colour on its ground is 4.5 or more in both lights (tests/report measures it).
"""

from dataclasses import dataclass

#: name -> (on paper, in the dark)
HUES: dict[str, tuple[str, str]] = {
    "ink": ("#1b2026", "#e9ecef"),
    "soft": ("#57616c", "#aab4be"),
    "rule": ("#d3d9df", "#3a434c"),
    "paper": ("#fefefe", "#15191d"),
    "up": ("#0b5aa5", "#7db8f2"),  # gain, and the setting chosen
    "down": ("#a4420c", "#f0a070"),  # loss, and what to watch
    "wash": ("#d5e5f4", "#20384f"),  # band of advance that costs next to nothing
    "warm": ("#f6dfd0", "#4a2f20"),
    "hard": ("#6f3a7c", "#cda2d9"),  # what the hardware can make
    "step0": ("#eef4ee", "#24352c"),
    "step1": ("#cfe0d6", "#2c4a40"),
    "step2": ("#a7c6c0", "#356158"),
    "step3": ("#7aa6ac", "#417a76"),
    "step4": ("#4f8398", "#579696"),
}
PAPER = {name: pair[0] for name, pair in HUES.items()}

#: line patterns of settings that are neither baseline nor chosen, in the order they come
PATTERNS: tuple[tuple[float, tuple[float, ...]], ...] = (
    (0, (1.2, 1.6)), (0, (6, 2)), (0, (5, 1.6, 1.2, 1.6)), (0, (3, 1.4)), (0, (8, 2, 1.2, 2, 1.2, 2)), (0, (2, 3)),
)  # fmt: skip
BASELINE_PATTERN = (0, (4.5, 2))


@dataclass(frozen=True, slots=True)
class Look:
    """Sizes of one drawing: ``width`` and the margins ``left`` and ``right`` in inches, ``font`` in points."""

    width: float
    font: float
    left: float
    right: float
    narrow: bool

    @property
    def line(self) -> float:
        """Width of an ordinary line, points."""
        return 1.0 if self.narrow else 1.2


WIDE = Look(width=7.0, font=8.5, left=0.55, right=1.25, narrow=False)
NARROW = Look(width=3.5, font=8.0, left=0.42, right=0.12, narrow=True)


def css_variables() -> str:
    """Both sets of hues as CSS custom properties."""
    light = "".join(f"--{name}:{pair[0]};" for name, pair in HUES.items())
    dark = "".join(f"--{name}:{pair[1]};" for name, pair in HUES.items())
    return f":root{{{light}}}@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}"
