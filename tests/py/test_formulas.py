"""Plain formulas: numbers and arrays, broadcast as NumPy does, errors by place."""

import dataclasses
import json
import math
import pickle
import struct
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pytest
import wheel_alignment
from wheel_alignment import (
    ByWheel,
    gauge,
    propagation,
    steering,
    turns,
    tyre,
    units,
    vehicle,
    wheel,
)
from wheel_alignment.adjustment import TaperedShim
from wheel_alignment.gauge import AxisAngles, GaugePosition, PitchPosition
from wheel_alignment.units import DegreesMinutes

Tree = dict[str, Any]

NAN = math.nan


def test_numbers_give_numbers() -> None:
    number: Any
    spindle: Any
    plain = wheel.toe_length_mm(0.33, reference_diameter_mm=416)
    assert type(plain) is float
    for number in (np.float64(0.33), np.float32(0.5), Decimal("0.33")):
        value = wheel.toe_length_mm(number, reference_diameter_mm=416)
        assert type(value) is float
        assert value == plain or number == np.float32(0.5)
    for spindle in ((0.0, 1.0, 0.0), [0, 1, 0], [np.float32(0), 1, Decimal(0)]):
        assert type(wheel.camber_deg(spindle)) is float
    centre = wheel.contact_centre_mm(
        centre_mm=(0, 700, 300), spindle=(0, 1, 0), loaded_radius_mm=300
    )
    assert centre == (0.0, 700.0, 0.0)
    assert all(type(number) is float for number in centre)


def test_arrays_give_arrays() -> None:
    for toe_deg in (np.array(0.33), np.array([0.33]), [0.33], np.zeros((2, 0, 3))):
        found = wheel.toe_length_mm(toe_deg, reference_diameter_mm=416.0)
        assert isinstance(found, np.ndarray)
        assert found.dtype == np.float64
        assert found.shape == np.shape(toe_deg)
    assert wheel.camber_deg(np.array([0.0, 1.0, 0.0])).shape == ()
    assert wheel.camber_deg(np.zeros((0, 3))).shape == (0,)
    assert steering.axis_direction(
        side="left", caster_deg=np.zeros((4, 1)), sai_deg=np.zeros(5)
    ).shape == (4, 5, 3)


def test_arguments_broadcast() -> None:
    toe = np.linspace(-1.0, 1.0, 4)[:, None]
    diameter = np.array([350.0, 416.0, 600.0])
    found = wheel.toe_length_mm(toe, reference_diameter_mm=diameter)
    assert found.shape == (4, 3)
    for i, j in np.ndindex(4, 3):
        one = wheel.toe_length_mm(
            float(toe[i, 0]), reference_diameter_mm=float(diameter[j])
        )
        assert found[i, j] == one
    with pytest.raises(ValueError, match="broadcast"):
        wheel.toe_length_mm(np.zeros(4), reference_diameter_mm=diameter)


def test_vectors_are_the_last_axis() -> None:
    rng = np.random.default_rng(1)
    spindles = rng.normal(size=(6, 1, 3))
    spindles /= np.linalg.norm(spindles, axis=-1, keepdims=True)
    sides = np.array(["left", "right"])
    found = wheel.toe_deg(spindles, side=sides)
    assert found.shape == (6, 2)
    for i, j in np.ndindex(6, 2):
        assert found[i, j] == wheel.toe_deg(
            spindles[i, 0].tolist(),
            side="left" if j == 0 else "right",
        )
    radius = np.full((6, 2), 300.0)
    assert wheel.contact_centre_mm(
        centre_mm=np.zeros(3), spindle=spindles, loaded_radius_mm=radius
    ).shape == (6, 2, 3)
    wrong: list[Any] = [np.zeros(4), np.zeros((3, 2)), 1.0, [1.0, 2.0], [[1.0] * 4]]
    for vectors in wrong:
        with pytest.raises(ValueError, match="spindle has the shape"):
            wheel.camber_deg(vectors)


