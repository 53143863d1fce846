"""Independent streams of chance, so that adding a draw in one place changes nothing elsewhere."""

from zlib import crc32

import numpy as np


def stream(number: int, *names: str | int) -> np.random.Generator:
    """A generator that depends on ``number`` and the names alone."""
    return np.random.default_rng([number & 0xFFFFFFFF, *(n if isinstance(n, int) else crc32(n.encode()) for n in names)])


def within(rng: np.random.Generator, span: tuple[float, float]) -> float:
    """Evenly between the ends of ``span``."""
    return float(rng.uniform(*span))
