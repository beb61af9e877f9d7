"""What readings are worth: `assess`, `propagate`, `plan`, `reach`, `monte_carlo`."""

import json
import math
import statistics
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import pytest
import wheel_alignment
from wheel_alignment import Alignment, Assessment, Measurement, assess, measure
from wheel_alignment.conformity import judge_all
from wheel_alignment.paths import READINGS
from wheel_alignment.uncertainty import Source, monte_carlo, plan, propagate, reach

Tree = dict[str, Any]
CAMBER = "wheels.fl.camber_deg"
CASTER = "steering.left.caster_deg"


def number(value: float | None) -> float:
    """A reading that must be there."""
    assert value is not None
    return value


def tree(value: Alignment | None) -> Alignment:
    """A tree that must be there."""
    assert value is not None
    return value


def estimated(session: Tree) -> Tree:
    """The session with three frames at each station that scatter by 0.05 mm."""
    rng = np.random.default_rng(1)
    del session["pose_noise"]
    stations = [*session["rolling"], *session["sweep"]]
    for station in [
        *stations,
        *(session[k] for k in ("ahead", "lock_left", "lock_right")),
    ]:
        for wheel, pose in station.items():
            station[wheel] = [
                pose | {"translation_mm": rng.normal(pose["translation_mm"], 0.05)}
                for _ in range(3)
            ]
    return session


def test_paths_reach_every_reading(session: Tree, program_tree: Tree) -> None:
    alignment = measure(session).alignment
    assert len(READINGS) == len(set(READINGS)) > 100
    for path in READINGS:
        names, _, index = path.partition("[")
        value = program_tree["alignment"]
        for name in names.split("."):
            value = value[name]
        if index and value is not None:
            value = value[int(index[0])]
        assert alignment.get(path) == value, path
    empty = plan(sweep_stations=0)
    assert empty.get("steering.left.axis_direction[2]") is None
    with pytest.raises(wheel_alignment.UnknownReadingError) as caught:
        alignment.get("wheels.fl.centre_mm")
    assert caught.value.path == "wheels.fl.centre_mm"
    assert str(caught.value).startswith("wheels.fl.centre_mm: ")


def test_an_assessment_is_a_measurement_and_more(
    session: Tree, specification: Tree
) -> None:
    known = assess(session, specification)
    measured = measure(session)
    assert isinstance(known, Measurement)
    for field in Measurement.__dataclass_fields__:
        assert getattr(known, field) == getattr(measured, field)
    propagated = propagate(session)
    assert propagated.measurement == measured
    assert known.uncertainty == propagated.standard
    assert known.degrees_of_freedom == propagated.degrees_of_freedom
    assert known.expanded_uncertainty == propagated.expanded_tree(0.95)
    assert known.verdicts == judge_all(
        known.alignment,
        specification,
        standard_uncertainty=known.uncertainty,
        degrees_of_freedom=known.degrees_of_freedom,
    )
    assert assess(session).verdicts is None


def test_what_is_present_has_an_uncertainty(session: Tree) -> None:
    del session["lock_left"]
    known = assess(session)
    for path in READINGS:
        absent = known.alignment.get(path) is None
        for of in (known.uncertainty, known.expanded_uncertainty):
            assert (tree(of).get(path) is None) == absent, path
        # The noise is stated, and so taken as known.
        freedom = tree(known.degrees_of_freedom).get(path)
        assert freedom == (None if absent else math.inf), path


def test_to_dict_is_json(session: Tree, specification: Tree) -> None:
    known = assess(session, specification)
    made = known.to_dict()
    assert list(made)[:2] == ["alignment", "reference"]
    assert list(made)[-4:] == [
        "uncertainty",
        "degrees_of_freedom",
        "expanded_uncertainty",
        "verdicts",
    ]
    text = json.dumps(made, allow_nan=False)
    assert json.loads(text) == made
    freedom: Any = made["degrees_of_freedom"]
    assert freedom["wheels"]["fl"]["camber_deg"] is None


def test_without_noise_nothing_is_known_of_it(
    session: Tree, specification: Tree
) -> None:
    del session["pose_noise"]
    known = assess(session, specification)
    assert known.uncertainty is None
    assert known.degrees_of_freedom is None
    assert known.expanded_uncertainty is None
    assert known.verdicts is not None
    rules = {reading.rule for reading in known.verdicts.readings}
    assert rules == {"simple_acceptance"}
    assert "±" not in repr(known)
    with pytest.raises(wheel_alignment.MissingInputError) as caught:
        propagate(session)
    assert caught.value.input == "pose_noise"
    assert caught.value.stage is not None
    assert caught.value.wheel is not None


