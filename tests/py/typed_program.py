"""A user's program, for a type checker: nothing here runs.

An ignored error that no longer is one fails the check.
"""

from pathlib import Path

import wheel_alignment
from typing_extensions import assert_type  # noqa: UP035 (typing has it from 3.11 on)
from wheel_alignment import Measurement, Warning, measure

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
assert_type(residual, wheel_alignment.Residual | None)
assert_type(result.fit, wheel_alignment.Fit | None)

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
assert_type(known.verdicts, wheel_alignment.Verdicts | None)
propagated = wheel_alignment.propagate("{}")
assert_type(propagated.standard, wheel_alignment.Alignment)
assert_type(propagated.measurement, Measurement)
assert_type(propagated.expanded("path"), wheel_alignment.Expanded | None)
assert_type(propagated.budget("path")[0].source.wheel, str | None)
propagated.standard = known.alignment  # type: ignore[misc]
assert_type(wheel_alignment.READINGS, tuple[str, ...])

noise: wheel_alignment.PoseNoise = {"rotation_deg": 0.01, "translation_mm": 0.1}
planned = wheel_alignment.plan(frames=4, pose_noise=noise)
assert_type(planned, wheel_alignment.Alignment)
assert_type(wheel_alignment.reach(0.02, frames=4).roll_range_deg, float | None)
wheel_alignment.plan(colour=1)  # type: ignore[call-arg]
wheel_alignment.plan(frames="4")  # type: ignore[arg-type]
wheel_alignment.judge(0.0, wheel_alignment.Limits(0, 1), rule="x")  # type: ignore[arg-type]

try:
    measure("{}")
except wheel_alignment.RollTooSmallError as error:
    assert_type(error.stage, str | None)
    assert_type(error.value, float | None)
    assert_type(error.code, int)
except wheel_alignment.NotASessionError as error:
    assert_type(error.path, str)
