"""Conformance vectors: those committed are current, and the formulas agree with them.

A spindle, and a line of the hub, turned about a steering axis, and lines that meet in
the plane, all at 40 digits: no formula of the core is in them, but for the two rules
that are their own definition.
"""

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from wheel_alignment import gauge, steering, turns, vehicle, wheel

import make_vectors
from ledger import hold
from make_vectors import SIDES, Case

CASES: dict[str, list[Case]] = json.loads(make_vectors.VECTORS.read_text())


def assert_close(found: Any, expected: Any, place: str) -> None:
    assert type(found) is type(expected), place
    if isinstance(expected, dict):
        assert found.keys() == expected.keys(), place
        for key, value in expected.items():
            assert_close(found[key], value, f"{place}.{key}")
    elif isinstance(expected, list):
        assert len(found) == len(expected), place
        for index, value in enumerate(expected):
            assert_close(found[index], value, f"{place}[{index}]")
    elif isinstance(expected, float):
        assert found == pytest.approx(expected, rel=1e-12, abs=1e-12), place
    else:
        assert found == expected, place


def test_the_vectors_are_current() -> None:
    assert_close(CASES, make_vectors.vectors(), "gauge")


def columns(table: str) -> dict[str, Any]:
    """The cases of a table, by key."""
    cases = CASES[table]
    return {key: np.array([case[key] for case in cases]) for key in cases[0]}


def told(
    what: str, quantity: str, off: Any, allowed: float = 1e-12, **how: str
) -> None:
    how = {"unit": "deg", "why": "rounding of angles through tangents"} | how
    hold(
        what,
        against="geometry by mpmath at 40 digits",
        quantity=quantity,
        off=off,
        allowed=allowed,
        **how,
    )


def test_gauges() -> None:
    cases = CASES["wheels"]
    side = np.array([case["side"] for case in cases])
    caster = np.array([case["caster_deg"] for case in cases])
    sai = np.array([case["sai_deg"] for case in cases])
    toe = np.array([case["toe_deg"] for case in cases])

    def at(key: str, of: Callable[[Case], Case]) -> Any:
        return np.array([of(case)[key] for case in cases])

    def gauged(of: Callable[[Case], Case]) -> gauge.GaugePosition[Any]:
        return gauge.GaugePosition(at("yaw_deg", of), at("camber_deg", of))

    def pitched(of: Callable[[Case], Case]) -> gauge.PitchPosition[Any]:
        return gauge.PitchPosition(at("azimuth_deg", of), at("pitch_deg", of))

    places = [lambda case, place=place: case["positions"][place] for place in range(3)]
    axis = gauge.AxisAngles(caster, sai)
    for what, found in (
        (
            "axis_from_cambers",
            gauge.axis_from_cambers([*map(gauged, places)], side=side),
        ),
        (
            "axis_from_pitches",
            gauge.axis_from_pitches([*map(pitched, places)], side=side),
        ),
    ):
        told(
            f"gauge::{what}",
            "caster and SAI from three positions",
            [found.caster_deg - caster, found.sai_deg - sai],
            allowed=1e-11,
            why="rounding over 1 − cos of the turn",
        )
    for of in places:
        told(
            "gauge::yaw_from_plate_deg",
            "yaw on a plate zeroed ahead",
            gauge.yaw_from_plate_deg(at("plate_deg", of), side=side, toe_deg=toe)
            - at("yaw_deg", of),
        )
        told(
            "gauge::hub_line_azimuth_deg",
            "azimuth of a line in the wheel plane",
            gauge.hub_line_azimuth_deg(
                gauged(of), side=side, pitch_deg=at("pitch_deg", of)
            )
            - at("azimuth_deg", of),
        )
        told(
            "gauge::camber_at_yaw_deg",
            "camber where the wheel was turned to",
            gauge.camber_at_yaw_deg(
                side=side,
                axis=axis,
                ahead=gauged(lambda case: case["ahead"]),
                yaw_deg=at("yaw_deg", of),
            )
            - at("camber_deg", of),
        )
        told(
            "gauge::pitch_at_azimuth_deg",
            "pitch where the hub was turned to",
            gauge.pitch_at_azimuth_deg(
                side=side,
                axis=axis,
                ahead=pitched(lambda case: case["ahead"]),
                azimuth_deg=at("azimuth_deg", of),
            )
            - at("pitch_deg", of),
        )