def test_each_form_gives_the_same(
    session: Tree,
    session_text: str,
    session_path: Path,
    specification: Tree,
    specification_path: Path,
) -> None:
    expected = assess(session, specification)
    text = specification_path.read_text(encoding="utf-8")
    assert assess(session_text, text) == expected
    assert assess(session_path, specification_path) == expected
    assert (
        assess(MappingProxyType(session), MappingProxyType(specification)) == expected
    )
    session["pose_noise"] = {k: np.float64(v) for k, v in session["pose_noise"].items()}
    assert assess(session, json.dumps(specification)) == expected


def test_repr_shows_what_readings_are_worth(session: Tree, specification: Tree) -> None:
    known = assess(session, specification)
    camber_deg = number(known.alignment.wheels.fl.camber_deg)
    expanded_deg = number(tree(known.expanded_uncertainty).wheels.fl.camber_deg)
    assert 0.01 < expanded_deg < 0.1
    shown = f"fl {camber_deg:+.3f} ± {expanded_deg:.3f}"
    assert shown in repr(known)
    assert "verdicts         does_not_conform: axles.front.setback_mm" in repr(known)
    assert shown in repr(propagate(session))
    assert repr(propagate(session)).startswith("<Uncertainty\n")


def test_coverage_factors_are_those_of_the_normal_distribution(session: Tree) -> None:
    # Python's own statistics.NormalDist.
    known = propagate(session)
    standard = number(known.standard.get(CASTER))
    for probability in (0.5, 0.95, 0.99):
        factor = statistics.NormalDist().inv_cdf(0.5 + probability / 2)
        expanded = known.expanded(CASTER, probability)
        assert expanded is not None
        assert expanded.coverage_factor == pytest.approx(factor, rel=1e-12)
        assert expanded.expanded_uncertainty == pytest.approx(factor * standard)
        whole = known.expanded_tree(probability).get(CASTER)
        assert whole == expanded.expanded_uncertainty
    with pytest.raises(wheel_alignment.OutOfRangeError) as caught:
        known.expanded(CASTER, 1.5)
    assert (caught.value.input, caught.value.value) == ("probability", 1.5)


def test_noise_estimated_from_frames_has_few_degrees_of_freedom(session: Tree) -> None:
    # What is known beside the poses has endless degrees of freedom, and lends them.
    alone = {key: value for key, value in session.items() if key != "input_uncertainty"}
    known = propagate(estimated(alone))
    freedom = number(known.degrees_of_freedom.get("axles.front.track_mm"))
    # Each pose has 3·(3 - 1) for its translation; several of them share a reading.
    assert 6.0 <= freedom < 1000.0
    expanded = known.expanded("axles.front.track_mm")
    assert expanded is not None
    assert expanded.coverage_factor > statistics.NormalDist().inv_cdf(0.975)


def test_a_budget_adds_up_to_the_whole(session: Tree) -> None:
    session["input_uncertainty"] = {"up_deg": 0.01, "clamp_standoff_mm": 0.5}
    known = propagate(session)
    for path in READINGS:
        standard = known.standard.get(path)
        for budget in (known.budget(path), known.budget_by_pose(path)):
            if not standard:
                assert len(budget) == 0
                continue
            assert sum(part.share for part in budget) == pytest.approx(1, abs=1e-12)
            squares = sum(part.standard_uncertainty**2 for part in budget)
            # Together the small parts of a sum that nearly cancels lose digits.
            assert math.sqrt(squares) == pytest.approx(standard, rel=1e-6), path
            shares = [part.share for part in budget]
            assert shares == sorted(shares, reverse=True)
    sources = {part.source.kind for part in known.budget(CAMBER)}
    assert {"poses", "up"} <= sources
    up = next(p.source for p in known.budget(CAMBER) if p.source.kind == "up")
    assert up == Source("up")
    poses = [p.source for p in known.budget(CASTER) if p.source.kind == "poses"]
    assert poses[0] == Source("poses", "sweep", None, "fl")
    by_pose = known.budget_by_pose(CASTER)[1].source
    assert (by_pose.stage, by_pose.wheel) == ("sweep", "fl")
    assert by_pose.station in range(len(session["sweep"]))
    clamps = {p.source for p in known.budget("steering.left.scrub_radius_mm")}
    assert Source("clamp_standoff", wheel="fl") in clamps