def test_any_layout_and_type_will_do() -> None:
    toe = np.linspace(-1.0, 1.0, 24).reshape(2, 3, 4)
    expected = wheel.side_slip_mm_per_m(toe)
    shifted = bytearray(b"x" + toe.tobytes())
    for given in (
        np.asfortranarray(toe),
        toe.astype(toe.dtype.newbyteorder()),
        np.ndarray(toe.shape, np.float64, shifted, offset=1),  # not aligned
    ):
        assert np.array_equal(wheel.side_slip_mm_per_m(given), expected)
    backward = wheel.side_slip_mm_per_m(toe[::-1, :, ::2])
    assert np.array_equal(backward, expected[::-1, :, ::2])
    single = toe.astype(np.float32)
    assert np.array_equal(
        wheel.side_slip_mm_per_m(single),
        wheel.side_slip_mm_per_m(single.astype(np.float64)),
    )
    whole = np.arange(-3, 4)
    assert np.array_equal(
        wheel.side_slip_mm_per_m(whole), wheel.side_slip_mm_per_m(whole * 1.0)
    )
    toe.flags.writeable = False
    assert np.array_equal(wheel.side_slip_mm_per_m(toe), expected)


def test_the_first_error_has_its_place() -> None:
    toe = np.zeros((3, 4))
    toe[1, 2], toe[2, 0] = 46.0, NAN
    with pytest.raises(wheel_alignment.AngleOutOfRangeError) as caught:
        wheel.toe_length_mm(toe, reference_diameter_mm=416.0)
    error = caught.value
    assert error.index == (1, 2)
    assert (error.input, error.value, error.maximum) == ("toe_deg", 46.0, 45.0)
    assert str(error).startswith("[1, 2] toe_deg: ")
    assert vars(pickle.loads(pickle.dumps(error))) == vars(error)
    with pytest.raises(wheel_alignment.NotFiniteError) as alone:
        wheel.side_slip_mm_per_m(NAN)
    assert alone.value.index == ()
    assert str(alone.value).startswith("angle_deg: ")
    with pytest.raises(wheel_alignment.NotUnitLengthError) as of_vectors:
        wheel.camber_deg([[0.0, 1.0, 0.0], [0.0, 2.0, 0.0]])
    assert of_vectors.value.index == (1,)


def test_errors_may_come_as_codes() -> None:
    toe = np.array([[0.33, NAN], [46.0, -0.33]])
    values, codes = wheel.toe_length_mm(
        toe, reference_diameter_mm=416.0, on_error="codes"
    )
    assert codes.dtype == np.int32
    assert codes.tolist() == [[0, -1], [-6, 0]]
    assert np.isnan(values).tolist() == (codes != 0).tolist()
    assert values[0, 0] == wheel.toe_length_mm(0.33, reference_diameter_mm=416.0)
    vectors, codes = steering.axis_direction(
        side="left", caster_deg=[5.0, 81.0], sai_deg=12.0, on_error="codes"
    )
    assert codes.tolist() == [0, -6]
    assert np.isnan(vectors).tolist() == [[False] * 3, [True] * 3]
    value, code = wheel.side_slip_mm_per_m(46.0, on_error="codes")
    assert math.isnan(value)
    assert code == wheel_alignment.ErrorCode.angle_out_of_range
    assert wheel.side_slip_mm_per_m(0.0, on_error="codes") == (0.0, 0)
    with pytest.raises(ValueError, match="on_error is 'raise' or 'codes'"):
        wheel.side_slip_mm_per_m(0.0, on_error="ignore")  # type: ignore[call-overload]


@pytest.mark.parametrize(
    "thing",
    [None, "0.33", 1j, [None], ["0.33"], [1j], [True], b"1", object(), [Decimal(1)]],
    ids=repr,
)
def test_what_is_no_number_is_refused(thing: Any) -> None:
    with pytest.raises(TypeError):
        wheel.side_slip_mm_per_m(thing)
    with pytest.raises(TypeError):
        wheel.camber_deg([0.0, 1.0, thing])


def test_an_integer_past_all_floats_is_not_finite() -> None:
    with pytest.raises(wheel_alignment.NotFiniteError):
        wheel.side_slip_mm_per_m(10**400)


def test_a_side_is_left_or_right() -> None:
    sides: Any
    pair: Tree = {"toe_to_centreline_deg": 0.25, "thrust_angle_deg": 0.1}
    for sides in (["left", "right"], ("left", "right"), np.array(["left", "right"])):
        found = vehicle.toe_to_thrust_line_deg(side=sides, **pair)
        assert found.round(9).tolist() == [0.15, 0.35]
    wrong: list[Any] = ["Left", "", ["left", "middle"], None, 0, b"left", [0, 1]]
    for side in wrong:
        with pytest.raises(ValueError, match="side is 'left' or 'right', not "):
            vehicle.toe_to_thrust_line_deg(side=side, **pair)


