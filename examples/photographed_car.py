"""From photographs to readings: an invented car with boards on its wheels, and cameras.

A flat board of coded squares is clamped to each wheel, and a camera at each corner of
the car takes a picture of it at every station: while the car is rolled, straight ahead,
and in the caster sweep. OpenCV draws the pictures, ray by ray through the lens, blurs
them and adds the noise of the sensor; then, as if they were real, finds the corners of
the squares and where each board is. The library makes readings of that, which stand
here beside what the car was built with.

    python examples/photographed_car.py                   # print readings and truth
    python examples/photographed_car.py --write           # photographed-car.json
    python examples/photographed_car.py --picture FILE    # one of the pictures

Needs the package and opencv-python-headless. Where the cameras stand and what lenses
they have is taken for exactly known here: what is uncertain is where the corners lie.

Car, cameras and pictures are invented, for the demonstration only. Secure a real car,
keep people clear, and follow the makers of the car and of the rack: readings are no
licence to drive.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import wheel_alignment as wa
from numpy.typing import ArrayLike, NDArray
from wheel_alignment import uncertainty
from wheel_alignment.session import SessionKeys
from wheel_alignment.simulate import Clamp, VirtualAxle, VirtualVehicle, VirtualWheel

STORED = Path(__file__).parent / "photographed-car.json"
SEED = 1
NOTE = (
    "Invented demonstration data: poses from pictures that were computed, of a car that"
    " never was. photographed_car.py made it, and knows the truth."
)
Array = NDArray[np.float64]
Tree = dict[str, object]
Light = NDArray[np.float32]
Picture = NDArray[np.uint8]

WHEELS = ("fl", "fr", "rl", "rr")
SHOWN = (
    *(f"wheels.{wheel}.camber_deg" for wheel in WHEELS),
    *(f"wheels.{wheel}.toe_deg" for wheel in WHEELS),
    "axles.front.total_toe_deg",
    "axles.rear.total_toe_deg",
    "chassis.thrust_angle_deg",
    "axles.front.setback_mm",
    "chassis.wheelbase_difference_mm",
    "steering.left.caster_deg",
    "steering.right.caster_deg",
    "steering.left.sai_deg",
    "steering.right.sai_deg",
    "turns.left_turn.toe_out_deg",
    "turns.right_turn.toe_out_deg",
)

# The board: its frame, the target's, has its origin in the middle, x to the right and
# y up as one looks at it, and z out of it towards the camera.
SQUARES = 8
SQUARE_MM = 44.0
MARKER_MM = 26.0
MARKERS = SQUARES * SQUARES // 2
MARGIN_MM = 4.0
# How the print is drawn before it is photographed.
DOTS_PER_SQUARE = 88

# The sensor: 8 bits, white paper near 200 of 255.
WHITE, BLACK, BEHIND = 200.0, 24.0, 45.0
ELECTRONS = 40.0  # of one grey level: shot noise is the root of their number
READ_ELECTRONS = 15.0
SAMPLES = 4  # rays across a pixel, either way
BLOCK = 2  # pixels across a block

CLOSELY = (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 100, 1e-10)

# How far the search for a corner looks to either side, pixels: not into a marker.
REACH = 5


@dataclass(frozen=True)
class Camera:
    """A camera, as calibration would describe it.

    Attributes
    ----------
    size : tuple of 2 ints
        Width and height, pixels.
    matrix : array of shape (3, 3)
        Focal lengths and principal point, pixels; 0, 0 is the middle of the first one.
    distortion : array of shape (5,)
        k1, k2, p1, p2, k3: radial and tangential.
    blur : float
        Standard deviation of the blur by the optics, pixels.
    rig_from_camera : array of shape (4, 4)
        Where it stands in the rig, mm: x to the right, y down, z ahead.
    """

    size: tuple[int, int]
    matrix: Array
    distortion: Array
    blur: float
    rig_from_camera: Array


@dataclass(frozen=True)
class Seen:
    """What a picture shows: which corners, and where they lie in it, pixels."""

    ids: NDArray[np.int32]
    corners: Array


@dataclass(frozen=True)
class Solved:
    """Where a board is, ``camera_from_target``, and how well the corners fit.

    Attributes
    ----------
    rotation_vector_rad, translation_mm : array of shape (3,)
        The pose.
    cofactor : array of shape (6, 6)
        The covariance of the pose for corners that scatter by one pixel, in the order
        and units of a session: turns in degrees, shifts in mm, in the camera's frame.
    left_over : array of shape (corners, 2)
        Corner found minus corner foretold, pixels.
    """

    rotation_vector_rad: Array
    translation_mm: Array
    cofactor: Array
    left_over: Array


def board_of(wheel: str) -> cv2.aruco.CharucoBoard:
    """Return the board of a wheel. Each has markers of its own."""
    first = MARKERS * WHEELS.index(wheel)
    return cv2.aruco.CharucoBoard(
        (SQUARES, SQUARES),
        SQUARE_MM,
        MARKER_MM,
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250),
        np.arange(first, first + MARKERS),
    )


def corners_of(board: cv2.aruco.CharucoBoard) -> Array:
    """Return the inner corners of the squares in the target frame, mm."""
    # OpenCV counts from the upper left, x to the right, y down.
    half = SQUARES * SQUARE_MM / 2
    corners = np.asarray(board.getChessboardCorners(), dtype=np.float64)
    return (corners - [half, half, 0.0]) * [1.0, -1.0, 1.0]


def look_at(place_mm: Array, at_mm: Array, up: Array) -> Array:
    """Return the pose of a camera that looks at a point, upright, in the same frame."""
    ahead = (at_mm - place_mm) / np.linalg.norm(at_mm - place_mm)
    right: Array = np.cross(ahead, up)
    right /= np.linalg.norm(right)
    pose = np.eye(4)
    pose[:3, :3] = np.column_stack([right, np.cross(ahead, right), ahead])
    pose[:3, 3] = place_mm
    return pose


def invented_cameras(
    car: VirtualVehicle, rng: np.random.Generator
) -> dict[str, Camera]:
    """Put a camera beside each wheel, two to three metres from its board."""
    cameras = {}
    rig_from_vehicle = car.rig_from_vehicle.matrix4()
    for wheel in WHEELS:
        front, side = (1 if wheel[0] == "f" else -1), (1 if wheel[1] == "l" else -1)
        board_mm = np.array([car.wheelbase_mm if front > 0 else 0.0, side * 860.0, 0.0])
        # From before the front wheels and from behind the rear ones, and from above:
        # a board is seen askew, for one seen from the front hardly shows its tilt.
        place_mm = board_mm + np.array([front * 1200.0, side * 1900.0, 650.0])
        place_mm += rng.uniform(-80.0, 80.0, 3)
        aim_mm = board_mm + rng.uniform(-40.0, 40.0, 3)
        vehicle_from_camera = look_at(place_mm, aim_mm, np.array([0.0, 0.0, 1.0]))
        size = (1600, 1200)
        focal = rng.uniform(2650.0, 2750.0) * np.array([1.0, rng.uniform(0.999, 1.001)])
        middle = (np.array(size) - 1) / 2 + rng.uniform(-15.0, 15.0, 2)
        cameras[wheel] = Camera(
            size=size,
            matrix=np.array(
                [[focal[0], 0.0, middle[0]], [0.0, focal[1], middle[1]], [0, 0, 1.0]]
            ),
            distortion=np.array(
                [
                    rng.uniform(-0.22, -0.14),
                    rng.uniform(0.05, 0.12),
                    *rng.uniform(-6e-4, 6e-4, 2),
                    rng.uniform(-0.02, 0.02),
                ]
            ),
            blur=rng.uniform(0.6, 0.9),
            rig_from_camera=rig_from_vehicle @ vehicle_from_camera,
        )
    return cameras


def invented_car(rng: np.random.Generator) -> VirtualVehicle:
    """Build a car as a workshop sees them, with clamps that sit as they please."""

    def wheel(caster_deg: float) -> VirtualWheel:
        return VirtualWheel(
            camber_deg=rng.uniform(-2.0, 1.0),
            toe_to_centreline_deg=rng.uniform(-0.3, 0.4),
            caster_deg=caster_deg + rng.uniform(-0.8, 0.8),
            sai_deg=rng.uniform(9.0, 15.0),
            caster_trail_mm=rng.uniform(5.0, 35.0),
            scrub_radius_mm=rng.uniform(-15.0, 30.0),
            clamp=Clamp(
                standoff_mm=round(rng.uniform(70.0, 120.0), 1),
                eccentricity_mm=(rng.uniform(-8.0, 8.0), rng.uniform(-8.0, 8.0)),
                tilt_deg=rng.uniform(0.2, 2.5),
                tilt_bearing_deg=rng.uniform(-180.0, 180.0),
                clock_deg=rng.uniform(-20.0, 20.0),
            ),
        )

    def axle(caster_deg: float) -> VirtualAxle:
        return VirtualAxle(
            left=wheel(caster_deg),
            right=wheel(caster_deg),
            track_mm=rng.uniform(1480.0, 1600.0),
            setback_mm=rng.uniform(-8.0, 8.0),
            rolling_radius_mm=round(rng.uniform(295.0, 335.0), 1),
        )

    return dataclasses.replace(
        VirtualVehicle(),
        wheelbase_mm=rng.uniform(2450.0, 2900.0),
        front=axle(rng.uniform(2.0, 8.0)),
        rear=axle(4.0),
        ackermann_share=rng.uniform(0.4, 0.8),
        travel_direction_deg=rng.uniform(-0.3, 0.3),
        # The locks are left out: a wheel so far round shows its board no more.
        lock_deg=None,
    )


def light_of(wheel: str, camera: Camera, camera_from_target: Array) -> Light:
    """Follow rays from the pixels to the board: the grey levels without noise."""
    board = board_of(wheel)
    dots_per_mm = DOTS_PER_SQUARE / SQUARE_MM
    margin = round(MARGIN_MM * dots_per_mm)
    side = SQUARES * DOTS_PER_SQUARE + 2 * margin
    print_ = board.generateImage((side, side), marginSize=margin).astype(np.float32)
    print_ = np.float32(BLACK) + np.float32((WHITE - BLACK) / 255.0) * print_
    # From x and y on the board to dots of the print; the first dot's centre is 0, 0.
    middle = (side - 1) / 2
    dots = np.array([[dots_per_mm, 0, middle], [0, -dots_per_mm, middle], [0, 0, 1.0]])
    # The ray through x and y on the board is R·(x, y, 0) + t, up to its length.
    dots_from_ray = dots @ np.linalg.inv(camera_from_target[:3, [0, 1, 3]])

    # Rays are followed where the board can be seen, and a margin beyond.
    half = side / dots_per_mm / 2
    edge_mm = half * np.array([[-1.0, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]])
    edge = project(camera, camera_from_target, edge_mm)
    start = np.maximum(np.floor(edge.min(0)).astype(int) - 8, 0)
    end = np.minimum(np.ceil(edge.max(0)).astype(int) + 8, camera.size)
    blocks = -(-(end - start) // BLOCK)
    # The lens is undone in the middle of blocks of pixels. In between, rays are spread
    # evenly: to 1e-4 of a pixel. One more block all around, for there is no beyond.
    x, y = (
        at + BLOCK * np.arange(-1, count + 1) + (BLOCK - 1) / 2
        for at, count in zip(start, blocks, strict=True)
    )
    pixels = np.stack(np.meshgrid(x, y), axis=-1)
    rays = cv2.undistortPoints(
        pixels.reshape(1, -1, 2), camera.matrix, camera.distortion, criteria=CLOSELY
    ).reshape(pixels.shape)
    many = BLOCK * SAMPLES
    rays = cv2.resize(rays, None, fx=many, fy=many, interpolation=cv2.INTER_LINEAR)
    at = cv2.perspectiveTransform(rays, dots_from_ray).astype(np.float32)
    light: Light = cv2.remap(  # type: ignore[call-overload]
        print_,
        at,
        None,
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=(BEHIND,),
    )
    cv2.GaussianBlur(light, (0, 0), camera.blur * SAMPLES, dst=light)
    # A pixel takes the mean of the light that falls on it.
    size = tuple(BLOCK * (blocks + 2))
    pixel = cv2.resize(light, size, interpolation=cv2.INTER_AREA)

    whole = np.full(camera.size[::-1], BEHIND, np.float32)
    (left, top), (right, bottom) = start, end
    whole[top:bottom, left:right] = pixel[
        BLOCK : BLOCK + bottom - top, BLOCK : BLOCK + right - left
    ]
    # Towards the edge of the picture a lens gives less light.
    focal, principal = np.diag(camera.matrix)[:2], camera.matrix[:2, 2]
    off_axis = [
        ((np.arange(count) - principal[axis]) / focal[axis]).astype(np.float32) ** 2
        for axis, count in enumerate(camera.size)
    ]
    whole /= (1 + off_axis[0] + off_axis[1][:, None]) ** 2
    return whole


def photograph(light: Light, rng: np.random.Generator | None) -> Picture:
    """Take a picture with the noise of the sensor; with none, if there is no `rng`."""
    if rng is not None:
        noise = np.sqrt(light / ELECTRONS + (READ_ELECTRONS / ELECTRONS) ** 2)
        light = light + noise * rng.standard_normal(light.shape, np.float32)
    return np.clip(np.rint(light), 0, 255).astype(np.uint8)


def project(camera: Camera, camera_from_target: Array, points_mm: Array) -> Array:
    """Return where points of the target frame lie in a picture, pixels."""
    turn, _ = cv2.Rodrigues(camera_from_target[:3, :3])
    shift = camera_from_target[:3, 3]
    seen, _ = cv2.projectPoints(
        points_mm, turn, shift, camera.matrix, camera.distortion
    )
    return numbers(seen).reshape(-1, 2)


def numbers(given: ArrayLike) -> Array:
    """Return what OpenCV gives as an array of float64."""
    return np.asarray(given, dtype=np.float64)


def find_corners(wheel: str, picture: Picture) -> Seen:
    """Find the corners of the squares of the board of a wheel."""
    # So evenly lit, one threshold over a few bits' width tells print from paper.
    how = cv2.aruco.DetectorParameters()
    how.adaptiveThreshWinSizeMin = how.adaptiveThreshWinSizeMax = 33
    detector = cv2.aruco.CharucoDetector(
        board_of(wheel), cv2.aruco.CharucoParameters(), how
    )
    corners, ids, _, _ = detector.detectBoard(picture)
    if ids is None or len(ids) < 8:
        raise ValueError(f"{wheel}: no board is seen")
    near = Seen(np.asarray(ids, np.int32).ravel(), numbers(corners).reshape(-1, 2))
    return refine(picture, near)


def refine(picture: Picture, near: Seen) -> Seen:
    """Find where the corners lie to a small part of a pixel."""
    corners = cv2.cornerSubPix(
        picture,
        near.corners.astype(np.float32).reshape(-1, 1, 2),
        (REACH, REACH),
        (-1, -1),
        (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 100, 1e-4),
    )
    return Seen(near.ids, numbers(corners).reshape(-1, 2))


def solve(wheel: str, camera: Camera, seen: Seen) -> Solved:
    """Find where the board is, by least squares of the corners in the picture."""
    board_mm = corners_of(board_of(wheel))[seen.ids]
    lens = (camera.matrix, camera.distortion)
    found, turn, shift = cv2.solvePnP(
        board_mm, seen.corners, *lens, flags=cv2.SOLVEPNP_IPPE
    )
    if not found:
        raise ValueError(f"{wheel}: no pose fits the corners")
    found_at = cv2.solvePnPRefineLM(board_mm, seen.corners, *lens, turn, shift)
    turn, shift = (numbers(one).ravel() for one in found_at)
    foretold, _ = cv2.projectPoints(board_mm, turn, shift, *lens)
    return Solved(
        turn,
        shift,
        cofactor(board_mm, turn, shift, camera),
        seen.corners - numbers(foretold).reshape(-1, 2),
    )


def cofactor(board_mm: Array, turn: Array, shift: Array, camera: Camera) -> Array:
    """Return the covariance of a pose, to first order, for a scatter of one pixel.

    (JᵀJ)⁻¹, with the derivatives J of all corners that OpenCV gives, but about the
    axes of the camera rather than by the numbers of the rotation vector: the pose seen
    is exp(ω)·R, and ω is in degrees.
    """
    _, by = cv2.projectPoints(board_mm, turn, shift, camera.matrix, camera.distortion)
    inverse = np.linalg.inv(by[:, :6].T @ by[:, :6])
    rotation, of_matrix = cv2.Rodrigues(turn)
    axes = np.eye(6)
    for number, rows in enumerate(of_matrix.reshape(3, 3, 3)):
        spin = rows @ rotation.T
        axes[:3, number] = np.degrees([spin[2, 1], spin[0, 2], spin[1, 0]])
    made: Array = axes @ inverse @ axes.T
    return (made + made.T) / 2


def stations_of(car: VirtualVehicle) -> list[tuple[str, Array]]:
    """Return each station's stage and poses, ``rig_from_target``, (4, 4, 4)."""
    poses = car.session().to_arrays()
    return [
        ("ahead", poses["ahead"]),
        *(("rolling", station) for station in poses["rolling"]),
        *(("sweep", station) for station in poses["sweep"]),
    ]


