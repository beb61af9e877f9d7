"""Draws the picture of the README: the demo car from above, values and their worth.

`python examples/plan_view.py` writes `examples/plan_view.svg`; the car is invented.
"""

from pathlib import Path

import matplotlib
import wheel_alignment

HERE = Path(__file__).parent


def draw(path: Path) -> None:
    """Draw the picture as a file, the same each time."""
    with matplotlib.rc_context({"svg.hashsalt": "plan view"}):
        ax = wheel_alignment.assess(HERE / "pulling-car.json").plot()
        ax.figure.savefig(path, metadata={"Date": None, "Creator": None})


if __name__ == "__main__":
    draw(HERE / "plan_view.svg")
