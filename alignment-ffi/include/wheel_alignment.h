/* SPDX-License-Identifier: MIT OR Apache-2.0
 *
 * Wheel-alignment maths: from the poses of flat targets clamped to a car's four wheels to every
 * reading of the trade. Generated from alignment-ffi/src by cbindgen; edit there.
 *
 * Units: degrees and millimetres, always; the name of a reading says which (camber_deg, track_mm).
 * Axes: ISO 8855:2011, X forward, Y left, Z up.
 * Positive: camber top outward; toe toe-in; steer angle left turn; caster top of the steering axis
 * rearward; SAI its top inboard; caster trail and scrub radius where it meets the ground ahead and
 * inboard of the contact centre; thrust angle to the right; setback right wheel further rearward.
 *
 * Names: a function has the name that it has in every language, with wa_ before it; what belongs to a type has the
 * type's name as well, as in wa_pose_mean. One that has a session, a specification or its result as JSON ends in _json.
 * Where to begin: wa_session_default and wa_measure for a whole car; wa_from_rolling, once, and wa_ahead_readings, frame by
 * frame, or wa_tracker_new and wa_tracker_frame for a car that is moved, steered, lifted and half hidden meanwhile; wa_stand_assess for a calibration
 * stand before the car; wa_camber_deg and its like for a single formula.
 *
 * Memory: the caller owns every buffer. The library hands out no memory to be freed, but for a wa_tracker, which goes
 * back to wa_tracker_free, and keeps no pointer after it returns. A pointer that is not NULL points to as many bytes as its type, its size
 * or the length, count or capacity beside it says, readable or writable; nobody writes to them
 * meanwhile, and what is written overlaps nothing else. NULL is refused with WA_NULL_POINTER wherever it
 * is not said to be allowed, an address that is not aligned for its type with WA_MISALIGNED.
 * Arrays of four are in the order fl, fr, rl, rr (WA_WHEEL_...), arrays of two front, rear (WA_AXLE_...).
 * An array without a length holds as many elements as its declaration says. Points, vectors and matrices
 * lie in memory as C has them, row by row: hand over &points[0][0].
 * Threads: no global state, no state per thread, no lock, no thread of its own. Every function may be called
 * from any thread at any time, as long as two calls do not write to the same buffers.
 * Time: wa_ahead_readings and wa_tracker_frame allocate nothing, on success or on failure, and nor do the formulas that take single
 * numbers and vectors. All else may.
 * Errors: an int32_t status, 0 for success, negative otherwise. More in error, the last argument: NULL, or a
 * wa_error whose size is set. After a failure nothing but that was written, and *result_length where said.
 * Every function also returns WA_NULL_POINTER, WA_MISALIGNED, WA_BAD_STRUCT_SIZE, WA_BAD_LENGTH and, for a
 * number that stands for a choice, WA_OUT_OF_RANGE, as its arguments may deserve; WA_INTERNAL_FAULT never
 * but by a fault of the library. No input of any kind makes it crash that keeps what is said under Memory.
 *
 * Absent: a reading that is absent is NaN, and never zero. NaN that is handed over is no absent number: it is
 * refused with WA_NOT_FINITE wherever it is not said to be allowed. A number that may be absent on the way in
 * is a wa_optional, or a pointer that may be NULL.
 * Texts: a session or a specification is UTF-8 of so many bytes, without a NUL at the end. The path of a
 * reading is a string with a NUL, as in "wheels.fl.camber_deg".
 * Results as JSON go to three arguments:
 *   result_json: buffer of the caller of result_capacity bytes. On success it holds the result, UTF-8,
 *     with a NUL at the end. May be NULL when result_capacity is 0.
 *   result_length: the length of the result in bytes, without the NUL. Written on success and on
 *     WA_BUFFER_TOO_SMALL. A capacity of *result_length + 1 is enough. All the work is done before the
 *     capacity is compared: a first call with a roomy buffer saves the second one.
 * A number that is absent is null there, never zero; infinite degrees of freedom are null as well.
 * Structs that begin with a size: the caller sets it to sizeof, once; no call changes it. So programs and
 * libraries of different age understand each other: what the library does not know of a struct is set to
 * zero on the way out, and must be zero on the way in. A size that is smaller than the first version of
 * the struct, or greater than 4096, is refused with WA_BAD_STRUCT_SIZE.
 *
 * Same input, same bytes, on every call, thread and platform.
 * Stability: compare wa_abi_version() with WA_ABI_VERSION before the first call. While it is 0 anything but the numbers of
 * statuses, warnings, stages, wheels, sides, axles, verdicts, reasons, rules and other choices may still change;
 * these are final, never changed, never reused. From 1 on, within one version: no function, member or number
 * goes or changes; functions, numbers and statuses are added; a struct that begins with a size may grow at its
 * end, unless it stands in another; any other struct stays as it is. The name of the shared library at run time
 * has the version: libwheel_alignment.so.0. What may change when is in alignment-ffi/docs/abi.md.
 *
 * Readings are no licence to drive: the vehicle maker's procedure and figures, local codes and
 * licensed practice come first.
 */

#ifndef WHEEL_ALIGNMENT_H
#define WHEEL_ALIGNMENT_H

#include <stddef.h>
#include <stdint.h>

// Success.
#define WA_SUCCESS 0

// A number is NaN or infinite.
#define WA_NOT_FINITE -1

// A rotation matrix is not orthonormal within the tolerance.
#define WA_NOT_A_ROTATION -2

// A rotation matrix has a negative determinant: it mirrors.
#define WA_REFLECTION -3

// A direction or a quaternion does not have length 1.
#define WA_NOT_UNIT_LENGTH -4

// A length lies outside what a car and a rig can have.
#define WA_LENGTH_OUT_OF_RANGE -5

// An angle lies outside its range.
#define WA_ANGLE_OUT_OF_RANGE -6

// An input that this computation needs is missing.
#define WA_MISSING_INPUT -7

// A wheel's target was not seen where it is needed.
#define WA_WHEEL_NOT_SEEN -8

// There are fewer stations than the computation needs.
#define WA_TOO_FEW_STATIONS -9

// The car was rolled too little to find a spindle.
#define WA_ROLL_TOO_SMALL -10

// The stations lie a full turn of the wheel apart, which tells nothing about its spindle.
#define WA_ROLL_FULL_TURN -11

// The steering was swept too little to find the steering axis.
#define WA_SWEEP_TOO_SMALL -12

// The up direction points down: the wheels roll the wrong way for it.
#define WA_UP_INVERTED -13

// The left targets are on the right of the car, and the right ones on the left.
#define WA_SIDES_SWAPPED -14

// The front targets are on the rear wheels, and the rear ones on the front wheels.
#define WA_ENDS_SWAPPED -15

// Sides, ends or up are mirrored, and nothing in the session decides which.
#define WA_MIRRORED -16

// A spindle does not run across the car: the wheels cannot belong to one vehicle.
#define WA_SPINDLE_NOT_LATERAL -17

// The text is not a session: malformed JSON, an unknown key, a wrong type.
#define WA_NOT_A_SESSION -18

// The text is not a metric tyre size code.
#define WA_NOT_A_TYRE_SIZE -19

// The frames of one station move by more than they scatter: the target did not stand still.
#define WA_NOT_STILL -20

// The wheels cannot belong to one car, or not to the same car at every station.
#define WA_DIFFERENT_VEHICLES -21

// The rear wheels steer with the front ones: this library measures cars that steer with the front wheels alone.
#define WA_REAR_WHEEL_STEER -22

// A station has wheels beyond fl, fr, rl and rr: a third axle, which this library does not measure.
#define WA_THIRD_AXLE -23

// A stage has more stations, or a station more frames, than any session needs.
#define WA_TOO_MANY -24

// Two inputs contradict each other.
#define WA_CONTRADICTION -25

// A number lies outside its range.
#define WA_OUT_OF_RANGE -26

// A text is not a specification.
#define WA_NOT_A_SPECIFICATION -27

// No reading has this path.
#define WA_UNKNOWN_READING -28

// A matrix is no covariance: it is not symmetric, or it would give a combination of its quantities a negative variance.
#define WA_NOT_A_COVARIANCE -29

// A Monte Carlo run did not settle within the trials allowed.
#define WA_NOT_SETTLED -30

// The stations do not determine an unknown of the joint fit: nothing, or next to nothing, tells it from the others.
#define WA_NOT_DETERMINED -31

// The joint fit did not converge: no rigid car is near the poses.
#define WA_NOT_CONVERGED -32

// A text is no record of the work, or one of a newer version.
#define WA_NOT_A_RECORD -33

// A record is not as it was written: its digest does not fit its bytes.
#define WA_RECORD_DAMAGED -34

// A pointer is NULL that must not be; the message names it.
#define WA_NULL_POINTER -1001

// The result does not fit its buffer; the length that it needs is told.
#define WA_BUFFER_TOO_SMALL -1002

// The size in a struct is not one that this library knows. When it is that of wa_error, nothing was written.
#define WA_BAD_STRUCT_SIZE -1003

// A text is not UTF-8.
#define WA_NOT_UTF8 -1004

// A length is greater than any object in memory can be.
#define WA_BAD_LENGTH -1005

// A pointer is not aligned for its type; the message names it. When it is that of wa_error, nothing was written.
#define WA_MISALIGNED -1006

// A fault of this library, caught at its border: please report it. Nothing was written but the error.
#define WA_INTERNAL_FAULT -1099

// No stage, no station, no wheel.
#define WA_NONE -1

// The stations at which the car was rolled.
#define WA_STAGE_ROLLING 0

// The station with the wheels straight ahead.
#define WA_STAGE_AHEAD 1

// The stations of the caster sweep.
#define WA_STAGE_SWEEP 2

// Full lock to the left.
#define WA_STAGE_LOCK_LEFT 3

// Full lock to the right.
#define WA_STAGE_LOCK_RIGHT 4

// Front left.
#define WA_WHEEL_FL 0

// Front right.
#define WA_WHEEL_FR 1

// Rear left.
#define WA_WHEEL_RL 2

// Rear right.
#define WA_WHEEL_RR 3

// The driver's left.
#define WA_SIDE_LEFT 0

// The driver's right.
#define WA_SIDE_RIGHT 1

// The front axle.
#define WA_AXLE_FRONT 0

// The rear axle.
#define WA_AXLE_REAR 1

// The car was rolled less than the customary 20°: camber and toe scatter more.
#define WA_WARNING_ROLL_SHORT (1 << 0)

// The wheel rolls over a radius that was assumed, since two stations cannot give it.
#define WA_WARNING_ROLLING_RADIUS_ASSUMED (1 << 1)

// The loaded radius was not given: the rolling radius stands in for it.
#define WA_WARNING_LOADED_RADIUS_ASSUMED (1 << 2)

// The steering was swept less than ± 10°: caster and SAI scatter more.
#define WA_WARNING_SWEEP_SHORT (1 << 3)

// The wheel was free to roll in the sweep: SAI scatters about ten times more than with the wheel locked.
#define WA_WARNING_SWEEP_WHEEL_FREE (1 << 4)

// The poses of the stage do not fit a rigid motion within their noise.
#define WA_WARNING_RESIDUAL_HIGH (1 << 5)

// The body moved while the front wheels were steered: axes and angles are referred to a body that did not
// stand still.
#define WA_WARNING_BODY_MOVED (1 << 6)

// The sweep did not reach the angle at which toe-out on turns is read: that turn is absent.
#define WA_WARNING_TURN_NOT_REACHED (1 << 7)

// A wheel was not seen at enough stations of a stage: the readings that need it are absent.
#define WA_WARNING_WHEEL_BLOCKED (1 << 8)

// A target slipped on its clamp at one station: it fits the other stations of its stage but for this one. In
// the rolling, the first station alone cannot be told from all that follow.
#define WA_WARNING_TARGET_SLIPPED_ONCE (1 << 9)

// A target slipped on its clamp and stayed so: from this station on it fits the earlier ones of its stage no
// more.
#define WA_WARNING_TARGET_SLIPPED_FROM (1 << 10)

// A wheel that was to be locked in the sweep rolled about its spindle, or its steering axis moves, which looks
// alike: SAI leans on it.
#define WA_WARNING_WHEEL_ROLLED (1 << 11)

// The body was not watched at all stations at which the front wheels were steered: it is assumed to have stood
// still there, or the station is left out.
#define WA_WARNING_BODY_NOT_WATCHED (1 << 12)

// The points that make the datum do not lie in one plane.
#define WA_WARNING_DATUM_UNEVEN (1 << 13)

// The body was found again from rear wheels that were free to roll, which do not show how it pitches: caster
// leans on that.
#define WA_WARNING_BODY_PITCH_UNSEEN (1 << 14)

// A wheel stands otherwise at the ahead station than while the car was rolled or steered: its target slipped,
// it was steered, the car moved, or its suspension settled.
#define WA_WARNING_AHEAD_DISAGREES (1 << 15)

// The rear targets do not show one motion of the body: one of them slipped or rolled.
#define WA_WARNING_REAR_DISAGREE (1 << 16)

// No radius of the wheel is known: what lies at the ground is absent.
#define WA_WARNING_RADIUS_UNKNOWN (1 << 17)

// Toe-out on turns is interpolated between stations that lie far apart.
#define WA_WARNING_TURN_SPARSE (1 << 18)

// The poses do not fit one rigid car within their noise: the car moved between stages, a steering axis moves,
// or the noise is understated.
#define WA_WARNING_FIT_POOR (1 << 19)

// A pose does not belong to the car that all others show, and was left out.
#define WA_WARNING_POSE_LEFT_OUT (1 << 20)

// So many poses of a wheel were left out that the rest hardly check each other: they may be the wrong ones.
#define WA_WARNING_HARDLY_CHECKED (1 << 21)

// The room for a message, with its NUL, bytes.
#define WA_MESSAGE_CAPACITY 512

// The version of the binary interface, as the header knows it. 0 while the interface still grows.
#define WA_ABI_VERSION 0

// Left-handed, X forward, Y right, Z up: wa_pose_from_left_handed_y_right.
#define WA_AXES_LEFT_HANDED_Y_RIGHT 0

// Left-handed, X right, Y up, Z forward: wa_pose_from_left_handed_y_up.
#define WA_AXES_LEFT_HANDED_Y_UP 1

// Right-handed, X right, Y up, Z backward: wa_pose_from_right_handed_y_up.
#define WA_AXES_RIGHT_HANDED_Y_UP 2

// Right-handed, X forward, Y right, Z down: wa_pose_from_z_down.
#define WA_AXES_Z_DOWN 3

// The car is rolled on its wheels, without slip.
#define WA_COMPENSATION_ROLLED 0

// The car is raised and one wheel after the other is spun by hand.
#define WA_COMPENSATION_SPUN 1

// The body stands still while the front wheels are steered.
#define WA_SWEEP_BODY_STILL 0

// The body may rise, lean and slide, and is found again at each station from the rear targets, whose wheels are locked.
#define WA_SWEEP_BODY_FOUND_AGAIN 1

// The readings are estimated stage by stage.
#define WA_METHOD_STAGED 0

// The readings are estimated by one fit of a rigid car to all stages.
#define WA_METHOD_JOINT 1

// The centreline runs from the midpoint of the rear wheel centres to the midpoint of the front ones.
#define WA_CENTRELINE_AXLE_MIDPOINTS 0

// The centreline is the bisector of the lines through the left and through the right wheel centres.
#define WA_CENTRELINE_SIDE_LINE_BISECTOR 1

// Angles to the vertical refer to up.
#define WA_DATUM_UP 0

// Angles to the vertical refer to the plane on which the wheels stand.
#define WA_DATUM_WHEEL_PLANE 1

// Angles to the vertical refer to the runway, from points measured on it: runway_mm.
#define WA_DATUM_RUNWAY 2

// The wheel on the inside of the turn is brought to the angle.
#define WA_TURN_WHEEL_INNER 0

// The wheel on the outside of the turn is brought to the angle.
#define WA_TURN_WHEEL_OUTER 1

// The body goes straight while the car is rolled: it moves along one direction and does not turn.
#define WA_ROLLING_BODY_TRANSLATES 0

// The body may turn as well: the car does not run quite straight.
#define WA_ROLLING_BODY_TURNS 1

// Front wheels may be steered: they are referred back to straight ahead, and what the steering does not explain is shared by
// both as it was.
#define WA_STEERING_FREE 0

// The steering wheel is held: front wheels are read as they stand, so that each tie rod shows at its own wheel.
#define WA_STEERING_HELD 1

// The rule allows neither of the other verdicts.
#define WA_VERDICT_UNDETERMINED 0

// Within the limits, by the rule.
#define WA_VERDICT_CONFORMS 1

// Beyond a limit, by the rule.
#define WA_VERDICT_DOES_NOT_CONFORM 2

// Undetermined, since the reading is absent.
#define WA_REASON_NOT_MEASURED 0

// Undetermined, since the value lies nearer to a limit than its uncertainty allows.
#define WA_REASON_NEAR_LIMIT 1

// Undetermined, since the uncertainty is so great against the tolerance that no value could conform.
#define WA_REASON_TOO_UNCERTAIN 2

// Conforming and not conforming each need the stated probability; between them nothing is decided.
#define WA_RULE_GUARDED 0

// Within the limits conforms, beyond them does not; whoever takes the verdict shares the risk.
#define WA_RULE_SIMPLE_ACCEPTANCE 1

// The limits are in the reading's own unit.
#define WA_UNIT_OWN 0

// The limits are in degrees.
#define WA_UNIT_DEG 1

// The limits are in minutes of arc.
#define WA_UNIT_ARCMIN 2

// The limits are in mm: of a length, or of toe at the reference diameter.
#define WA_UNIT_MM 3

// The knuckle, the spindle or the strut of a front wheel is bent.
#define WA_CAUSE_BENT_KNUCKLE 1

// A pivot of a front knuckle stands elsewhere: the strut tower, the control arm or its mount has moved.
#define WA_CAUSE_SHIFTED_PIVOT 2

// The front subframe stands elsewhere: sideways, lengthwise or turned.
#define WA_CAUSE_SHIFTED_SUBFRAME 3

// A front wheel is pushed back: its lower arm, strut rod or their mount has moved.
#define WA_CAUSE_PUSHED_BACK_WHEEL 4

// A steering arm is bent.
#define WA_CAUSE_BENT_STEERING_ARM 5

// The stub axle, knuckle or arm of a rear wheel is bent.
#define WA_CAUSE_BENT_REAR_STUB_AXLE 6

// The rear axle stands elsewhere: sideways or turned.
#define WA_CAUSE_SHIFTED_REAR_AXLE 7

// A stand is placed along the line in which the car travels.
#define WA_LINE_THRUST_LINE 0

// A stand is placed along the x axis of the vehicle frame.
#define WA_LINE_CENTRELINE 1

// The distance counts from the middle between the front wheel centres.
#define WA_REFERENCE_POINT_FRONT_AXLE 0

// The distance counts from the middle between the rear wheel centres.
#define WA_REFERENCE_POINT_REAR_AXLE 1

// The distance counts from a point of the vehicle frame, point_mm.
#define WA_REFERENCE_POINT_POINT 2

// Follows a car, frame by frame. The one thing that the library makes and the caller gives back: wa_tracker_new makes it,
// wa_tracker_free gives it back. Calls for the same tracker do not overlap in time.
typedef struct wa_tracker wa_tracker;

