"""Whole sessions of many cars in numpy tuned far beyond what a researcher would write.

Rolled, stood straight ahead, swept with the wheels locked: the readings that `measure`
gives by its default method, without its checks and warnings. No pose is checked, and no
bad record is told from a good one. `sessions_numpy` is the plain form; this is the
higher bar that the library is timed against, as fast as we could make it in numpy:

* The record is the last axis, some hundred at a time, so that all stays in the cache.
* Of exact rotations Σ(R − R̄)ᵀ(R − R̄) is n·(1 − R̄ᵀR̄): the mean is all that is summed.
* Its eigenvector of the least eigenvalue is had in closed form, from the adjugate.
* The normal equations are reduced by hand to two unknowns.

What was tried and cost more, in ns per record on a machine where the whole takes 4400:
`numpy.linalg.eigh` of the four spindles' scatter 5800 by itself, `svd` 16000; a
pseudo-inverse of one wheel's equations 23000; the longest column by `argmax` and
`take_along_axis` 100 more. Smaller blocks cost more for the calls than they win by the
cache: 256 records at a time take 6900.
"""

from __future__ import annotations

import numpy as np
import readings_tuned
from numpy.typing import NDArray
from readings_tuned import DEG, WHEELS

Array = NDArray[np.float64]

SIDE = np.array([1.0, -1.0, 1.0, -1.0])[:, None]
FRONT_SIDE = SIDE[:2]
BLOCK = 1024
"""Records at a time."""
AT_DEG = 20.0
"""Where toe-out on turns is read, of the inner wheel."""
SAME_STATION_DEG = 0.5
TURN_MARGIN_DEG = 1.0

_SIDES = ("left", "right")
NAMES = (
    *readings_tuned.NAMES,
    *(f"wheels.{wheel}.runout_deg" for wheel in WHEELS),
    *(f"wheels.{wheel}.rolling_radius_mm" for wheel in WHEELS),
    *(f"steering.{side}.caster_deg" for side in _SIDES),
    *(f"steering.{side}.sai_deg" for side in _SIDES),
    *(f"steering.{side}.included_angle_deg" for side in _SIDES),
    *(f"steering.{side}.caster_trail_mm" for side in _SIDES),
    *(f"steering.{side}.scrub_radius_mm" for side in _SIDES),
    *(f"steering.{side}.caster_trail_in_wheel_plane_mm" for side in _SIDES),
    *(f"steering.{side}.scrub_radius_in_wheel_plane_mm" for side in _SIDES),
    *(f"steering.{side}.residual_deg" for side in _SIDES),
    *(f"steering.{side}.residual_mm" for side in _SIDES),
    "steering.cross_caster_deg",
    "steering.cross_sai_deg",
    "steering.sweep_range_deg",
    *(f"turns.{side}_turn.inner_deg" for side in _SIDES),
    *(f"turns.{side}_turn.outer_deg" for side in _SIDES),
    *(f"turns.{side}_turn.toe_out_deg" for side in _SIDES),
    *(f"turns.{side}_turn.ackermann_deg" for side in _SIDES),
)
_AHEAD = len(readings_tuned.NAMES)


