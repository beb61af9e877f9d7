/* SPDX-License-Identifier: MIT OR Apache-2.0
 *
 * Wheel-alignment maths: from the poses of flat targets clamped to a car's four wheels to every
 * reading of the trade. Generated from alignment-ffi/src by cbindgen; edit there.
 *
 * Units: degrees and millimetres, always; the name of a reading says which (camber_deg, track_mm).
 * Axes: ISO 8855:2011, X forward, Y left, Z up.
 * Memory: the caller owns every buffer. The library hands out no memory to be freed, and keeps no
 * pointer after it returns.
 * Threads: no global state, no state per thread. Every function may be called from any thread at
 * any time, as long as two calls do not write to the same buffers.
 * Errors: an int32_t status, 0 for success, negative otherwise; more in an optional wa_error.
 * Stability: while wa_abi_version() is 0 the interface still grows. Numbers of statuses, stages and
 * wheels are final: never changed, never reused.
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

// A pointer is NULL that must not be; the message names it.
#define WA_NULL_POINTER -1001

// The result does not fit its buffer; the length that it needs is told.
#define WA_BUFFER_TOO_SMALL -1002

// The size in a struct is not one that this library knows. Nothing else was looked at, nothing written.
#define WA_BAD_STRUCT_SIZE -1003

// A text is not UTF-8.
#define WA_NOT_UTF8 -1004

// A length is greater than any object in memory can be.
#define WA_BAD_LENGTH -1005

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

// The room for a message, with its NUL, bytes.
#define WA_MESSAGE_CAPACITY 512

// The version of the binary interface, as the header knows it. 0 while the interface still grows.
#define WA_ABI_VERSION 0

// What went wrong, and where. The caller owns it, and sets size to sizeof(wa_error) once; no call changes it.
//
// A call with a good size fills in all the rest, on success too: then code is 0 and the message empty.
// A size smaller than the first version of this struct, or greater than 4096, is refused with
// WA_BAD_STRUCT_SIZE; bytes past those that the library knows are set to zero.
typedef struct wa_error {
    // In: sizeof(wa_error).
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

#ifdef __cplusplus
extern "C" {
#endif // __cplusplus

// Measures a car: from the JSON of one session to the JSON of every reading.
//
// The session has the format "alignment-session/1": what the rig hands over. The result is
// {"alignment": ..., "reference": ..., "warnings": [...], "residuals": ...}; the path of a reading is
// its path in every language, as in alignment.wheels.fl.camber_deg. Angles are in degrees, lengths in
// millimetres. A reading that the session does not hold is null, never zero. Same session, same
// bytes, on every call, thread and platform.
//
// session_json: UTF-8 of session_length bytes; no NUL is needed at the end.
// result_json: buffer of the caller of result_capacity bytes. On success it holds the result, UTF-8,
//     with a NUL at the end; otherwise it is left alone. May be NULL when result_capacity is 0.
// result_length: the length of the result in bytes, without the NUL. Written on success and on
//     WA_BUFFER_TOO_SMALL, otherwise left alone. A capacity of *result_length + 1 is enough.
// error: NULL, or a struct of the caller whose size is set; see wa_error.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_A_SESSION for a text that is not a session, with the
// path, the line and the column in the message; or another status above. The car is measured before
// the capacity is compared: a first call with a roomy buffer saves the second one.
//
// # Safety
// Each pointer that is not NULL points to as many bytes as the length, the capacity or the type
// beside it says, readable or writable, aligned for its type. The buffers do not overlap.
int32_t wa_measure_json(const char *session_json,
                        size_t session_length,
                        char *result_json,
                        size_t result_capacity,
                        size_t *result_length,
                        struct wa_error *error);

// The name of a status in snake case, as in "roll_too_small": a static string, never NULL, not to be
// freed. "unknown" for a number that is no status.
const char *wa_status_name(int32_t status);

// WA_ABI_VERSION of the library in use: compare it with the header's before the first call.
uint32_t wa_abi_version(void);

// The version of the library in use, as in "0.1.0": a static string, never NULL, not to be freed.
const char *wa_version(void);

#ifdef __cplusplus
}  // extern "C"
#endif  // __cplusplus

#endif  /* WHEEL_ALIGNMENT_H */
