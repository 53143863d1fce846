"""The study's designs: ways a shop spends a day, and three that ask too much of it."""

from dataclasses import replace

from tests.simulator.design import Design

_WIDE = (-10.0, -5.0, 0.0, 5.0)
_BACK = (2, 0, 3, 1, 2, 0, 3, 1, 2)

WIDE = Design("wide", offsets_deg=_WIDE, order=_BACK)
NARROW = Design("narrow", offsets_deg=(-4.0, -2.0, 0.0, 2.0, 4.0), order=(2, 0, 4, 1, 3, 2, 4, 0, 3, 1, 2, 2))
LOCKED = Design("locked", ignition="locked", offsets_deg=(-9.0, -5.0, -1.0, 3.0, 6.0), order=(2, 0, 4, 1, 3, 2, 0, 4, 1, 3, 2))
SPRINGS = Design(
    "springs", spring_changes=True, offsets_deg=(-8.0, -4.0, 0.0, 0.0, 4.0), order=(2, 0, 3, 1, 4, 2, 0, 3, 1, 4, 2),
    light_readings=16,
)  # fmt: skip

STUDY: dict[str, Design] = {d.name: d for d in (WIDE, NARROW, LOCKED, SPRINGS)}
