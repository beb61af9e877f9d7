"""Prints a session as the text of poses that the examples in C read.

`python3 tests/c/poses_text.py examples/pulling-car.json > examples/c/pulling-car.txt`
"""

from __future__ import annotations

import json
import sys
import textwrap

STAGES = ("rolling", "ahead", "sweep", "lock_left", "lock_right")
WHEELS = ("fl", "fr", "rl", "rr")


def line(*words: object) -> str:
    """Join words to a line."""
    return " ".join(str(word) for word in words)


with open(sys.argv[1], encoding="utf-8") as file:
    session = json.load(file)
for part in textwrap.wrap(session["note"], 100):
    print("#", part)
print(line("up", *session["up"]))
print(
    line("clamp_standoff_mm", *(session["clamp_standoff_mm"][name] for name in WHEELS))
)
radii = session["loaded_radius_mm"]
print(line("loaded_radius_mm", radii["front"], radii["rear"]))
noise = session["pose_noise"]
print(line("pose_noise", noise["rotation_deg"], noise["translation_mm"]))
for stage in STAGES:
    stations = session[stage] if isinstance(session[stage], list) else [session[stage]]
    for number, station in enumerate(stations):
        for wheel in WHEELS:
            pose = station[wheel]
            rotation = [element for row in pose["rotation"] for element in row]
            print(line(stage, number, wheel, *rotation, *pose["translation_mm"]))
