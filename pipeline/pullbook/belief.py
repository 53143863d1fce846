"""What is believed of a day before its pulls are looked at: the trade's figures, and what earlier days of the engine add."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class EarlierHill:
    """What earlier days of the engine say of its hill, their own priors divided out: ``exp(−½·θᵀ·weight·θ + towards·θ)`` of
    θ = (best advance at ``rpm``, deg; ln k at ``k_rpm``; slope of ln k per 1000 rpm; skew, 1/deg). See hill/told.py."""

    rpm: tuple[float, ...]
    k_rpm: float
    weight: tuple[tuple[float, ...], ...]
    towards: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Prior:
    """What is known before the day's pulls are looked at. SDs in fractions (0.006 = 0.6 %), k in 1/deg² of torque.

    ``sd_*``: log-normal of one pull's SD; ``k_*``: log-normal of the curvature in the middle of the span; ``best_*``: the
    best-advance level, degrees; these are the trade's, and ``earlier`` is what earlier days of the engine add.
    ``source``: archive or default; ``frozen_from``: days it was pooled from.
    """

    sd_median: float
    sd_log_sd: float
    k_median: float
    k_log_sd: float
    best_median: float = 30.0
    best_sd: float = 12.0
    source: Literal["archive", "default"] = "default"
    pulls: int = 0
    frozen_from: tuple[str, ...] = ()
    k_slope_sd: float = 0.12  # of ln k per 1000 rpm, around 0
    skew_sd: float = 0.007  # 1/deg, around 0
    earlier: EarlierHill | None = None
    k_expected: float | None = None  # the curvature with the earlier days' say, for reading
