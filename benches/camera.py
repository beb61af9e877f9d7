"""How far photographs and corner noise put readings off, beside what is foretold.

Two experiments with the invented cars and cameras of examples/photographed_car.py:

- *photographs*: cars, each with its own cameras, are photographed with the noise of the
  sensor and without. Printed are bias and scatter of the readings about the truth of
  each car, beside the standard uncertainty that the library foretells of the corners'
  scatter. Without noise what is left is the finder's own error.
- *draws*: corners where OpenCV projects them, each moved by Gaussian noise, thousands
  of times; no picture is drawn. The covariance of the readings is held against the law
  of propagation.

    python benches/camera.py --cars 100 --draws 20000

Of 100 cars corners scattered by 0.023 px about the fits of the poses. Of that 0.018 px
are the finder's own: blur, the grid of pixels and the slant of the board pull a corner
one way or another, the same each time the board stands alike. From picture to picture
it changes as noise does, and is foretold as noise: root mean squares of readings minus
truth were 0.86 to 1.08 of those foretold, and 4.5 % of them beyond 1.96 of their own
standard uncertainties. On average over the cars camber, toe and caster were off by less
than 0.0005°, which is what chance makes; single ones by 0.007 to 0.008°, of which the
finder alone makes 0.005 to 0.006°.

Needs the package, OpenCV and SciPy.
"""

from __future__ import annotations

import argparse
import multiprocessing
import re
import sys
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "examples"))

import cv2
import numpy as np
import photographed_car
import wheel_alignment as wa
from numpy.typing import NDArray
from photographed_car import WHEELS, Camera, Solved, numbers
from scipy.linalg import cholesky, solve_triangular
from scipy.spatial.transform import Rotation
from wheel_alignment import batch, uncertainty
from wheel_alignment.paths import READINGS

Array = NDArray[np.float64]

COMPARED = (
    *(f"wheels.{wheel}.camber_deg" for wheel in WHEELS),
    *(f"wheels.{wheel}.toe_deg" for wheel in WHEELS),
    *(f"steering.{side}.caster_deg" for side in ("left", "right")),
    *(f"steering.{side}.sai_deg" for side in ("left", "right")),
)
"""The readings whose covariance is compared: none follows from the others."""


@dataclass(frozen=True)
class Draws:
    """What noise of the corners makes of the readings of one car.

    Attributes
    ----------
    paths : tuple of str
        The readings.
    read : array of shape (draws, paths)
        What was read of each draw.
    truth : array of shape (paths,)
        What is read without noise.
    foretold : array of shape (paths, paths)
        The covariance by the law of propagation.
    warned : int
        How many draws the library warned of, though nothing is wrong with them.
    """

    paths: tuple[str, ...]
    read: Array
    truth: Array
    foretold: Array
    warned: int


