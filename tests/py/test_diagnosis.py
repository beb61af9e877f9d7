"""Hints: the core's, from faults that Python gives the virtual vehicle."""

from __future__ import annotations

import copy
import dataclasses
import json
import math
import pickle
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import wheel_alignment as wa
from wheel_alignment import Alignment, diagnosis, measure, uncertainty
from wheel_alignment.conformity import Specification, Tolerance
from wheel_alignment.diagnosis import Cause, Evidence, Hint, NormalTolerances, diagnose
from wheel_alignment.session import PoseNoise
from wheel_alignment.simulate import (
    PIVOT_HEIGHTS_MM,
    AxleShift,
    BentKnuckle,
    BentSteeringArm,
    ClampSlip,
    DeadCamera,
    Faults,
    ShiftedPivot,
    VirtualVehicle,
)

CONTRACT = json.loads(
    (
        Path(__file__).resolve().parents[2] / "alignment-core" / "contract.json"
    ).read_text(encoding="utf-8")
)
SWEEP = tuple(range(-24, 25, 6))
"""So far that either wheel stands at 20° when it is the inner one."""


def faulty(**faults: Any) -> VirtualVehicle:
    return VirtualVehicle(faults=Faults(**faults), sweep_deg=SWEEP)


def aims() -> Specification:
    """What the default car was built to."""
    car = VirtualVehicle()

    def about(nominal: float, off: float) -> Tolerance:
        return Tolerance(nominal=nominal, minus=off, plus=off)

    return Specification(
        {
            "wheels.{fl,fr}.camber_deg": about(car.front.left.camber_deg, 0.5),
            "wheels.{rl,rr}.camber_deg": about(car.rear.left.camber_deg, 0.5),
            "steering.{left,right}.sai_deg": about(car.front.left.sai_deg, 0.5),
            "steering.{left,right}.caster_deg": about(4.15, 0.5),
        }
    )


PROVOKED: list[tuple[dict[str, Any], str, str | None, str | None]] = [
    (
        {"bent_knuckles": [BentKnuckle("fl", camber_deg=-1.5)]},
        "bent_knuckle",
        None,
        "fl",
    ),
    (
        {"shifted_pivots": [ShiftedPivot("fr", "upper", left_mm=18.0)]},
        "shifted_pivot",
        None,
        "fr",
    ),
    ({"shifted_subframe": AxleShift(left_mm=15.0)}, "shifted_subframe", None, None),
    (
        {"shifted_pivots": [ShiftedPivot("fr", "lower", forward_mm=-20.0)]},
        "pushed_back_wheel",
        "fr",
        "fr",
    ),
    (
        {"bent_steering_arms": [BentSteeringArm("fl", 0.06)]},
        "bent_steering_arm",
        None,
        None,
    ),
    (
        {"bent_knuckles": [BentKnuckle("rr", camber_deg=1.3)]},
        "bent_rear_stub_axle",
        None,
        "rr",
    ),
    ({"shifted_rear_axle": AxleShift(turn_deg=0.6)}, "shifted_rear_axle", None, None),
]


@pytest.mark.parametrize(("faults", "cause", "alone", "by_aims"), PROVOKED)
def test_a_fault_provokes_its_hint(
    faults: dict[str, Any], cause: str, alone: str | None, by_aims: str | None
) -> None:
    readings = measure(faulty(**faults).session()).alignment
    (hint,) = diagnose(readings, specification=aims())
    assert (hint.cause, hint.wheel) == (cause, by_aims)
    assert Cause(hint.number).name == hint.cause
    (hint,) = diagnose(readings)
    # Of a subframe that went sideways one side alone does not show that both did.
    assert hint.cause == ("shifted_pivot" if cause == "shifted_subframe" else cause)
    assert hint.wheel == alone
    assert str(hint) == hint.message
    assert " may " in hint.message
    assert "no verdict" in hint.message
    assert isinstance(hint.evidence[0], Evidence)
    assert hint.evidence[0].stands_out
    assert all(one.path in hint.message for one in hint.evidence)


def test_the_causes_are_those_of_the_contract() -> None:
    rows = [(row["number"], row["name"]) for row in CONTRACT["causes"]]
    assert [(int(cause), cause.name) for cause in Cause] == rows
    assert {cause for _, cause, _, _ in PROVOKED} == {cause.name for cause in Cause}


def test_the_defaults_are_the_cores() -> None:
    bent = measure(faulty(**PROVOKED[0][0]).session()).alignment
    # None stands for what the core has.
    by_default = json.loads(
        wa._native.diagnose(list(bent.values()), None, None, {})  # type: ignore[attr-defined]
    )
    (hint,) = diagnose(bent)
    assert [one["tolerance"] for one in by_default[0]["evidence"]] == [
        one.tolerance for one in hint.evidence
    ]
    assert NormalTolerances().coverage_factor == 2.0
    assert VirtualVehicle().faults == Faults()
    assert PIVOT_HEIGHTS_MM == (200.0, 800.0)


