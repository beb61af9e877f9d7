"""What readings are worth: every input of whole sessions moved, and drawn, by numpy.

The library differentiates the chain stage by stage. Here nothing is differentiated: the
poses are turned by SciPy's Rotation and the other inputs shifted, and the whole session
is measured again, by central differences or for random draws.
"""

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from scipy import optimize, stats
from scipy.spatial.transform import Rotation
from wheel_alignment import assess, batch, measure, uncertainty
from wheel_alignment.conformity import Specification, Tolerance
from wheel_alignment.paths import READINGS, position
from wheel_alignment.session import InputUncertainty, PoseNoise
from wheel_alignment.simulate import VirtualVehicle

from ledger import hold

Array = np.ndarray

NOISE = PoseNoise(0.005, 0.05)
INPUTS = InputUncertainty(
    clamp_standoff_mm=0.4, up_deg=0.01, right_cameras=PoseNoise(0.01, 0.2)
)
STAGES = ("rolling", "ahead", "sweep", "lock_left", "lock_right")
WHEELS = ("fl", "fr", "rl", "rr")
DIFFERENCES = "numpy, central differences of whole measurements"
HOW = {
    "allowed": 2e-6,
    "unit": "1",
    "why": "central differences of inputs 1e-5 rad and 0.01 mm apart",
}


@dataclass
class Records:
    """The inputs of many sessions of one car, to be measured in one call."""

    stages: dict[str, Array]
    up: Array
    standoff_mm: Array
    keys: dict[str, Any]

    @classmethod
    def of(cls, session: dict[str, Any], arrays: dict[str, Array], count: int) -> Any:
        """So many copies of a session."""
        stages = {
            stage: np.repeat(arrays[stage][None], count, axis=0)
            for stage in STAGES
            if stage in arrays
        }
        keys = {"loaded_radius_mm": session["loaded_radius_mm"]}
        if "sweep" in stages:
            keys["sweep_wheels_locked"] = session["sweep_wheels_locked"]
        standoffs = [session["clamp_standoff_mm"][wheel] for wheel in WHEELS]
        return cls(
            stages,
            np.tile(session["up"], (count, 1)),
            np.tile(standoffs, (count, 1)),
            keys,
        )

    def places(self) -> list[tuple[str, int | None, int]]:
        """Stage, station and wheel of every pose."""
        return [
            (stage, station, wheel)
            for stage, poses in self.stages.items()
            for station in (range(poses.shape[1]) if poses.ndim == 5 else [None])
            for wheel in range(4)
        ]

    def poses(self, place: tuple[str, int | None, int]) -> Array:
        """All records of one pose, to be written to."""
        stage, station, wheel = place
        poses = self.stages[stage]
        return poses[:, wheel] if station is None else poses[:, station, wheel]

    def read(self) -> Array:
        """Every reading of every record; what is absent is 0."""
        found = batch.measure(
            **self.stages,
            up=self.up,
            clamp_standoff_mm=self.standoff_mm,
            on_error="raise",
            **self.keys,
        )
        columns = np.zeros((len(self.up), len(READINGS)))
        for path in found:
            columns[:, position(path)] = found[path]
        return np.nan_to_num(columns)


def turn(poses: Array, vectors_rad: Array, about_origin: bool = False) -> None:
    """Turn poses about axes of the rig, in place or about the rig's origin."""
    matrices = Rotation.from_rotvec(vectors_rad).as_matrix()
    poses[:, :3, :3] = matrices @ poses[:, :3, :3]
    if about_origin:
        poses[:, :3, 3] = np.einsum("nij,nj->ni", matrices, poses[:, :3, 3])


def lean(up: Array, by_rad: Array) -> Array:
    """Lean `up` about two axes square to it."""
    first = np.cross(up, [0.6, 0.0, 0.8])
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    second = np.cross(up, first)
    leant = Rotation.from_rotvec(first * by_rad[:, :1] + second * by_rad[:, 1:])
    return leant.apply(up)


