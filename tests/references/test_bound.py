"""The committed bounds are current; readings of the car are what it was built from."""

import json

import pytest

import make_bound
from make_bound import BOUND, PROCEDURES, nominal, readings, vectors

# Central differences and what rounding leaves of them.
REL = 1e-6


def test_the_bounds_are_current() -> None:
    committed, made = json.loads(BOUND.read_text())["cases"], vectors()["cases"]
    assert len(committed) == len(made)
    for found, expected in zip(committed, made, strict=True):
        bounds = expected.pop("bounds")
        assert found.pop("bounds") == pytest.approx(bounds, rel=REL), found["name"]
        assert found == expected


def test_the_car_has_the_readings_it_was_built_from() -> None:
    found = readings(nominal(PROCEDURES[0]), PROCEDURES[0])
    built = {
        "wheels.fr.camber_deg": make_bound.CAMBER_DEG["front"],
        "wheels.rl.toe_to_centreline_deg": make_bound.TOE_DEG["rear"],
        "wheels.rr.runout_deg": make_bound.CLAMP_DEG["rr"][0],
        "axles.front.track_mm": make_bound.TRACK_MM["front"],
        "axles.rear.setback_mm": make_bound.SETBACK_MM["rear"],
        "steering.right.caster_deg": make_bound.CASTER_DEG["right"],
        "steering.left.sai_deg": make_bound.SAI_DEG,
        "steering.right.caster_trail_mm": make_bound.TRAIL_MM,
        "steering.right.scrub_radius_mm": make_bound.SCRUB_MM,
    }
    assert {path: found[path] for path in built} == pytest.approx(built, abs=1e-9)
