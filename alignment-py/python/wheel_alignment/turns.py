"""Toe-out on turns, Ackermann, the angles at full lock."""

from __future__ import annotations

from dataclasses import dataclass

from wheel_alignment._values import Value


@dataclass(frozen=True, slots=True, eq=False)
class TurnReadings(Value):
    """The readings of one turn: magnitudes; None where one is absent.

    Attributes
    ----------
    inner_deg, outer_deg : float or None
        Steer angle in degrees of the wheel on the inside and on the outside of the
        turn, from its own heading straight ahead.
    toe_out_deg : float or None
        Toe-out on turns in degrees: inner minus outer.
    ackermann_deg : float or None
        Ideal toe-out there in degrees, by Ackermann.
    """

    inner_deg: float | None
    outer_deg: float | None
    toe_out_deg: float | None
    ackermann_deg: float | None


@dataclass(frozen=True, slots=True, eq=False)
class LockReadings(Value):
    """The steer angles at full lock; None where one is absent.

    Attributes
    ----------
    left_deg, right_deg : float or None
        Steer angle in degrees of the left and of the right wheel, from its own heading
        straight ahead; positive to the left.
    """

    left_deg: float | None
    right_deg: float | None


@dataclass(frozen=True, slots=True, eq=False)
class TurnsReadings(Value):
    """The readings of turning, from the sweep and the locks.

    Attributes
    ----------
    left_turn, right_turn : TurnReadings
        Turning left, with the left wheel on the inside, and turning right.
    lock_left, lock_right : LockReadings
        Full lock to the left and to the right.
    """

    left_turn: TurnReadings
    right_turn: TurnReadings
    lock_left: LockReadings
    lock_right: LockReadings