@dataclass
class Moved:
    """How the readings follow each input, times the input's standard uncertainty."""

    columns: dict[tuple[Any, ...], Array]

    @classmethod
    def of(
        cls,
        session: dict[str, Any],
        arrays: dict[str, Array],
        noise: PoseNoise,
        inputs: InputUncertainty,
    ) -> Any:
        turned = (1e-5, math.radians(noise.rotation_deg))
        shifted = (1e-2, noise.translation_mm)
        probe = Records.of(session, arrays, 1)
        changes: list[tuple[tuple[Any, ...], float, float]] = [
            ((*place, axis), *(turned if axis < 3 else shifted))
            for place in probe.places()
            for axis in range(6)
        ]
        changes += [
            (("up", axis), 1e-5, math.radians(inputs.up_deg)) for axis in (0, 1)
        ]
        changes += [
            (("standoff", wheel), 1e-2, inputs.clamp_standoff_mm) for wheel in range(4)
        ]
        cameras = inputs.right_cameras
        changes += [
            (
                ("right", axis),
                *(
                    (1e-5, math.radians(cameras.rotation_deg))
                    if axis < 3
                    else (1e-2, cameras.translation_mm)
                ),
            )
            for axis in range(6)
        ]
        records = Records.of(session, arrays, 2 * len(changes))
        for index, (name, step, _) in enumerate(changes):
            both = slice(2 * index, 2 * index + 2)
            move(records, both, name, np.array([step, -step]))
        values = records.read()
        return cls(
            {
                name: (values[2 * index] - values[2 * index + 1])
                / (2 * step)
                * deviation
                for index, (name, step, deviation) in enumerate(changes)
            }
        )

    def covariance(self) -> Array:
        jacobian = np.array(list(self.columns.values()))
        return jacobian.T @ jacobian


def move(records: Records, rows: slice, name: tuple[Any, ...], by: Array) -> None:
    """Move one input of some records."""
    kind, axis = name[0], name[-1]
    along = np.zeros((len(by), 3))
    if kind == "up":
        records.up[rows] = lean(records.up[rows], np.outer(by, np.eye(2)[axis]))
    elif kind == "standoff":
        records.standoff_mm[rows, axis] += by
    else:
        along[:, axis % 3] = by
        seen = name[:-1]
        right = kind == "right"
        places = [p for p in records.places() if p[2] in (1, 3)] if right else [seen]
        for place in places:
            poses = records.poses(place)[rows]
            if axis < 3:
                turn(poses, along, about_origin=right)
            else:
                poses[:, :3, 3] += along


def has_direction(path: str) -> bool:
    """What a fit leaves over has none when there is no noise."""
    return "residual" not in path


def given(car: VirtualVehicle) -> tuple[dict[str, Any], dict[str, Array]]:
    session = car.session()
    arrays = {stage: of for stage, of in session.to_arrays().items() if stage in STAGES}
    return session.to_dict() | {
        "pose_noise": {"rotation_deg": 0.005, "translation_mm": 0.05},
        "input_uncertainty": {
            "clamp_standoff_mm": 0.4,
            "up_deg": 0.01,
            "right_cameras": {"rotation_deg": 0.01, "translation_mm": 0.2},
        },
    }, arrays


@pytest.fixture(scope="module", params=range(3))
def moved(request: pytest.FixtureRequest) -> tuple[dict[str, Any], Moved]:
    session, arrays = given(VirtualVehicle.random(request.param))
    return session, Moved.of(session, arrays, NOISE, INPUTS)


