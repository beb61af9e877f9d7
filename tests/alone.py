"""The package alone with what it asks for: run in an environment that holds no more.

What comes with numpy works; what needs another package says which one is missing.
"""

import importlib.metadata
import json
from pathlib import Path

import numpy as np
import wheel_alignment
from wheel_alignment import batch

TOOLS = {"pip", "setuptools", "wheel"}
DEMO = Path(__file__).resolve().parents[1] / "examples" / "pulling-car.json"


def main() -> None:
    """Check what is installed, measure, and ask for what needs more."""
    found = importlib.metadata.distributions()
    names = {one.name.replace("-", "_") for one in found}
    assert names - TOOLS == {"numpy", "wheel_alignment"}, names

    session = json.loads(DEMO.read_text(encoding="utf-8"))
    alone = wheel_alignment.measure(session).alignment

    def poses(station: dict[str, dict[str, list[object]]]) -> np.ndarray:
        """Stack the poses of a station as 4×4 matrices."""
        matrices = np.zeros((4, 4, 4))
        matrices[:, 3, 3] = 1.0
        for matrix, wheel in zip(matrices, ("fl", "fr", "rl", "rr"), strict=True):
            matrix[:3, :3] = station[wheel]["rotation"]
            matrix[:3, 3] = station[wheel]["translation_mm"]
        return matrices

    readings = batch.measure(
        rolling=np.array([[poses(station) for station in session["rolling"]]]),
        ahead=poses(session["ahead"])[None],
        sweep=np.array([[poses(station) for station in session["sweep"]]]),
        sweep_wheels_locked=True,
        up=session["up"],
        clamp_standoff_mm=session["clamp_standoff_mm"],
        loaded_radius_mm=session["loaded_radius_mm"],
    )
    assert readings["wheels.fl.camber_deg"].tolist() == [alone.wheels.fl.camber_deg]

    for missing in ("pandas", "polars", "pyarrow"):
        method = "to_arrow" if missing == "pyarrow" else f"to_{missing}"
        try:
            getattr(readings, method)()
        except ImportError as error:
            assert missing in str(error), error
        else:
            raise AssertionError(f"{method} without {missing}")
    print("The package works with numpy alone.")


if __name__ == "__main__":
    main()