def settings_of(car: VirtualVehicle, cameras: dict[str, Camera]) -> SessionKeys:
    """Return what a session of this car says beside its poses and standoffs."""
    return {
        "up": [0.0, 0.0, 1.0],
        "loaded_radius_mm": {
            "front": car.front.rolling_radius_mm,
            "rear": car.rear.rolling_radius_mm,
        },
        "cameras": {
            f"camera {wheel}": {
                "rig_from_camera": {
                    "rotation": camera.rig_from_camera[:3, :3].tolist(),
                    "translation_mm": camera.rig_from_camera[:3, 3].tolist(),
                },
                "wheels": [wheel],
            }
            for wheel, camera in cameras.items()
        },
        "sweep_wheels_locked": True,
    }


def standoffs_mm(car: VirtualVehicle) -> list[float]:
    """Return how far the board stands off each wheel's centre plane."""
    wheels = (car.front.left, car.front.right, car.rear.left, car.rear.right)
    return [wheel.clamp.standoff_mm for wheel in wheels]


def session_of(
    car: VirtualVehicle,
    cameras: dict[str, Camera],
    solved: list[dict[str, Solved]],
    corner_px: float,
) -> Tree:
    """Say as a session what the cameras saw, each pose with its covariance.

    The library turns it from the cameras' frames into the rig's. Digits that no camera
    sees are cut off: 1e-9 rad, 1e-6 mm.
    """
    stages: dict[str, list[dict[str, object]]] = {}
    for (stage, _), station in zip(stations_of(car), solved, strict=True):
        seen: dict[str, object] = {
            wheel: {
                "rotation_vector_rad": one.rotation_vector_rad.round(9).tolist(),
                "translation_mm": one.translation_mm.round(6).tolist(),
                "covariance": rounded(corner_px**2 * one.cofactor),
            }
            for wheel, one in station.items()
        }
        stages.setdefault(stage, []).append(seen)
    (ahead,) = stages["ahead"]
    return {
        "format": "alignment-session/1",
        "note": NOTE,
        "clamp_standoff_mm": dict(zip(WHEELS, standoffs_mm(car), strict=True)),
        **settings_of(car, cameras),
        **stages,
        "ahead": ahead,
    }


