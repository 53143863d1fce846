"""An ignition table at a shop's own breakpoints, fitted to the free curve and nowhere above the ceiling between them."""

import numpy as np

from pullbook.advice.ground import Ground
from pullbook.arrays import Array

DIGITS = 1


def default_breakpoints(lo_rpm: float, hi_rpm: float) -> Array:
    """Every 500 rpm over the tested span, both ends included.

    Parameters
    ----------
    lo_rpm, hi_rpm
        Ends of the tested span.

    Returns
    -------
    Array
        Rpm, rising; inner ones stand at least 150 rpm off the ends.

    Examples
    --------
    >>> default_breakpoints(2300, 3900).tolist()
    [2300.0, 2500.0, 3000.0, 3500.0, 3900.0]
    """
    inner = np.arange(np.ceil(lo_rpm / 500.0) * 500.0, hi_rpm + 1.0, 500.0)
    inner = inner[(inner - lo_rpm >= 150.0) & (hi_rpm - inner >= 150.0)]
    return np.unique(np.concatenate([[lo_rpm], inner, [hi_rpm]]))


def fit_table(ground: Ground, curve: Array, breakpoints: tuple[float, ...]) -> tuple[Array, Array]:
    """Table values whose straight lines between breakpoints follow ``curve``.

    Parameters
    ----------
    ground
        The day's rows and ceiling.
    curve
        Advance wanted per row of ``ground``, ° BTDC.
    breakpoints
        The shop's own, crank rpm; empty: a sensible default.

    Returns
    -------
    (Array, Array)
        Breakpoints in rising order, and delivered advance rounded to 0.1°; NaN at breakpoints outside the rpm in use, about
        which the day says nothing.
    """
    rpm = ground.rpm
    points = np.unique(np.asarray(breakpoints, float)) if breakpoints else default_breakpoints(rpm[0], rpm[-1])
    inside = (points >= rpm[0] - 50.0) & (points <= rpm[-1] + 50.0)
    values = np.full(len(points), np.nan)
    if not inside.any():
        return points, values
    nodes = points[inside]
    weights = _hat_weights(nodes, rpm)
    # a weak pull towards the curve's own value keeps nodes that no row reaches where they belong
    own = np.interp(nodes, rpm, curve)
    system = np.vstack([weights, 0.05 * np.eye(len(nodes))])
    fitted = np.linalg.lstsq(system, np.concatenate([curve, 0.05 * own]), rcond=None)[0]
    limit_at = np.interp(nodes, ground.limit_rpm, ground.limit_deg)
    near = np.abs(ground.limit_rpm[:, None] - nodes) <= 50.0
    limit_at = np.minimum(limit_at, np.where(near, ground.limit_deg[:, None], np.inf).min(axis=0))
    fitted = np.floor(np.minimum(fitted, limit_at) * 10**DIGITS + 1e-6) / 10**DIGITS
    values[inside] = _under(ground, nodes, fitted)
    return points, values


def as_entered(rpm: Array, points: Array, values: Array, free: Array) -> Array:
    """What a table delivers on ``rpm``, (R,): straight between its known points, held beyond them; ``free`` where none is known."""
    known = np.isfinite(values)
    return np.interp(rpm, points[known], values[known]) if known.any() else free


def _hat_weights(nodes: Array, rpm: Array) -> Array:
    """Weights of linear interpolation, (rows, nodes); beyond the first and last node their values are held."""
    eye = np.eye(len(nodes))
    return np.stack([np.interp(rpm, nodes, eye[i]) for i in range(len(nodes))], axis=1)


def _under(ground: Ground, nodes: Array, values: Array) -> Array:
    """Lower nodes in tenths until no row between them is above the ceiling."""
    between = (ground.limit_rpm >= min(nodes[0], ground.rpm[0])) & (ground.limit_rpm <= max(nodes[-1], ground.rpm[-1]))
    weights, limit = _hat_weights(nodes, ground.limit_rpm[between]), ground.limit_deg[between]
    for _ in range(600):
        over = weights @ values - limit
        worst = int(np.argmax(over)) if over.size else 0
        if not over.size or over[worst] <= 1e-9:
            break
        # lower the node that carries most of that row, by what it takes, in whole tenths
        node = int(np.argmax(weights[worst]))
        values[node] = np.floor((values[node] - over[worst] / weights[worst, node]) * 10 + 1e-6) / 10
    return values
