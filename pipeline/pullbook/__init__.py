"""pullbook: from a folder of dyno logs to the advance curve an engine wants."""

__version__ = "0.1.0"
METHOD = 7
"""Version of the method. Raised when the same inputs give other numbers; every day is then made again."""