def test_degrees_and_minutes() -> None:
    angle = units.degrees_minutes_from_deg(-1.0 - 5.0 / 60.0)
    assert angle == DegreesMinutes(True, 1.0, 5.0)
    assert str(angle) == "-1°05′"
    assert angle.negative is True
    angles = np.array([[-0.2, 13.999], [0.0, -0.001]])
    split = units.degrees_minutes_from_deg(angles)
    assert split.negative.tolist() == [[True, False], [False, False]]  # type: ignore[union-attr]
    assert split.degrees.tolist() == [[0.0, 14.0], [0.0, 0.0]]
    assert split.minutes.tolist() == [[12.0, 0.0], [0.0, 0.0]]
    assert "DegreesMinutes" in str(split)
    joined = units.deg_from_degrees_minutes(split)
    assert joined.tolist() == [[-0.2, 14.0], [0.0, 0.0]]
    mixed: DegreesMinutes[Any] = DegreesMinutes(True, [0.0, 1.0], 30.0)
    assert units.deg_from_degrees_minutes(mixed).tolist() == [-0.5, -1.5]
    with pytest.raises(TypeError, match="angle is a DegreesMinutes"):
        units.deg_from_degrees_minutes(1.5)  # type: ignore[call-overload]


def test_positions_may_hold_arrays() -> None:
    axis: AxisAngles[Any] = AxisAngles(
        np.array([[3.0], [5.0]]), np.array([8.0, 12.0, 14.0])
    )
    sides: tuple[Literal["left", "right"], ...] = ("left", "right")
    for side in sides:
        yaws = (-20.0, 1.0, 20.0)
        ahead = GaugePosition(0.5, -0.5)
        read: list[GaugePosition[Any]] = [
            GaugePosition(
                yaw_deg,
                gauge.camber_at_yaw_deg(
                    side=side, axis=axis, ahead=ahead, yaw_deg=yaw_deg
                ),
            )
            for yaw_deg in yaws
        ]
        found = gauge.axis_from_cambers(read, side=side)
        assert found.caster_deg.shape == (2, 3)
        np.testing.assert_allclose(found.caster_deg, [[3.0] * 3, [5.0] * 3], atol=1e-10)
        np.testing.assert_allclose(found.sai_deg, [[8.0, 12.0, 14.0]] * 2, atol=1e-10)
        level = PitchPosition(0.0, 0.0)
        pitched: list[PitchPosition[Any]] = [
            PitchPosition(
                azimuth_deg,
                gauge.pitch_at_azimuth_deg(
                    side=side, axis=axis, ahead=level, azimuth_deg=azimuth_deg
                ),
            )
            for azimuth_deg in yaws
        ]
        again = gauge.axis_from_pitches(pitched, side=side)
        np.testing.assert_allclose(again.sai_deg, [[8.0, 12.0, 14.0]] * 2, atol=1e-10)
    angles, codes = gauge.axis_from_cambers(
        [GaugePosition(yaw, 0.0) for yaw in (0.0, 1.0, 2.0)],
        side="left",
        on_error="codes",
    )
    assert (math.isnan(angles.caster_deg), codes) == (True, -12)
    with pytest.raises(ValueError, match="positions are three, not 2"):
        gauge.axis_from_cambers(read[:2], side="left")
    with pytest.raises(TypeError, match=r"positions\[0\] is of type GaugePosition"):
        gauge.axis_from_cambers(pitched, side="left")  # type: ignore[arg-type]


def test_a_ride_height_is_named_by_its_wheel() -> None:
    heights: ByWheel[Any] = ByWheel(
        np.array([15.0, 15.0]), 15.0, 30.0, np.array([30.0, 6000.0])
    )
    with pytest.raises(wheel_alignment.LengthOutOfRangeError) as caught:
        steering.body_attitude_deg(heights, wheelbase_mm=2730.0, track_mm=1500.0)
    assert (caught.value.index, caught.value.wheel) == ((1,), "rr")
    (pitch, roll), codes = steering.body_attitude_deg(
        heights, wheelbase_mm=2730.0, track_mm=1500.0, on_error="codes"
    )
    assert codes.tolist() == [0, -5]
    assert pitch[0] == pytest.approx(0.3148, abs=1e-4)
    assert roll[0] == 0.0


def test_shares_may_be_arrays() -> None:
    of = propagation.effective_degrees_of_freedom
    assert of([]) == math.inf
    pairs = np.array([[[1.0, 4.0], [1.0, 4.0]], [[1.0, 4.0], [1.0, math.inf]]])
    assert of(pairs).tolist() == [8.0, 16.0]
    assert of(pairs.tolist()).tolist() == [8.0, 16.0]
    with pytest.raises(wheel_alignment.OutOfRangeError) as caught:
        of([(1.0, 0.5)])
    assert caught.value.index == ()
    wrong: Any
    for wrong in (1.0, [1.0, 4.0], [[1.0, 2.0, 3.0]]):
        with pytest.raises(ValueError, match="shares"):
            of(wrong)