def test_covariances_carry_over_to_sums(session: Tree) -> None:
    # JCGM 102:2011: of a difference, u² is the sum of both less twice the covariance.
    known = propagate(session)
    left, right = "wheels.rl.camber_deg", "wheels.rr.camber_deg"
    covariance = number(known.covariance(left, right))
    squares = [number(known.standard.get(path)) ** 2 for path in (left, right)]
    cross = number(known.standard.get("axles.rear.cross_camber_deg"))
    assert cross**2 == pytest.approx(sum(squares) - 2 * covariance, rel=1e-6)
    correlation = number(known.correlation(left, right))
    assert correlation == pytest.approx(covariance / math.sqrt(math.prod(squares)))
    matrix = np.array(known.covariance_matrix())
    assert matrix.shape == (len(READINGS), len(READINGS))
    assert matrix[READINGS.index(left), READINGS.index(right)] == covariance
    np.testing.assert_allclose(matrix, matrix.T, rtol=1e-9, atol=1e-15)
    for i, path in enumerate(READINGS):
        standard = known.standard.get(path) or 0.0
        assert math.sqrt(max(matrix[i, i], 0.0)) == pytest.approx(standard), path


def test_paths_that_are_no_readings_are_named(session: Tree) -> None:
    known = propagate(session)
    calls: list[Callable[[], object]] = [
        lambda: known.expanded("wheels.fl.camber"),
        lambda: known.budget("wheels.fl.camber"),
        lambda: known.budget_by_pose("wheels.fl.camber"),
        lambda: known.covariance(CAMBER, "wheels.fl.camber"),
        lambda: known.correlation("wheels.fl.camber", CAMBER),
        lambda: monte_carlo(session, [CAMBER, "wheels.fl.camber"]),
    ]
    for call in calls:
        with pytest.raises(wheel_alignment.UnknownReadingError) as caught:
            call()
        assert caught.value.path == "wheels.fl.camber"


def same(one: Alignment, other: Alignment) -> None:
    """Both trees hold the same but for rounding."""
    for path in READINGS:
        value, expected = one.get(path), other.get(path)
        if expected is None:
            assert value is None, path
        else:
            assert value == pytest.approx(expected, rel=1e-9), path


def test_noise_may_be_a_covariance(session: Tree) -> None:
    expected = propagate(session).standard
    noise = session["pose_noise"]
    deviations = [noise["rotation_deg"]] * 3 + [noise["translation_mm"]] * 3
    covariance = np.diag(deviations) ** 2
    session["pose_noise"] = {"covariance": covariance}
    same(propagate(session).standard, expected)
    session["pose_noise"] = {"covariance": covariance.tolist()}
    same(propagate(json.dumps(session)).standard, expected)
    del session["pose_noise"]
    stations = [*session["rolling"], *session["sweep"]]
    for station in [
        *stations,
        *(session[k] for k in ("ahead", "lock_left", "lock_right")),
    ]:
        for pose in station.values():
            pose["covariance"] = covariance
    same(propagate(session).standard, expected)


def test_what_the_rig_does_not_know_adds_to_it(session: Tree) -> None:
    before = number(propagate(session).standard.get(CAMBER))
    session["input_uncertainty"] = {"up_deg": 0.05}
    after = number(propagate(session).standard.get(CAMBER))
    # Camber follows up one to one: the squares add.
    assert after == pytest.approx(math.hypot(before, 0.05), rel=0.01)


@pytest.mark.parametrize("where", ["pose_noise", "pose"])
def test_what_is_no_covariance_is_named(session: Tree, where: str) -> None:
    covariance = np.diag([1e-5] * 3 + [1e-3] * 3)
    holder = {"covariance": covariance}
    if where == "pose":
        session["rolling"][1]["fl"] |= holder
    else:
        session["pose_noise"] = holder
    propagate(session)
    covariance[0, 1] = 1e-6
    for call in (measure, assess, propagate):
        with pytest.raises(wheel_alignment.NotACovarianceError) as caught:
            call(session)
        error = caught.value
        if where == "pose":
            assert (error.stage, error.station, error.wheel) == ("rolling", 1, "fl")
    # The eigenvalues of [[1, 2], [2, 1]] are 3 and -1.
    covariance[:2, :2] = [[1e-5, 2e-5], [2e-5, 1e-5]]
    with pytest.raises(wheel_alignment.NotACovarianceError):
        propagate(session)
    covariance[:2, :2] = [[1e-5, math.nan], [math.nan, 1e-5]]
    with pytest.raises(wheel_alignment.NotFiniteError) as not_finite:
        propagate(session)
    if where == "pose":
        assert not_finite.value.station == 1
    holder["covariance"] = covariance[:5]
    session["rolling"][1]["fl"] |= holder
    with pytest.raises(wheel_alignment.NotASessionError) as no_session:
        propagate(session)
    assert no_session.value.path.startswith(("rolling[1].fl", "pose_noise"))