def test_the_uncertainty_is_that_of_the_difference() -> None:
    noise = PoseNoise(0.005, 0.05)
    car = dataclasses.replace(faulty(**PROVOKED[0][0]), pose_noise=noise)
    known = uncertainty.propagate(car.session())
    readings, covariance = known.measurement.alignment, known.covariance_matrix()
    (hint,) = diagnose(readings, covariance=covariance)
    left, right = (f"steering.{side}.included_angle_deg" for side in ("left", "right"))
    variance = sum(
        sign * (known.covariance(one, other) or math.nan)
        for sign, one, other in ((1, left, left), (1, right, right), (-2, left, right))
    )
    first = hint.evidence[0]
    assert first.standard_uncertainty == pytest.approx(math.sqrt(variance), rel=1e-12)
    assert diagnose(readings)[0].evidence[0].standard_uncertainty is None
    factor = (0.6 / math.sqrt(variance)) ** 2
    unknown = np.array(covariance) * factor
    assert diagnose(readings, covariance=unknown) == ()
    bold = NormalTolerances(coverage_factor=0.0)
    assert len(diagnose(readings, covariance=unknown, tolerances=bold)) == 1


def test_a_hint_is_a_value() -> None:
    (hint,) = diagnose(measure(faulty(**PROVOKED[3][0]).session()).alignment)
    assert isinstance(hint, Hint)
    assert pickle.loads(pickle.dumps(hint)) == copy.deepcopy(hint) == hint
    assert hash(hint) == hash(copy.copy(hint))


def test_a_dead_camera_and_a_slipped_clamp_are_no_fault_of_the_car() -> None:
    for camera in (
        DeadCamera("fl"),
        DeadCamera("rr", "ahead"),
        DeadCamera("fr", "sweep", 3, onward=False),
        DeadCamera("rl", "lock_left"),
    ):
        car = faulty(dead_cameras=[camera])
        session = car.session()
        assert diagnose(measure(session).alignment) == ()
        tree = session.to_dict()
        stage: Any = tree.get(camera.stage)
        seen = stage[camera.station] if isinstance(stage, list) else stage
        assert seen.get(camera.wheel) is None
        assert car.truth() == faulty().truth()
    slip = ClampSlip("sweep", 4, True, "fl", 1.0)
    slipped = dataclasses.replace(
        faulty(), slips=[slip], pose_noise=PoseNoise(0.005, 0.05)
    )
    codes = {warning.code for warning in measure(slipped.session()).warnings}
    assert "target_slipped_from" in codes


@pytest.mark.parametrize(
    ("given", "kind", "words"),
    [
        ({"readings": {}}, TypeError, "readings is Alignment"),
        ({"covariance": np.eye(3)}, ValueError, "115 rows of 115"),
        ({"covariance": np.eye(115)[:, :3]}, ValueError, "115 rows of 115"),
        ({"covariance": -np.eye(115)}, wa.NotACovarianceError, "covariance"),
        ({"covariance": np.eye(115) * math.nan}, wa.NotFiniteError, "covariance"),
        ({"covariance": "none"}, TypeError, "covariance"),
        ({"tolerances": NormalTolerances(sai_deg=-1.0)}, wa.OutOfRangeError, "sai_deg"),
        (
            {"tolerances": NormalTolerances(setback_mm=math.nan)},
            wa.NotFiniteError,
            "setback_mm",
        ),
        ({"tolerances": "wide"}, (TypeError, ValueError), "wide"),
        ({"specification": "{}"}, wa.NotASpecificationError, "format"),
        (
            {"specification": Specification({"no.such_deg": Tolerance(max=1.0)})},
            wa.UnknownReadingError,
            "no.such_deg",
        ),
    ],
)
def test_what_cannot_be_judged_is_refused(
    given: dict[str, Any], kind: Any, words: str
) -> None:
    arguments: dict[str, Any] = {"readings": VirtualVehicle().truth(), **given}
    with pytest.raises(kind, match=words):
        diagnosis.diagnose(**arguments)


def test_a_reading_that_is_no_number_is_refused_by_its_path() -> None:
    values: list[float | None] = [None] * wa.paths.COUNT
    assert diagnose(Alignment.from_values(values)) == ()
    values[wa.paths.position("chassis.axle_offset_mm")] = math.nan
    with pytest.raises(wa.NotFiniteError, match=r"chassis\.axle_offset_mm"):
        diagnose(Alignment.from_values(values))


@pytest.mark.parametrize(
    ("faults", "words"),
    [
        ({"bent_knuckles": (BentKnuckle("lf"),)}, "bent_knuckles"),  # type: ignore[arg-type]
        ({"shifted_pivots": (ShiftedPivot("fl", "middle"),)}, "end"),  # type: ignore[arg-type]
        ({"dead_cameras": (DeadCamera("fl", "wash"),)}, "stage"),  # type: ignore[arg-type]
        ({"shifted_subframe": AxleShift(turn_deg="far")}, "turn_deg"),  # type: ignore[arg-type]
    ],
)
def test_what_is_no_fault_is_refused(faults: dict[str, Any], words: str) -> None:
    with pytest.raises((ValueError, TypeError), match=words):
        faulty(**faults).session()
