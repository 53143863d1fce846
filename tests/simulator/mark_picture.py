"""A drawn picture of a damper mark under the light, for the sample day's folder."""

from pathlib import Path

import numpy as np


def draw_mark(path: Path, *, light_reads: float) -> None:
    """Draw the damper's scale against the pointer as a PNG of about 20 kB.

    Parameters
    ----------
    path
        Where to; ends in .png.
    light_reads
        Degrees on the scale under the pointer.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6, 4), dpi=110, facecolor="#3a3d40")
    FigureCanvasAgg(figure)
    ax = figure.add_axes((0, 0, 1, 1))
    ax.set(xlim=(-3, 3), ylim=(7.6, 11.6))
    ax.axis("off")
    turn = np.radians(np.linspace(40, 140, 400))
    ax.fill_between(10 * np.cos(turn), 0, 10 * np.sin(turn), color="#74787c")
    ax.fill_between(9.2 * np.cos(turn), 0, 9.2 * np.sin(turn), color="#5b5f63")
    for degree in range(0, 61, 2):
        # the scale is a tenth wider than life, so that it can be read
        angle = np.radians(90 + (degree - light_reads) * 1.1)
        long = degree % 10 == 0
        inner = 9.25 if long else 9.6
        ax.plot(
            [inner * np.cos(angle), 10 * np.cos(angle)],
            [inner * np.sin(angle), 10 * np.sin(angle)],
            color="#f2f2ec",
            lw=2.2 if long else 1.2,
        )
        if long:
            ax.text(9.0 * np.cos(angle), 9.0 * np.sin(angle), str(degree), color="#f2f2ec", ha="center", va="top", fontsize=13,
                    rotation=float(np.degrees(angle) - 90), clip_on=True)  # fmt: skip
    ax.fill([-0.12, 0.12, 0], [11.2, 11.2, 10.05], color="#d8dadc")
    ax.text(0.2, 10.75, f"{light_reads:g} at 4000, soft springs", color="#d8dadc", fontsize=12, va="center")
    figure.savefig(path, metadata={"Software": None})