def measure(
    rolling: Array,
    ahead: Array,
    sweep: Array,
    up: Array,
    clamp_standoff_mm: Array,
    loaded_radius_mm: Array,
) -> dict[str, Array]:
    """Every reading of whole sessions, by its path.

    Parameters
    ----------
    rolling : ndarray, (N, S, 4, 4, 4)
        rig_from_target by record, station and wheel, fl fr rl rr.
    ahead : ndarray, (N, 4, 4, 4)
    sweep : ndarray, (N, S', 4, 4, 4)
        In the order of the steer angle, from right to left.
    up : ndarray, (3,)
    clamp_standoff_mm, loaded_radius_mm : ndarray, (4,)
    """
    count = len(ahead)
    out = np.empty((len(NAMES), count))
    wheels = np.empty((4, 2, 3, count))
    axes = np.empty((2, 2, 3, count))
    # Only the three rows that say something, and of the sweep only the front wheels.
    rolled = rolling[..., :3, :].transpose(1, 2, 3, 4, 0)
    straight = ahead[..., :3, :].transpose(1, 2, 3, 0)
    swept = sweep[:, :, :2, :3, :].transpose(1, 2, 3, 4, 0)
    for start in range(0, count, BLOCK):
        part = slice(start, start + BLOCK)
        _block(
            _contiguous(rolled[..., part]),
            _contiguous(straight[..., part]),
            _contiguous(swept[..., part]),
            up,
            clamp_standoff_mm,
            loaded_radius_mm[:, None],
            out[:, part],
            wheels[..., part],
            axes[..., part],
        )
    readings = dict(zip(NAMES, out, strict=True))
    for wheel, (spindle, centre) in zip(WHEELS, wheels, strict=True):
        readings[f"wheels.{wheel}.spindle"] = spindle.T
        readings[f"wheels.{wheel}.centre_mm"] = centre.T
    for side, (direction, point) in zip(_SIDES, axes, strict=True):
        readings[f"steering.{side}.axis_direction"] = direction.T
        readings[f"steering.{side}.axis_point_mm"] = point.T
    return readings


def _contiguous(rows: Array) -> Array:
    """A copy with the record last, of so few at a time that they stay in the cache."""
    copy = np.empty(rows.shape)
    for start in range(0, rows.shape[-1], 128):
        copy[..., start : start + 128] = rows[..., start : start + 128]
    return copy


def _block(
    rolled: Array,
    straight: Array,
    swept: Array,
    up: Array,
    standoff: Array,
    loaded_radius: Array,
    out: Array,
    wheels: Array,
    axes: Array,
) -> None:
    turning = _Turning(rolled, swept, up)
    spindle, centre, radius = _compensate(rolled, turning, up, standoff)

    # Straight ahead: in the rig, then in the vehicle's own frame.
    turn = straight[:, :, :3]
    located = np.empty((4, 2, 3, turn.shape[-1]))
    located[:, 0] = _times(turn, spindle)
    located[:, 1] = _times(turn, centre)
    located[:, 1] += straight[:, :, 3]
    middles = located[::2, 1] + located[1::2, 1]
    middles *= 0.5
    forward = middles[0] - middles[1]
    forward -= up[:, None] * (up @ forward)
    frame = np.empty((3, 3, forward.shape[-1]))
    frame[0] = _unit(forward)
    frame[1] = _cross_up(up, frame[0])
    frame[2] = up[:, None]
    located[:, 1] -= middles[1]
    np.einsum("ain,wvin->wvan", frame, located, out=wheels)
    readings_tuned.fill(wheels, loaded_radius, out[:_AHEAD])

    _runout(spindle, out[_AHEAD : _AHEAD + 4])
    out[_AHEAD + 4 : _AHEAD + 8] = radius
    _steer(
        swept,
        turning,
        spindle,
        centre,
        frame,
        middles[1],
        wheels,
        loaded_radius,
        out,
        axes,
    )


class _Turning:
    """What turned about the rolled spindles, fl fr rl rr, and the steering axes, fl fr.

    The origins lose their mean over the stations.
    """

    def __init__(self, rolled: Array, swept: Array, up: Array) -> None:
        mean = np.empty((6, *rolled.shape[2:]))
        for stations, own in ((rolled, mean[:4]), (swept, mean[4:])):
            np.add.reduce(stations, axis=0, out=own)
            own *= 1.0 / len(stations)
            stations[..., 3, :] -= own[..., 3, :]
        self.mean_turn, self.mean_origin = mean[:, :, :3], mean[:, :, 3]
        self.in_target = _fixed_direction(self.mean_turn)
        self.in_rig = _unit(_times(self.mean_turn, self.in_target), axis=1)
        # Outward: away from the wheel on the other side. Upward: along up.
        sense = np.empty_like(self.in_rig)
        sense[:4:2] = self.mean_origin[:4:2] - self.mean_origin[1:4:2]
        np.negative(sense[:4:2], out=sense[1:4:2])
        sense[4:] = up[:, None]
        sign = np.copysign(1.0, _dot(self.in_rig, sense))[:, None]
        self.in_target *= sign
        self.in_rig *= sign
        # Two axes square to it in the target, and their mean in the rig.
        self.square = _square(self.in_target)
        self.seen = np.einsum("wijn,kwjn->kwin", self.mean_turn, self.square)
        # The scatter of the two over the stations.
        self.bb = 1.0 - _dot(self.seen[0], self.seen[0])
        self.cc = 1.0 - _dot(self.seen[1], self.seen[1])
        self.bc = -_dot(self.seen[0], self.seen[1])