// What went wrong, and where. The caller owns it, and sets size to sizeof(wa_error) once; no call changes it.
//
// A call with a good size fills in all the rest, on success too: then code is 0 and the message empty.
// A call with a bad one returns WA_BAD_STRUCT_SIZE, a call with one that is not aligned WA_MISALIGNED, and does
// nothing else.
typedef struct wa_error {
    // Set by the caller: sizeof(wa_error).
    size_t size;
    // The status that the function returned.
    int32_t code;
    // The stage, WA_STAGE_..., or WA_NONE.
    int32_t stage;
    // The station of the stage, counted from 0 as in the session, or WA_NONE.
    int32_t station;
    // The wheel, WA_WHEEL_..., or WA_NONE.
    int32_t wheel;
    // The figure seen, in the unit that the message states. NaN when there is none.
    double value;
    // The least that is allowed, in the same unit. NaN when there is none.
    double minimum;
    // The most that is allowed, in the same unit. NaN when there is none.
    double maximum;
    // One sentence: the place, what is wrong, the figure, the bound and the remedy. UTF-8 with a NUL at
    // the end; cut between two characters when it is too long.
    char message[WA_MESSAGE_CAPACITY];
} wa_error;

// One wheel.
typedef struct wa_wheel_readings {
    // Camber: inclination of the wheel plane to the datum's normal; positive with the top outward. Degrees.
    double camber_deg;
    // Toe, positive toe-in: of a front wheel to the thrust line, of a rear wheel to the centreline. Degrees.
    double toe_deg;
    // Toe to the vehicle's centreline, positive toe-in, degrees.
    double toe_to_centreline_deg;
    // Wheel centre in the vehicle frame, mm.
    double centre_mm[3];
    // Spindle, unit vector outward, in the vehicle frame.
    double spindle[3];
    // Runout of the clamp: angle between the spindle and the nearest axis of the target. Degrees.
    double runout_deg;
    // Rolling radius: travel of the wheel centre over roll angle. A spun wheel has none. In mm.
    double rolling_radius_mm;
} wa_wheel_readings;

// The four wheels.
typedef struct wa_wheels {
    // Front left.
    struct wa_wheel_readings fl;
    // Front right.
    struct wa_wheel_readings fr;
    // Rear left.
    struct wa_wheel_readings rl;
    // Rear right.
    struct wa_wheel_readings rr;
} wa_wheels;

// One axle.
typedef struct wa_axle_readings {
    // Total toe: the sum of both wheels' toe, positive toe-in. Degrees.
    double total_toe_deg;
    // Camber, left minus right, degrees.
    double cross_camber_deg;
    // Track between wheel centres, along the vehicle's y axis, mm.
    double track_mm;
    // Track between contact centres, along the vehicle's y axis (ISO 8855's track), mm.
    double track_at_ground_mm;
    // Setback as an angle: atan(setback_mm / track_mm); positive with the right wheel further rearward.
    // Degrees.
    double setback_deg;
    // Setback: x of the left wheel centre minus x of the right one; positive with the right wheel further
    // rearward. In mm.
    double setback_mm;
} wa_axle_readings;

// Both axles.
typedef struct wa_axles {
    // The front axle.
    struct wa_axle_readings front;
    // The rear axle.
    struct wa_axle_readings rear;
} wa_axles;

// The chassis.
typedef struct wa_chassis_readings {
    // Thrust angle: (rear left toe - rear right toe)/2; positive when the thrust line points to the right of
    // the centreline. Degrees.
    double thrust_angle_deg;
    // Wheelbase on the left, along the vehicle's x axis, mm.
    double wheelbase_left_mm;
    // Wheelbase on the right, along the vehicle's x axis, mm.
    double wheelbase_right_mm;
    // Wheelbase, left minus right, mm.
    double wheelbase_difference_mm;
    // Diagonal from the front left to the rear right wheel centre, in the reference plane, mm.
    double diagonal_fl_rr_mm;
    // Diagonal from the front right to the rear left wheel centre, in the reference plane, mm.
    double diagonal_fr_rl_mm;
    // Diagonals, fl–rr minus fr–rl, mm.
    double diagonal_difference_mm;
    // Track between wheel centres, front minus rear, mm.
    double track_difference_mm;
    // Axle offset: the rear midpoint from the line through the front midpoint square to the front axle line;
    // positive to the left. In mm.
    double axle_offset_mm;
} wa_chassis_readings;

// The steering axis of one side.
typedef struct wa_steering_axis_readings {
    // Caster to the datum, in the side view; positive with the top of the axis rearward. Degrees.
    double caster_deg;
    // Steering-axis inclination to the datum, in the front view; positive with the top inboard. Degrees.
    double sai_deg;
    // Included angle: SAI plus camber. Degrees.
    double included_angle_deg;
    // Caster trail along the vehicle's x axis; positive when the axis meets the ground ahead of the contact
    // centre. In mm.
    double caster_trail_mm;
    // Scrub radius along the vehicle's y axis; positive when the axis meets the ground inboard of the contact
    // centre. In mm.
    double scrub_radius_mm;
    // Caster trail along the wheel's heading; positive when the axis meets the ground ahead of the contact
    // centre. In mm.
    double caster_trail_in_wheel_plane_mm;
    // Scrub radius square to the wheel's heading; positive when the axis meets the ground inboard of the
    // contact centre. In mm.
    double scrub_radius_in_wheel_plane_mm;
    // Caster to the body, whose pitch and roll come from the ride heights; positive with the top of the axis
    // rearward. Degrees.
    double caster_to_body_deg;
    // Steering-axis inclination to the body, whose pitch and roll come from the ride heights; positive with
    // the top inboard. Degrees.
    double sai_to_body_deg;
    // Steering axis, unit vector upward, in the vehicle frame.
    double axis_direction[3];
    // Point of the steering axis nearest to the wheel centre straight ahead, in the vehicle frame, mm.
    double axis_point_mm[3];
    // How far one fixed axis leaves the sweep unexplained, root mean square over the stations: direction.
    // Degrees.
    double residual_deg;
    // How far one fixed axis leaves the sweep unexplained, root mean square over the stations: position. In
    // mm.
    double residual_mm;
} wa_steering_axis_readings;

// The steering, from the sweep.
typedef struct wa_steering_readings {
    // The axis of the left front wheel.
    struct wa_steering_axis_readings left;
    // The axis of the right front wheel.
    struct wa_steering_axis_readings right;
    // How far from straight ahead the front wheels stood at the ahead station: (right toe - left toe)/2 to the
    // thrust line; positive to the left. Degrees.
    double ahead_error_deg;
    // Caster, left minus right, degrees.
    double cross_caster_deg;
    // SAI, left minus right, degrees.
    double cross_sai_deg;
    // Range of the sweep: largest minus smallest mean steer angle of the front wheels. Degrees.
    double sweep_range_deg;
} wa_steering_readings;

// The front wheels in a turn, where the wheel that the session names has the angle that it names.
typedef struct wa_turn_readings {
    // Steer angle of the wheel on the inside of the turn, from its own heading straight ahead, degrees.
    double inner_deg;
    // Steer angle of the wheel on the outside of the turn, from its own heading straight ahead, degrees.
    double outer_deg;
    // Toe-out on turns: inner minus outer. Degrees.
    double toe_out_deg;
    // Ideal toe-out there, by Ackermann: cot(outer) - cot(inner) = (distance of the steering axes at the
    // ground, along the vehicle's y axis)/(mean wheelbase). Degrees.
    double ackermann_deg;
} wa_turn_readings;

// The front wheels at full lock.
typedef struct wa_lock_readings {
    // Steer angle of the left wheel, from its own heading straight ahead; positive to the left. Degrees.
    double left_deg;
    // Steer angle of the right wheel, from its own heading straight ahead; positive to the left. Degrees.
    double right_deg;
} wa_lock_readings;

// Turning, from the sweep and the locks.
typedef struct wa_turns_readings {
    // A turn to the left.
    struct wa_turn_readings left_turn;
    // A turn to the right.
    struct wa_turn_readings right_turn;
    // Full lock to the left.
    struct wa_lock_readings lock_left;
    // Full lock to the right.
    struct wa_lock_readings lock_right;
} wa_turns_readings;

// Every reading of a car, each at its path: alignment.wheels.fl.camber_deg.
//
// A reading that is absent is NaN, and its bit in present is 0; no reading that is present is NaN or infinite. The
// same tree holds what readings are worth: then each number is the standard uncertainty of the reading at its path, in the
// unit of that, or its degrees of freedom, which may be infinite.
typedef struct wa_alignment {
    // Set by the caller: sizeof(wa_alignment). Within another struct set by the library.
    size_t size;
    // Which readings are present: bit position % 64 of present[position / 64], by the position that
    // wa_reading_position tells. Or ask wa_is_present. The bits beyond wa_reading_count() are 0.
    uint64_t present[2];
    // Per wheel.
    struct wa_wheels wheels;
    // Per axle.
    struct wa_axles axles;
    // The chassis.
    struct wa_chassis_readings chassis;
    // The steering, from the sweep.
    struct wa_steering_readings steering;
    // Turning, from the sweep and the locks.
    struct wa_turns_readings turns;
} wa_alignment;

// A number that may be absent.
typedef struct wa_optional {
    // 1, or 0 when absent. To the library all but 0 is present; in a wa_compensation it must be 0 or 1.
    int64_t present;
    // The number; from the library NaN when absent, to the library not looked at then.
    double value;
} wa_optional;

// The pose of a target in the rig: a point p of the target lies at R·p + t in the rig. Of the target of a wheel that a
// camera of the session names, in the frame of that camera.
//
// Plain numbers, checked when they are used: finite, coordinates within a kilometre, R orthonormal within 1e-6 in its worst
// element of RᵀR and right-handed; within that it is taken to the nearest rotation.
typedef struct wa_pose {
    // R, row by row: its columns are the axes of the target, seen in the rig.
    double rotation[3][3];
    // t, the origin of the target in the rig, mm.
    double translation_mm[3];
} wa_pose;

// How much the frames of one station scatter about their mean: one standard deviation of a single frame per axis.
typedef struct wa_spread {
    // How many frames there were.
    size_t frames;
    // Of the rotation, about each axis, degrees. NaN for one frame.
    double rotation_deg;
    // Of the translation, along each axis, mm. NaN for one frame.
    double translation_mm;
} wa_spread;

// A camera that reports in its own frame.
typedef struct wa_camera {
    // Where the camera is and how it is turned in the rig: a point p of its frame lies at R·p + t in the rig.
    struct wa_pose rig_from_camera;
    // Of fl, fr, rl, rr: not 0 where it sees the wheel, whose poses are then in its frame. No wheel is named by two.
    int32_t wheels[4];
} wa_camera;

// A scatter per axis: one standard deviation.
typedef struct wa_pose_noise {
    // About each axis, degrees, 0 to 10.
    double rotation_deg;
    // Along each axis, mm, 0 to 100.
    double translation_mm;
} wa_pose_noise;

// How a pose scatters when its axes scatter differently or together: the covariance of a small turn and a small shift.
typedef struct wa_pose_covariance {
    // Row by row, in the order x, y, z of the rotation, in degrees, then x, y, z of the translation, in mm: deg², deg·mm
    // and mm². With the rotation vector w and the shift t the pose seen is exp(w)·R and p + t.
    double covariance[6][6];
} wa_pose_covariance;

// Standard uncertainties of the inputs beside the poses; 0 is exact.
typedef struct wa_input_uncertainty {
    // Of each clamp's standoff, mm.
    double clamp_standoff_mm;
    // Of the direction up, about each level axis, degrees.
    double up_deg;
    // Of each axle's loaded radius, mm, where it is given.
    double loaded_radius_mm;
    // Of each coordinate of a point of the runway, mm.
    double runway_mm;
    // Of each ride height, mm.
    double ride_height_mm;
    // Of where the cameras of the right wheels stand against those of the left: one error that all poses of the right
    // wheels share.
    struct wa_pose_noise right_cameras;
} wa_input_uncertainty;

// What the cameras saw of one wheel at one station.
typedef struct wa_sighting {
    // frames_count poses of a target that stands still, which are averaged. NULL when it was not seen.
    const struct wa_pose *frames;
    // How many: 0 when the wheel was not seen, 1 for a single pose, at most 10000.
    size_t frames_count;
    // How a single pose scatters, where that is known better than of the others; else NULL. Not with several frames.
    const struct wa_pose_covariance *covariance;
} wa_sighting;

// The wheels at one moment: what was seen of each. All zero, nothing was.
typedef struct wa_station {
    // Front left.
    struct wa_sighting fl;
    // Front right.
    struct wa_sighting fr;
    // Rear left.
    struct wa_sighting rl;
    // Rear right.
    struct wa_sighting rr;
} wa_station;

// The custom by which toe-out on turns is read.
typedef struct wa_turn {
    // The wheel that is brought to angle_deg: WA_TURN_WHEEL_...
    int32_t wheel;
    // The steer angle of that wheel, from its own heading straight ahead, degrees, 1 to 60; 20 by custom.
    double angle_deg;
} wa_turn;

// The choices on which readings depend.
typedef struct wa_reference {
    // How the centreline is defined: WA_CENTRELINE_...
    int32_t centreline;
    // What angles to the vertical are measured from: WA_DATUM_...
    int32_t datum;
    // How toe-out on turns is read.
    struct wa_turn turn;
} wa_reference;

// What the joint fit is told beside the session. It plays no part in the staged method.
typedef struct wa_joint_options {
    // Not 0: poses that do not belong to the car of the others are found and left out, each with a warning.
    int32_t robust;
    // How far a wheel may slip on the ground between the ahead station and one of the rolling, one standard deviation, 0 to
    // 100 mm.
    double rolling_slip_mm;
} wa_joint_options;

// What a rig hands over about one car: poses of the four targets at each station, and what it knows of itself. Set size,
// then call wa_session_default, then hand over what the rig has.
//
// Arrays and stations stay the caller's; pointers are read during the call alone.
typedef struct wa_session {
    // Set by the caller: sizeof(wa_session).
    size_t size;
    // A remark for people, UTF-8 with a NUL at the end, or NULL; it plays no part in any reading.
    const char *note;
    // Unit vector upward in the rig, 3 numbers: against gravity, or the normal of a calibrated runway. NULL when there
    // is none, as with the datum of a runway.
    const double *up;
    // Of fl, fr, rl, rr: from the wheel's centre plane outward along the spindle to the origin of the target, -1000 to
    // 1000 mm. Rolling cannot show it.
    double clamp_standoff_mm[4];
    // The cameras that report in their own frames, cameras_count of them; NULL for none. A wheel that none of them names
    // is given in the frame of the rig.
    const struct wa_camera *cameras;
    // How many cameras there are.
    size_t cameras_count;
    // How much a pose scatters, alike along all axes. NULL when that is not stated.
    const struct wa_pose_noise *pose_noise;
    // How much a pose scatters, by a covariance; instead of pose_noise, else NULL.
    const struct wa_pose_covariance *pose_covariance;
    // How well the rig knows its other inputs. NULL when that is not stated.
    const struct wa_input_uncertainty *input_uncertainty;
    // Loaded radius of the front and of the rear axle, 50 to 1500 mm: from the wheel centre to the contact centre, in the
    // wheel plane. The rolling radius stands in where it is absent.
    struct wa_optional loaded_radius_mm[2];
    // Ride height at fl, fr, rl, rr, 4 numbers, -2000 to 5000 mm: with them caster and SAI are also given to the body.
    // NULL when they were not taken.
    const double *ride_height_mm;
    // Points of the runway under fl, fr, rl, rr, 12 numbers, as in double runway_mm[4][3], in the rig, mm. The datum
    // WA_DATUM_RUNWAY needs them; else NULL.
    const double *runway_mm;
    // How the clamps are compensated: WA_COMPENSATION_...
    int32_t compensation;
    // What the body may do while the car is rolled: WA_ROLLING_BODY_...
    int32_t rolling_body;
    // The stations at which the car was rolled or its wheels spun, rolling_count of them, in any order.
    const struct wa_station *rolling;
    // How many, at most 10000.
    size_t rolling_count;
    // The station with the wheels straight ahead.
    struct wa_station ahead;
    // The stations of the caster sweep, sweep_count of them, in any order. NULL without a sweep.
    const struct wa_station *sweep;
    // How many, at most 10000.
    size_t sweep_count;
    // Whether the brake held the wheels during the sweep, the front ones to their knuckles, the rear ones to the body: 1,
    // or 0 when they were free to roll. WA_NONE without a sweep; a sweep needs it said.
    int32_t sweep_wheels_locked;
    // What the body does while the front wheels are steered: WA_SWEEP_BODY_...
    int32_t sweep_body;
    // Full lock to the left. NULL when it was not taken.
    const struct wa_station *lock_left;
    // Full lock to the right. NULL when it was not taken.
    const struct wa_station *lock_right;
    // The choices on which readings depend.
    struct wa_reference reference;
    // How the readings are estimated from the poses: WA_METHOD_...
    int32_t method;
    // What the joint fit is told beside the session.
    struct wa_joint_options joint;
} wa_session;

// How well one rigid car explains all poses: of the joint method alone.
typedef struct wa_fit {
    // 0 when there is none, and all else is NaN or 0.
    int32_t present;
    // Steps that the fit took.
    uint32_t steps;
    // The weighted sum of the squares of what the fit left over.
    double chi_squared;
    // Residuals less unknowns.
    double degrees_of_freedom;
    // The chance that noise alone makes it so large, 0 to 1. NaN when the noise is not known.
    double p_value;
} wa_fit;

// The readings of a session, what they rest on, and what is weak in them. Residuals, spreads, the figures of the warnings
// and the poses of a fit are lists, and stand in the result of wa_measure_json.
typedef struct wa_measurement {
    // Set by the caller: sizeof(wa_measurement).
    size_t size;
    // What is weak: WA_WARNING_... bits. 0 when nothing is.
    uint32_t warnings;
    // How the readings were estimated: WA_METHOD_...
    int32_t method;
    // The choices that the readings rest on, defaults included.
    struct wa_reference reference;
    // The normal of the datum, unit vector upward in the rig: what angles to the vertical refer to.
    double datum_normal[3];
    // How well one rigid car explains all poses.
    struct wa_fit fit;
    // Every reading. Its size is set by the library.
    struct wa_alignment alignment;
} wa_measurement;

// Where a wheel sits in the target clamped to it.
typedef struct wa_compensation {
    // The spindle, unit vector outward, in the frame of the target.
    double spindle_in_target[3];
    // The wheel centre in the frame of the target, mm.
    double centre_in_target_mm[3];
    // Runout of the clamp, degrees: the angle between the spindle and the nearest axis of the target. It says nothing
    // about the wheel.
    double runout_deg;
    // Travel of the wheel centre over roll angle, mm. Absent when the wheel was spun instead of rolled.
    struct wa_optional rolling_radius_mm;
    // Roll angle between the extreme stations, degrees.
    double roll_range_deg;
} wa_compensation;

// The compensation of the wheels.
typedef struct wa_clamp_compensation {
    // Set by the caller: sizeof(wa_clamp_compensation).
    size_t size;
    // Of fl, fr, rl, rr. NaN where the wheel was not seen often enough.
    struct wa_compensation wheels[4];
    // Whether each wheel has one: 1 or 0.
    int32_t present[4];
    // What is weak in it: WA_WARNING_... bits.
    uint32_t warnings;
    // The direction in which the car travelled as it rolled forward: unit vector, horizontal, in the rig. NaN when the
    // wheels were spun.
    double travel_direction_in_rig[3];
} wa_clamp_compensation;

