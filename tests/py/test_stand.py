"""Stands in Python: every form of requirements, results that come back, clear faults."""

import json
import pickle
from pathlib import Path

import numpy as np
import pytest
import wheel_alignment as wa
from conftest import ROOT
from wheel_alignment import Pose, stand
from wheel_alignment.session import PoseCovariance, PoseNoise
from wheel_alignment.simulate import VirtualVehicle
from wheel_alignment.stand import (
    GroundLine,
    PlacedStand,
    ReferencePoint,
    Required,
    StandAssessment,
    StandReadings,
    StandRequirements,
)

PATH = ROOT / "examples" / "demo_stand.json"
SESSION = VirtualVehicle(pose_noise=PoseNoise(0.005, 0.05)).session()
SEEN = Pose.from_rotation_vector_rad([0, 0, 0.02], [4100, 30, 900])


def test_requirements_are_taken_in_every_form() -> None:
    text = PATH.read_text()
    made = wa.json.stand_requirements_from_json(text)
    forms = [PATH, text, json.loads(text), made]
    found = [stand.assess(SESSION, PlacedStand(SEEN), form) for form in forms]
    assert all(one == found[0] for one in found)
    assert found[0].requirements == made
    assert made.required.yaw_deg == Required(0.0, 0.2, 0.2)


def test_an_assessment_comes_back() -> None:
    wanted = StandRequirements(reference=ReferencePoint((2700, 0, 0)))
    for noise in (None, PoseNoise(0.01, 0.2)):
        found = stand.assess(SESSION, PlacedStand(SEEN, noise), wanted)
        assert pickle.loads(pickle.dumps(found)) == found
        assert StandAssessment.from_dict(found.to_dict()) == found
        assert found.requirements.reference == ReferencePoint((2700.0, 0.0, 0.0))
        assert (found.standard_uncertainty is None) == (noise is None)


def test_a_noise_is_either_of_two_kinds() -> None:
    level = Pose(np.eye(3), [4100, 30, 900])
    alike = PlacedStand.from_target(level, level, PoseNoise(0.01, 0.2))
    rows = np.diag([1e-4] * 3 + [0.04] * 3).tolist()
    by_covariance = PoseCovariance(tuple(map(tuple, rows)))
    for one, other in zip(
        np.ravel(alike.noise.covariance),
        np.ravel(PlacedStand.from_target(level, level, by_covariance).noise.covariance),
        strict=True,
    ):
        assert one == pytest.approx(other, rel=1e-12, abs=1e-18)
    # The stand lies 4.2 m from the rig: a turn of 0.01° shifts it by 0.73 mm.
    for noise in (PoseNoise(0.01, 0.2), by_covariance):
        riding = np.array(PlacedStand.from_rig(level, noise).noise.covariance)
        arm = np.linalg.norm(level.translation_mm)
        shifts = 3 * 0.2**2 + 2 * (arm * np.radians(0.01)) ** 2
        assert np.trace(riding[3:, 3:]) == pytest.approx(shifts, rel=1e-12)


def test_faults_are_named() -> None:
    here = PlacedStand(SEEN)
    with pytest.raises(wa.NotASpecificationError, match=r"required\.yaw") as caught:
        stand.assess(
            SESSION, here, {"format": "alignment-stand/1", "required": {"yaw": 1}}
        )
    assert caught.value.path.startswith("required")
    two = {"point_mm": [2700, 0, 0], "rear_axle": None}
    wanted = {"format": "alignment-stand/1", "required": {}, "reference": two}
    for given in (wanted, json.dumps(wanted)):
        with pytest.raises(wa.NotASpecificationError, match="reference"):
            stand.assess(SESSION, here, given)
    with pytest.raises(TypeError, match="PlacedStand"):
        stand.assess(SESSION, SEEN, PATH)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=r"ground_mm: shape \(N, 3\)"):
        stand.assess(SESSION, here, PATH, ground_mm=[1.0, 2.0])
    with pytest.raises(wa.TooFewStationsError, match="ground_mm"):
        stand.assess(SESSION, here, PATH, ground_mm=[[0, 0, 0]])
    line = stand.assess(SESSION, here, PATH).ground_line
    with pytest.raises(wa.AngleOutOfRangeError, match="rig_from_stand"):
        line.readings(Pose.from_rotation_vector_rad([0, np.pi / 2, 0], [0, 0, 0]))
    with pytest.raises(ValueError, match="one pose"):
        line.readings(np.stack([np.eye(4)] * 2))
    level = StandReadings(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    with pytest.raises(wa.NotFiniteError, match="pivot_mm"):
        stand.moves(level, PATH, pivot_mm=[0, 0, float("nan")])
    with pytest.raises(TypeError, match="reference"):
        GroundLine.from_live(
            wa.live.Tracker(SESSION).readings(),
            reference=[1, 2, 3],  # type: ignore[arg-type]
        )


def test_requirements_are_written_as_they_are_read(tmp_path: Path) -> None:
    written = wa.json.stand_requirements_to_json(PATH)
    path = tmp_path / "stand.json"
    path.write_text(written)
    assert wa.json.stand_requirements_to_json(path) == written
    assert "lateral_offset_mm" in wa.json.stand_requirements_schema()