def rounded(matrix: Array) -> list[list[float]]:
    """Keep eight digits of each element."""
    return [[float(f"{element:.7e}") for element in row] for row in matrix]


def scatter_px(solved: list[dict[str, Solved]]) -> float:
    """Say how much corners scatter, from what the fits of all pictures leave over."""
    every = [one.left_over for station in solved for one in station.values()]
    # Six numbers of each pose are fitted.
    freedom = sum(left_over.size - 6 for left_over in every)
    return float(np.sqrt(sum((left_over**2).sum() for left_over in every) / freedom))


@dataclass(frozen=True)
class Photographed:
    """An invented car, its cameras, and what came of its pictures.

    Attributes
    ----------
    car : VirtualVehicle
        The car, with its truth.
    cameras : dict of str to Camera
        By wheel.
    session : dict
        What the cameras saw, as the JSON of a session has it.
    corner_px : float
        How much the corners scatter, as the fits tell, pixels.
    """

    car: VirtualVehicle
    cameras: dict[str, Camera]
    session: Tree
    corner_px: float


def photographed(seed: int) -> Photographed:
    """Invent a car and its cameras; take, read and solve all pictures."""
    rng = np.random.default_rng(seed)
    car = invented_car(rng)
    cameras = invented_cameras(car, rng)
    solved = []
    for _, poses in stations_of(car):
        station = {}
        for wheel, rig_from_target in zip(WHEELS, poses, strict=True):
            camera = cameras[wheel]
            light = light_of(wheel, camera, seen_from(camera, rig_from_target))
            picture = photograph(light, rng)
            station[wheel] = solve(wheel, camera, find_corners(wheel, picture))
        solved.append(station)
    corner_px = scatter_px(solved)
    return Photographed(
        car, cameras, session_of(car, cameras, solved, corner_px), corner_px
    )