def test_covariances(moved: tuple[dict[str, Any], Moved]) -> None:
    session, by_moving = moved
    known = uncertainty.propagate(session)
    expected = by_moving.covariance()
    which = [i for i, path in enumerate(READINGS) if has_direction(path)]
    deviations = np.sqrt(np.diag(expected))
    which = [i for i in which if deviations[i] > 1e-9]
    paths = [READINGS[i] for i in which]
    assert len(paths) > 80
    expected, deviations = expected[np.ix_(which, which)], deviations[which]
    found = np.array([known.standard.get(path) for path in paths])
    hold(
        "uncertainty::propagate",
        against=DIFFERENCES,
        quantity="standard uncertainty of every reading, relative",
        off=found / deviations - 1.0,
        **HOW,
    )
    scale = np.outer(deviations, deviations)
    for what, matrix in (
        (
            "covariance_matrix",
            np.array(known.covariance_matrix())[np.ix_(which, which)],
        ),
        (
            "covariance",
            np.array([[known.covariance(a, b) for b in paths] for a in paths]),
        ),
    ):
        hold(
            f"uncertainty::Uncertainty::{what}",
            against=DIFFERENCES,
            quantity="covariance of any two readings, over both uncertainties",
            off=(matrix - expected) / scale,
            **HOW,
        )
    hold(
        "uncertainty::Uncertainty::correlation",
        against=DIFFERENCES,
        quantity="correlation of any two readings",
        off=np.array([[known.correlation(a, b) for b in paths] for a in paths])
        - expected / scale,
        **HOW,
    )


WATCHED = (
    "wheels.fl.camber_deg",
    "wheels.rr.toe_deg",
    "axles.front.total_toe_deg",
    "axles.front.setback_mm",
    "chassis.thrust_angle_deg",
    "chassis.wheelbase_left_mm",
    "steering.left.caster_deg",
    "steering.right.sai_deg",
    "steering.left.scrub_radius_mm",
)


def test_budgets(moved: tuple[dict[str, Any], Moved]) -> None:
    session, by_moving = moved
    known = uncertainty.propagate(session)
    for path in WATCHED:
        index = position(path)
        variance: dict[Any, float] = {}
        for name, column in by_moving.columns.items():
            kind, square = name[0], column[index] ** 2
            if kind in STAGES:
                wheel = WHEELS[name[2]]
                station = name[1]
                variance[kind, wheel] = variance.get((kind, wheel), 0.0) + square
                at = (kind, station, wheel)
                variance[at] = variance.get(at, 0.0) + square
            else:
                source = {"up": ("up",), "right": ("right_cameras",)}.get(kind)
                source = source or ("clamp_standoff", WHEELS[name[-1]])
                variance[source] = variance.get(source, 0.0) + square
        total = math.sqrt(by_moving.covariance()[index, index])
        for what, budget in (
            ("budget", known.budget(path)),
            ("budget_by_pose", known.budget_by_pose(path)),
        ):
            off = []
            for part in budget:
                source = part.source
                name = (source.kind, source.wheel) if source.wheel else (source.kind,)
                if source.kind == "poses":
                    name = (source.stage, source.wheel)
                    if what == "budget_by_pose":
                        name = (source.stage, source.station, source.wheel)
                off.append(part.standard_uncertainty - math.sqrt(variance[name]))
            hold(
                f"uncertainty::Uncertainty::{what}",
                against=DIFFERENCES,
                quantity="each contribution, over the standard uncertainty",
                off=np.array(off) / total,
                **HOW,
            )


def in_frames() -> VirtualVehicle:
    """Seen in five frames that scatter: their noise is estimated."""
    return replace(VirtualVehicle.random(4), pose_noise=NOISE, frames=5)


def test_expanded_uncertainties() -> None:
    session = in_frames().session().to_dict()
    del session["pose_noise"]
    known = uncertainty.propagate(session)
    for probability in (0.9, 0.95, 0.99):
        tree = known.expanded_tree(probability)
        one, whole = [], []
        for path in READINGS:
            standard = known.standard.get(path)
            if standard is None:
                assert tree.get(path) is None
                continue
            freedom = known.degrees_of_freedom.get(path)
            expanded = known.expanded(path, probability)
            assert expanded is not None
            assert freedom is not None
            tail = (1 + probability) / 2
            factor = (
                stats.t.ppf(tail, math.floor(freedom))
                if math.isfinite(freedom)
                else stats.norm.ppf(tail)
            )
            one += [
                expanded.coverage_factor / factor - 1.0,
                expanded.expanded_uncertainty - factor * standard,
            ]
            whole.append(tree.get(path) - factor * standard)
        assert len(whole) > 90
        for what, off in (("expanded", one), ("expanded_tree", whole)):
            hold(
                f"uncertainty::Uncertainty::{what}",
                against="scipy.stats.t",
                quantity="factor and expanded uncertainty, few degrees of freedom",
                off=off,
                allowed=1e-12,
                unit="1",
                why="a root to 1e-13",
            )