def test_digits_are_whole() -> None:
    of = propagation.numerical_tolerance
    assert of([0.0314, 0.5], significant_digits=np.array([2, 1])).tolist() == [
        pytest.approx(0.0005),
        pytest.approx(0.05),
    ]
    assert of(0.0314, significant_digits=np.int64(2)) == pytest.approx(0.0005)
    for digits in (0, 5, -1, 10**12):
        with pytest.raises(wheel_alignment.OutOfRangeError) as caught:
            of(0.0314, significant_digits=digits)
        assert caught.value.input == "significant_digits"
        assert caught.value.value == digits
    wrong: list[Any] = [2.0, "2", None, [2.0], np.float64(2)]
    for thing in wrong:
        with pytest.raises(TypeError):
            of(0.0314, significant_digits=thing)


def test_a_tyre_size_is_read() -> None:
    size = tyre.size_from_code("225/40 ZR18 (92Y)")
    assert size.section_height_mm == 90.0
    assert size.overall_diameter_mm == pytest.approx(637.2)
    with pytest.raises(wheel_alignment.NotATyreSizeError) as caught:
        tyre.size_from_code("205/155R16")
    error = caught.value
    assert (error.input, error.value, error.maximum) == ("aspect ratio", 155.0, 100.0)


def test_ackermann_is_its_own_inverse() -> None:
    rng = np.random.default_rng(2)
    inner = rng.uniform(1.0, 60.0, 1000)
    car: Tree = {
        "axis_distance_mm": rng.uniform(1200.0, 1800.0, 1000),
        "wheelbase_mm": rng.uniform(2000.0, 4000.0, 1000),
    }
    outer = turns.ackermann_outer_deg(inner, **car)
    np.testing.assert_allclose(turns.ackermann_inner_deg(outer, **car), inner)
    ideal = turns.ackermann_percent_by_toe_out(inner_deg=inner, outer_deg=outer, **car)
    np.testing.assert_allclose(ideal, np.full(1000, 100.0))
    ideal = turns.ackermann_percent_by_cotangents(
        inner_deg=inner, outer_deg=outer, **car
    )
    np.testing.assert_allclose(ideal, np.full(1000, 100.0))


def test_every_thread_gets_the_same() -> None:
    toe = np.linspace(-45.0, 45.0, 200_000)
    expected = wheel.side_slip_mm_per_m(toe)
    with ThreadPoolExecutor(4) as pool:
        for found in pool.map(wheel.side_slip_mm_per_m, [toe] * 8):
            assert np.array_equal(found, expected)


