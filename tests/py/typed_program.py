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

measure({"format": "alignment-session/1"})
measure(42)  # type: ignore[arg-type]
result.alignment.wheels.fl.camber_deg = 0.0  # type: ignore[misc]
print(result.alignment.wheels.fl.camber)  # type: ignore[attr-defined]

try:
    measure("{}")
except wheel_alignment.RollTooSmallError as error:
    assert_type(error.stage, str | None)
    assert_type(error.value, float | None)
    assert_type(error.code, int)
except wheel_alignment.NotASessionError as error:
    assert_type(error.path, str)