def test_rules_for_two_positions() -> None:
    """Their own definition at 40 digits: what is held is their rounding alone."""
    table = columns("two_positions")
    for reading, angle in (("camber", "caster"), ("pitch", "sai")):
        read = {
            f"{reading}_turned_left_deg": table["turned_left_deg"],
            f"{reading}_turned_right_deg": table["turned_right_deg"],
            "turn_deg": table["turn_deg"],
            "side": table["side"],
        }
        for rule, expected in (
            ("two_positions", table["two_positions_deg"]),
            ("linear_rule", table["linear_deg"]),
        ):
            hold(
                f"gauge::{angle}_by_{rule}_deg",
                against="mpmath at 40 digits",
                quantity="the rule itself",
                off=getattr(gauge, f"{angle}_by_{rule}_deg")(**read) - expected,
                allowed=1e-13,
                unit="deg",
                why="rounding of angles",
                rounding=True,
            )


def test_lengths_turns_and_tracking() -> None:
    lengths, plan, track = columns("lengths"), columns("turns"), columns("tracking")
    diameter = {"reference_diameter_mm": lengths["reference_diameter_mm"]}
    size = {key: plan[key] for key in ("axis_distance_mm", "wheelbase_mm")}
    both = {key: plan[key] for key in ("inner_deg", "outer_deg")}
    mm = {"unit": "mm", "why": "rounding of lengths of 1e4 mm"}
    percent = {"unit": "1", "allowed": 1e-10, "why": "rounding of 1e4 %"}
    angle, length = lengths["angle_deg"], lengths["toe_length_mm"]
    slip, ideal = lengths["side_slip_mm_per_m"], plan["ideal_outer_deg"]
    for what, found, expected, how in (
        (
            "wheel::toe_length_mm",
            wheel.toe_length_mm(angle, **diameter),
            length,
            mm,
        ),
        (
            "wheel::toe_from_length_deg",
            wheel.toe_from_length_deg(length, **diameter),
            angle,
            {},
        ),
        ("wheel::side_slip_mm_per_m", wheel.side_slip_mm_per_m(angle), slip, mm),
        (
            "wheel::angle_from_side_slip_deg",
            wheel.angle_from_side_slip_deg(slip),
            angle,
            {},
        ),
        (
            "turns::ackermann_outer_deg",
            turns.ackermann_outer_deg(plan["inner_deg"], **size),
            ideal,
            {},
        ),
        (
            "turns::ackermann_inner_deg",
            turns.ackermann_inner_deg(ideal, **size),
            plan["inner_deg"],
            {},
        ),
        (
            "turns::ackermann_percent_by_toe_out",
            turns.ackermann_percent_by_toe_out(**both, **size),
            plan["percent_by_toe_out"],
            percent,
        ),
        (
            "turns::ackermann_percent_by_cotangents",
            turns.ackermann_percent_by_cotangents(**both, **size),
            plan["percent_by_cotangents"],
            percent,
        ),
        (
            "turns::turning_radius_mm",
            turns.turning_radius_mm(
                wheelbase_mm=plan["wheelbase_mm"], steer_deg=plan["steer_deg"]
            ),
            plan["turning_radius_mm"],
            mm | {"allowed": 2e-11, "why": "rounding of 5e4 mm"},
        ),
        (
            "vehicle::dog_tracking_offset_mm",
            vehicle.dog_tracking_offset_mm(
                wheelbase_mm=track["wheelbase_mm"],
                thrust_angle_deg=track["thrust_angle_deg"],
            ),
            track["dog_tracking_offset_mm"],
            mm,
        ),
    ):
        told(what, "lines in the plane", found - expected, **how)


def test_axes_of_the_gauge_are_those_of_the_steering() -> None:
    """Caster and SAI of the cases, as an axis and back."""
    table = columns("wheels")
    axis = steering.axis_direction(
        side=table["side"], caster_deg=table["caster_deg"], sai_deg=table["sai_deg"]
    )
    expected = []
    for case in CASES["wheels"]:
        side_view = make_vectors.about(
            "y", make_vectors.mp.matrix([1, 0, 0]), -case["caster_deg"]
        )
        front_view = make_vectors.about(
            "x",
            make_vectors.mp.matrix([0, 1, 0]),
            SIDES[case["side"]] * case["sai_deg"],
        )
        line = make_vectors.crossed(side_view, front_view)
        expected.append([float(x / make_vectors.mp.norm(line)) for x in line])
    told(
        "steering::axis_direction",
        "line in which two leaned planes meet",
        axis - expected,
        allowed=1e-15,
        unit="1",
        why="rounding of unit vectors",
    )
