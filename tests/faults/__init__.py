"""The fault harness: stop the writing of the archive anywhere, fill its disk, flip its bits, race two runs; count what is lost.

`python -m tests.faults --kills 100` is the long form; a few of each run with the other tests.
"""
