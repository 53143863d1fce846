"""Reports people look at: one page on screen and phone, the same on paper, the card for the stand, the history of an engine.

What is said is decided in :mod:`.model`, how it looks in :mod:`.style`; one picture a module in :mod:`.figures`.
"""