def _compensate(
    rolled: Array, turning: _Turning, up: Array, standoff: Array
) -> tuple[Array, Array, Array]:
    """Spindle and centre in each target, and the rolling radius, by least squares."""
    count = len(rolled)
    turn, origin = rolled[..., :3, :], rolled[..., 3, :]
    spindle, outward = turning.in_target[:4], turning.in_rig[:4]
    square, seen = turning.square[:, :4], turning.seen[:, :4]
    heading = _unit(_cross_up(-up, outward.swapaxes(0, 1))).swapaxes(0, 1)
    heading *= SIDE[:, None]
    leftward = _cross_up(up, heading.swapaxes(0, 1)).swapaxes(0, 1)

    reference = seen[0] - outward * _dot(seen[0], outward)[:, None]
    reference = _unit(reference, axis=1)
    quarter = _cross(outward, reference)
    cos = _outer(reference, square[0]) + _outer(quarter, square[1])
    sin = _outer(quarter, square[0]) - _outer(reference, square[1])
    sin *= SIDE[:, None, None]  # forward positive
    roll = np.arctan2(
        np.einsum("swijn,wijn->swn", turn, sin), np.einsum("swijn,wijn->swn", turn, cos)
    )
    roll -= roll.mean(axis=0)

    # Sums over the stations, less what the means make of them.
    rolls = np.einsum("swn,swn->wn", roll, roll)
    rolls = 1.0 / rolls
    by_roll = np.einsum("swn,swijn->wijn", roll, rolled)
    back = np.einsum("swijn,swin->wjn", turn, origin)
    swung = np.einsum("wijn,kwjn->kwin", by_roll[:, :, :3], square)
    travelled = by_roll[:, :, 3]
    gone_b, gone_c = _dot(square[0], back), _dot(square[1], back)
    bb, cc, bc = (count * of[:4] for of in (turning.bb, turning.cc, turning.bc))

    def offset(*along: Array) -> tuple[list[Array], Array, Array]:
        """The steps along each direction, per radian, and the offset's two parts."""
        kbb, kcc, kbc, rb, rc = bb, cc, bc, gone_b, gone_c
        rows = []
        for direction in along:
            b, c = _dot(direction, swung[0]), _dot(direction, swung[1])
            right = _dot(direction, travelled)
            rows.append((b, c, right))
            share = b * rolls
            kbb, kbc, rb = kbb - share * b, kbc - share * c, rb - share * right
            share = c * rolls
            kcc, rc = kcc - share * c, rc - share * right
        det = 1.0 / (kbb * kcc - kbc * kbc)
        b, c = (kcc * rb - kbc * rc) * det, (kbb * rc - kbc * rb) * det
        steps = [(right - by_b * b - by_c * c) * rolls for by_b, by_c, right in rows]
        return steps, b, c

    (ahead, left), _, _ = offset(heading, leftward)
    step = heading * ahead[:, None]
    step += leftward * left[:, None]
    travel = _unit(step.sum(axis=0))
    (radius,), b, c = offset(np.broadcast_to(travel, heading.shape))
    centre = spindle * -standoff[:, None, None]
    centre -= square[0] * b[:, None]
    centre -= square[1] * c[:, None]
    return spindle, centre, radius