def solve_many(
    board_mm: Array, corners: Array, camera_from_target: Array, camera: Camera
) -> Array:
    """Find poses by least squares of corners that scatter about one pose.

    Two steps of Gauss and Newton, from the pose about which they scatter.

    Parameters
    ----------
    board_mm : array of shape (C, 3)
        The corners on the board.
    corners : array of shape (N, C, 2)
        Where they are in the picture, pixels.
    camera_from_target : array of shape (4, 4)
        The pose about which they scatter.
    camera : Camera
        The camera.

    Returns
    -------
    array of shape (N, 4, 4)
        ``camera_from_target``.
    """
    poses = np.repeat(camera_from_target[None], len(corners), axis=0)
    seen = corners.swapaxes(1, 2)
    focal = np.diag(camera.matrix)
    by_pose = np.empty((len(corners), 6, 2, len(board_mm)))
    for _ in range(2):
        arms = poses[:, :3, :3] @ board_mm.T
        points = arms + poses[:, :3, 3:]
        x, y = points[:, 0] / points[:, 2], points[:, 1] / points[:, 2]
        foretold, by_ray = distort(x, y, camera)
        for pixel in (0, 1):
            # By the point in the camera's frame: what a shift of the board does. A turn
            # moves the point at right angles to its arm.
            scale = focal[pixel] / points[:, 2]
            by_x, by_y = (scale * slope for slope in by_ray[pixel])
            by_z = -(by_x * x + by_y * y)
            by_pose[:, 0, pixel] = arms[:, 1] * by_z - arms[:, 2] * by_y
            by_pose[:, 1, pixel] = arms[:, 2] * by_x - arms[:, 0] * by_z
            by_pose[:, 2, pixel] = arms[:, 0] * by_y - arms[:, 1] * by_x
            by_pose[:, 3, pixel], by_pose[:, 4, pixel] = by_x, by_y
            by_pose[:, 5, pixel] = by_z
        rows = by_pose.reshape(len(corners), 6, -1)
        left = (seen - foretold).reshape(len(corners), -1, 1)
        step = np.linalg.solve(rows @ rows.swapaxes(1, 2), rows @ left)[..., 0]
        turn = Rotation.from_rotvec(step[:, :3]).as_matrix()
        poses[:, :3, :3] = turn @ poses[:, :3, :3]
        poses[:, :3, 3] += step[:, 3:]
    return poses


def distort(x: Array, y: Array, camera: Camera) -> tuple[Array, list[list[Array]]]:
    """Return the pixels of rays, and how the distortion bends rays: by x and by y.

    The radial-tangential model: x·(1 + k1·r² + k2·r⁴ + k3·r⁶) + 2·p1·x·y +
    p2·(r² + 2·x²), and y alike with p1 and p2 exchanged.
    """
    k1, k2, p1, p2, k3 = camera.distortion
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    slope = k1 + r2 * (2 * k2 + r2 * 3 * k3)
    bent = [
        x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x),
        y * radial + 2 * p2 * x * y + p1 * (r2 + 2 * y * y),
    ]
    mixed = 2 * (x * y * slope + p1 * x + p2 * y)
    by_ray = [
        [radial + 2 * x * x * slope + 2 * p1 * y + 6 * p2 * x, mixed],
        [mixed, radial + 2 * y * y * slope + 2 * p2 * x + 6 * p1 * y],
    ]
    focal, principal = np.diag(camera.matrix)[:2], camera.matrix[:2, 2]
    return np.stack(bent, 1) * focal[:, None] + principal[:, None], by_ray