def planned(roll_deg: float, sweep_deg: float) -> tuple[dict[str, Any], dict[str, Any]]:
    """The car that a plan measures, in stations of its own."""
    rear = VirtualVehicle().rear
    front = VirtualVehicle().front
    car = VirtualVehicle(
        roll_deg=np.linspace(-roll_deg / 2, roll_deg / 2, 5),
        sweep_deg=np.linspace(-sweep_deg / 2, sweep_deg / 2, 9),
        front=replace(front, track_mm=1540.0, rolling_radius_mm=308.0),
        rear=replace(rear, track_mm=1540.0, rolling_radius_mm=308.0),
        wheelbase_mm=2620.0,
        lock_deg=None,
    )
    return given(car)


@pytest.mark.parametrize("frames", [1, 4])
def test_plans(frames: int) -> None:
    session, arrays = planned(46.0, 36.0)
    noise = PoseNoise(0.005 / math.sqrt(frames), 0.05 / math.sqrt(frames))
    expected = Moved.of(session, arrays, noise, INPUTS).covariance()
    found = uncertainty.plan(
        roll_range_deg=46.0,
        sweep_range_deg=36.0,
        frames=frames,
        input_uncertainty=INPUTS,
    )
    off = [
        found.get(path) / math.sqrt(expected[i, i]) - 1.0
        for i, path in enumerate(READINGS)
        if has_direction(path) and found.get(path) and expected[i, i] > 1e-18
    ]
    assert len(off) > 80
    hold(
        "uncertainty::plan",
        against=DIFFERENCES,
        quantity="standard uncertainty of every planned reading, relative",
        off=off,
        **HOW,
    )


@pytest.mark.parametrize("frames", [1, 2, 4])
def test_reach(frames: int) -> None:
    """The range at which the plan comes down to the limit, by another root finder."""
    limit_deg, factor = 0.02, 2.0

    def surplus(paths: tuple[str, ...], **ranges: float) -> float:
        tree = uncertainty.plan(frames=frames, **ranges)
        return factor * max(tree.get(path) for path in paths) - limit_deg

    wheels = (
        *(f"wheels.{w}.{a}" for w in WHEELS for a in ("camber_deg", "toe_deg")),
        "chassis.thrust_angle_deg",
    )
    axes = tuple(
        f"steering.{s}.{a}"
        for s in ("left", "right")
        for a in ("caster_deg", "sai_deg")
    )
    roll = optimize.brentq(
        lambda at: surplus(wheels, roll_range_deg=at, sweep_stations=0), 11, 160
    )
    sweep = optimize.brentq(
        lambda at: surplus(axes, roll_range_deg=roll, sweep_range_deg=at), 11, 70
    )
    found = uncertainty.reach(limit_deg, factor, frames=frames)
    hold(
        "uncertainty::reach",
        against="scipy.optimize.brentq of the plan",
        quantity="least roll and least sweep",
        off=[found.roll_range_deg - roll, found.sweep_range_deg - sweep],
        allowed=0.011,
        unit="deg",
        why="it is found to a hundredth of a degree",
    )


