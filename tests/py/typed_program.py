"""A user's program, for a type checker: nothing here runs.

An ignored error that no longer is one fails the check.
"""

# pyright: strict, reportUnnecessaryTypeIgnoreComment=true

from pathlib import Path
from typing import Literal, TypeAlias

import numpy as np
import pandas
import polars
import pyarrow
import wheel_alignment
from matplotlib.axes import Axes
from numpy.typing import NDArray
from typing_extensions import assert_type
from wheel_alignment import (
    Measurement,
    compensation,
    conformity,
    gauge,
    joint,
    measure,
    paths,
    propagation,
    session,
    steering,
    sweep,
    uncertainty,
    units,
    wheel,
)
from wheel_alignment.error import Warning

Array: TypeAlias = NDArray[np.float64]
Codes: TypeAlias = NDArray[np.int32]

result = measure(Path("session.json"))
assert_type(result, Measurement)
assert_type(result.alignment.wheels.fl.camber_deg, float | None)
assert_type(result.alignment.wheels.rr.centre_mm, tuple[float, float, float] | None)
assert_type(result.alignment.steering.left.caster_deg, float | None)
assert_type(result.alignment.turns.left_turn.toe_out_deg, float | None)
assert_type(result.warnings, tuple[Warning, ...])
assert_type(result.warnings[0].value, float | None)
assert_type(result.reference.turn.angle_deg, float)
residual = result.residuals.rolling[0].fl
assert_type(residual, compensation.Residual | None)
assert_type(result.fit, joint.Fit | None)

measure({"format": "alignment-session/1"})
measure("{}", method="joint")
measure("{}", method="both")  # type: ignore[arg-type]
measure("{}", "joint")  # type: ignore[call-arg]
measure(42)  # type: ignore[arg-type]
result.alignment.wheels.fl.camber_deg = 0.0  # type: ignore[misc]
print(result.alignment.wheels.fl.camber)  # type: ignore[attr-defined]

known = wheel_alignment.assess(Path("session.json"), {"limits": {}})
assert_type(known, wheel_alignment.Assessment)
assert_type(known.alignment.wheels.fl.camber_deg, float | None)
assert_type(known.uncertainty, wheel_alignment.Alignment | None)
assert_type(known.verdicts, conformity.Verdicts | None)
propagated = uncertainty.propagate("{}")
assert_type(propagated.standard, wheel_alignment.Alignment)
assert_type(propagated.measurement, Measurement)
assert_type(propagated.expanded("path"), propagation.Expanded | None)
assert_type(propagated.budget("path")[0].source.wheel, str | None)
propagated.standard = known.alignment  # type: ignore[misc]
assert_type(paths.READINGS, tuple[str, ...])

assert_type(known.to_pandas(), pandas.DataFrame)
assert_type(propagated.to_polars(), polars.DataFrame)
assert_type(propagated.to_arrow(), pyarrow.Table)
assert_type(propagated.budget("path"), uncertainty.Budget)
assert_type(propagated.budget("path")[1:], tuple[uncertainty.Contribution, ...])
assert_type(known.to_dict(), dict[str, object])
assert_type(wheel_alignment.Assessment.from_dict({}), wheel_alignment.Assessment)
assert_type(result.plot(), Axes)
assert_type(result.alignment.plot(exaggeration=10), Axes)
result.plot(10)  # type: ignore[call-arg]
swept = sweep.follow(Path("session.json"), method="joint")
assert_type(swept, sweep.Sweep)
assert_type(swept.plot(), tuple[Axes, Axes, Axes])
assert_type(swept.left.stations[0].residual, compensation.Residual | None)

noise = session.PoseNoise(rotation_deg=0.01, translation_mm=0.1)
planned = uncertainty.plan(frames=4, pose_noise=noise)
assert_type(planned, wheel_alignment.Alignment)
assert_type(uncertainty.reach(0.02, frames=4).roll_range_deg, float | None)
uncertainty.plan(colour=1)  # type: ignore[call-arg]
uncertainty.plan(frames="4")  # type: ignore[arg-type]
conformity.judge(0.0, conformity.Limits(0, 1), rule="x")  # type: ignore[arg-type]

try:
    measure("{}")
except wheel_alignment.RollTooSmallError as error:
    assert_type(error.stage, str | None)
    assert_type(error.value, float | None)
    assert_type(error.code, int)
except wheel_alignment.NotASessionError as error:
    assert_type(error.path, str)

# Plain formulas: numbers give numbers, arrays give arrays.
toe_deg = np.array([0.1, 0.2])
assert_type(wheel.toe_length_mm(0.1, reference_diameter_mm=416), float)
assert_type(wheel.toe_length_mm(toe_deg, reference_diameter_mm=416), Array)
assert_type(wheel.toe_length_mm([0.1, 0.2], reference_diameter_mm=416), Array)
assert_type(wheel.side_slip_mm_per_m(0.1, on_error="codes"), tuple[float, int])
assert_type(wheel.side_slip_mm_per_m(toe_deg, on_error="codes"), tuple[Array, Codes])
assert_type(wheel.camber_deg((0.0, 1.0, 0.0)), float)
assert_type(wheel.camber_deg([[0.0, 1.0, 0.0]]), Array)
direction = steering.axis_direction(side="left", caster_deg=5, sai_deg=12)
assert_type(direction, tuple[float, float, float])
assert_type(steering.caster_deg(direction), float)
assert_type(steering.sai_deg([direction] * 2, side=["left", "right"]), Array)
positions = [gauge.GaugePosition(yaw_deg, 0.0) for yaw_deg in (-20.0, 0.0, 20.0)]
assert_type(gauge.axis_from_cambers(positions, side="left").caster_deg, float)
assert_type(units.degrees_minutes_from_deg(toe_deg).minutes, Array)
assert_type(propagation.coverage_factor(0.95, degrees_of_freedom=4), float)
assert_type(paths.unit("wheels.fl.camber_deg"), Literal["deg", "mm", "1"])
wheel.toe_length_mm("0.1", reference_diameter_mm=416)  # type: ignore[arg-type]
wheel.toe_length_mm(0.1, 416)  # type: ignore[call-overload]
wheel.toe_deg(direction, side="Left")  # type: ignore[arg-type]