@pytest.mark.parametrize(
    ("noise", "path"),
    [
        ({"rotation_deg": 0.01}, "pose_noise"),
        ({"covariance": [[0.0] * 6] * 6, "rotation_deg": 0.01}, "pose_noise"),
        ([0.01, 0.1], "pose_noise"),
    ],
)
def test_a_noise_in_neither_form_is_refused(
    session: Tree, noise: object, path: str
) -> None:
    session["pose_noise"] = noise
    for form in (session, json.dumps(session)):
        with pytest.raises(wheel_alignment.NotASessionError) as caught:
            assess(form)
        assert caught.value.path == path


def test_an_input_uncertainty_that_is_none_is_named(session: Tree) -> None:
    session["input_uncertainty"] = {"up": 0.01}
    with pytest.raises(wheel_alignment.NotASessionError) as caught:
        assess(session)
    assert caught.value.path == "input_uncertainty.up"
    session["input_uncertainty"] = {"up_deg": math.inf}
    with pytest.raises(wheel_alignment.NotFiniteError) as not_finite:
        assess(session)
    assert str(not_finite.value.input).endswith("up_deg")


def test_a_plan_is_worth_what_measurements_scatter() -> None:
    # What a thousand simulated measurements scatter (README, one standard deviation,
    # the worst of all wheels or both sides). Such a figure is itself known to some 2 %.
    standard = plan()
    for path, scatter in {
        "wheels.fl.camber_deg": 0.0088,
        "wheels.rl.toe_to_centreline_deg": 0.0089,
        "wheels.fl.toe_deg": 0.0106,
        "chassis.thrust_angle_deg": 0.0062,
        "axles.front.setback_deg": 0.0047,
        "steering.left.caster_deg": 0.0077,
        "steering.left.sai_deg": 0.0075,
        "chassis.wheelbase_left_mm": 0.125,
        "axles.rear.track_mm": 0.073,
        "wheels.fl.rolling_radius_mm": 0.497,
    }.items():
        assert standard.get(path) == pytest.approx(scatter, rel=0.08), path
    free = number(plan(sweep_wheels_locked=False).steering.left.sai_deg)
    assert free == pytest.approx(0.0764, rel=0.08)


def test_a_plan_has_the_defaults_of_its_docs() -> None:
    assert plan() == plan(
        pose_noise={"rotation_deg": 0.005, "translation_mm": 0.05},
        frames=1,
        compensation="rolled",
        roll_range_deg=54,
        roll_stations=5,
        sweep_range_deg=40,
        sweep_stations=9,
        sweep_wheels_locked=True,
        input_uncertainty={},
        method="staged",
        wheelbase_mm=2620,
        track_mm=1540,
        rolling_radius_mm=308,
    )
    # One fit tells more of the spindles.
    assert number(plan(method="joint").get(CAMBER)) < 0.85 * number(plan().get(CAMBER))
    # The mean of four frames scatters by half.
    for path in (CAMBER, CASTER):
        half = number(plan(frames=4).get(path))
        assert half == pytest.approx(number(plan().get(path)) / 2, rel=1e-6)


def test_reach_is_the_inverse_of_a_plan() -> None:
    found = reach(0.02, 2.0, frames=2)
    roll, sweep = number(found.roll_range_deg), number(found.sweep_range_deg)
    standard = plan(frames=2, roll_range_deg=roll, sweep_range_deg=sweep)
    wheels = [getattr(standard.wheels, wheel) for wheel in ("fl", "fr", "rl", "rr")]
    of_wheels = [2 * of for wheel in wheels for of in (wheel.camber_deg, wheel.toe_deg)]
    assert max(of_wheels) == pytest.approx(found.wheels_expanded_deg, rel=1e-6)
    assert 0.0199 < found.wheels_expanded_deg <= 0.02
    axes = (standard.steering.left, standard.steering.right)
    of_axes = [2 * number(of) for a in axes for of in (a.caster_deg, a.sai_deg)]
    assert max(of_axes) == pytest.approx(number(found.steering_expanded_deg), rel=1e-6)
    assert number(found.steering_expanded_deg) <= 0.02
    never = reach(0.0001)
    assert never.roll_range_deg is None
    assert never.wheels_expanded_deg > 0.0001
    assert reach(0.02, sweep_stations=0).sweep_range_deg is None