def _steer(
    swept: Array,
    turning: _Turning,
    spindle: Array,
    centre: Array,
    frame: Array,
    rear: Array,
    wheels: Array,
    loaded_radius: Array,
    out: Array,
    axes: Array,
) -> None:
    count = len(swept)
    turn, origin = swept[..., :3, :], swept[..., 3, :]
    mean_turn, axis, in_rig = (
        turning.mean_turn[4:],
        turning.in_target[4:],
        turning.in_rig[4:],
    )

    # A point of the axis: where R·q + p varies least, along the two axes square to it.
    square = turning.square[:, 4:]
    back = np.einsum("swijn,swin->wjn", turn, origin)
    back *= -1.0 / count
    bb, cc, bc = turning.bb[4:], turning.cc[4:], turning.bc[4:]
    rb, rc = _dot(square[0], back), _dot(square[1], back)
    det = 1.0 / (bb * cc - bc * bc)
    point = axis * _dot(axis, centre[:2])[:, None]
    point += square[0] * ((cc * rb - bc * rc) * det)[:, None]
    point += square[1] * ((bb * rc - bc * rb) * det)[:, None]
    in_rig_mm = _times(mean_turn, point)

    row = _AHEAD + 8
    caster, sai, included, trail, scrub, in_plane, square_to_plane, tilt, shift = (
        out[row + 2 * i : row + 2 * i + 2] for i in range(9)
    )
    # How far each station lies from one fixed axis.
    left_over = np.einsum("swijn,wjn->swin", turn, axis)
    left_over -= in_rig
    np.sqrt(np.einsum("swin,swin->wn", left_over, left_over), out=tilt)
    tilt *= DEG / np.sqrt(count)
    left_over = np.einsum("swijn,wjn->swin", turn, point)
    left_over += origin
    left_over -= in_rig_mm
    np.sqrt(np.einsum("swin,swin->wn", left_over, left_over), out=shift)
    shift *= 1.0 / np.sqrt(count)

    in_rig_mm += turning.mean_origin[4:]
    in_rig_mm -= rear
    k = np.einsum("ain,win->wan", frame, in_rig)
    q = np.einsum("ain,win->wan", frame, in_rig_mm)
    a, middle = wheels[:2, 0], wheels[:2, 1]
    k_x, k_y, k_z = k.swapaxes(0, 1)
    np.arctan2(-k_x, k_z, out=caster)
    caster *= DEG
    np.arctan2(k_y * -FRONT_SIDE, k_z, out=sai)
    sai *= DEG
    np.add(sai, out[:2], out=included)

    # The contact centre, and where the axis meets the ground from there.
    a_x, a_y, a_z = a.swapaxes(0, 1)
    level = np.sqrt(a_x * a_x + a_y * a_y)
    down = loaded_radius[:2] / level
    drop = a_z * down
    contact_x, contact_y = middle[:, 0] + drop * a_x, middle[:, 1] + drop * a_y
    contact_z = middle[:, 2] - down * (1.0 - a_z * a_z)
    along = (contact_z - q[:, 2]) / k_z
    ground_y = q[:, 1] + along * k_y
    np.subtract(q[:, 0] + along * k_x, contact_x, out=trail)
    beside = ground_y - contact_y
    np.multiply(beside, -FRONT_SIDE, out=scrub)
    # The heading, straight ahead: the spindle's trace turned by a quarter.
    level = FRONT_SIDE / level
    f_x, f_y = a_y * level, -a_x * level
    np.add(trail * f_x, beside * f_y, out=in_plane)
    np.subtract(trail * f_y, beside * f_x, out=square_to_plane)
    square_to_plane *= FRONT_SIDE

    axes[:, 0] = k
    np.multiply(k, _dot(middle - q, k)[:, None], out=axes[:, 1])
    axes[:, 1] += q

    row += 18
    np.subtract(caster[0], caster[1], out=out[row])
    np.subtract(sai[0], sai[1], out=out[row + 1])

    # The steer angle, from the heading straight ahead: the spindle's own turn about up.
    straight = a_x[:, None] * frame[0] + a_y[:, None] * frame[1]
    beside_it = a_x[:, None] * frame[1] - a_y[:, None] * frame[0]
    steer = np.arctan2(
        np.einsum("swijn,wijn->swn", turn, _outer(beside_it, spindle[:2])),
        np.einsum("swijn,wijn->swn", turn, _outer(straight, spindle[:2])),
    )
    steer *= DEG
    mean_steer = steer[:, 0] + steer[:, 1]
    np.subtract(mean_steer.max(axis=0), mean_steer.min(axis=0), out=out[row + 2])
    out[row + 2] *= 0.5

    row += 3
    distance = ground_y[0] - ground_y[1]
    wheelbase = 0.5 * (out[25] + out[26])
    ratio = distance / wheelbase
    at = np.radians(AT_DEG)
    ideal = np.arctan2(np.sin(at), np.cos(at) + np.sin(at) * ratio)
    ideal *= -DEG
    ideal += AT_DEG
    left, right = steer[:, 0], steer[:, 1]
    pairs = ((left, right), (-right[::-1], -left[::-1]))
    for turned, (asked, other) in enumerate(pairs):
        outer = _interpolate(asked, other)
        inner = np.where(np.isnan(outer), np.nan, AT_DEG)
        out[row + turned], out[row + 2 + turned] = inner, outer
        out[row + 4 + turned] = inner - outer
        out[row + 6 + turned] = np.where(np.isnan(outer), np.nan, ideal)