@dataclass
class Drawn:
    """Readings of sessions whose inputs numpy drew."""

    values: Array

    @classmethod
    def of(cls, session: dict[str, Any], arrays: dict[str, Array], count: int) -> Any:
        rng = np.random.default_rng(7)
        records = Records.of(session, arrays, count)
        for place in records.places():
            poses = records.poses(place)
            turn(poses, rng.normal(0, math.radians(NOISE.rotation_deg), (count, 3)))
            poses[:, :3, 3] += rng.normal(0, NOISE.translation_mm, (count, 3))
        cameras = INPUTS.right_cameras
        vectors = rng.normal(0, math.radians(cameras.rotation_deg), (count, 3))
        shifts = rng.normal(0, cameras.translation_mm, (count, 3))
        for place in records.places():
            if place[2] in (1, 3):
                turn(records.poses(place), vectors, about_origin=True)
                records.poses(place)[:, :3, 3] += shifts
        records.up = lean(
            records.up, rng.normal(0, math.radians(INPUTS.up_deg), (count, 2))
        )
        records.standoff_mm += rng.normal(0, INPUTS.clamp_standoff_mm, (count, 4))
        return cls(records.read()[:, [position(path) for path in WATCHED]])


def test_trials() -> None:
    session, arrays = given(VirtualVehicle.random(1))
    drawn = Drawn.of(session, arrays, 40_000).values
    seen: list[int] = []
    watched = uncertainty.monte_carlo(
        session, WATCHED, significant_digits=1, progress=seen.append
    )
    assert sum(seen) == watched.simulation.trials
    plain = uncertainty.monte_carlo(session, WATCHED, significant_digits=1)
    assert plain == watched
    deviations = drawn.std(axis=0, ddof=1)
    ends = np.quantile(drawn, [0.025, 0.975], axis=0)
    outputs = watched.simulation.outputs
    for what in ("monte_carlo", "watched_monte_carlo"):
        for quantity, off in (
            (
                "means, over the standard uncertainty",
                ([one.estimate for one in outputs] - drawn.mean(axis=0)) / deviations,
            ),
            (
                "standard uncertainties, relative",
                [one.standard_uncertainty for one in outputs] / deviations - 1.0,
            ),
            (
                "ends of the symmetric intervals of 95 %, over the uncertainty",
                (np.transpose([one.symmetric_interval for one in outputs]) - ends)
                / deviations,
            ),
            (
                "covariances, over both uncertainties",
                (np.array(watched.simulation.covariance) - np.cov(drawn.T))
                / np.outer(deviations, deviations),
            ),
        ):
            hold(
                f"uncertainty::{what}",
                against="numpy, 40 000 draws of whole sessions",
                quantity=quantity,
                off=off,
                allowed=0.06,
                unit="1",
                why="scatter of 40 000 draws, and of the trials",
            )


def test_assessments(moved: tuple[dict[str, Any], Moved]) -> None:
    session, by_moving = moved
    deviations = np.sqrt(np.diag(by_moving.covariance()))
    reading = {path: measure(session).alignment.get(path) for path in WATCHED}
    limits = {
        path: Tolerance(
            min=reading[path] - 1.3 * deviations[position(path)],
            max=reading[path] + 2.1 * deviations[position(path)],
        )
        for path in WATCHED
    }
    known = assess(session, Specification(limits))
    assert known.uncertainty is not None
    assert known.expanded_uncertainty is not None
    assert known.verdicts is not None
    factor = stats.norm.ppf(0.975)
    paths = [
        path
        for path in READINGS
        if has_direction(path) and deviations[position(path)] > 1e-9
    ]
    hold(
        "assessment::assess",
        against=DIFFERENCES + ", scipy.stats.norm",
        quantity="standard and expanded uncertainty of every reading, relative",
        off=[
            [
                known.uncertainty.get(path) / deviations[position(path)] - 1.0,
                known.expanded_uncertainty.get(path)
                / (factor * deviations[position(path)])
                - 1.0,
            ]
            for path in paths
        ],
        **HOW,
    )
    off = []
    for one in known.verdicts.readings:
        spread = stats.norm(
            known.alignment.get(one.path), deviations[position(one.path)]
        )
        inside = spread.cdf(one.limits.max) - spread.cdf(one.limits.min)
        off.append(one.probability_of_conformity - inside)
    assert len(off) == len(WATCHED)
    hold(
        "assessment::assess",
        against=DIFFERENCES + ", scipy.stats.norm",
        quantity="probabilities of conformity",
        off=off,
        **HOW,
    )
