"""An engine, its ignition, a dyno and a logger on paper: days of pulls whose truth is known (explained in docs/simulator.md).

Nothing in ``pipeline/`` may import this package: estimates are proved on it, so they must know nothing of it.
"""
