"""The joint method: the core's fit, chosen by the session or by the caller."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from wheel_alignment import assess, measure
from wheel_alignment.joint import Fit
from wheel_alignment.paths import READINGS
from wheel_alignment.uncertainty import propagate

Tree = dict[str, Any]
CAMBER = "wheels.fl.camber_deg"


@pytest.fixture
def joint(session: Tree) -> Tree:
    """The demo session, to be measured by the joint method."""
    return session | {"method": "joint"}


def there(fit: Fit | None) -> Fit:
    """A fit that must be there."""
    assert fit is not None
    return fit


def test_every_number_is_the_programs(
    joint: Tree, program: Callable[..., Tree], session_path: Path, tmp_path: Path
) -> None:
    path = tmp_path / "joint.json"
    path.write_text(json.dumps(joint), encoding="utf-8")
    tree = assess(joint).to_dict()
    assert json.dumps(tree) == json.dumps(program(path))  # the order of keys too
    assert tree == program(session_path, "--method", "joint")
    assert tree["method"] == "joint"


def test_the_fit_holds_every_pose(joint: Tree) -> None:
    fit = there(measure(joint).fit)
    stations = [*joint["rolling"], joint["ahead"], *joint["sweep"]]
    stations += [joint["lock_left"], joint["lock_right"]]
    assert len(fit.poses) == sum(map(len, stations))
    # The noise of the demo is as stated: the mean of a variable with this distribution
    # is its degrees of freedom, its variance twice as much. Any table of chi-squared.
    spread = (2.0 * fit.degrees_of_freedom) ** 0.5
    assert fit.chi_squared == pytest.approx(fit.degrees_of_freedom, abs=4.0 * spread)
    assert fit.p_value is not None
    assert 1e-4 < fit.p_value < 1.0
    assert fit.steps >= 1
    assert {pose.stage for pose in fit.poses} == {
        "rolling",
        "ahead",
        "sweep",
        "lock_left",
        "lock_right",
    }
    for pose in fit.poses:
        assert pose.rotation_deg >= 0.0
        assert pose.translation_mm >= 0.0
        assert not pose.left_out
        assert (pose.station is None) == (
            pose.stage in ("ahead", "lock_left", "lock_right")
        )


def test_the_caller_overrides_the_session(session: Tree, joint: Tree) -> None:
    staged = measure(session)
    fitted = measure(joint)
    assert (staged.method, staged.fit) == ("staged", None)
    assert fitted.method == "joint"
    assert fitted.alignment != staged.alignment
    assert measure(session, method=None) == staged
    assert measure(joint, method=None) == fitted
    del session["method"]
    for own in (session, joint, json.dumps(joint)):
        assert measure(own, method="joint") == fitted
        assert measure(own, method="staged") == staged
    assert joint["method"] == "joint"
    assert assess(session, method="joint") == assess(joint)
    assert propagate(session, method="joint").measurement == fitted
    assert propagate(joint, method="staged").measurement == staged


def test_a_method_that_is_none_is_refused(session: Tree) -> None:
    wrong: Any
    for call in (measure, assess, propagate):
        for wrong in ("both", ""):
            with pytest.raises(ValueError, match="method: unknown variant"):
                call(session, method=wrong)
        for wrong in (1, b"joint", ["joint"]):
            with pytest.raises(TypeError, match="method: "):
                call(session, method=wrong)


def test_every_reading_has_its_uncertainty_and_it_is_less(
    session: Tree, joint: Tree
) -> None:
    staged, known = propagate(session), propagate(joint)
    assert known.measurement.method == "joint"
    for path in READINGS:
        reading, standard = (
            known.measurement.alignment.get(path),
            known.standard.get(path),
        )
        assert (reading is None) == (standard is None), path
    for path in (CAMBER, "wheels.rr.toe_deg", "steering.left.caster_deg"):
        of_staged, of_joint = staged.standard.get(path), known.standard.get(path)
        assert of_staged is not None
        assert of_joint is not None
        assert of_joint < of_staged, path
    assessment = assess(joint)
    assert assessment.uncertainty == known.standard
    assert assessment.expanded_uncertainty == known.expanded_tree()


def test_a_spoiled_pose_is_named_and_left_out(joint: Tree) -> None:
    sound = measure(joint)
    joint["sweep"][3]["fl"]["translation_mm"][0] += 5.0
    joint["joint"] = {"robust": True}
    result = measure(joint)
    fit = there(result.fit)
    assert [(p.stage, p.station, p.wheel) for p in fit.poses if p.left_out] == [
        ("sweep", 3, "fl")
    ]
    (out,) = (pose for pose in fit.poses if pose.left_out)
    assert out.translation_mm == pytest.approx(5.0, abs=0.5)
    assert out.standardised > 10.0
    assert out.p_value is not None
    assert out.p_value < 1e-6
    warned = [w for w in result.warnings if w.code == "pose_left_out"]
    assert [(w.number, w.stage, w.station, w.wheel) for w in warned] == [
        (21, "sweep", 3, "fl")
    ]
    caster = result.alignment.steering.left.caster_deg
    assert caster == pytest.approx(sound.alignment.steering.left.caster_deg, abs=0.02)


def test_a_spoiled_pose_makes_the_fit_poor(joint: Tree) -> None:
    joint["sweep"][3]["fl"]["translation_mm"][0] += 5.0
    fit = there(measure(joint).fit)
    assert fit.p_value is not None
    assert fit.p_value < 1e-4
    worst = max(fit.poses, key=lambda pose: pose.standardised)
    assert (worst.stage, worst.station, worst.wheel) == ("sweep", 3, "fl")
    assert not worst.left_out