def draw(seed: int, count: int, corner_px: float) -> Draws:
    """Move all corners of one car's pictures again and again, and read each time."""
    rng = np.random.default_rng(seed)
    car = photographed_car.invented_car(rng)
    cameras = photographed_car.invented_cameras(car, rng)
    stations = photographed_car.stations_of(car)
    poses = np.empty((count, len(stations), len(WHEELS), 4, 4))
    exact = []
    for number, (_, station) in enumerate(stations):
        seen = {}
        for place, wheel in enumerate(WHEELS):
            camera = cameras[wheel]
            pose = photographed_car.seen_from(camera, station[place])
            board_mm = photographed_car.corners_of(photographed_car.board_of(wheel))
            corners = photographed_car.project(camera, pose, board_mm)
            # Few at a time stay in the cache.
            for some in np.array_split(np.arange(count), max(1, count // 200)):
                noise = rng.normal(0.0, corner_px, (len(some), *corners.shape))
                found = solve_many(board_mm, corners + noise, pose, camera)
                poses[some, number, place] = found
            turn, shift = numbers(cv2.Rodrigues(pose[:3, :3])[0]).ravel(), pose[:3, 3]
            cofactor = photographed_car.cofactor(board_mm, turn, shift, camera)
            seen[wheel] = Solved(turn, shift, cofactor, np.zeros_like(corners))
        exact.append(seen)

    stages = [stage for stage, _ in stations]
    rolling, sweep = stages.count("rolling"), stages.count("sweep")
    assert stages == ["ahead", *["rolling"] * rolling, *["sweep"] * sweep]
    read = batch.measure(
        ahead=poses[:, 0],
        rolling=poses[:, 1 : 1 + rolling],
        sweep=poses[:, 1 + rolling :],
        clamp_standoff_mm=photographed_car.standoffs_mm(car),
        readings=COMPARED,
        on_error="raise",
        **photographed_car.settings_of(car, cameras),
    )
    session = photographed_car.session_of(car, cameras, exact, corner_px)
    known = uncertainty.propagate(session)
    chosen = [READINGS.index(path) for path in COMPARED]
    truth = [known.measurement.alignment.get(path) for path in COMPARED]
    return Draws(
        COMPARED,
        np.column_stack([read[path] for path in COMPARED]),
        np.array(truth, dtype=np.float64),
        np.array(known.covariance_matrix())[np.ix_(chosen, chosen)],
        int(np.count_nonzero(read.warnings)),
    )


def combinations(draws: Draws) -> Array:
    """Return the scatter found of that foretold, at best and at worst.

    The square roots of the generalised eigenvalues of the covariance found and that
    foretold. Each is the ratio of the standard deviations of one combination of the
    readings, whatever their units; that of any other combination lies between the
    least and the greatest.
    """
    off = draws.read - draws.truth
    whitened = solve_triangular(cholesky(draws.foretold, lower=True), off.T, lower=True)
    return np.sqrt(np.linalg.eigvalsh(whitened @ whitened.T / len(off)))


@dataclass(frozen=True)
class Shot:
    """One car photographed: deviations from its truth, by reading.

    Attributes
    ----------
    paths : tuple of str
        The readings.
    off, finder_off : array of shape (paths,)
        Read minus truth, from pictures with noise, and without: then what is left is
        the error of the corner finder.
    worth : array of shape (paths,)
        The standard uncertainty foretold.
    corner_px, finder_px : float
        How much the corners scatter about the fits, with noise and without.
    warnings : int
        How many warnings the library gave.
    """

    paths: tuple[str, ...]
    off: Array
    finder_off: Array
    worth: Array
    corner_px: float
    finder_px: float
    warnings: int


def shoot(seed: int) -> Shot:
    """Photograph a car, with noise and without."""
    cv2.setNumThreads(1)
    rng = np.random.default_rng(seed)
    car = photographed_car.invented_car(rng)
    cameras = photographed_car.invented_cameras(car, rng)
    noisy: list[dict[str, Solved]] = []
    plain: list[dict[str, Solved]] = []
    for _, poses in photographed_car.stations_of(car):
        noisy.append({})
        plain.append({})
        for wheel, rig_from_target in zip(WHEELS, poses, strict=True):
            camera = cameras[wheel]
            pose = photographed_car.seen_from(camera, rig_from_target)
            light = photographed_car.light_of(wheel, camera, pose)
            picture = photographed_car.photograph(light, rng)
            seen = photographed_car.find_corners(wheel, picture)
            noisy[-1][wheel] = photographed_car.solve(wheel, camera, seen)
            picture = photographed_car.photograph(light, None)
            seen = photographed_car.refine(picture, seen)
            plain[-1][wheel] = photographed_car.solve(wheel, camera, seen)
    corner_px, finder_px = map(photographed_car.scatter_px, (noisy, plain))
    session = photographed_car.session_of(car, cameras, noisy, corner_px)
    known = uncertainty.propagate(session)
    session = photographed_car.session_of(car, cameras, plain, finder_px)
    bare = wa.measure(session).alignment
    truth = car.truth()
    rows = []
    for path in READINGS:
        trees = (known.measurement.alignment, bare, truth, known.standard)
        read, without, built, worth = (tree.get(path) for tree in trees)
        if read is None or without is None or built is None or not worth:
            continue
        if ".residual_" not in path:
            rows.append((path, read - built, without - built, worth))
    off, finder_off, each_worth = np.array([row[1:] for row in rows]).T
    return Shot(
        tuple(row[0] for row in rows),
        off,
        finder_off,
        each_worth,
        corner_px,
        finder_px,
        len(known.measurement.warnings),
    )


def print_photographs(cars: int, seed: int) -> None:
    """Photograph cars on all cores, and print what was read of them."""
    with multiprocessing.Pool() as pool:
        print_shots(pool.map(shoot, range(seed, seed + cars), chunksize=1))


def print_shots(shots: list[Shot]) -> None:
    """Print bias and scatter of readings, those of all wheels and sides together."""
    corner = np.sqrt(np.mean([shot.corner_px**2 for shot in shots]))
    finder = np.sqrt(np.mean([shot.finder_px**2 for shot in shots]))
    print(f"\n{len(shots)} cars photographed. Corners scatter about the fits by")
    print(
        f"{corner:.4f} px, in pictures without noise by {finder:.4f} px: the finder's"
    )
    print("own error.")
    print(f"Warnings: {sum(shot.warnings for shot in shots)}")
    print("off: read minus truth; u: foretold; finder: off without noise\n")
    head = ("mean off", "rms off", "rms u", "ratio", "rms finder", "max |off/u|")
    print(f"{'':<46}" + "".join(f"{title:>12}" for title in head))
    groups: dict[str, list[int]] = {}
    for place, path in enumerate(shots[0].paths):
        name = re.sub(r"\.(fl|fr|rl|rr|left|right|front|rear|\w+_turn)\.", ".*.", path)
        groups.setdefault(name, []).append(place)
    off, finders, worth = (
        np.array([getattr(shot, name) for shot in shots])
        for name in ("off", "finder_off", "worth")
    )
    for name, places in groups.items():
        of = off[:, places]
        rms, foretold, alone = (
            np.sqrt(np.mean(values[:, places] ** 2)) for values in (off, worth, finders)
        )
        most = np.abs(of / worth[:, places]).max()
        print(
            f"{name:<46}{of.mean():12.5f}{rms:12.5f}{foretold:12.5f}"
            f"{rms / foretold:12.3f}{alone:12.5f}{most:12.2f}"
        )


def print_draws(count: int, seed: int, corner_px: float) -> None:
    """Print scatter found and foretold, of single readings and of combinations."""
    draws = draw(seed, count, corner_px)
    found = np.sqrt(np.mean((draws.read - draws.truth) ** 2, axis=0))
    foretold = np.sqrt(np.diag(draws.foretold))
    bias = (draws.read - draws.truth).mean(axis=0)
    print(f"\n{count} draws of all corners, {corner_px} px\n")
    print(f"{'':<32}{'found':>12}{'foretold':>12}{'ratio':>9}{'bias':>12}")
    for row in zip(draws.paths, found, foretold, found / foretold, bias, strict=True):
        print("{:<32}{:12.6f}{:12.6f}{:9.4f}{:12.6f}".format(*row))
    print(f"\nsound sessions with a warning: {draws.warned}")
    ratios = combinations(draws)
    chance = np.sqrt(len(draws.paths) / count)
    print(f"\nany combination of them: {ratios.min():.4f} to {ratios.max():.4f}")
    print(f"chance alone would make it some {1 - chance:.4f} to {1 + chance:.4f}")


def main() -> None:
    """Run both experiments."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--cars", type=int, default=100, help="to be photographed")
    parser.add_argument("--draws", type=int, default=20_000, help="of corner noise")
    parser.add_argument("--corner-px", type=float, default=0.025, help="of the draws")
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    if given.draws:
        print_draws(given.draws, given.seed, given.corner_px)
    if given.cars:
        print_photographs(given.cars, given.seed)


if __name__ == "__main__":
    main()
