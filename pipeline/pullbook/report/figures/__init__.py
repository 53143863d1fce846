"""The pictures of a day, one a module: ``picture(shown)`` gives a Picture, or None where the day has nothing to draw."""
