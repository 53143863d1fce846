"""The normal distribution, as far as an interval needs it."""

Z90 = 1.6448536269514722
"""Half-width of the middle 90 % in standard deviations: the 0.95 quantile."""