def _interpolate(asked: Array, other: Array) -> Array:
    """The cubic through the four nearest stations; the ahead station is one of them.

    Stations of the sweep are taken to stand apart; only the ahead one may stand by one.
    """
    near = np.abs(asked) < SAME_STATION_DEG
    if near.any(axis=0).all():
        share = np.where(near, 0.5, 1.0)
        asked, other = asked * share, other * share
    else:
        beside = near.any(axis=0)
        share = np.where(near, 0.5, 1.0)
        # An ahead station that is one with another counts there, and far off here.
        nil = np.where(beside, -1e6, 0.0)
        asked = np.concatenate([asked * share, nil[None]])
        other = np.concatenate([other * share, nil[None]])
        order = np.argsort(asked, axis=0)
        asked = np.take_along_axis(asked, order, axis=0)
        other = np.take_along_axis(other, order, axis=0)
    window = min(4, len(asked))
    # Of the ends of five neighbours the further one is left out.
    first = (AT_DEG - asked[:-window] > asked[window:] - AT_DEG).sum(axis=0)
    if (first == first[0]).all():
        nodes = slice(first[0], first[0] + window)
        x, y = asked[nodes], other[nodes]
    else:
        chosen = first + np.arange(window)[:, None]
        x = np.take_along_axis(asked, chosen, axis=0)
        y = np.take_along_axis(other, chosen, axis=0)
    value: Array = np.zeros_like(y[0])
    for i in range(window):
        term = y[i]
        for j in range(window):
            if j != i:
                term = term * ((AT_DEG - x[j]) / (x[i] - x[j]))
        value += term
    value[(asked[-1] < AT_DEG - TURN_MARGIN_DEG) | (asked[0] > AT_DEG)] = np.nan
    return value