// What four poses show straight ahead. As in wa_alignment, and with the same paths: NaN where absent. Only
// rolling_radius_mm and track_at_ground_mm can be absent.
typedef struct wa_ahead_readings_result {
    // Set by the caller: sizeof(wa_ahead_readings_result).
    size_t size;
    // Per wheel.
    struct wa_wheels wheels;
    // Per axle.
    struct wa_axles axles;
    // The chassis.
    struct wa_chassis_readings chassis;
    // The axes of the vehicle seen in the rig, in the columns of its rotation, and its origin, the midpoint of the rear
    // wheel centres: a point p of the vehicle lies at R·p + t in the rig.
    struct wa_pose rig_from_vehicle;
} wa_ahead_readings_result;

// How a tracker works. Set size, then call wa_live_settings_default, then change what is wanted otherwise.
typedef struct wa_live_settings {
    // Set by the caller: sizeof(wa_live_settings).
    size_t size;
    // Time constant of the smoothing, s, 0 to 3600; 0 for none.
    double smoothing_s;
    // A reading is held when what it rests on was seen longer ago than this, s, 0 to 3600.
    double held_after_s;
    // And stale when longer ago than this, s, 0 to 3600.
    double stale_after_s;
    // A target is no longer where it belongs when it is turned by more than this, degrees, 0.001 to 10.
    double knocked_deg;
    // Or shifted by more than this, mm, 0.01 to 100.
    double knocked_mm;
    // WA_STEERING_...
    int32_t steering;
    // Zero.
    int32_t reserved;
} wa_live_settings;

// What is to be known of a reading before it is used: 1 where it is so, else 0.
typedef struct wa_flags {
    // It rests on something that was not seen for longer than held_after_s, or whose reading is held while it is lifted.
    int32_t held;
    // It rests on something that was not seen for longer than stale_after_s.
    int32_t stale;
    // It rests on less than it should: a body found from one target that no other confirms, or from none; wheels turned
    // beyond the sweep, between stations far apart or without one; the steering not held though it was said to be.
    int32_t weak;
} wa_flags;

// Flags by what a reading rests on; wa_flags_by_basis_of finds those of a path.
typedef struct wa_flags_by_basis {
    // Of what rests on one wheel, its camber: fl, fr, rl, rr.
    struct wa_flags wheels[4];
    // Of what rests on the wheels of one axle, total toe and cross camber: front, rear.
    struct wa_flags axles[2];
    // Of what rests on all four wheels: everything else.
    struct wa_flags vehicle;
} wa_flags_by_basis;

// What the wheels read at one moment.
typedef struct wa_live_readings {
    // Set by the caller: sizeof(wa_live_readings).
    size_t size;
    // When, s, by the clock of the frames; minus infinity before the first.
    double time_s;
    // The readings straight ahead, and those of the steering axes as the knuckles carry them; turns are not read live. NaN
    // where a clamp was knocked. Its size is set by the library.
    struct wa_alignment alignment;
    // How old what each wheel's readings rest on is in the mean, s, of fl, fr, rl, rr: the lag of the smoothing, and the time
    // since the wheel was seen; infinite before.
    double lag_s[4];
    // How far the left and the right front wheel are turned from straight ahead, left positive, degrees. NaN without a
    // measured steering axis.
    double steer_deg[2];
    // Where the vehicle is now: its axes seen in the rig, in the columns of the rotation, and its origin.
    struct wa_pose rig_from_vehicle;
    // What is to be known of the readings before they are used.
    struct wa_flags_by_basis flags;
    // Whose clamp was knocked, of fl, fr, rl, rr: 1 where its compensation is void, else 0.
    int32_t knocked[4];
    // Zero.
    int32_t reserved;
} wa_live_readings;

// Readings straight ahead from the four poses of each record: a record is one car at one moment. All arrays lie record
// after record; one whose count is 1 holds for all records.
typedef struct wa_ahead_records {
    // Set by the caller: sizeof(wa_ahead_records).
    size_t size;
    // How many records there are.
    size_t count;
    // The poses of fl, fr, rl, rr of each record in the rig, 64 numbers: four homogeneous matrices 4×4, each row by row, as
    // in double poses[count][4][4][4], the translation in mm.
    const double *poses;
    // The spindle in each target, unit vector outward, 12 numbers, as in double spindle_in_target[count][4][3].
    const double *spindle_in_target;
    // 1 or count.
    size_t spindle_in_target_count;
    // The wheel centre in each target, mm, 12 numbers, as in double centre_in_target_mm[count][4][3].
    const double *centre_in_target_mm;
    // 1 or count.
    size_t centre_in_target_mm_count;
    // The rolling radii of fl, fr, rl, rr, mm, 4 numbers. NaN where there is none.
    const double *rolling_radius_mm;
    // 1 or count.
    size_t rolling_radius_mm_count;
    // Unit vector upward in the rig, 3 numbers.
    const double *up;
    // 1 or count.
    size_t up_count;
    // Loaded radius of the front and of the rear axle, 50 to 1500 mm, of all records.
    struct wa_optional loaded_radius_mm[2];
    // How the centreline is defined: WA_CENTRELINE_...
    int32_t centreline;
} wa_ahead_records;

// Where the results of many records go: one column per reading, one row per record. No column overlaps another.
typedef struct wa_columns {
    // Set by the caller: sizeof(wa_columns).
    size_t size;
    // The readings asked for, readings_count of them, by their positions, as wa_reading_position tells.
    const size_t *readings;
    // How many readings are asked for, at most 4096.
    size_t readings_count;
    // A column for each of them, of as many doubles as there are records. NaN is written where a record has no such reading,
    // and where it is refused.
    double *const *values;
    // The status of each record: WA_SUCCESS where it was computed.
    int32_t *codes;
} wa_columns;

// The stations of one kind of each record.
typedef struct wa_stations {
    // The stations, record after record, as in double poses[count][each][4][4][4]. NULL for none.
    const double *poses;
    // How many each record has.
    size_t each;
} wa_stations;

// Whole sessions that have as many stations each. All arrays lie record after record. A pose of sixteen NaN is a wheel
// that was not seen.
typedef struct wa_session_records {
    // Set by the caller: sizeof(wa_session_records).
    size_t size;
    // How many records there are.
    size_t count;
    // What holds for every session. Its own stations play no part.
    const struct wa_session *settings;
    // The rolling stations.
    struct wa_stations rolling;
    // The station straight ahead of each record, as in double ahead[count][4][4][4].
    const double *ahead;
    // The stations of the sweep; none without a sweep.
    struct wa_stations sweep;
    // Full lock to the left, as ahead. NULL where it was not taken.
    const double *lock_left;
    // Full lock to the right, as ahead. NULL where it was not taken.
    const double *lock_right;
    // Up in the rig, 3 numbers each. NULL where the settings say it.
    const double *up;
    // 0, or 1 for one that holds for all, or count.
    size_t up_count;
    // The clamp standoffs fl, fr, rl, rr, mm, 4 numbers each. NULL where the settings say them.
    const double *clamp_standoff_mm;
    // 0, or 1 for one that holds for all, or count.
    size_t clamp_standoff_mm_count;
} wa_session_records;

// What is known of one input of a measurement function.
typedef struct wa_input {
    // The estimate.
    double estimate;
    // Its standard uncertainty, in the same unit; not negative.
    double standard_uncertainty;
    // The degrees of freedom on which it rests, at least 1; infinite when it is itself known.
    double degrees_of_freedom;
} wa_input;

// One output of a measurement function, with its uncertainty.
typedef struct wa_output {
    // The estimate.
    double estimate;
    // Its standard uncertainty, in the same unit.
    double standard_uncertainty;
    // Its effective degrees of freedom, infinite if it is known. Absent when correlated inputs differ in them.
    struct wa_optional degrees_of_freedom;
} wa_output;

// An interval about an estimate, estimate ± expanded uncertainty, that holds the quantity with a stated probability.
typedef struct wa_expanded {
    // The factor on the standard uncertainty.
    double coverage_factor;
    // Half the length of the interval, in the unit of the estimate.
    double expanded_uncertainty;
} wa_expanded;

// The readings of a session, and what each is worth as far as the session tells.
typedef struct wa_uncertainty {
    // Set by the caller: sizeof(wa_uncertainty).
    size_t size;
    // The measurement itself. Its size is set by the library.
    struct wa_measurement measurement;
    // The standard uncertainty of every reading, in the unit of the reading, at its path. Its size is set by the library.
    struct wa_alignment standard;
    // The effective degrees of freedom of every standard uncertainty, at the same path: infinite where the noise is known.
    // Its size is set by the library.
    struct wa_alignment degrees_of_freedom;
} wa_uncertainty;

// How a run of trials is made. Set size, then call wa_trials_default.
typedef struct wa_trials {
    // Set by the caller: sizeof(wa_trials).
    size_t size;
    // The probability that an interval is to hold, between 0 and 1; by default 0.95.
    double probability;
    // The seed: the same gives the same trials. By default 0.
    uint64_t seed;
    // So many significant digits of each standard uncertainty are to stand still, 1 to 4; by default 2.
    uint32_t significant_digits;
    // The most trials, 100 000 to 10 million, the default.
    uint32_t most_trials;
} wa_trials;

// How a car is to be measured. Set size, then call wa_plan_default, then change what is planned otherwise.
// The car itself hardly matters: a sound one of the given size stands in.
typedef struct wa_plan {
    // Set by the caller: sizeof(wa_plan).
    size_t size;
    // How many frames of each wheel are averaged at each station.
    size_t frames;
    // How many rolling stations there are, 2 to 200, evenly spaced. With two the loaded radius stands in for
    // the rolling radius.
    size_t roll_stations;
    // How many stations the sweep has, 2 to 200, evenly spaced; 0 for no sweep.
    size_t sweep_stations;
    // WA_COMPENSATION_...
    int32_t compensation;
    // Whether the brake holds the wheels in the sweep: 0 when they are free to roll.
    int32_t sweep_wheels_locked;
    // From the first rolling station to the last, degrees of roll, 10.1 to 160.
    double roll_range_deg;
    // From one end of the sweep to the other, degrees of mean steer, 11 to 90.
    double sweep_range_deg;
    // Wheelbase, mm.
    double wheelbase_mm;
    // Track of both axles, mm.
    double track_mm;
    // Rolling radius, mm.
    double rolling_radius_mm;
    // How much a single frame scatters.
    struct wa_pose_noise pose_noise;
    // How well the rig knows its other inputs.
    struct wa_input_uncertainty input_uncertainty;
    // WA_METHOD_...
    int32_t method;
} wa_plan;

// How far to roll and to sweep.
typedef struct wa_reach_result {
    // Set by the caller: sizeof(wa_reach_result).
    size_t size;
    // The least roll from one end to the other, degrees, for camber, toe and thrust angle. Absent when no
    // roll is enough: the ahead station itself scatters too much, and more frames are the remedy.
    struct wa_optional roll_range_deg;
    // The least sweep from one end to the other, degrees, for caster and SAI, after that roll. Absent when no
    // sweep is enough, or none is planned.
    struct wa_optional sweep_range_deg;
    // The largest expanded uncertainty of camber, toe and thrust angle at that roll, or else at the longest,
    // degrees.
    double wheels_expanded_deg;
    // The largest expanded uncertainty of caster and SAI at that sweep, or else at the longest, degrees.
    // Absent when no sweep is planned.
    struct wa_optional steering_expanded_deg;
} wa_reach_result;

// How well a value is known.
typedef struct wa_uncertain {
    // Standard uncertainty, in the unit of the value; 0 for a value that is known exactly.
    double standard_uncertainty;
    // The degrees of freedom on which it rests, at least 1; infinite, or absent, when it is itself known well.
    struct wa_optional degrees_of_freedom;
} wa_uncertain;

// The least and the greatest value that conform, in the unit of the value; at least one of them.
typedef struct wa_limits {
    // The least; absent when nothing is too small.
    struct wa_optional min;
    // The greatest; absent when nothing is too great.
    struct wa_optional max;
} wa_limits;

// The verdict on one value, and what it rests on.
typedef struct wa_judgement {
    // Set by the caller: sizeof(wa_judgement).
    size_t size;
    // WA_VERDICT_...
    int32_t verdict;
    // Why it is undetermined, WA_REASON_..., or WA_NONE when it is not.
    int32_t reason;
    // The rule by which it was found, WA_RULE_...: simple acceptance wherever the uncertainty is not known.
    int32_t rule;
    // The probability that the true value lies within the limits. Absent without an uncertainty.
    struct wa_optional probability_of_conformity;
    // The probability that the verdict is wrong. Absent without an uncertainty, and where nothing is decided.
    struct wa_optional risk_of_wrong_verdict;
    // The guard band of one limit, in the unit of the value: beyond a limit by this or more does not conform.
    // 0 by simple acceptance.
    struct wa_optional guard_band;
    // What conforms by the rule: the limits, less the guard bands. Both absent when no value could conform.
    struct wa_limits acceptance;
} wa_judgement;

// The limits of one reading as a specification writes them: min, max or both, or else nominal with minus and plus.
typedef struct wa_tolerance {
    // The least value that conforms.
    struct wa_optional min;
    // The greatest value that conforms.
    struct wa_optional max;
    // The value to aim at.
    struct wa_optional nominal;
    // How far below the nominal value conforms; not negative.
    struct wa_optional minus;
    // How far above the nominal value conforms; not negative.
    struct wa_optional plus;
    // The diameter at which a toe in mm is told, mm.
    struct wa_optional reference_diameter_mm;
    // The unit of all the others: WA_UNIT_...
    int32_t unit;
} wa_tolerance;

// How much readings of sound cars differ from side to side, by common practice. Set size, then call
// wa_normal_tolerances_default. Where the vehicle maker gives figures, these come first.
typedef struct wa_normal_tolerances {
    // Set by the caller: sizeof(wa_normal_tolerances).
    size_t size;
    // Camber, left against right, of either axle, degrees; by default 0.5.
    double camber_deg;
    // SAI, left against right, degrees; by default 0.5.
    double sai_deg;
    // Included angle, left against right, degrees; by default 0.5.
    double included_angle_deg;
    // Caster, left against right, degrees; by default 0.5.
    double caster_deg;
    // Setback of either axle, and the difference of the wheelbases, mm; by default 6.
    double setback_mm;
    // Axle offset, mm; by default 12.
    double axle_offset_mm;
    // Thrust angle, degrees; by default 0.25.
    double thrust_angle_deg;
    // Toe-out on turns, left turn against right turn, degrees; by default 0.5.
    double toe_out_on_turns_deg;
    // By how many standard uncertainties a deviation must exceed its tolerance to stand out, 0 to 100; by default 2.
    double coverage_factor;
} wa_normal_tolerances;

// Repeats of one reading; all but the degrees of freedom and the factor in the unit of the values.
typedef struct wa_repeatability_result {
    // Set by the caller: sizeof(wa_repeatability_result).
    size_t size;
    // Mean.
    double mean;
    // Standard deviation of one value.
    double standard_deviation;
    // Degrees of freedom: values less one.
    double degrees_of_freedom;
    // Standard deviation of the mean.
    double standard_deviation_of_mean;
    // Coverage factor for 95 %, by Student's t.
    double coverage_factor;
    // Expanded uncertainty of one value, by scatter alone: coverage factor times standard deviation.
    double expanded;
    // Expanded uncertainty of the mean, by scatter alone.
    double expanded_of_mean;
} wa_repeatability_result;

// An angle as workshop manuals print it: -0°12′ has no negative whole degree, so the sign stands apart.
typedef struct wa_degrees_minutes {
    // 1 below zero, else 0; to the library anything but 0 is below zero.
    int32_t negative;
    // Whole degrees, without sign.
    double degrees;
    // Minutes of arc, 0 to 59.
    double minutes;
} wa_degrees_minutes;

// One reading of a camber gauge.
typedef struct wa_gauge_position {
    // Yaw of the wheel, degrees, positive to the left.
    double yaw_deg;
    // Camber there, degrees, positive with the top outward.
    double camber_deg;
} wa_gauge_position;

// Both projected angles of a steering axis.
typedef struct wa_axis_angles {
    // Caster, degrees, positive with the top of the axis rearward.
    double caster_deg;
    // SAI, degrees, positive with the top of the axis inboard.
    double sai_deg;
} wa_axis_angles;

// One reading of an inclination gauge on the hub of a locked wheel.
typedef struct wa_pitch_position {
    // Azimuth of the hub's line, degrees, positive to the left.
    double azimuth_deg;
    // Its pitch there, degrees, positive nose up.
    double pitch_deg;
} wa_pitch_position;

// A tyre size, mm.
typedef struct wa_tyre_size {
    // Nominal section width, mm.
    double section_width_mm;
    // Nominal aspect ratio: section height over section width, in percent.
    double aspect_ratio_percent;
    // Nominal rim diameter, mm.
    double rim_diameter_mm;
    // Section height, mm: width times aspect ratio.
    double section_height_mm;
    // Overall diameter, mm: rim diameter plus two section heights.
    double overall_diameter_mm;
} wa_tyre_size;

// A plane through points, by least squares.
typedef struct wa_plane {
    // Unit vector square to the plane. Its sign is not settled by the points.
    double normal[3];
    // The mean of the points, mm; it lies in the plane.
    double point_mm[3];
    // How far the points lie from the plane, mm, root mean square. 0 for three.
    double residual_mm;
} wa_plane;

// By how much the toe of either front wheel has to change.
typedef struct wa_toe_changes {
    // Of the left wheel, degrees, positive toe-in.
    double left_deg;
    // Of the right wheel, degrees, positive toe-in.
    double right_deg;
} wa_toe_changes;

// The two positions of an eccentric that give one shift.
typedef struct wa_eccentric_angles {
    // The one nearer to the middle position, degrees, -90 to 90.
    double near_deg;
    // The one beyond the end of its stroke, degrees: 180 less the other.
    double far_deg;
} wa_eccentric_angles;

// By how much the shims of a wishbone have to grow at its two bolts.
typedef struct wa_shim_thicknesses {
    // At the front bolt, mm; negative for shims to be taken out.
    double front_mm;
    // At the rear bolt, mm.
    double rear_mm;
} wa_shim_thicknesses;

// How a subframe has to be moved in its clearance holes.
typedef struct wa_subframe_shift_result {
    // To the left, mm.
    double lateral_mm;
    // Forward, mm.
    double longitudinal_mm;
    // To the left, about the middle between its two lower joints, degrees.
    double yaw_deg;
} wa_subframe_shift_result;

// A tapered shim between hub and axle.
typedef struct wa_tapered_shim_result {
    // The angle between its two faces, degrees.
    double taper_deg;
    // Where its thick edge is, seen in the plane of the wheel: 0° at the top, positive toward the front, degrees, -180 to 180.
    double bearing_deg;
} wa_tapered_shim_result;

// What a tapered shim changes.
typedef struct wa_shim_changes {
    // Camber, degrees, positive with the top further outward.
    double camber_change_deg;
    // Toe, degrees, positive for more toe-in.
    double toe_change_deg;
} wa_shim_changes;

