"""The normal distribution, as far as an interval needs it."""

Z90 = 1.6448536269514722
"""Half-width of the middle 90 % in standard deviations: the 0.95 quantile."""

DEVIANCE_90 = 2.706
"""Rise of the deviance (twice ln likelihood) at the ends of a 90 % interval of one number: Z90 squared."""

MAD_TO_SD = 1.4826
"""Standard deviations in one median absolute deviation: one over the 0.75 quantile."""