def _fixed_direction(mean_turn: Array) -> Array:
    """The unit vector that turns least, (wheel, 3, record)."""
    gram = np.einsum("wijn,wikn->jkwn", mean_turn, mean_turn)
    np.negative(gram, out=gram)
    for i in range(3):
        gram[i, i] += 1.0
    # The least root of the characteristic polynomial, by Newton's steps up from 0.
    adjugate = _adjugate(gram)
    det = gram[0, 0] * adjugate[0, 0]
    det += gram[0, 1] * adjugate[0, 1]
    det += gram[0, 2] * adjugate[0, 2]
    minors = adjugate[0, 0] + adjugate[1, 1] + adjugate[2, 2]
    trace = gram[0, 0] + gram[1, 1] + gram[2, 2]
    least = det / minors
    for _ in range(2):
        value = det - least * (minors - least * (trace - least))
        slope = minors - least * (2.0 * trace - 3.0 * least)
        least += value / slope
    for i in range(3):
        gram[i, i] -= least
    adjugate = _adjugate(gram)
    # Every column of the adjugate is along it: the longest is taken.
    x, y, z = adjugate[0, 0], adjugate[1, 1], adjugate[2, 2]
    direction = np.where(y > z, adjugate[1], adjugate[2])
    direction = np.where(x > np.maximum(y, z), adjugate[0], direction)
    return _unit(direction).swapaxes(0, 1)


def _adjugate(m: Array) -> Array:
    """Of symmetric matrices, (3, 3, ...)."""
    out = np.empty_like(m)
    a, b, c, d, e, f = m[0, 0], m[0, 1], m[0, 2], m[1, 1], m[1, 2], m[2, 2]
    out[0, 0], out[1, 1], out[2, 2] = d * f - e * e, a * f - c * c, a * d - b * b
    out[0, 1] = out[1, 0] = c * e - b * f
    out[0, 2] = out[2, 0] = b * e - c * d
    out[1, 2] = out[2, 1] = b * c - a * e
    return out


def _square(axis: Array) -> Array:
    """Two unit vectors square to each unit vector, right-handed with it."""
    x, y, z = axis.swapaxes(0, 1)
    sign = np.copysign(1.0, z)
    k = -1.0 / (sign + z)
    xy = x * y * k
    out = np.empty((2, *axis.shape))
    out[0, :, 0] = 1 + sign * x * x * k
    out[0, :, 1] = sign * xy
    out[0, :, 2] = -sign * x
    out[1, :, 0] = xy
    out[1, :, 1] = sign + y * y * k
    out[1, :, 2] = -y
    return out


def _runout(spindle: Array, out: Array) -> None:
    """The angle between the spindle and the nearest axis of the target."""
    x, y, z = np.abs(spindle).swapaxes(0, 1)
    low, high = np.minimum(x, y), np.maximum(x, y)
    middle = np.maximum(low, np.minimum(high, z))
    low, high = np.minimum(low, z), np.maximum(high, z)
    np.arctan2(np.sqrt(low * low + middle * middle), high, out=out)
    out *= DEG


def _dot(a: Array, b: Array) -> Array:
    """Along the second axis of three."""
    product = a[:, 0] * b[:, 0]
    product += a[:, 1] * b[:, 1]
    product += a[:, 2] * b[:, 2]
    return product


def _cross(a: Array, b: Array) -> Array:
    """Along the second axis of three."""
    (a_x, a_y, a_z), (b_x, b_y, b_z) = a.swapaxes(0, 1), b.swapaxes(0, 1)
    out = np.empty_like(a)
    out[:, 0] = a_y * b_z - a_z * b_y
    out[:, 1] = a_z * b_x - a_x * b_z
    out[:, 2] = a_x * b_y - a_y * b_x
    return out


def _times(matrix: Array, vector: Array) -> Array:
    product: Array = np.einsum("wijn,wjn->win", matrix, vector)
    return product


def _outer(a: Array, b: Array) -> Array:
    return a[:, :, None] * b[:, None]


def _cross_up(up: Array, v: Array) -> Array:
    """`up` × v, with the axis first."""
    return np.stack(
        [
            up[1] * v[2] - up[2] * v[1],
            up[2] * v[0] - up[0] * v[2],
            up[0] * v[1] - up[1] * v[0],
        ]
    )


def _unit(v: Array, axis: int = 0) -> Array:
    v = v / np.sqrt((v * v).sum(axis=axis, keepdims=True))
    return v