// A tapered shim as it is on the shelf, and what it leaves over.
typedef struct wa_shelf_shim {
    // The angle between its two faces, degrees; 0 where none is better than any.
    double taper_deg;
    // Where its thick edge is: 0° at the top, positive toward the front, degrees, -180 to 180.
    double bearing_deg;
    // What is left of the wanted change of camber, degrees.
    double camber_left_deg;
    // What is left of the wanted change of toe, degrees.
    double toe_left_deg;
} wa_shelf_shim;

// What the readings do not say of how they were taken, and is needed to foresee others.
typedef struct wa_stance {
    // Radii under load of the front and of the rear axle, mm; where absent the rolling radius stands in.
    struct wa_optional loaded_radius_mm[2];
    // The centreline to which the readings refer: WA_CENTRELINE_...
    int32_t centreline;
} wa_stance;

// A stand as it was found.
typedef struct wa_placed_stand {
    // Where the stand is in the rig: the axes of its own frame seen there, in the columns, and its origin. That frame has X
    // forward, Y left, Z up when the stand stands true, and its origin is the mark from which the maker's distances count.
    struct wa_pose rig_from_stand;
    // How much that pose scatters, about the axes of the rig, where noise_known is not 0. Alike along all axes it is the
    // variances on the diagonal.
    struct wa_pose_covariance noise;
    // The point about which the stand is turned, in its own frame, mm: where its column stands. Its origin when zero.
    double pivot_mm[3];
    // Not 0 when the noise is known.
    int32_t noise_known;
    // Zero.
    int32_t reserved;
} wa_placed_stand;

// The ground on which a stand stands.
typedef struct wa_ground {
    // How far the ground is tilted against the datum, to which the car's own angles refer, degrees.
    double tilt_deg;
    // How far the contact centres, or the points of the floor, lie from the plane, mm, root mean square.
    double residual_mm;
    // 1 when that is more than 1 mm: then the height and the angles depend on where the stand stands. Else 0.
    int32_t uneven;
    // Zero.
    int32_t reserved;
} wa_ground;

// The line on the ground from which a stand is placed, as a car shows it.
typedef struct wa_ground_line {
    // Where the line lies in the rig: X along it, Y to its left, Z up, square to the ground; its origin is the zero of all
    // distances.
    struct wa_pose rig_from_line;
    // The ground in which it lies.
    struct wa_ground ground;
} wa_ground_line;

// The six numbers that say where a stand stands.
typedef struct wa_stand_readings {
    // Distance from the reference point to the stand's origin, along the line; positive ahead, mm.
    double distance_mm;
    // How far the stand's origin lies beside the line; positive to the left, mm.
    double lateral_offset_mm;
    // Height of the stand's origin, square to the ground, mm.
    double height_mm;
    // Yaw of the stand to the line; positive to the left, degrees.
    double yaw_deg;
    // Pitch of the stand to the ground; positive with the top forward, degrees.
    double pitch_deg;
    // Roll of the stand to the ground; positive with the top to the right, degrees.
    double roll_deg;
} wa_stand_readings;

// What is done to a stand: in this order, each move along or about the stand's own axes as they then lie.
typedef struct wa_stand_moves_result {
    // First: turn about the stand's z axis through the pivot; positive to the left, degrees.
    double yaw_deg;
    // Second: tilt about its y axis through the pivot; positive with the top forward, degrees.
    double pitch_deg;
    // Third: lean about its x axis through the pivot; positive with the top to the right, degrees.
    double roll_deg;
    // Fourth: shift along its x axis; positive forward, mm.
    double forward_mm;
    // Fifth: shift along its y axis; positive to the left, mm.
    double left_mm;
    // Sixth: shift along its z axis; positive upward, mm.
    double up_mm;
} wa_stand_moves_result;

// Where a stand stands, what that is worth, whether it is as required, and the moves that put it right.
typedef struct wa_stand_assessment {
    // Set by the caller: sizeof(wa_stand_assessment).
    size_t size;
    // Where the stand stands.
    struct wa_stand_readings readings;
    // The standard uncertainty of each reading, in its own unit. NaN when the noise of the car's poses or of the stand's is
    // not known.
    struct wa_stand_readings standard_uncertainty;
    // The effective degrees of freedom of each standard uncertainty. NaN where the noise is known and they are infinite.
    struct wa_stand_readings degrees_of_freedom;
    // The expanded uncertainty U of each reading: reading ± U holds the true value with a probability of 95 %. NaN as the
    // standard uncertainty.
    struct wa_stand_readings expanded_uncertainty;
    // What to do to the stand. Whether anything has to be done at all the verdicts say.
    struct wa_stand_moves_result moves;
    // The line on the ground from which it was read.
    struct wa_ground_line ground_line;
    // The thrust angle of the car; positive when the thrust line points to the right of the centreline, degrees.
    double thrust_angle_deg;
    // The verdict on each reading in the order of wa_stand_readings, WA_VERDICT_..., or WA_NONE where nothing is required.
    int32_t verdicts[6];
    // On the whole, WA_VERDICT_...
    int32_t overall;
    // Zero.
    int32_t reserved;
} wa_stand_assessment;