def test_numbers_alone_need_no_numpy() -> None:
    program = (
        "import sys; from wheel_alignment import wheel, steering; "
        "axis = steering.axis_direction(side='left', caster_deg=5, sai_deg=12); "
        "steering.caster_deg(axis); wheel.toe_length_mm(1, reference_diameter_mm=400); "
        "print('numpy' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "False"


ROOT = Path(__file__).resolve().parents[2]
VECTORS: dict[str, list[tuple[str, str | int]]] = json.loads(
    (ROOT / "tests" / "vectors" / "formulas.json").read_text(encoding="utf-8")
)
PARAMETERS = {
    row["name"]: row["parameters"]
    for row in json.loads(
        (ROOT / "alignment-core" / "contract.json").read_text(encoding="utf-8")
    )["functions"]
}


def from_bits(words: str) -> list[float]:
    """Return the numbers of which these are the bits."""
    return [
        NAN if word == "nan" else struct.unpack(">d", bytes.fromhex(word))[0]
        for word in words.split()
    ]


def to_bits(numbers: Any) -> str:
    """Return the bits of numbers."""
    packed = (
        "nan" if math.isnan(number) else struct.pack(">d", number).hex()
        for number in numbers
    )
    return " ".join(packed)


def taken(path: str, row: list[Any]) -> Tree:
    """Return the arguments of a formula, from numbers or columns one after the other."""
    rest = iter(row)
    pitched = path in ("gauge::axis_from_pitches", "gauge::pitch_at_azimuth_deg")
    position: Any = PitchPosition if pitched else GaugePosition

    def take(name: str) -> Any:
        if name == "side":
            sides = np.where(np.asarray(next(rest)) > 0.0, "right", "left")
            return sides if sides.shape else str(sides)
        if name in ("spindle", "axis_direction", "centre_mm"):
            components = [next(rest) for _ in range(3)]
            arrays = isinstance(components[0], np.ndarray)
            return np.stack(components, axis=-1) if arrays else components
        if name == "angle":
            below, degrees, minutes = next(rest), next(rest), next(rest)
            return DegreesMinutes(below > 0.0, degrees, minutes)
        if name in ("wheel", "ahead"):
            return position(next(rest), next(rest))
        if name == "positions":
            return [position(next(rest), next(rest)) for _ in range(3)]
        if name in ("axis", "left", "right"):
            return AxisAngles(next(rest), next(rest))
        if name == "shim":
            return TaperedShim(next(rest), next(rest))
        if name == "ride_height_mm":
            return ByWheel(*(next(rest) for _ in range(4)))
        if name == "shares":
            parts = np.array([*rest]).reshape(2, 2, *np.shape(row[0]))
            pairs = np.moveaxis(parts, (0, 1), (-2, -1))
            return pairs if pairs.ndim > 2 else [tuple(pair) for pair in pairs.tolist()]
        if name == "significant_digits":
            digits = next(rest)
            return digits.astype(int) if isinstance(digits, np.ndarray) else int(digits)
        return next(rest)

    arguments = {name: take(name) for name in PARAMETERS[path]}
    assert next(rest, None) is None
    return arguments


def given_back(value: Any) -> list[Any]:
    """Return what a formula gave as numbers or arrays, one after the other."""
    if dataclasses.is_dataclass(value):
        return [getattr(value, field.name) for field in dataclasses.fields(value)]
    return list(value) if isinstance(value, tuple) else [value]


def test_every_formula_has_its_vectors() -> None:
    modules = {"units", "wheel", "vehicle", "steering", "turns", "gauge", "adjustment"}
    formulas = {name for name in PARAMETERS if name.partition("::")[0] in modules}
    formulas |= {
        "propagation::coverage_factor",
        "propagation::effective_degrees_of_freedom",
        "propagation::numerical_tolerance",
    }
    no_formulas = {"vehicle::ahead_readings"}
    no_formulas |= {
        f"adjustment::{name}" for name in ("effects", "foresee", "fewest_moves")
    }
    assert formulas - no_formulas == VECTORS.keys()
    assert all(len(rows) == 60 for rows in VECTORS.values())


@pytest.mark.parametrize("path", VECTORS)
def test_numbers_have_the_cores_bits(path: str) -> None:
    module, _, name = path.partition("::")
    function = getattr(getattr(wheel_alignment, module), name)
    for given, expected in VECTORS[path]:
        arguments = taken(path, from_bits(given))
        if isinstance(expected, str):
            assert to_bits(given_back(function(**arguments))) == expected, given
            continue
        with pytest.raises(wheel_alignment.AlignmentError) as caught:
            function(**arguments)
        assert caught.value.code == expected, given
        found, code = function(**arguments, on_error="codes")
        assert code == expected
        assert all(math.isnan(number) for number in given_back(found))


@pytest.mark.parametrize("path", VECTORS)
def test_arrays_have_the_cores_bits(path: str) -> None:
    module, _, name = path.partition("::")
    function = getattr(getattr(wheel_alignment, module), name)
    rows = np.array([from_bits(given) for given, _ in VECTORS[path]])
    expected = [found for _, found in VECTORS[path]]
    # As columns of a table that is read every other row, and as a matrix.
    twice = np.repeat(rows, 2, axis=0)[::2]
    for shape in ((60,), (5, 12)):
        arguments = taken(path, [column.reshape(shape) for column in twice.T])
        if any(isinstance(found, int) for found in expected):
            found, codes = function(**arguments, on_error="codes")
        else:
            found, codes = function(**arguments), np.zeros(shape, np.int32)
        columns = [np.asarray(column) for column in given_back(found)]
        if columns[0].shape != shape:
            assert columns[0].shape == (*shape, 3)
            columns = [columns[0][..., i] for i in range(3)]
        table = np.stack([column.reshape(60).astype(float) for column in columns], -1)
        for numbers, code, one in zip(table, codes.reshape(60), expected, strict=True):
            assert (to_bits(numbers) if code == 0 else code) == one
            assert code == 0 or np.isnan(numbers).all()
        wrong = np.flatnonzero(codes)
        if wrong.size:
            with pytest.raises(wheel_alignment.AlignmentError) as caught:
                function(**arguments)
            assert caught.value.code == codes.flat[wrong[0]]
            assert caught.value.index == np.unravel_index(wrong[0], shape)
