"""The long form: `python -m tests.faults [--kills 100] [--fills 20] [--flips 100] [--races 3] [--draw N]`."""

import argparse
import random
import sys
import tempfile
import time
from pathlib import Path

from tests.faults.trials import Tally, flipped_bits, full_disk, kills, race, small_file_system


def main() -> int:
    """Do it and say what was lost."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--kills", type=int, default=100)
    given.add_argument("--fills", type=int, default=20)
    given.add_argument("--flips", type=int, default=100)
    given.add_argument("--races", type=int, default=3)
    given.add_argument("--draw", type=int, default=time.time_ns() % 10**6, help="seed of the draws, printed, to have them again")
    given.add_argument("--quiet", action="store_true")
    asked = given.parse_args()
    print(f"draw {asked.draw}")
    draw = random.Random(asked.draw)
    tallies: dict[str, Tally] = {}
    with tempfile.TemporaryDirectory(prefix="faults-") as scratch:
        room = Path(scratch)
        if asked.kills:
            tallies["kills"] = kills(room / "kills" / "archive", asked.kills, draw, say=not asked.quiet)
            tallies["flipped bits"] = flipped_bits(room / "kills" / "archive", asked.flips, draw)
        if asked.fills:
            tallies["full disk (failing writer)"] = full_disk(room / "full" / "archive", draw, asked.fills)
            small = small_file_system(room / "small", draw, asked.fills)
            if small is None:
                print("no small file system may be mounted here: the failing writer stands in for it")
            else:
                tallies["full disk (4 MB file system)"] = small
        for nth in range(asked.races):
            tallies[f"race {nth + 1}, two runs"] = race(room / f"race{nth}" / "archive", 12, hold=True)
            tallies[f"race {nth + 1}, a run and an orphan"] = race(room / f"orphan{nth}" / "archive", 3, hold=False)
    lost = [line for tally in tallies.values() for line in tally.lost]
    for name, tally in tallies.items():
        switched = f", {tally.completed} in mid-switch and completed by the next run" if tally.completed else ""
        print(f"{name}: {tally.faults} faults{switched}; lost: {len(tally.lost) or 'nothing'}")
    for line in lost:
        print(f"  LOST {line}")
    print(f"what was lost: {'nothing' if not lost else f'{len(lost)} things'}")
    return int(bool(lost))


if __name__ == "__main__":
    sys.exit(main())