def seen_from(camera: Camera, rig_from_target: Array) -> Array:
    """Return ``camera_from_target``."""
    return numbers(np.linalg.solve(camera.rig_from_camera, rig_from_target))


def report(session: Tree, truth: wa.Alignment) -> str:
    """Write readings beside the truth, and what they are worth."""
    known = uncertainty.propagate(session)
    trees = (known.measurement.alignment, truth, known.expanded_tree())
    lines = [f"{'':<36}{'read':>10}{'truth':>10}{'off':>9}{'± 95 %':>9}"]
    for path in SHOWN:
        read, built, worth = (float(tree.get(path) or np.nan) for tree in trees)
        lines.append(
            f"{path:<36}{read:10.3f}{built:10.3f}{read - built:+9.3f}{worth:9.3f}"
        )
    return "\n".join(lines)


def main() -> None:
    """Photograph one car, and print what was read of it beside what it is."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--seed", type=int, default=SEED, help="of car and noise")
    parser.add_argument("--write", action="store_true", help=f"write {STORED.name}")
    parser.add_argument("--picture", type=Path, help="write the picture of fl, ahead")
    given = parser.parse_args()
    if given.picture:
        rng = np.random.default_rng(given.seed)
        car = invented_car(rng)
        camera = invented_cameras(car, rng)["fl"]
        _, poses = stations_of(car)[0]
        light = light_of("fl", camera, seen_from(camera, poses[0]))
        cv2.imwrite(str(given.picture), photograph(light, rng))
        return
    of = photographed(given.seed)
    if given.write:
        STORED.write_text(in_lines(of.session))
    print(f"Invented. Corners scatter by {of.corner_px:.3f} pixels.")
    print(report(of.session, of.car.truth()))


def in_lines(session: Tree) -> str:
    """Write a session with a line for each pose."""
    text = json.dumps(session)
    for wheel in WHEELS:
        text = text.replace(f'"{wheel}": {{', f'\n"{wheel}": {{')
    return text + "\n"


if __name__ == "__main__":
    main()