#ifdef __cplusplus
extern "C" {
#endif // __cplusplus

// The name of a status in snake case, as in "roll_too_small": a static string, never NULL, not to be
// freed. "unknown" for a number that is no status.
const char *wa_status_name(int32_t status);

// WA_ABI_VERSION of the library in use: compare it with the header's before the first call.
uint32_t wa_abi_version(void);

// The version of the library in use, as in "0.1.0": a static string, never NULL, not to be freed.
const char *wa_version(void);

// How many readings there are: the three components of a vector are three. Later versions may have more.
size_t wa_reading_count(void);

// The path of a reading, as in "wheels.fl.camber_deg" or "wheels.fl.centre_mm[0]": a static string, not to
// be freed. It is also how C writes it: alignment.wheels.fl.centre_mm[0]. NULL for a position that is not less than
// wa_reading_count(). The order is that of the members of wa_alignment, of its bits present, and of the rows and columns
// of wa_covariance_matrix.
const char *wa_reading_path(size_t position);

// Where a path stands among the readings, counted from 0.
//
// path: UTF-8 with a NUL at the end.
//
// Returns WA_SUCCESS; WA_UNKNOWN_READING; WA_NOT_UTF8.
int32_t wa_reading_position(const char *path, size_t *position, struct wa_error *error);

// The unit of a reading: "deg", "mm", or "1" for a component of a unit vector. A static string, not to be freed. NULL for
// a position that is not less than wa_reading_count().
const char *wa_reading_unit(size_t position);

// Whether a reading is present.
//
// present: the member of wa_alignment. NULL has none.
// position: as wa_reading_position tells.
//
// Returns 1 or 0; 0 for a position that is none.
//
int32_t wa_is_present(const uint64_t present[2], size_t position);

// One reading by its path, in degrees or mm as its name says.
//
// path: as in "wheels.fl.camber_deg", UTF-8 with a NUL at the end.
// reading: absent when the reading is.
//
// Returns WA_SUCCESS; WA_UNKNOWN_READING; WA_NOT_UTF8.
int32_t wa_alignment_get(const struct wa_alignment *alignment,
                         const char *path,
                         struct wa_optional *reading,
                         struct wa_error *error);

// Every reading as a list.
//
// values: buffer of the caller of capacity doubles, of which wa_reading_count() are written, in the order of
//     wa_reading_path. NaN where absent.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
int32_t wa_alignment_values(const struct wa_alignment *alignment,
                            double *values,
                            size_t capacity,
                            struct wa_error *error);

// The tree of a list of readings, such as those of another source that are to be judged.
//
// values: count numbers, wa_reading_count() of them, in the order of wa_reading_path; NaN where absent. A vector of which
//     one component is absent is absent.
// alignment: struct of the caller whose size is set.
//
// Returns WA_SUCCESS; WA_CONTRADICTION for another count.
int32_t wa_alignment_from_values(const double *values,
                                 size_t values_count,
                                 struct wa_alignment *alignment,
                                 struct wa_error *error);

// A pose from a unit quaternion.
//
// quaternion_wxyz: w first; within 1e-6 of length 1, to which it is scaled.
// translation_mm: the origin of the target in the rig, mm.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_UNIT_LENGTH.
//
int32_t wa_pose_from_quaternion_wxyz(const double quaternion_wxyz[4],
                                     const double translation_mm[3],
                                     struct wa_pose *pose,
                                     struct wa_error *error);

// A pose from a rotation vector: its direction is the axis, its length the angle in radians, at most ten
// turns.
//
// translation_mm: the origin of the target in the rig, mm.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
//
int32_t wa_pose_from_rotation_vector_rad(const double rotation_vector_rad[3],
                                         const double translation_mm[3],
                                         struct wa_pose *pose,
                                         struct wa_error *error);

// A pose from a homogeneous 4×4 matrix, row after row, as an array double matrix[4][4] lies in memory: the
// translation, mm, stands at 3, 7 and 11, and 0 0 0 1 in the last row. The rotation is checked when the pose
// is used.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION when the last row is not 0 0 0 1, by which a matrix
// in the other order betrays itself.
//
int32_t wa_pose_from_matrix4_row_major(const double matrix[16],
                                       struct wa_pose *pose,
                                       struct wa_error *error);

// A pose from a homogeneous 4×4 matrix, column after column, as graphics libraries store it: the
// translation, mm, stands at 12, 13 and 14, and 0 0 0 1 in the last row. The rotation is checked when the
// pose is used.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION when the last row is not 0 0 0 1, by which a matrix
// in the other order betrays itself.
//
int32_t wa_pose_from_matrix4_column_major(const double matrix[16],
                                          struct wa_pose *pose,
                                          struct wa_error *error);

// A pose from a left-handed source with X forward, Y right, Z up: (x, y, z) → (x, -y, z), mm. Rig and target
// axes are mapped by the same matrix M: R' = M·R·Mᵀ, t' = M·t. Convert up alike, with wa_axes_direction.
// Numbers are checked when the pose is used.
//
// rotation: R of the source, 3×3, row by row.
// translation_mm: t of the source, mm.
//
// Returns WA_SUCCESS.
//
int32_t wa_pose_from_left_handed_y_right(const double rotation[9],
                                         const double translation_mm[3],
                                         struct wa_pose *pose,
                                         struct wa_error *error);

// A pose from a left-handed source with X right, Y up, Z forward, the custom of game engines: (x, y, z) →
// (z, -x, y), mm. Rig and target axes are mapped by the same matrix M: R' = M·R·Mᵀ, t' = M·t. Convert up
// alike, with wa_axes_direction. Numbers are checked when the pose is used.
//
// rotation: R of the source, 3×3, row by row.
// translation_mm: t of the source, mm.
//
// Returns WA_SUCCESS.
//
int32_t wa_pose_from_left_handed_y_up(const double rotation[9],
                                      const double translation_mm[3],
                                      struct wa_pose *pose,
                                      struct wa_error *error);

// A pose from a right-handed source with X right, Y up, Z backward: (x, y, z) → (-z, -x, y), mm. Rig and
// target axes are mapped by the same matrix M: R' = M·R·Mᵀ, t' = M·t. Convert up alike, with
// wa_axes_direction. Numbers are checked when the pose is used.
//
// rotation: R of the source, 3×3, row by row.
// translation_mm: t of the source, mm.
//
// Returns WA_SUCCESS.
//
int32_t wa_pose_from_right_handed_y_up(const double rotation[9],
                                       const double translation_mm[3],
                                       struct wa_pose *pose,
                                       struct wa_error *error);

// A pose from a right-handed source with X forward, Y right, Z down (SAE J670): (x, y, z) → (x, -y, -z), mm.
// Rig and target axes are mapped by the same matrix M: R' = M·R·Mᵀ, t' = M·t. Convert up alike, with
// wa_axes_direction. Numbers are checked when the pose is used.
//
// rotation: R of the source, 3×3, row by row.
// translation_mm: t of the source, mm.
//
// Returns WA_SUCCESS.
//
int32_t wa_pose_from_z_down(const double rotation[9],
                            const double translation_mm[3],
                            struct wa_pose *pose,
                            struct wa_error *error);

// A direction of a source with other axes, such as up, in X forward, Y left, Z up; of the same length.
//
// axes: WA_AXES_...
//
// Returns WA_SUCCESS.
//
int32_t wa_axes_direction(int32_t axes,
                          const double direction[3],
                          double mapped[3],
                          struct wa_error *error);

// The mean of frames of one target that stands still: the rotation nearest to the mean matrix, and the mean of the
// translations, mm.
//
// frames: frames_count poses, at least one.
//
// Returns WA_SUCCESS; WA_WHEEL_NOT_SEEN for no frames; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION;
// WA_LENGTH_OUT_OF_RANGE for a coordinate beyond a kilometre.
int32_t wa_pose_mean(const struct wa_pose *frames,
                     size_t frames_count,
                     struct wa_pose *mean,
                     struct wa_error *error);

// The mean of frames, as wa_pose_mean, and how much they scatter about it.
//
// Returns what wa_pose_mean returns.
int32_t wa_pose_mean_and_spread(const struct wa_pose *frames,
                                size_t frames_count,
                                struct wa_pose *mean,
                                struct wa_spread *spread,
                                struct wa_error *error);

// A pose as every computation takes it: checked, and its rotation taken to the nearest one.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE for a coordinate beyond a
// kilometre.
int32_t wa_pose_rig_from_target(const struct wa_pose *pose,
                                struct wa_pose *rig_from_target,
                                struct wa_error *error);

// Fills in a struct, but for its size, with a session of which nothing is known yet and every choice is the default:
// clamps rolled, the staged method, the centreline of the axle midpoints, the datum up, turns at 20° of the inner wheel.
//
// Returns WA_SUCCESS; WA_NULL_POINTER; WA_MISALIGNED; WA_BAD_STRUCT_SIZE.
int32_t wa_session_default(struct wa_session *session);

// A session as text, format "alignment-session/1": to keep it, to send it, and for the functions that take it as text.
// wa_measure_session_json of that text gives the bits of wa_measure. A number that is not finite becomes null, which is
// refused when it is read.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_CONTRADICTION; WA_OUT_OF_RANGE for a choice that is none; WA_TOO_MANY.
int32_t wa_session_to_json(const struct wa_session *session,
                           char *result_json,
                           size_t result_capacity,
                           size_t *result_length,
                           struct wa_error *error);

// The direction up of a rig, checked and made a unit vector.
//
// up: within 1e-6 of length 1.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_UNIT_LENGTH.
//
int32_t wa_up_in_rig(const double up[3], double up_in_rig[3], struct wa_error *error);

// Measures a car: from the poses of one session to every reading.
//
// Rolling stations compensate the clamps; the ahead station gives camber, toe and the vehicle's frame; the sweep gives the
// steering axes and toe-out on turns. The result does not depend on how the rig's frame lies, nor the readings on the order of
// the stations; what slipped can be told only if they stand in the order in which they were taken. What a blocked camera hides
// is absent, with a warning; the rest is measured.
//
// measurement: struct of the caller whose size is set.
//
// Returns WA_SUCCESS, or any status above: the message names the place, the figure, the bound and the remedy.
int32_t wa_measure(const struct wa_session *session,
                   struct wa_measurement *measurement,
                   struct wa_error *error);

// The same from the text of a session, session_length bytes of JSON, format "alignment-session/1".
//
// Returns what wa_measure returns; WA_NOT_A_SESSION; WA_NOT_UTF8.
int32_t wa_measure_session_json(const char *session_json,
                                size_t session_length,
                                struct wa_measurement *measurement,
                                struct wa_error *error);

// Measures a car: from the JSON of one session to the JSON of every reading.
//
// The session has the format "alignment-session/1": what the rig hands over. The result is
// {"alignment": ..., "reference": ..., "warnings": [...], "residuals": ..., "method": ..., "fit": ...};
// the path of a reading is its path in every language, as in alignment.wheels.fl.camber_deg. Angles are in
// degrees, lengths in millimetres.
//
// The member "method" of the session chooses how the readings are estimated, here and wherever a session
// is measured: "staged", the default, stage by stage; "joint", all stages at once by one fit of a rigid
// car. "fit" is null with the staged method. With the joint one it is {"chi_squared": ...,
// "degrees_of_freedom": ..., "p_value": ..., "steps": ..., "poses": [...]}; each of the poses has stage,
// station, wheel, rotation_deg and translation_mm, by how much it lies off where all others put it,
// standardised, p_value and left_out.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_A_SESSION for a text that is not a session, with the
// path, the line and the column in the message; WA_NOT_DETERMINED or WA_NOT_CONVERGED by the joint method
// alone; or another status above.
int32_t wa_measure_json(const char *session_json,
                        size_t session_length,
                        char *result_json,
                        size_t result_capacity,
                        size_t *result_length,
                        struct wa_error *error);

// Measures a car, says what every reading is worth as far as the session tells, and judges it by a
// specification if there is one.
//
// specification_json: UTF-8 of specification_length bytes, format "alignment-specification/1": the limits
//     of readings and the rule by which they are judged. NULL with length 0 for none.
//
// The result is that of wa_measure_json, by the "method" of the session and with its "fit", and has four
// more members. "uncertainty", "degrees_of_freedom" and "expanded_uncertainty" are each a tree like
// "alignment": the standard uncertainty of every reading, in its own unit, its effective degrees of
// freedom, and U: reading ± U holds the true value with a probability of 95 %. They are null when the
// noise of the poses is neither stated nor seen in several frames of every target. "verdicts" is null
// without a specification, else {"overall": ..., "decision": ..., "load_state": ..., "readings": [...]};
// each has path, unit, value, standard_uncertainty, degrees_of_freedom, nominal, limits and the members of
// wa_judgement: verdict ("conforms", "does_not_conform", "undetermined"), reason ("not_measured",
// "near_limit", "too_uncertain"), rule ("guarded", "simple_acceptance") and the rest.
//
// Returns what wa_measure_json returns; WA_NOT_A_SPECIFICATION, or WA_UNKNOWN_READING for limits of what
// is no reading, with the path, the line and the column in the message; WA_NOT_A_COVARIANCE.
int32_t wa_assess_json(const char *session_json,
                       size_t session_length,
                       const char *specification_json,
                       size_t specification_length,
                       char *result_json,
                       size_t result_capacity,
                       size_t *result_length,
                       struct wa_error *error);

// Follows the front wheels of a session through the sweep, station by station, for pictures and lessons.
//
// The result is {"left": {"axis": ..., "stations": [...]}, "right": ..., "sweep_wheels_locked": ..., "method": ...}: the axis
// has the readings of steering.left; each station has "station", "steer_deg", "camber_deg", "spindle", "centre_mm" and
// "residual".
//
// Returns what wa_measure_json returns; WA_MISSING_INPUT without a sweep.
int32_t wa_follow_json(const char *session_json,
                       size_t session_length,
                       char *result_json,
                       size_t result_capacity,
                       size_t *result_length,
                       struct wa_error *error);

// Compensates the clamps from stations at which the car was rolled without slip, in any order.
//
// rolling: rolling_count stations, at most 10000. Their poses are in the frame of the rig.
// up: unit vector upward in the rig.
// clamp_standoff_mm: of fl, fr, rl, rr: from the wheel's centre plane outward along the spindle to the origin of the target,
//     -1000 to 1000 mm.
// loaded_radius_mm: of the front and of the rear axle, 50 to 1500 mm; stands in for the rolling radius where no wheel was seen
//     at three stations. NULL for neither.
// body: WA_ROLLING_BODY_...
// clamp_compensation: struct of the caller whose size is set. A wheel that was not seen often enough is absent there, with
//     a warning.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE; WA_NOT_UNIT_LENGTH;
// WA_TOO_FEW_STATIONS; WA_ROLL_TOO_SMALL below 10°; WA_ROLL_FULL_TURN; WA_SPINDLE_NOT_LATERAL; WA_UP_INVERTED;
// WA_SIDES_SWAPPED; WA_MIRRORED; WA_NOT_STILL; WA_TOO_MANY; WA_OUT_OF_RANGE for a body that is none.
//
int32_t wa_from_rolling(const struct wa_station *rolling,
                        size_t rolling_count,
                        const double up[3],
                        const double clamp_standoff_mm[4],
                        const struct wa_optional loaded_radius_mm[2],
                        int32_t body,
                        struct wa_clamp_compensation *clamp_compensation,
                        struct wa_error *error);

// Compensates the clamps from stations at which the car was raised and its wheels were spun, one after the other, in
// any order. There is no travel, hence no rolling radius.
//
// Lift and secure the car as its maker says, and keep clear of wheels that turn.
//
// spinning: spinning_count stations, at most 10000, each with the wheel that is spun; others may be seen too if the body stands
//     still. Their poses are in the frame of the rig.
// up: unit vector upward in the rig.
// clamp_standoff_mm: of fl, fr, rl, rr: from the wheel's centre plane outward along the spindle to the origin of the target,
//     -1000 to 1000 mm.
// clamp_compensation: struct of the caller whose size is set.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE; WA_NOT_UNIT_LENGTH;
// WA_TOO_FEW_STATIONS; WA_ROLL_TOO_SMALL below 10°; WA_SPINDLE_NOT_LATERAL; WA_NOT_STILL; WA_TOO_MANY.
//
int32_t wa_from_spinning(const struct wa_station *spinning,
                         size_t spinning_count,
                         const double up[3],
                         const double clamp_standoff_mm[4],
                         struct wa_clamp_compensation *clamp_compensation,
                         struct wa_error *error);

// Compensates the clamp of one wheel alone that was rolled without slip. Outward cannot be told from one wheel: side
// and an approximate forward say it.
//
// poses: poses_count poses of its target in the frame of the rig, in any order.
// side: WA_SIDE_...
// forward: unit vector in the rig, roughly, at most 60° from level.
// up: unit vector upward in the rig.
// clamp_standoff_mm: from the wheel's centre plane outward along the spindle to the origin of the target, -1000 to 1000 mm.
// loaded_radius_mm: 50 to 1500 mm; stands in for the rolling radius when there are two distinct stations only. NULL when it is
//     not known.
//
// Returns what wa_from_rolling returns; WA_ANGLE_OUT_OF_RANGE for forward.
//
int32_t wa_wheel_from_rolling(const struct wa_pose *poses,
                              size_t poses_count,
                              int32_t side,
                              const double forward[3],
                              const double up[3],
                              double clamp_standoff_mm,
                              const double *loaded_radius_mm,
                              struct wa_compensation *compensation,
                              struct wa_error *error);

// Compensates the clamp of one wheel alone that was spun with the car raised. Outward cannot be told from one wheel:
// side and an approximate forward say it.
//
// Lift and secure the car as its maker says, and keep clear of wheels that turn.
//
// poses: poses_count poses of its target in the frame of the rig, in any order.
// side: WA_SIDE_...
// forward: unit vector in the rig, roughly, at most 60° from level.
// up: unit vector upward in the rig.
// clamp_standoff_mm: from the wheel's centre plane outward along the spindle to the origin of the target, -1000 to 1000 mm.
//
// Returns what wa_from_spinning returns; WA_ANGLE_OUT_OF_RANGE for forward.
//
int32_t wa_wheel_from_spinning(const struct wa_pose *poses,
                               size_t poses_count,
                               int32_t side,
                               const double forward[3],
                               const double up[3],
                               double clamp_standoff_mm,
                               struct wa_compensation *compensation,
                               struct wa_error *error);

// The compensation of all four wheels, as wa_ahead_readings takes it.
//
// compensation: of fl, fr, rl, rr.
//
// Returns WA_SUCCESS; WA_WHEEL_NOT_SEEN for the first wheel that has none; WA_OUT_OF_RANGE for a rolling_radius_mm whose present
// is neither 0 nor 1.
//
int32_t wa_clamp_compensation_all_wheels(const struct wa_clamp_compensation *clamp_compensation,
                                         struct wa_compensation compensation[4],
                                         struct wa_error *error);

// One reading from four poses: camber, toe, thrust line, setback and dimensions of a car that stands straight ahead, for
// every frame of the cameras. Nothing is allocated, no lock is taken; on a refusal neither.
//
// compensation: of fl, fr, rl, rr, as wa_clamp_compensation_all_wheels gives them. The optional number in each is 1 or 0
//     present, and nothing else.
// poses: of fl, fr, rl, rr, in the frame of the rig; all four are seen.
// up: unit vector upward in the rig.
// loaded_radius_mm: of the front and of the rear axle, 50 to 1500 mm; the rolling radius stands in where it is absent. NULL
//     for neither. It serves the track at the ground alone.
// centreline: WA_CENTRELINE_...
// ahead_readings: struct of the caller whose size is set.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE for a coordinate beyond a
// kilometre, or a radius, wheelbase or track that no car has; WA_NOT_UNIT_LENGTH for up or a spindle; WA_OUT_OF_RANGE for a
// centreline that is none, or a rolling_radius_mm whose present is neither 0 nor 1; WA_SPINDLE_NOT_LATERAL for a spindle more than 60° from the vehicle's y axis;
// WA_DIFFERENT_VEHICLES for tracks or wheelbases that differ by more than a metre; WA_SIDES_SWAPPED or WA_MIRRORED when left,
// right, front, rear and up do not fit together.
//
int32_t wa_ahead_readings(const struct wa_compensation compensation[4],
                          const struct wa_pose poses[4],
                          const double up[3],
                          const struct wa_optional loaded_radius_mm[2],
                          int32_t centreline,
                          struct wa_ahead_readings_result *ahead_readings,
                          struct wa_error *error);

// Thrust angle in degrees, positive when the thrust line points to the right of the centreline: (toe of the
// rear left wheel - toe of the rear right wheel)/2. NaN in gives NaN out.
//
// rear_left_toe_deg, rear_right_toe_deg: to the centreline, positive toe-in.
//
// Returns WA_SUCCESS.
int32_t wa_thrust_angle_deg(double rear_left_toe_deg,
                            double rear_right_toe_deg,
                            double *thrust_angle_deg,
                            struct wa_error *error);

// A front wheel's toe to the thrust line in degrees, positive toe-in: toe - thrust angle on the left, toe +
// thrust angle on the right. NaN in gives NaN out.
//
// side: WA_SIDE_...
// toe_to_centreline_deg: positive toe-in.
// thrust_angle_deg: positive to the right.
//
// Returns WA_SUCCESS; WA_OUT_OF_RANGE for a side that is none.
int32_t wa_toe_to_thrust_line_deg(int32_t side,
                                  double toe_to_centreline_deg,
                                  double thrust_angle_deg,
                                  double *toe_deg,
                                  struct wa_error *error);

// Dog tracking in mm: how far the rear axle runs beside the track of the front one, positive to the right:
// wheelbase·tan(thrust angle), measured square to the centreline.
//
// wheelbase_mm: 500 to 12000 mm.
// thrust_angle_deg: positive to the right, within ± 45°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE.
int32_t wa_dog_tracking_offset_mm(double wheelbase_mm,
                                  double thrust_angle_deg,
                                  double *offset_mm,
                                  struct wa_error *error);

// Fills in a struct, but for its size, with the customary settings: no smoothing; held after 0.1 s, stale after 1 s; the
// steering free; knocked at 0.1 degrees or 1 mm.
//
// Returns WA_SUCCESS; WA_NULL_POINTER; WA_MISALIGNED; WA_BAD_STRUCT_SIZE.
int32_t wa_live_settings_default(struct wa_live_settings *settings);

// Makes a tracker of the car of a session: every wheel was rolled, or spun, and seen straight ahead. Without a sweep, front
// wheels that are turned cannot be referred back. Give it back by wa_tracker_free.
//
// settings: of the caller, whose size is set.
// tracker: where the pointer to it goes.
//
// Returns what wa_measure returns; WA_WHEEL_NOT_SEEN for a wheel that was not seen straight ahead, or not rolled;
// WA_NOT_FINITE, WA_OUT_OF_RANGE, WA_ANGLE_OUT_OF_RANGE or WA_LENGTH_OUT_OF_RANGE for a setting.
int32_t wa_tracker_new(const struct wa_session *session,
                       const struct wa_live_settings *settings,
                       struct wa_tracker **tracker,
                       struct wa_error *error);

// Gives a tracker back. Nothing is done for NULL. Afterwards the pointer is no tracker.
//
// Returns WA_SUCCESS.
int32_t wa_tracker_free(struct wa_tracker *tracker, struct wa_error *error);

// Takes what the cameras see at one moment. Cameras that are out of step hand over their targets as they come, each with its
// own time; times may repeat, but not go back. Nothing is allocated, no lock is taken. What is refused changes nothing.
//
// time_s: by any clock, s.
// poses: of fl, fr, rl, rr, in the frame in which their cameras reported in the session; those not seen are not looked at.
// seen: of fl, fr, rl, rr: 0 for a target that is not seen. NULL when all are.
// live_readings: struct of the caller whose size is set.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE for a time that goes back; WA_NOT_A_ROTATION; WA_REFLECTION;
// WA_LENGTH_OUT_OF_RANGE for a coordinate beyond a kilometre.
//
int32_t wa_tracker_frame(struct wa_tracker *tracker,
                         double time_s,
                         const struct wa_pose poses[4],
                         const int32_t seen[4],
                         struct wa_live_readings *live_readings,
                         struct wa_error *error);

// The readings of the last frame; before the first, those of the session.
//
// live_readings: struct of the caller whose size is set.
//
// Returns WA_SUCCESS.
int32_t wa_tracker_readings(struct wa_tracker *tracker,
                            struct wa_live_readings *live_readings,
                            struct wa_error *error);

// Says which wheels are being adjusted from now on, and which are not: the target of one that is adjusted is not fixed in
// the body. A wheel whose adjustment ends belongs where it is then, and helps to find the body again; one that is not seen
// then, from when it is seen.
//
// wheels: of fl, fr, rl, rr: 0 for one that is not adjusted.
//
// Returns WA_SUCCESS.
//
int32_t wa_tracker_adjust(struct wa_tracker *tracker,
                          const int32_t wheels[4],
                          struct wa_error *error);

// Says whether the front wheels may be steered from now on.
//
// steering: WA_STEERING_...
//
// Returns WA_SUCCESS; WA_OUT_OF_RANGE.
int32_t wa_tracker_steer(struct wa_tracker *tracker, int32_t steering, struct wa_error *error);

// Says which wheels are about to be lifted: their readings are held until wa_tracker_lifted.
//
// wheels: of fl, fr, rl, rr: 0 for one that is not lifted.
//
// Returns WA_SUCCESS.
//
int32_t wa_tracker_lift(struct wa_tracker *tracker,
                        const int32_t wheels[4],
                        struct wa_error *error);

// Says that the wheels which were to be lifted hang still: their readings go on from the values held, that is from the smoothed
// pose; without smoothing the noise of one pose stays in them. A wheel that is not seen goes on from when it is seen again.
//
// Returns WA_SUCCESS.
int32_t wa_tracker_lifted(struct wa_tracker *tracker,
                          struct wa_error *error);

// Says that all wheels stand again: they are read as they stand, from when they are seen. Wheels that hung may rest otherwise
// than before: they are taken for fixed within ten times the bounds of a knock until an adjustment of them ends, and all is
// weak while a rear one is beyond the bounds themselves. Roll or settle the car, and measure anew.
//
// Returns WA_SUCCESS.
int32_t wa_tracker_lowered(struct wa_tracker *tracker,
                           struct wa_error *error);

// Takes a clamp that was knocked, or taken off and put on, with its own compensation: the wheel is read by it from when it is
// seen again, and belongs where it is seen then. Compensated while it is being lifted it stays void until it is lowered.
//
// wheel: WA_WHEEL_...
// compensation: as wa_from_rolling gives it.
//
// Returns WA_SUCCESS; WA_OUT_OF_RANGE for a wheel that is none, or a rolling_radius_mm whose present is neither 0 nor 1;
// WA_NOT_FINITE; WA_NOT_UNIT_LENGTH; WA_LENGTH_OUT_OF_RANGE.
int32_t wa_tracker_compensate(struct wa_tracker *tracker,
                              int32_t wheel,
                              const struct wa_compensation *compensation,
                              struct wa_error *error);

// What is to be known of a reading, by its path.
//
// flags_by_basis: as wa_tracker_frame gives it, in "flags".
// path: UTF-8 with a NUL at the end.
//
// Returns WA_SUCCESS; WA_UNKNOWN_READING.
int32_t wa_flags_by_basis_of(const struct wa_flags_by_basis *flags_by_basis,
                             const char *path,
                             struct wa_flags *flags,
                             struct wa_error *error);

// Readings straight ahead of many records: those of wa_ahead_readings, with the same bits. What needs a sweep is NaN. No
// thread is started: to use several, call it from each with a part of the records.
//
// Returns WA_SUCCESS when the records were looked at, whatever their own statuses are; WA_CONTRADICTION for a count that is
// neither 1 nor that of the records; WA_UNKNOWN_READING for a position that is none; WA_NOT_FINITE and WA_LENGTH_OUT_OF_RANGE
// for a loaded radius; WA_OUT_OF_RANGE for a centreline that is none; WA_TOO_MANY; WA_BAD_LENGTH.
int32_t wa_batch_ahead_readings(const struct wa_ahead_records *records,
                                const struct wa_columns *columns,
                                struct wa_error *error);

// Every reading of many sessions: those of wa_measure, with the same bits. No thread is started: to use several, call it
// from each with a part of the records.
//
// warnings: of each record, WA_WARNING_... bits.
//
// Returns WA_SUCCESS when the records were looked at, whatever their own statuses are; WA_CONTRADICTION for a count that is
// neither 1 nor that of the records, or for settings that contradict each other; WA_UNKNOWN_READING for a position that is
// none; WA_OUT_OF_RANGE for a choice in the settings that is none; WA_TOO_MANY; WA_BAD_LENGTH.
int32_t wa_batch_measure(const struct wa_session_records *records,
                         const struct wa_columns *columns,
                         uint32_t *warnings,
                         struct wa_error *error);

// An input whose standard uncertainty is known, as from a certificate: with infinite degrees of freedom. It is checked
// where it is used.
//
// Returns WA_SUCCESS.
int32_t wa_input_known(double estimate,
                       double standard_uncertainty,
                       struct wa_input *input,
                       struct wa_error *error);

// An input from repeated observations: their mean, and the standard deviation of that mean.
//
// observations: observations_count numbers, at least two.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE for fewer than two.
int32_t wa_input_from_observations(const double *observations,
                                   size_t observations_count,
                                   struct wa_input *input,
                                   struct wa_error *error);

// The expanded uncertainty of an output for a probability, in its unit: coverage factor times standard uncertainty. The
// degrees of freedom are rounded down to a whole number.
//
// probability: between 0 and 1, customarily 0.95.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE; WA_MISSING_INPUT when the degrees of freedom are absent.
int32_t wa_output_expanded(const struct wa_output *output,
                           double probability,
                           struct wa_expanded *expanded,
                           struct wa_error *error);

// Propagates the uncertainties of n inputs to m outputs whose derivatives c are known, to first order:
// cov(y_k, y_l) = sum over i and j of c_ki·c_lj·r_ij·u_i·u_j.
//
// inputs: inputs_count of them: n.
// correlation: n·n coefficients r of the inputs, row by row, or NULL when they are independent.
// estimates: of the outputs, estimates_count of them: m.
// sensitivities: m·n derivatives, output by output.
// outputs: m of them are written.
// covariance: m·m numbers are written, row by row, each in the product of both units; NULL when it is not wanted.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE for a negative uncertainty or fewer than 1 degree of freedom;
// WA_NOT_A_COVARIANCE for correlations that cannot be; WA_BAD_LENGTH.
int32_t wa_combine(const struct wa_input *inputs,
                   size_t inputs_count,
                   const double *correlation,
                   const double *estimates,
                   size_t estimates_count,
                   const double *sensitivities,
                   struct wa_output *outputs,
                   double *covariance,
                   struct wa_error *error);

// Effective degrees of freedom of a sum of independent parts, by the formula of Welch and Satterthwaite.
//
// shares: shares_count pairs of numbers: of each part its variance, or its share of it, and its degrees of freedom, at
//     least 1, which may be infinite.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE.
int32_t wa_effective_degrees_of_freedom(const double *shares,
                                        size_t shares_count,
                                        double *degrees_of_freedom,
                                        struct wa_error *error);

// The coverage factor for a probability, by Student's t.
//
// probability: between 0 and 1, customarily 0.95.
// degrees_of_freedom: at least 1; may be infinite.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE.
int32_t wa_coverage_factor(double probability,
                           double degrees_of_freedom,
                           double *coverage_factor,
                           struct wa_error *error);

// Half a unit of the last digit of a standard uncertainty that is stated with so many significant digits.
//
// standard_uncertainty: not negative.
// significant_digits: 1 to 4.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE.
int32_t wa_numerical_tolerance(double standard_uncertainty,
                               uint32_t significant_digits,
                               double *tolerance,
                               struct wa_error *error);

// Measures a car, and says what every reading is worth, by the law of propagation through the whole chain.
//
// uncertainty: struct of the caller whose size is set.
//
// Returns what wa_measure returns; WA_MISSING_INPUT when the noise of the poses is neither stated nor seen in several
// frames; WA_NOT_A_COVARIANCE.
int32_t wa_propagate(const struct wa_session *session,
                     struct wa_uncertainty *uncertainty,
                     struct wa_error *error);

// The budget of one reading: what each input contributes to its uncertainty, the largest first; the poses of one wheel
// and stage together. Of the reading as the "method" of the session estimates it.
//
// session_json: session_length bytes, format "alignment-session/1"; wa_session_to_json makes it of a struct.
// path: of the reading, UTF-8 with a NUL at the end. One that is absent, or exact, has an empty budget.
//
// The result is an array of {"source": ..., "standard_uncertainty": ..., "share": ...}: the standard
// uncertainty that the reading would have from this source alone, in the reading's unit, and its share of
// the variance; the shares add up to 1. A source is {"poses": {"stage": "rolling", "station": null, "wheel":
// "fl"}}; {"clamp_standoff": "fl"}; or one of "up", "runway", "front_loaded_radius", "rear_loaded_radius",
// "ride_height", "right_cameras".
//
// Returns what wa_measure_json returns; WA_UNKNOWN_READING; WA_MISSING_INPUT when the noise of the poses is
// neither stated nor seen in several frames; WA_NOT_A_COVARIANCE.
int32_t wa_uncertainty_budget_json(const char *session_json,
                                   size_t session_length,
                                   const char *path,
                                   char *result_json,
                                   size_t result_capacity,
                                   size_t *result_length,
                                   struct wa_error *error);

// The same pose by pose: the "station" of a source is a number, null straight ahead and at the locks.
//
// Returns what wa_uncertainty_budget_json returns.
int32_t wa_uncertainty_budget_by_pose_json(const char *session_json,
                                           size_t session_length,
                                           const char *path,
                                           char *result_json,
                                           size_t result_capacity,
                                           size_t *result_length,
                                           struct wa_error *error);

// The covariance of two readings of a session, in the product of their units; absent when one of them is.
//
// path, other: UTF-8 with a NUL at the end.
//
// Returns what wa_uncertainty_budget_json returns, but for WA_BUFFER_TOO_SMALL.
int32_t wa_uncertainty_covariance(const char *session_json,
                                  size_t session_length,
                                  const char *path,
                                  const char *other,
                                  struct wa_optional *covariance,
                                  struct wa_error *error);

// The correlation of two readings of a session, -1 to 1; absent when one of them is, or is exact.
//
// path, other: UTF-8 with a NUL at the end.
//
// Returns what wa_uncertainty_budget_json returns, but for WA_BUFFER_TOO_SMALL.
int32_t wa_uncertainty_correlation(const char *session_json,
                                   size_t session_length,
                                   const char *path,
                                   const char *other,
                                   struct wa_optional *correlation,
                                   struct wa_error *error);

// The expanded uncertainty of one reading of a session, in the unit of the reading: reading ± U holds the true value
// with a probability.
//
// path: UTF-8 with a NUL at the end.
// probability: between 0 and 1, customarily 0.95.
// expanded: NaN when the reading is absent.
//
// Returns what wa_uncertainty_budget_json returns, but for WA_BUFFER_TOO_SMALL; WA_NOT_FINITE and WA_OUT_OF_RANGE for the
// probability.
int32_t wa_uncertainty_expanded(const char *session_json,
                                size_t session_length,
                                const char *path,
                                double probability,
                                struct wa_expanded *expanded,
                                struct wa_error *error);

// The expanded uncertainty of every reading of a session, at its path and in its unit.
//
// probability: between 0 and 1, customarily 0.95.
// expanded_tree: struct of the caller whose size is set.
//
// Returns what wa_uncertainty_expanded returns.
int32_t wa_uncertainty_expanded_tree(const char *session_json,
                                     size_t session_length,
                                     double probability,
                                     struct wa_alignment *expanded_tree,
                                     struct wa_error *error);

// The covariance of all readings of a session, as its "method" estimates them.
//
// covariance: buffer of the caller of capacity doubles, of which n·n are written, n = wa_reading_count():
//     row by row, in the order of wa_reading_path, each in the product of both readings' units. On the
//     diagonal stand the squares of the standard uncertainties. Rows and columns of a reading that is
//     absent, null in wa_assess_json, are zero.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL when capacity is less than n·n; or what wa_uncertainty_budget_json returns.
int32_t wa_uncertainty_covariance_matrix(const char *session_json,
                                         size_t session_length,
                                         double *covariance,
                                         size_t capacity,
                                         struct wa_error *error);

// Fills in a struct, but for its size, with the defaults.
//
// Returns WA_SUCCESS; WA_NULL_POINTER; WA_MISALIGNED; WA_BAD_STRUCT_SIZE.
int32_t wa_trials_default(struct wa_trials *trials);

// The check on the law of propagation: measures a session again and again, every input drawn from what is
// known of it, until the asked-for readings stand still, and compares.
//
// paths: count paths of readings, at most as many as there are, each UTF-8 with a NUL at the end.
// settings: how the run is made.
//
// The result is {"paths": [...], "simulation": {"outputs": [...], "covariance": [[...]], "trials": ...,
// "probability": ...}, "agreement": [...]}, all in the order of paths and in the readings' own units. An
// output has "estimate", "standard_uncertainty", "symmetric_interval" and "shortest_interval"; an agreement
// has "low" and "high", by how much the ends of the interval by the law are off the symmetric one of the
// trials, "tolerance", half a unit of the last digit asked for, and "agrees".
//
// A run takes at least a hundred thousand trials, each as long as a plain measurement by the "method" of
// the session, and 8 bytes for each trial and path.
//
// Returns what wa_uncertainty_budget_json returns; WA_MISSING_INPUT also for a reading that is absent;
// WA_OUT_OF_RANGE; WA_NOT_SETTLED when the trials allowed are used up.
int32_t wa_monte_carlo_json(const char *session_json,
                            size_t session_length,
                            const char *const *paths,
                            size_t count,
                            const struct wa_trials *settings,
                            char *result_json,
                            size_t result_capacity,
                            size_t *result_length,
                            struct wa_error *error);

// Fills in a struct, but for its size, with a customary measurement: five stations over 54° of roll, nine
// over 40° of steer with the wheels locked, single frames with a noise of 0.005° and 0.05 mm.
//
// Returns WA_SUCCESS; WA_NULL_POINTER; WA_MISALIGNED; WA_BAD_STRUCT_SIZE.
int32_t wa_plan_default(struct wa_plan *plan);

// What a measurement will be worth, before anyone touches a car.
//
// The result is a tree like "alignment" in wa_measure_json: the standard uncertainty of every reading, in
// its own unit, under the reading's path.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_OUT_OF_RANGE, WA_LENGTH_OUT_OF_RANGE, WA_ANGLE_OUT_OF_RANGE or
// WA_NOT_FINITE for what no measurement has; WA_SWEEP_TOO_SMALL.
int32_t wa_plan_json(const struct wa_plan *plan,
                     char *result_json,
                     size_t result_capacity,
                     size_t *result_length,
                     struct wa_error *error);

// How far to roll and to sweep, with all else as planned, for a wanted expanded uncertainty of camber, toe,
// thrust angle, caster and SAI: the inverse of wa_plan_json.
//
// expanded_uncertainty_deg: what is wanted, degrees, U = k·u.
// coverage_factor: its k, customarily 2.
// reach: struct of the caller whose size is set.
//
// Returns what wa_plan_json returns, but for WA_BUFFER_TOO_SMALL.
int32_t wa_reach(const struct wa_plan *plan,
                 double expanded_uncertainty_deg,
                 double coverage_factor,
                 struct wa_reach_result *reach,
                 struct wa_error *error);

// Judges one value against its limits, all in one unit, degrees or mm alike.
//
// uncertainty: how well the value is known. NULL when it is not: then simple acceptance is the rule.
// limits: at least one.
// rule: WA_RULE_...
// probability: with which the guarded rule must be right, 0.5 to 0.999999, customarily 0.95. It must be in
//     range under the other rule as well, which has no use for it.
// judgement: struct of the caller whose size is set.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE for a rule or a probability that is none, an
// uncertainty below 0, fewer than one degree of freedom, a least value above the greatest, or numbers
// beyond ± 1e9; WA_MISSING_INPUT without any limit.
int32_t wa_judge(double value,
                 const struct wa_uncertain *uncertainty,
                 const struct wa_limits *limits,
                 int32_t rule,
                 double probability,
                 struct wa_judgement *judgement,
                 struct wa_error *error);

// The risks of accepting what is measured within the acceptance limits, over all that is produced, or comes
// to be measured. All in one unit, degrees or mm alike.
//
// mean, standard_deviation: of the true values before any is measured, taken to be normal.
// standard_uncertainty: of the measurement.
// acceptance: as wa_judge found them, or the limits themselves for simple acceptance.
// consumer: where the probability goes that one does not conform and is accepted.
// producer: where the probability goes that one conforms and is not accepted.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE for a standard deviation not above 0, an uncertainty
// below 0, a least value above the greatest, or numbers beyond ± 1e9; WA_MISSING_INPUT without any limit.
int32_t wa_global_risks(double mean,
                        double standard_deviation,
                        double standard_uncertainty,
                        const struct wa_limits *limits,
                        const struct wa_limits *acceptance,
                        double *consumer,
                        double *producer,
                        struct wa_error *error);

// Judges every reading that has limits, degrees and mm alike.
//
// readings: such as those of wa_measurement.
// standard_uncertainty, degrees_of_freedom: trees of the same shape, such as those of wa_uncertainty; NULL when they are not
//     known. A reading without an uncertainty is judged by simple acceptance; one without degrees of freedom by the normal
//     distribution.
// specification_json: specification_length bytes, format "alignment-specification/1".
//
// The result is {"overall": ..., "decision": ..., "load_state": ..., "readings": [...]}, as "verdicts" in wa_assess_json.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_A_SPECIFICATION; WA_UNKNOWN_READING; WA_NOT_UTF8; WA_NOT_FINITE;
// WA_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE.
int32_t wa_judge_all_json(const struct wa_alignment *readings,
                          const struct wa_alignment *standard_uncertainty,
                          const struct wa_alignment *degrees_of_freedom,
                          const char *specification_json,
                          size_t specification_length,
                          char *result_json,
                          size_t result_capacity,
                          size_t *result_length,
                          struct wa_error *error);

// A specification written out: every path by itself, in its own unit or that in which it was given.
//
// specification_json: specification_length bytes, format "alignment-specification/1".
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_A_SPECIFICATION; WA_UNKNOWN_READING; WA_NOT_UTF8.
int32_t wa_specification_to_json(const char *specification_json,
                                 size_t specification_length,
                                 char *result_json,
                                 size_t result_capacity,
                                 size_t *result_length,
                                 struct wa_error *error);

// The limits of one reading in its own unit, degrees or mm.
//
// path: UTF-8 with a NUL at the end.
//
// Returns WA_SUCCESS; WA_UNKNOWN_READING; WA_NOT_A_SPECIFICATION for members that do not go together; WA_NOT_FINITE;
// WA_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE; WA_NOT_UTF8.
int32_t wa_tolerance_limits(const struct wa_tolerance *tolerance,
                            const char *path,
                            struct wa_limits *limits,
                            struct wa_error *error);

// Fills in a struct, but for its size, with the defaults.
//
// Returns WA_SUCCESS; WA_NULL_POINTER; WA_MISALIGNED; WA_BAD_STRUCT_SIZE.
int32_t wa_normal_tolerances_default(struct wa_normal_tolerances *tolerances);

// What the readings of a car hint at: parts that may be bent or shifted, never a verdict. What is absent gives no hint, and no
// hint is no proof that the car is sound.
//
// A hint says where to look. Whether a part is replaced is for the vehicle maker's procedure, local codes and licensed practice.
//
// readings: such as those of wa_measurement, in degrees and mm.
// covariance: of all readings, covariance_count doubles as wa_uncertainty_covariance_matrix gives them; without any (a count of
//     0, and NULL if you like) the readings are taken for exact.
// specification_json: specification_length bytes, format "alignment-specification/1": what to aim at, and so which side is off.
//     NULL with a length of 0 for none: then the car is compared with itself.
// tolerances: what is normal; NULL for the defaults.
//
// The result is [{"cause": "bent_knuckle", "number": 1, "wheel": "fl", "evidence": [{"path": ..., "unit": ..., "value": ...,
// "compared_with": ..., "expected": ..., "deviation": ..., "tolerance": ..., "standard_uncertainty": ..., "stands_out": ...}],
// "other_causes": [...], "message": ...}]. "number" is WA_CAUSE_...; "wheel" is null where the readings do not tell the side.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_FINITE; WA_OUT_OF_RANGE; WA_NOT_A_COVARIANCE; WA_NOT_A_SPECIFICATION;
// WA_UNKNOWN_READING; WA_NOT_UTF8; WA_LENGTH_OUT_OF_RANGE.
int32_t wa_diagnose_json(const struct wa_alignment *readings,
                         const double *covariance,
                         size_t covariance_count,
                         const char *specification_json,
                         size_t specification_length,
                         const struct wa_normal_tolerances *tolerances,
                         char *result_json,
                         size_t result_capacity,
                         size_t *result_length,
                         struct wa_error *error);

// Mean, standard deviation and what follows from them, of repeats of one reading under the same conditions.
//
// values: at least two, all in one unit.
// repeatability_result: struct of the caller whose size is set.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE for fewer than two values or one beyond ± 1e9.
int32_t wa_repeatability(const double *values,
                         size_t count,
                         struct wa_repeatability_result *repeatability_result,
                         struct wa_error *error);

// Repeatability and reproducibility from groups of repeats on one car: the repeats of one clamping, or of one
// operator, make a group. Groups may differ in size, and their order does not matter.
//
// values: group after group, all in one unit; as many as the sizes add up to.
// group_sizes: how many values each of group_count groups has.
//
// The result has "mean"; the table's lines "between" and "within", each with "sum_of_squares",
// "degrees_of_freedom", "mean_square", "f" and "p"; "repeats_per_group"; "repeatability_sd",
// "between_sd" with "between_negative", "reproducibility_sd" with
// "reproducibility_degrees_of_freedom"; "repeatability_limit" and "reproducibility_limit", 2.8 of their
// standard deviations. Standard deviations and limits are in the unit of the values.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_FINITE; WA_OUT_OF_RANGE for fewer than two groups, an empty
// one, none with two values, or a value beyond ± 1e9.
int32_t wa_one_way_json(const double *values,
                        const size_t *group_sizes,
                        size_t group_count,
                        char *result_json,
                        size_t result_capacity,
                        size_t *result_length,
                        struct wa_error *error);

// Where the scatter of a reading comes from, when several cars are each measured by every operator, so many
// times each. Operators may as well be rigs, or sets of clamps.
//
// values: cars·operators·repeats of them, all in one unit: the repeats of the first operator on the first
//     car, those of the second operator on it, and so on, then the next car.
// pool_above_p: the p-value above which the interaction of operators and cars is pooled with the repeats,
//     customarily 0.25; 1 never pools.
// tolerance: NULL, or the width from the lower to the upper limit of the specification.
//
// The result has "mean"; the table's lines "cars", "operators", "interaction", "repeats" and "pooled", as
// those of wa_one_way_json; the shares "repeatability", "operator", "operator_by_car",
// "between_operators", "gauge", "car" and "total", each with "variance", "negative",
// "standard_deviation", "percent_contribution", "percent_of_total" and "percent_of_tolerance";
// "gauge_degrees_of_freedom" and "distinct_categories".
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_FINITE; WA_OUT_OF_RANGE for fewer than two cars, operators
// or repeats, a value beyond ± 1e9, a probability outside 0 to 1, or a tolerance outside 1e-9 to 1e9.
int32_t wa_crossed_json(const double *values,
                        size_t cars,
                        size_t operators,
                        size_t repeats,
                        double pool_above_p,
                        const double *tolerance,
                        char *result_json,
                        size_t result_capacity,
                        size_t *result_length,
                        struct wa_error *error);

// An angle in degrees, from radians. NaN in gives NaN out.
//
// Returns WA_SUCCESS.
int32_t wa_deg_from_rad(double angle_rad, double *angle_deg, struct wa_error *error);

// An angle in radians, from degrees. NaN in gives NaN out.
//
// Returns WA_SUCCESS.
int32_t wa_rad_from_deg(double angle_deg, double *angle_rad, struct wa_error *error);

// An angle in degrees as sign, whole degrees and whole minutes (1° = 60′), rounded to the nearest minute.
// NaN in gives NaN out.
//
// Returns WA_SUCCESS.
int32_t wa_degrees_minutes_from_deg(double angle_deg,
                                    struct wa_degrees_minutes *angle,
                                    struct wa_error *error);

// An angle in degrees, from sign, degrees and minutes: ± (degrees + minutes/60). Neither number need be
// whole.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE for degrees outside 0 to 360, or minutes outside
// 0 to 60, which are told in degrees.
int32_t wa_deg_from_degrees_minutes(const struct wa_degrees_minutes *angle,
                                    double *angle_deg,
                                    struct wa_error *error);

// Camber in degrees, positive with the top outward: -asin(a_z) of the outward spindle a, in [-90°, 90°].
//
// spindle: unit vector outward, x forward, y left, z up.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_UNIT_LENGTH.
//
int32_t wa_camber_deg(const double spindle[3],
                      double *camber_deg,
                      struct wa_error *error);

// Toe in degrees, positive toe-in: atan2(a_x, s·a_y) of the outward spindle a, s = +1 on the left and -1 on
// the right, in (-180°, 180°]: the horizontal trace of the wheel plane, of a cambered wheel too.
//
// side: WA_SIDE_...
// spindle: unit vector outward, x forward, y left, z up.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_UNIT_LENGTH; WA_SPINDLE_NOT_LATERAL for a vertical spindle.
//
int32_t wa_toe_deg(int32_t side,
                   const double spindle[3],
                   double *toe_deg,
                   struct wa_error *error);

// Contact centre in mm, x forward, y left, z up: from the wheel centre by the loaded radius along the
// steepest descent in the wheel plane, -(z - a_z·a)/|z - a_z·a|, with the outward spindle a.
//
// centre_mm: wheel centre, mm.
// spindle: unit vector outward.
// loaded_radius_mm: 50 to 1500 mm.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_UNIT_LENGTH; WA_LENGTH_OUT_OF_RANGE; WA_SPINDLE_NOT_LATERAL for
// a vertical spindle, whose wheel plane has no descent.
//
int32_t wa_contact_centre_mm(const double centre_mm[3],
                             const double spindle[3],
                             double loaded_radius_mm,
                             double contact_centre_mm[3],
                             struct wa_error *error);

// Toe as a length in mm, positive toe-in: D·tan(toe), at the reference diameter D. Always state D: some
// manuals mean the rim flange, some the nominal rim, some the tyre. For total toe, add the lengths of both
// wheels.
//
// toe_deg: within ± 45°.
// reference_diameter_mm: 100 to 3000 mm.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE.
int32_t wa_toe_length_mm(double toe_deg,
                         double reference_diameter_mm,
                         double *toe_length_mm,
                         struct wa_error *error);

// Toe in degrees, positive toe-in, from its length at the reference diameter D: atan(length/D).
//
// toe_length_mm: within ± D.
// reference_diameter_mm: 100 to 3000 mm.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE.
int32_t wa_toe_from_length_deg(double toe_length_mm,
                               double reference_diameter_mm,
                               double *toe_deg,
                               struct wa_error *error);

// Side slip in mm per m of travel, of the sign of the angle: 1000·tan(angle).
//
// angle_deg: within ± 45°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
int32_t wa_side_slip_mm_per_m(double angle_deg, double *side_slip_mm_per_m, struct wa_error *error);

// The angle in degrees, of the sign of the side slip: atan(side slip/1000).
//
// side_slip_mm_per_m: mm per m of travel, within ± 1000.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE.
int32_t wa_angle_from_side_slip_deg(double side_slip_mm_per_m,
                                    double *angle_deg,
                                    struct wa_error *error);

// Caster in degrees, positive with the top of the axis rearward: atan2(-k_x, k_z), for the axis k.
//
// axis_direction: unit vector upward, x forward, y left, z up.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_UNIT_LENGTH.
//
int32_t wa_caster_deg(const double axis_direction[3], double *caster_deg, struct wa_error *error);

// Steering-axis inclination in degrees, positive with the top inboard: atan2(-s·k_y, k_z), for the axis k, s
// = +1 on the left and -1 on the right.
//
// side: WA_SIDE_...
// axis_direction: unit vector upward, x forward, y left, z up.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_UNIT_LENGTH.
//
int32_t wa_sai_deg(int32_t side,
                   const double axis_direction[3],
                   double *sai_deg,
                   struct wa_error *error);

// The unit vector up the steering axis, x forward, y left, z up, from its two projected angles: (-tan
// caster, -s·tan SAI, 1) made unit, s = +1 on the left and -1 on the right.
//
// side: WA_SIDE_...
// caster_deg, sai_deg: within ± 80°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
//
int32_t wa_axis_direction(int32_t side,
                          double caster_deg,
                          double sai_deg,
                          double axis_direction[3],
                          struct wa_error *error);

// A steering axis seen from the body instead of the ground: turned back by the pitch of the body, then by
// its roll, as wa_body_attitude_deg gives them. Pitch adds exactly to caster, and changes SAI as well.
//
// axis_direction: unit vector upward, x forward, y left, z up.
// pitch_deg: positive nose down, within ± 45°.
// roll_deg: positive left side up, within ± 45°.
// axis_to_body: unit vector.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_UNIT_LENGTH; WA_ANGLE_OUT_OF_RANGE.
//
int32_t wa_axis_to_body(const double axis_direction[3],
                        double pitch_deg,
                        double roll_deg,
                        double axis_to_body[3],
                        struct wa_error *error);

// Pitch and roll of the body from its ride heights, degrees: pitch = atan((rear - front)/wheelbase), positive nose
// down; roll = atan((left - right)/track), positive left side up; each height the mean of its two wheels.
//
// ride_height_mm: fl, fr, rl, rr, -2000 to 5000 mm.
// wheelbase_mm: 500 to 12000 mm.
// track_mm: 300 to 4000 mm.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE.
//
int32_t wa_body_attitude_deg(const double ride_height_mm[4],
                             double wheelbase_mm,
                             double track_mm,
                             double *pitch_deg,
                             double *roll_deg,
                             struct wa_error *error);

// Ackermann's ideal outer angle in degrees, for an inner angle: cot outer = cot inner + axis
// distance/wheelbase.
//
// inner_deg: 0 to 90°.
// axis_distance_mm: of the steering axes at the ground, mm, above 0.
// wheelbase_mm: mm, above 0.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE.
int32_t wa_ackermann_outer_deg(double inner_deg,
                               double axis_distance_mm,
                               double wheelbase_mm,
                               double *outer_deg,
                               struct wa_error *error);

// Ackermann's ideal inner angle in degrees, for an outer angle: cot inner = cot outer - axis
// distance/wheelbase.
//
// outer_deg: 0 to 90°.
// axis_distance_mm: of the steering axes at the ground, mm, above 0.
// wheelbase_mm: mm, above 0.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE.
int32_t wa_ackermann_inner_deg(double outer_deg,
                               double axis_distance_mm,
                               double wheelbase_mm,
                               double *inner_deg,
                               struct wa_error *error);

// Ackermann percentage by toe-out: 100·(inner - outer)/(ideal toe-out at the same inner angle). Wheels that
// stay parallel give 0, the ideal 100, toe-in on turns less than 0. The other definition agrees at 0 and 100
// alone.
//
// inner_deg, outer_deg: 1 to 90°.
// axis_distance_mm: of the steering axes at the ground, mm, above 0.
// wheelbase_mm: mm, above 0.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE.
int32_t wa_ackermann_percent_by_toe_out(double inner_deg,
                                        double outer_deg,
                                        double axis_distance_mm,
                                        double wheelbase_mm,
                                        double *percent,
                                        struct wa_error *error);

// Ackermann percentage by cotangents: 100·(cot outer - cot inner)/(axis distance/wheelbase). Wheels that
// stay parallel give 0, the ideal 100, toe-in on turns less than 0. The other definition agrees at 0 and 100
// alone.
//
// inner_deg, outer_deg: 1 to 90°.
// axis_distance_mm: of the steering axes at the ground, mm, above 0.
// wheelbase_mm: mm, above 0.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE.
int32_t wa_ackermann_percent_by_cotangents(double inner_deg,
                                           double outer_deg,
                                           double axis_distance_mm,
                                           double wheelbase_mm,
                                           double *percent,
                                           struct wa_error *error);

// Turning radius of the middle of the front axle in mm: wheelbase/sin(steer).
//
// wheelbase_mm: mm, above 0.
// steer_deg: the heading at the middle of the front axle, 0.1 to 90°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE.
int32_t wa_turning_radius_mm(double wheelbase_mm,
                             double steer_deg,
                             double *turning_radius_mm,
                             struct wa_error *error);

// The wheel's yaw in degrees, positive to the left, from a plate zeroed straight ahead: plate - s·toe, s =
// +1 on the left and -1 on the right.
//
// side: WA_SIDE_...
// plate_deg: positive to the left, within ± 60°.
// toe_deg: of this wheel to the centreline, straight ahead, positive toe-in, within ± 10°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
int32_t wa_yaw_from_plate_deg(int32_t side,
                              double plate_deg,
                              double toe_deg,
                              double *yaw_deg,
                              struct wa_error *error);

// Azimuth in degrees, positive to the left, of a line of the hub that lies in the wheel plane and pitches by
// p: yaw + s·asin(tan p·tan camber).
//
// side: WA_SIDE_...
// wheel: yaw within ± 60°, camber within ± 45°.
// pitch_deg: p, positive nose up, within ± 45°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
int32_t wa_hub_line_azimuth_deg(int32_t side,
                                const struct wa_gauge_position *wheel,
                                double pitch_deg,
                                double *azimuth_deg,
                                struct wa_error *error);

// Caster and SAI, exactly, from the camber at three positions of the wheel, in any order. For any two of
// them, with yaw T, camber g: s·(cos g1·sin T1 - cos g2·sin T2)·tan caster - (cos g1·cos T1 - cos g2·cos
// T2)·tan SAI = sin g1 - sin g2.
//
// side: WA_SIDE_...
// positions: yaw within ± 60°, camber within ± 45°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_SWEEP_TOO_SMALL for positions that are too
// much alike.
//
int32_t wa_axis_from_cambers(int32_t side,
                             const struct wa_gauge_position positions[3],
                             struct wa_axis_angles *axis,
                             struct wa_error *error);

// Caster and SAI, exactly, from the pitch of the locked wheel's hub at three positions, in any order. For
// any two of them, with azimuth T, pitch p: s·(cos p1·sin T1 - cos p2·sin T2)·tan SAI + (cos p1·cos T1 - cos
// p2·cos T2)·tan caster = sin p1 - sin p2.
//
// side: WA_SIDE_...
// positions: azimuth within ± 60°, pitch within ± 45°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_SWEEP_TOO_SMALL for positions that are too
// much alike.
//
int32_t wa_axis_from_pitches(int32_t side,
                             const struct wa_pitch_position positions[3],
                             struct wa_axis_angles *axis,
                             struct wa_error *error);

// Caster in degrees by the two-position rule, positive with the top rearward: tan caster = s·(sin g1 - sin
// g2)/(2·sin T), with the camber g1 at the yaw +T, turned left, and g2 at -T, turned right. It leaves SAI
// out: a few thousandths of a degree on a common car.
//
// side: WA_SIDE_...
// turn_deg: T, 5 to 60°.
// camber_turned_left_deg, camber_turned_right_deg: within ± 45°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_SWEEP_TOO_SMALL.
int32_t wa_caster_by_two_positions_deg(int32_t side,
                                       double turn_deg,
                                       double camber_turned_left_deg,
                                       double camber_turned_right_deg,
                                       double *caster_deg,
                                       struct wa_error *error);

// Caster in degrees by the customary linear rule, positive with the top rearward: s·(g1 - g2)·1/(2·sin T),
// with the camber g1 at the yaw +T, turned left, and g2 at -T, turned right. At 20° the factor is 1.4619.
// 0.2 % too much at 4.3° of caster.
//
// side: WA_SIDE_...
// turn_deg: T, 5 to 60°.
// camber_turned_left_deg, camber_turned_right_deg: within ± 45°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_SWEEP_TOO_SMALL.
int32_t wa_caster_by_linear_rule_deg(int32_t side,
                                     double turn_deg,
                                     double camber_turned_left_deg,
                                     double camber_turned_right_deg,
                                     double *caster_deg,
                                     struct wa_error *error);

// SAI in degrees by the two-position rule, positive with the top inboard: tan SAI = s·(sin p1 - sin
// p2)/(2·sin T), with the pitch p1 of the locked wheel's hub, positive nose up, at the azimuth +T, turned
// left, and p2 at -T, turned right. It leaves caster out.
//
// side: WA_SIDE_...
// turn_deg: T, 5 to 60°.
// pitch_turned_left_deg, pitch_turned_right_deg: within ± 45°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_SWEEP_TOO_SMALL.
int32_t wa_sai_by_two_positions_deg(int32_t side,
                                    double turn_deg,
                                    double pitch_turned_left_deg,
                                    double pitch_turned_right_deg,
                                    double *sai_deg,
                                    struct wa_error *error);

// SAI in degrees by the customary linear rule, positive with the top inboard: s·(p1 - p2)·1/(2·sin T), with
// the pitch p1 of the locked wheel's hub, positive nose up, at the azimuth +T, turned left, and p2 at -T,
// turned right. 1.5 % too much at 12° of SAI.
//
// side: WA_SIDE_...
// turn_deg: T, 5 to 60°.
// pitch_turned_left_deg, pitch_turned_right_deg: within ± 45°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_SWEEP_TOO_SMALL.
int32_t wa_sai_by_linear_rule_deg(int32_t side,
                                  double turn_deg,
                                  double pitch_turned_left_deg,
                                  double pitch_turned_right_deg,
                                  double *sai_deg,
                                  struct wa_error *error);

// The camber in degrees, positive with the top outward, that a wheel shows at a yaw: what a gauge must read.
//
// side: WA_SIDE_...
// axis: caster and SAI, within ± 30°.
// ahead: straight ahead: yaw within ± 10°, camber within ± 15°.
// yaw_deg: positive to the left, within ± 60°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
int32_t wa_camber_at_yaw_deg(int32_t side,
                             const struct wa_axis_angles *axis,
                             const struct wa_gauge_position *ahead,
                             double yaw_deg,
                             double *camber_deg,
                             struct wa_error *error);

// The pitch in degrees, positive nose up, that a line of the locked wheel's hub shows at an azimuth: what a
// gauge must read.
//
// side: WA_SIDE_...
// axis: caster and SAI, within ± 30°.
// ahead: straight ahead: azimuth within ± 10°, pitch within ± 15°.
// azimuth_deg: positive to the left, within ± 60°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
int32_t wa_pitch_at_azimuth_deg(int32_t side,
                                const struct wa_axis_angles *axis,
                                const struct wa_pitch_position *ahead,
                                double azimuth_deg,
                                double *pitch_deg,
                                struct wa_error *error);

// The sizes of a tyre from its metric code, such as "205/55R16": overall diameter = rim inches·25.4 +
// 2·width·aspect ratio/100.
//
// In front may stand P, LT, ST or T; the construction is R, ZR, B or D; behind the rim may stand C or LT,
// and after a space the load index and speed symbol. Spaces between the parts and small letters do no harm.
//
// code: UTF-8 with a NUL at the end.
//
// Returns WA_SUCCESS; WA_NOT_A_TYRE_SIZE, with the part that is wrong in the message; WA_NOT_UTF8.
int32_t wa_size_from_code(const char *code,
                          struct wa_tyre_size *size,
                          struct wa_error *error);

// The plane through at least three points, mm, by least squares of the distances square to it.
//
// points_mm: points_count points of 3 numbers each, as in double points_mm[4][3], within a kilometre.
//
// Returns WA_SUCCESS; WA_TOO_FEW_STATIONS for fewer than three points; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE for points
// beyond a kilometre or that lie in one line.
int32_t wa_plane_through(const double *points_mm,
                         size_t points_count,
                         struct wa_plane *plane,
                         struct wa_error *error);

// By how much turning a tie rod turns its wheel about the steering axis, degrees: asin(turns·pitch/arm). The
// arm stands square to the rod before it is turned.
//
// turns: of either sign; positive ones give toe-in where the caller counts them so.
// thread_pitch_mm: mm per turn, 0.2 to 10; of a sleeve with two threads that of both together.
// arm_mm: from the steering axis to the joint, mm, 10 to 3000.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE; WA_OUT_OF_RANGE for turns that steer by more
// than 30°.
int32_t wa_tie_rod_steer_deg(double turns,
                             double thread_pitch_mm,
                             double arm_mm,
                             double *steer_deg,
                             struct wa_error *error);

// How many turns of a tie rod turn its wheel about the steering axis by an angle: arm·sin(angle)/pitch.
//
// steer_deg: degrees, -30 to 30.
// thread_pitch_mm: mm per turn, 0.2 to 10.
// arm_mm: mm, 10 to 3000.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE.
int32_t wa_tie_rod_turns(double steer_deg,
                         double thread_pitch_mm,
                         double arm_mm,
                         double *turns,
                         struct wa_error *error);

// By how much each tie rod has to change the toe of its wheel so that total toe is as wanted and the car runs
// straight with its steering wheel centred: left = total/2 - toe - wheel/ratio, right = total/2 - toe +
// wheel/ratio.
//
// left_toe_deg, right_toe_deg: to the thrust line, degrees, positive toe-in, within ± 20°.
// total_toe_deg: wanted, degrees, within ± 20°.
// steering_wheel_deg: from its centre, positive to the left, degrees, within ± 360°.
// steering_ratio: turn of the steering wheel over that of the road wheels, 1 to 50.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_OUT_OF_RANGE.
int32_t wa_toe_changes_deg(double left_toe_deg,
                           double right_toe_deg,
                           double total_toe_deg,
                           double steering_wheel_deg,
                           double steering_ratio,
                           struct wa_toe_changes *changes,
                           struct wa_error *error);

// How far an eccentric pushes what it guides, mm: eccentricity·sin(angle).
//
// eccentricity_mm: 0.01 to 100 mm.
// angle_deg: from its middle position, degrees, within ± 360°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE.
int32_t wa_eccentric_shift_mm(double eccentricity_mm,
                              double angle_deg,
                              double *shift_mm,
                              struct wa_error *error);

// Where an eccentric has to stand for a shift: asin(shift/eccentricity) from its middle position, and 180° less
// that.
//
// shift_mm: mm, no more than the eccentricity.
// eccentricity_mm: 0.01 to 100 mm.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE.
int32_t wa_eccentric_angles_deg(double shift_mm,
                                double eccentricity_mm,
                                struct wa_eccentric_angles *angles,
                                struct wa_error *error);

// By how much a strut leans further when the mount at its top is shifted in its slot, degrees:
// atan(tan(inclination) + shift/height) - inclination.
//
// shift_mm: mm, within ± 500.
// height_mm: of the slot above the joint on which the strut stands, mm, 10 to 3000.
// inclination_deg: of the strut toward the side to which the shift counts, degrees, within ± 60°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE.
int32_t wa_slot_tilt_deg(double shift_mm,
                         double height_mm,
                         double inclination_deg,
                         double *tilt_deg,
                         struct wa_error *error);

// How far the mount at the top of a strut has to be shifted for it to lean further by an angle, mm:
// height·(tan(inclination + tilt) - tan(inclination)).
//
// tilt_deg: degrees, within ± 20°.
// height_mm: mm, 10 to 3000.
// inclination_deg: degrees, within ± 60°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE.
int32_t wa_slot_shift_mm(double tilt_deg,
                         double height_mm,
                         double inclination_deg,
                         double *shift_mm,
                         struct wa_error *error);

// By how much the shims of a wishbone have to grow for a change of camber and caster: front = camber/C +
// caster/K, rear = camber/C - caster/K.
//
// camber_change_deg, caster_change_deg: wanted, degrees, within ± 20°.
// camber_deg_per_mm: C, of 1 mm more at both bolts, 0.001 to 10° in magnitude.
// caster_deg_per_mm: K, of 1 mm moved from the rear bolt to the front one, 0.001 to 10° in magnitude.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_OUT_OF_RANGE.
int32_t wa_shim_thicknesses_mm(double camber_change_deg,
                               double caster_change_deg,
                               double camber_deg_per_mm,
                               double caster_deg_per_mm,
                               struct wa_shim_thicknesses *shims,
                               struct wa_error *error);

// How a front subframe that carries the lower joints of both steering axes has to be moved so that caster is as
// wanted on both sides, and SAI alike.
//
// left, right: caster and SAI of either side, degrees, within ± 60°.
// caster_deg: wanted on both sides, degrees, within ± 60°.
// height_mm: of the upper mounts above the lower joints, mm, 10 to 3000.
// joint_distance_mm: of the lower joints from each other, mm, 10 to 3000.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE, also for sides that differ by more than a yaw of 30°
// makes good; WA_LENGTH_OUT_OF_RANGE.
int32_t wa_subframe_shift(const struct wa_axis_angles *left,
                          const struct wa_axis_angles *right,
                          double caster_deg,
                          double height_mm,
                          double joint_distance_mm,
                          struct wa_subframe_shift_result *shift,
                          struct wa_error *error);

// The tapered shim that changes camber and toe by these amounts, exactly; the same on both sides of the car.
//
// camber_deg: of the wheel without the shim, degrees, within ± 20°.
// camber_change_deg: wanted, degrees, within ± 20°.
// toe_change_deg: wanted, degrees, positive toe-in, within ± 20°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
int32_t wa_tapered_shim(double camber_deg,
                        double camber_change_deg,
                        double toe_change_deg,
                        struct wa_tapered_shim_result *shim,
                        struct wa_error *error);

// What a tapered shim changes: the inverse of wa_tapered_shim.
//
// camber_deg: of the wheel without the shim, degrees, within ± 20°.
// shim: taper 0 to 15°, bearing within ± 360°.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
int32_t wa_tapered_shim_changes(double camber_deg,
                                const struct wa_tapered_shim_result *shim,
                                struct wa_shim_changes *changes,
                                struct wa_error *error);

// The tapered shim from the shelf that comes nearest to changing camber and toe by these amounts, and what it
// leaves over.
//
// camber_deg: of the wheel without the shim, degrees, within ± 20°.
// camber_change_deg, toe_change_deg: wanted, degrees, within ± 20°.
// taper_step_deg: tapers are whole multiples of this, degrees, 0.001 to 15.
// most_taper_deg: the greatest taper, degrees, 0 to 15.
// bearing_step_deg: the shim can be turned to whole multiples of this, counted from the top, degrees, 0.1 to 360.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
int32_t wa_tapered_shim_on_shelf(double camber_deg,
                                 double camber_change_deg,
                                 double toe_change_deg,
                                 double taper_step_deg,
                                 double most_taper_deg,
                                 double bearing_step_deg,
                                 struct wa_shelf_shim *shim,
                                 struct wa_error *error);

// What one unit of each adjuster changes of every reading: of geometry the derivatives of the readings' own
// formulas, of measured effects the figures given and what follows from them.
//
// readings: such as those of wa_measurement.
// adjusters_json: adjusters_length bytes, as wa_fewest_moves_json takes them.
// stance: NULL where the rolling radii stand in and the centreline is that of the axle midpoints.
//
// The result is a list of trees like "alignment" in wa_measure_json, degrees and mm per unit.
//
// Returns what wa_fewest_moves_json returns.
int32_t wa_effects_json(const struct wa_alignment *readings,
                        const char *adjusters_json,
                        size_t adjusters_length,
                        const struct wa_stance *stance,
                        char *result_json,
                        size_t result_capacity,
                        size_t *result_length,
                        struct wa_error *error);

// The readings once adjusters have been moved, one after the other as they are listed.
//
// readings: such as those of wa_measurement.
// adjusters_json: adjusters_length bytes, as wa_fewest_moves_json takes them.
// amounts: amounts_count of them, one for each adjuster, in its units.
// stance: NULL where the rolling radii stand in and the centreline is that of the axle midpoints.
// foreseen: struct of the caller whose size is set. Readings of turning, to the body, and of the sweep itself are absent.
//
// Returns what wa_fewest_moves_json returns; WA_OUT_OF_RANGE for an amount beyond the range of its adjuster;
// WA_MISSING_INPUT for fewer or more of them than adjusters.
int32_t wa_foresee(const struct wa_alignment *readings,
                   const char *adjusters_json,
                   size_t adjusters_length,
                   const double *amounts,
                   size_t amounts_count,
                   const struct wa_stance *stance,
                   struct wa_alignment *foreseen,
                   struct wa_error *error);

// The fewest moves that bring a car to its specification, in the order in which they are done: rear before front,
// camber and caster before toe. All limits come first, then nearness to nominal values, then the number of moves.
//
// The vehicle maker's procedure decides what may be adjusted, in which order, at which load and to which torque. Support the car
// before anybody goes under it, settle the suspension before reading again, and measure after the last nut is tight.
//
// readings: such as those of wa_measurement.
// adjusters_json: adjusters_length bytes: a list of up to 16 adjusters, each {"name": ..., "unit": ..., "effect": ...,
//     "least": ..., "most": ..., "step": ...}. An effect is measured, {"wheels.fl.camber_deg": 0.25, ...} per unit, or geometry,
//     {"wheels": {"fl": true, "fr": false, "rl": false, "rr": false}, "line": {"point_mm": [x, y, z], "direction": [x, y, z]},
//     "turn_deg": ..., "shift_mm": ..., "carries_axis": ...} per unit, about a line in the vehicle frame, or with "line": null about
//     the steering axis.
// specification_json: specification_length bytes, format "alignment-specification/1".
// nominal_within_deg: so near to nominal is at it, degrees, customarily 0.005; NULL when it is enough that all limits are met.
// stance: NULL where the rolling radii stand in and the centreline is that of the axle midpoints.
//
// The result is {"moves": [{"adjuster": ..., "amount": ..., "foreseen": ...}], "foreseen": ..., "unmet": [{"path": ...,
// "limits": ..., "nearest": ..., "short_by": ..., "at_end": [...]}], "unforeseen": [...]}.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_UTF8; WA_NOT_A_SPECIFICATION, also for a text that is no list of adjusters;
// WA_TOO_MANY; WA_NOT_FINITE; WA_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE and WA_LENGTH_OUT_OF_RANGE for an adjuster that moves its
// wheels by more than 30° or 300 mm; WA_NOT_UNIT_LENGTH; WA_UNKNOWN_READING; WA_MISSING_INPUT for a wheel or steering axis that was
// not measured but is moved; WA_SPINDLE_NOT_LATERAL, WA_MIRRORED, WA_SIDES_SWAPPED and WA_DIFFERENT_VEHICLES for wheels that no
// car has.
int32_t wa_fewest_moves_json(const struct wa_alignment *readings,
                             const char *adjusters_json,
                             size_t adjusters_length,
                             const char *specification_json,
                             size_t specification_length,
                             const double *nominal_within_deg,
                             const struct wa_stance *stance,
                             char *result_json,
                             size_t result_capacity,
                             size_t *result_length,
                             struct wa_error *error);

// A record of the work on one car, format "alignment-record/1": what was measured before and after, what was done, and a digest
// that tells whether the text was damaged.
//
// details_json: details_length bytes: {"identity": {"record_id": ..., "date": ..., "vehicle": ..., ...}, "adjustments": [...],
//     "notes": [...], "attachments": [...], "stand": ...}, each as in a record and each may be left out. NULL and 0 for none.
//     wa_attachment_of_json makes an attachment, wa_stand_setup_of_json the stand.
// before_session_json, after_session_json: before_session_length and after_session_length bytes, format "alignment-session/1":
//     the car before and after the work. NULL and 0 for what was not measured; one of them must be there.
// specification_json: specification_length bytes, format "alignment-specification/1". NULL and 0 for none.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_A_RECORD for details that are none; WA_MISSING_INPUT without a session; what
// wa_assess_json returns.
int32_t wa_record_to_json(const char *details_json,
                          size_t details_length,
                          const char *before_session_json,
                          size_t before_session_length,
                          const char *after_session_json,
                          size_t after_session_length,
                          const char *specification_json,
                          size_t specification_length,
                          char *result_json,
                          size_t result_capacity,
                          size_t *result_length,
                          struct wa_error *error);

// Checks a record: whether it is one, and as it was written.
//
// text: text_length bytes.
//
// Returns WA_SUCCESS; WA_RECORD_DAMAGED when any byte was changed; WA_NOT_A_RECORD for another text, or a record of a newer version;
// WA_NOT_UTF8.
int32_t wa_record_from_json(const char *text,
                            size_t text_length,
                            struct wa_error *error);

// A page of HTML made from a record: one file, without scripts or anything from outside, which prints on A4 and on Letter. No text
// of the record can become markup in it.
//
// record_json: record_length bytes, format "alignment-record/1".
//
// Returns what wa_record_from_json returns; WA_BUFFER_TOO_SMALL.
int32_t wa_record_to_html(const char *record_json,
                          size_t record_length,
                          char *result_html,
                          size_t result_capacity,
                          size_t *result_length,
                          struct wa_error *error);

// A page of Markdown (CommonMark, with tables) made from a record. No text of the record can become markup in it.
//
// record_json: record_length bytes, format "alignment-record/1".
//
// Returns what wa_record_from_json returns; WA_BUFFER_TOO_SMALL.
int32_t wa_record_to_markdown(const char *record_json,
                              size_t record_length,
                              char *result_markdown,
                              size_t result_capacity,
                              size_t *result_length,
                              struct wa_error *error);

// A file that belongs to a record, as "attachments" in the details has it: {"name": ..., "media_type": ..., "length_bytes": ...,
// "sha256": ...}.
//
// name, media_type: UTF-8 with a NUL at the end.
// content: content_length bytes, all of the file.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_UTF8.
int32_t wa_attachment_of_json(const char *name,
                              const char *media_type,
                              const uint8_t *content,
                              size_t content_length,
                              char *result_json,
                              size_t result_capacity,
                              size_t *result_length,
                              struct wa_error *error);

// Whether bytes are those of a file that belongs to a record: their number and their digest agree.
//
// length_bytes, sha256: as "attachments" of the record has them; sha256 is 64 digits with a NUL at the end.
// content: content_length bytes.
// matches: 1 when they are, 0 when they are not.
//
// Returns WA_SUCCESS; WA_NOT_UTF8.
int32_t wa_attachment_matches(uint64_t length_bytes,
                              const char *sha256,
                              const uint8_t *content,
                              size_t content_length,
                              int32_t *matches,
                              struct wa_error *error);

// A stand that was found by a target of its own, which the rig's cameras see: rig_from_target times the inverse of
// stand_from_target. Its pivot is its origin.
//
// noise: of the target's pose, about the axes of the rig; NULL when it is not known. An error of its turn moves the stand's
//     origin the more, the further from the target it lies.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE;
// WA_NOT_A_COVARIANCE.
int32_t wa_placed_stand_from_target(const struct wa_pose *rig_from_target,
                                    const struct wa_pose *stand_from_target,
                                    const struct wa_pose_covariance *noise,
                                    struct wa_placed_stand *placed_stand,
                                    struct wa_error *error);

// A stand on which the cameras of the rig ride, as calibrated: the inverse of stand_from_rig. Its pivot is its origin.
//
// The poses of the car must have been seen from where the stand stands now: whoever moves it moves the frame of the rig with
// it, points of the floor included.
//
// noise: of the calibration, about the origin and the axes of the rig; NULL when it is not known. An error of its turn moves
//     the stand's origin the more, the further from the rig's it lies.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE;
// WA_NOT_A_COVARIANCE.
int32_t wa_placed_stand_from_rig(const struct wa_pose *stand_from_rig,
                                 const struct wa_pose_covariance *noise,
                                 struct wa_placed_stand *placed_stand,
                                 struct wa_error *error);

// The line that a car straight ahead shows, on the ground from which a stand is placed. Nothing is allocated.
//
// now: as wa_ahead_readings filled it in.
// loaded_radius_mm: of the front and of the rear axle, 2 numbers; NULL or absent for the rolling radius.
// floor: a plane through points of the floor, in the rig, by wa_plane_through. NULL for the plane through the contact centres.
// line: WA_LINE_...
// reference: WA_REFERENCE_POINT_...
// point_mm: 3 numbers in the vehicle frame, mm, for WA_REFERENCE_POINT_POINT; else it is not read.
//
// Returns WA_SUCCESS; WA_WHEEL_NOT_SEEN for a wheel whose centre is NaN; WA_MISSING_INPUT for one without a radius, when no
// floor is given; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE; WA_NOT_UNIT_LENGTH;
// WA_ANGLE_OUT_OF_RANGE for a floor tilted by more than 10 degrees against the datum.
int32_t wa_ground_line_from_ahead(const struct wa_ahead_readings_result *now,
                                  const struct wa_optional *loaded_radius_mm,
                                  const struct wa_plane *floor,
                                  int32_t line,
                                  int32_t reference,
                                  const double *point_mm,
                                  struct wa_ground_line *ground_line,
                                  struct wa_error *error);

// The line of a car that is followed. Nothing is allocated.
//
// now: as wa_tracker_frame filled it in. What its flags say (held, stale, weak) holds of the line too, and is not said again.
// All else as wa_ground_line_from_ahead says: the loaded radii of the tracker's session have to be handed over here as well.
//
// Returns what wa_ground_line_from_ahead returns; WA_WHEEL_NOT_SEEN also for a clamp that was knocked.
int32_t wa_ground_line_from_live(const struct wa_live_readings *now,
                                 const struct wa_optional *loaded_radius_mm,
                                 const struct wa_plane *floor,
                                 int32_t line,
                                 int32_t reference,
                                 const double *point_mm,
                                 struct wa_ground_line *ground_line,
                                 struct wa_error *error);

// Where a stand stands, in degrees and mm. Nothing is allocated.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE for a
// stand that pitches by more than 89 degrees.
int32_t wa_ground_line_readings(const struct wa_ground_line *ground_line,
                                const struct wa_pose *rig_from_stand,
                                struct wa_stand_readings *stand_readings,
                                struct wa_error *error);

// The moves that bring a stand from where it stands to what is required. What nothing is required of stays as it is.
//
// requirements_json: requirements_length bytes, format "alignment-stand/1".
// pivot_mm: the point about which the stand is turned, 3 numbers in its own frame, mm.
//
// Returns WA_SUCCESS; WA_NOT_A_SPECIFICATION; WA_NOT_UTF8; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE;
// WA_OUT_OF_RANGE for a negative tolerance.
int32_t wa_stand_moves(const struct wa_stand_readings *readings,
                       const char *requirements_json,
                       size_t requirements_length,
                       const double *pivot_mm,
                       struct wa_stand_moves_result *stand_moves,
                       struct wa_error *error);

// Where a stand is in the rig after the moves, done exactly, in degrees and mm.
//
// pivot_mm: the point about which the stand is turned, 3 numbers in its own frame, mm.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE for a
// turn beyond ± 180 degrees.
int32_t wa_stand_moved(const struct wa_pose *rig_from_stand,
                       const struct wa_stand_moves_result *moves,
                       const double *pivot_mm,
                       struct wa_pose *moved,
                       struct wa_error *error);

// Measures a car and a stand before it: readings, what they are worth, verdicts and moves.
//
// The vehicle maker's procedure rules. A car that is driven with a sensor that was calibrated wrongly can hurt people; measure
// again when the stand or the car was moved.
//
// ground_mm: points of the floor, ground_count of 3 numbers each, mm in the rig, each coordinate as uncertain as the session's
//     input_uncertainty says of runway_mm. None of them, and NULL if you like, makes the plane through the contact centres the
//     ground.
// requirements_json: requirements_length bytes, format "alignment-stand/1".
// stand_assessment: struct of the caller whose size is set.
//
// Returns what wa_measure returns; WA_WHEEL_NOT_SEEN or WA_MISSING_INPUT for a car whose wheels were not all seen straight ahead,
// or without a radius; WA_NOT_A_SPECIFICATION; WA_NOT_UTF8; WA_NOT_A_COVARIANCE; WA_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE for a
// stand that pitches by more than 89 degrees or a floor tilted by more than 10; WA_TOO_FEW_STATIONS for one or two points of the
// floor; WA_TOO_MANY for more than a thousand.
int32_t wa_stand_assess(const struct wa_session *session,
                        const struct wa_placed_stand *stand,
                        const double *ground_mm,
                        size_t ground_count,
                        const char *requirements_json,
                        size_t requirements_length,
                        struct wa_stand_assessment *stand_assessment,
                        struct wa_error *error);

// The same of the text of a session; the result has all that is known of it, the judgement on each reading and the warnings
// beside what wa_stand_assessment has, under the same names.
//
// session_json: session_length bytes, format "alignment-session/1".
//
// Returns what wa_stand_assess returns; WA_BUFFER_TOO_SMALL; WA_NOT_A_SESSION; WA_THIRD_AXLE.
int32_t wa_stand_assess_json(const char *session_json,
                             size_t session_length,
                             const struct wa_placed_stand *stand,
                             const double *ground_mm,
                             size_t ground_count,
                             const char *requirements_json,
                             size_t requirements_length,
                             char *result_json,
                             size_t result_capacity,
                             size_t *result_length,
                             struct wa_error *error);

// What a record keeps of a stand, as "stand" in the details of wa_record_to_json has it: of the session that shows how the stand was left.
//
// All else as wa_stand_assess_json says.
//
// Returns what wa_stand_assess_json returns.
int32_t wa_stand_setup_of_json(const char *session_json,
                               size_t session_length,
                               const struct wa_placed_stand *stand,
                               const double *ground_mm,
                               size_t ground_count,
                               const char *requirements_json,
                               size_t requirements_length,
                               char *result_json,
                               size_t result_capacity,
                               size_t *result_length,
                               struct wa_error *error);

// What is required of a stand written out, as it is read.
//
// requirements_json: requirements_length bytes, format "alignment-stand/1".
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_A_SPECIFICATION; WA_NOT_UTF8.
int32_t wa_stand_requirements_to_json(const char *requirements_json,
                                      size_t requirements_length,
                                      char *result_json,
                                      size_t result_capacity,
                                      size_t *result_length,
                                      struct wa_error *error);

// A virtual car drawn at random by a seed, far beyond what is sound, without noise. The same seed gives the same car.
//
// The result has the members of the virtual vehicle, which may be changed before it goes to
// wa_virtual_vehicle_session_json: "wheelbase_mm", "front", "rear", "roll_deg", "sweep_deg", "pose_noise", "frames", "seed" and
// the others.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
int32_t wa_virtual_vehicle_random_json(uint64_t seed,
                                       char *result_json,
                                       size_t result_capacity,
                                       size_t *result_length,
                                       struct wa_error *error);

// The session that a rig would hand over about a virtual car: the exercise.
//
// virtual_vehicle_json: virtual_vehicle_length bytes, as wa_virtual_vehicle_random_json gives them.
//
// The result is a session, format "alignment-session/1".
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_UTF8; WA_NOT_A_SESSION for a text that is no virtual vehicle.
int32_t wa_virtual_vehicle_session_json(const char *virtual_vehicle_json,
                                        size_t virtual_vehicle_length,
                                        char *result_json,
                                        size_t result_capacity,
                                        size_t *result_length,
                                        struct wa_error *error);

// The readings that a virtual car truly has, from the numbers that it is built of: the answer key.
//
// virtual_vehicle_json: virtual_vehicle_length bytes, as wa_virtual_vehicle_random_json gives them.
//
// The result is a tree like "alignment" in wa_measure_json.
//
// Returns what wa_virtual_vehicle_session_json returns.
int32_t wa_virtual_vehicle_truth_json(const char *virtual_vehicle_json,
                                      size_t virtual_vehicle_length,
                                      char *result_json,
                                      size_t result_capacity,
                                      size_t *result_length,
                                      struct wa_error *error);

// A virtual car once adjusters have been turned, one after the other as they are listed: what the car is built of is read off anew where its wheels
// have come to stand.
//
// virtual_vehicle_json: virtual_vehicle_length bytes, as wa_virtual_vehicle_random_json gives them.
// adjusters_json: adjusters_length bytes, as wa_fewest_moves_json takes them, each with geometry for its effect.
// amounts: amounts_count of them, one for each adjuster, in its units.
//
// The result is a virtual car, as wa_virtual_vehicle_random_json gives it.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_UTF8; WA_NOT_A_SESSION for a text that is no virtual vehicle, WA_NOT_A_SPECIFICATION for
// one that is no list of adjusters; WA_MISSING_INPUT for an effect that is no geometry, a rear wheel that is to turn about its steering
// axis, or fewer or more amounts than adjusters; WA_NOT_FINITE.
int32_t wa_virtual_vehicle_adjusted_json(const char *virtual_vehicle_json,
                                         size_t virtual_vehicle_length,
                                         const char *adjusters_json,
                                         size_t adjusters_length,
                                         const double *amounts,
                                         size_t amounts_count,
                                         char *result_json,
                                         size_t result_capacity,
                                         size_t *result_length,
                                         struct wa_error *error);

// The JSON Schema (2020-12) of a session, format "alignment-session/1".
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
int32_t wa_session_schema_json(char *result_json,
                               size_t result_capacity,
                               size_t *result_length,
                               struct wa_error *error);

// The JSON Schema (2020-12) of a specification, format "alignment-specification/1".
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
int32_t wa_specification_schema_json(char *result_json,
                                     size_t result_capacity,
                                     size_t *result_length,
                                     struct wa_error *error);

// The JSON Schema (2020-12) of the result of wa_measure_json.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
int32_t wa_measurement_schema_json(char *result_json,
                                   size_t result_capacity,
                                   size_t *result_length,
                                   struct wa_error *error);

// The JSON Schema (2020-12) of the result of wa_assess_json.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
int32_t wa_assessment_schema_json(char *result_json,
                                  size_t result_capacity,
                                  size_t *result_length,
                                  struct wa_error *error);

// The JSON Schema (2020-12) of a record, format "alignment-record/1".
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
int32_t wa_record_schema_json(char *result_json,
                              size_t result_capacity,
                              size_t *result_length,
                              struct wa_error *error);

// The JSON Schema (2020-12) of where a stand is to stand, format "alignment-stand/1".
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
int32_t wa_stand_requirements_schema_json(char *result_json,
                                          size_t result_capacity,
                                          size_t *result_length,
                                          struct wa_error *error);

// The JSON Schema (2020-12) of the result of wa_stand_assess_json.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
int32_t wa_stand_assessment_schema_json(char *result_json,
                                        size_t result_capacity,
                                        size_t *result_length,
                                        struct wa_error *error);

#ifdef __cplusplus
}  // extern "C"
#endif  // __cplusplus

#endif  /* WHEEL_ALIGNMENT_H */