def test_plans_that_no_measurement_has_are_refused() -> None:
    with pytest.raises(wheel_alignment.OutOfRangeError) as caught:
        plan(roll_range_deg=5)
    error = caught.value
    assert (error.input, error.value) == ("roll_range_deg", 5.0)
    assert number(error.minimum) > 5.0
    for number_of in ({"frames": 0}, {"frames": -1}):
        with pytest.raises(wheel_alignment.OutOfRangeError) as caught:
            plan(**number_of)  # type: ignore[arg-type]
        assert caught.value.input == "frames"
    with pytest.raises(wheel_alignment.LengthOutOfRangeError):
        plan(track_mm=1)
    with pytest.raises(wheel_alignment.NotFiniteError) as not_finite:
        plan(pose_noise={"rotation_deg": math.nan, "translation_mm": 0.05})
    assert not_finite.value.input == "pose_noise.rotation_deg"
    with pytest.raises(wheel_alignment.OutOfRangeError) as caught:
        reach(-1.0)
    assert caught.value.input == "expanded_uncertainty_deg"
    with pytest.raises(TypeError, match="unknown field `colour`"):
        plan(colour=1)  # type: ignore[call-arg]
    with pytest.raises(TypeError, match="frames: invalid type"):
        reach(0.02, frames=1.5)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="compensation: unknown variant"):
        plan(compensation="pushed")


def test_trials_agree_with_the_law(session: Tree) -> None:
    paths = [CAMBER, CASTER]
    with ThreadPoolExecutor(2) as pool:
        runs = [
            pool.submit(monte_carlo, session, of, significant_digits=1, seed=7)
            for of in (paths, CAMBER)
        ]
        trials, alone = (run.result() for run in runs)
    assert trials.paths == tuple(paths)
    known = propagate(session)
    for path, simulated, agreement in zip(
        paths, trials.simulation.outputs, trials.agreement, strict=True
    ):
        # A standard deviation from n values is known to 1/√(2·n) of itself.
        standard = number(known.standard.get(path))
        assert simulated.standard_uncertainty == pytest.approx(standard, rel=0.02)
        low, high = simulated.symmetric_interval
        assert low < simulated.estimate < high
        assert agreement.agrees
        assert max(agreement.low, agreement.high) <= agreement.tolerance
    assert trials.simulation.trials >= 100_000
    assert trials.simulation.probability == 0.95
    covariance = np.array(trials.simulation.covariance)
    deviations = [output.standard_uncertainty for output in trials.simulation.outputs]
    np.testing.assert_allclose(np.sqrt(np.diag(covariance)), deviations)
    # Same seed, same trials; one path may stand alone.
    assert alone.paths == (CAMBER,)
    assert alone.simulation.outputs[0] == trials.simulation.outputs[0]


def test_trials_that_do_not_settle_are_refused(session: Tree) -> None:
    with pytest.raises(wheel_alignment.NotSettledError) as caught:
        monte_carlo(session, [CAMBER], significant_digits=4, most_trials=100_000)
    assert (caught.value.input, caught.value.value) == ("most_trials", 100_000.0)


@pytest.mark.parametrize(
    "settings",
    [{"significant_digits": 0}, {"most_trials": 10}, {"probability": 2}, {"seed": -1}],
    ids=str,
)
def test_settings_that_no_run_has_are_refused(session: Tree, settings: Tree) -> None:
    with pytest.raises(wheel_alignment.OutOfRangeError) as caught:
        monte_carlo(session, [CAMBER], **settings)
    assert [caught.value.input] == list(settings)


def test_a_reading_that_is_absent_has_no_trials(session: Tree) -> None:
    del session["sweep"]
    with pytest.raises(wheel_alignment.MissingInputError) as caught:
        monte_carlo(session, [CASTER])
    assert caught.value.input == CASTER


def test_other_arguments_are_a_type_error(session: Tree) -> None:
    nothing: Any = None
    for call in (assess, propagate):
        with pytest.raises(TypeError, match="a session is a mapping"):
            call(nothing)
    with pytest.raises(TypeError, match="a session is a mapping"):
        monte_carlo(nothing, [CAMBER])
    with pytest.raises(TypeError, match="a specification is a mapping"):
        assess(session, 1)  # type: ignore[arg-type]


def test_every_thread_gets_the_same(session: Tree) -> None:
    expected: Assessment = assess(session)
    known = propagate(session)
    budget = known.budget(CAMBER)
    with ThreadPoolExecutor(4) as pool:
        assert all(found == expected for found in pool.map(assess, [session] * 16))
        assert all(found == budget for found in pool.map(known.budget, [CAMBER] * 16))
