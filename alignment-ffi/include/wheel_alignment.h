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
 * Memory: the caller owns every buffer. The library hands out no memory to be freed, and keeps no
 * pointer after it returns. A pointer that is not NULL points to as many bytes as its type, its size
 * or the length, count or capacity beside it says, readable or writable, aligned for its type; nobody
 * writes to them meanwhile, and what is written overlaps nothing else. NULL is refused with
 * WA_NULL_POINTER wherever it is not said to be allowed.
 * Threads: no global state, no state per thread. Every function may be called from any thread at
 * any time, as long as two calls do not write to the same buffers.
 * Errors: an int32_t status, 0 for success, negative otherwise. More in error: NULL, or a wa_error
 * whose size is set. After a failure nothing but that was written, and *result_length where said.
 *
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
 * Stability: while wa_abi_version() is 0 the interface still grows. Numbers of statuses, stages,
 * wheels, verdicts, reasons and rules are final: never changed, never reused.
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

// The car is rolled on its wheels.
#define WA_COMPENSATION_ROLLED 0

// The car is raised and one wheel after the other is spun by hand.
#define WA_COMPENSATION_SPUN 1

// The readings are estimated stage by stage.
#define WA_METHOD_STAGED 0

// The readings are estimated by one fit of a rigid car to all stages.
#define WA_METHOD_JOINT 1

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

// The version of the binary interface, as the header knows it. 0 while the interface still grows.
#define WA_ABI_VERSION 0

// What went wrong, and where. The caller owns it, and sets size to sizeof(wa_error) once; no call changes it.
//
// A call with a good size fills in all the rest, on success too: then code is 0 and the message empty.
// A call with a bad one returns WA_BAD_STRUCT_SIZE and does nothing else.
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

// A scatter per axis: one standard deviation.
typedef struct wa_pose_noise {
    // About each axis, degrees.
    double rotation_deg;
    // Along each axis, mm.
    double translation_mm;
} wa_pose_noise;

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
    // Of where the cameras of the right wheels stand against those of the left.
    struct wa_pose_noise right_cameras;
} wa_input_uncertainty;

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

// A number that may be absent.
typedef struct wa_optional {
    // The number; from the library NaN when absent, to the library not looked at then.
    double value;
    // 0 when absent.
    int32_t present;
} wa_optional;

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

#ifdef __cplusplus
extern "C" {
#endif // __cplusplus

// The name of a status in snake case, as in "roll_too_small": a static string, never NULL, not to be
// freed. "unknown" for a number that is no status.
const char *wa_status_name(int32_t status);

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
//
// # Safety
// As under Memory at the top.
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
//
// # Safety
// As under Memory at the top.
int32_t wa_assess_json(const char *session_json,
                       size_t session_length,
                       const char *specification_json,
                       size_t specification_length,
                       char *result_json,
                       size_t result_capacity,
                       size_t *result_length,
                       struct wa_error *error);

// How many readings there are: the three components of a vector are three. Later versions may have more.
size_t wa_reading_count(void);

// The path of a reading, as in "wheels.fl.camber_deg" or "wheels.fl.centre_mm[0]": a static string, not to
// be freed. Its name ends in its unit; a component of a unit vector has none. NULL for an index that is
// not less than wa_reading_count(). The order is that of the rows and columns of wa_covariance.
const char *wa_reading_path(size_t index);

// The budget of one reading: what each input contributes to its uncertainty, the largest first; of the
// reading as the "method" of the session estimates it.
//
// path: of the reading. One that is absent, or exact, has an empty budget.
// by_pose: 0 to take the poses of one wheel and stage together; otherwise pose by pose.
//
// The result is an array of {"source": ..., "standard_uncertainty": ..., "share": ...}: the standard
// uncertainty that the reading would have from this source alone, in the reading's unit, and its share of
// the variance; the shares add up to 1. A source is {"poses": {"stage": "rolling", "station": 2, "wheel":
// "fl"}}, its station null for all together; {"clamp_standoff": "fl"}; or one of "up", "runway",
// "front_loaded_radius", "rear_loaded_radius", "ride_height", "right_cameras".
//
// Returns what wa_measure_json returns; WA_UNKNOWN_READING; WA_MISSING_INPUT when the noise of the poses is
// neither stated nor seen in several frames; WA_NOT_A_COVARIANCE.
//
// # Safety
// As under Memory at the top.
int32_t wa_budget_json(const char *session_json,
                       size_t session_length,
                       const char *path,
                       int32_t by_pose,
                       char *result_json,
                       size_t result_capacity,
                       size_t *result_length,
                       struct wa_error *error);

// The covariance of all readings of a session, as its "method" estimates them.
//
// covariance: buffer of the caller of capacity doubles, of which n·n are written, n = wa_reading_count():
//     row by row, in the order of wa_reading_path, each in the product of both readings' units. On the
//     diagonal stand the squares of the standard uncertainties. Rows and columns of a reading that is
//     absent, null in wa_assess_json, are zero.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL when capacity is less than n·n; or what wa_budget_json returns.
//
// # Safety
// As under Memory at the top.
int32_t wa_covariance(const char *session_json,
                      size_t session_length,
                      double *covariance,
                      size_t capacity,
                      struct wa_error *error);

// Fills in a struct, but for its size, with the defaults.
//
// Returns WA_SUCCESS, WA_NULL_POINTER or WA_BAD_STRUCT_SIZE.
//
// # Safety
// As under Memory at the top.
int32_t wa_trials_default(struct wa_trials *trials);

// The check on the law of propagation: measures a session again and again, every input drawn from what is
// known of it, until the asked-for readings stand still, and compares.
//
// paths: count paths of readings, at most as many as there are.
// trials: how the run is made.
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
// Returns what wa_budget_json returns; WA_MISSING_INPUT also for a reading that is absent;
// WA_OUT_OF_RANGE; WA_NOT_SETTLED when the trials allowed are used up.
//
// # Safety
// As under Memory at the top; each path ends with a NUL.
int32_t wa_monte_carlo_json(const char *session_json,
                            size_t session_length,
                            const char *const *paths,
                            size_t count,
                            const struct wa_trials *trials,
                            char *result_json,
                            size_t result_capacity,
                            size_t *result_length,
                            struct wa_error *error);

// Fills in a struct, but for its size, with a customary measurement: five stations over 54° of roll, nine
// over 40° of steer with the wheels locked, single frames with a noise of 0.005° and 0.05 mm.
//
// Returns WA_SUCCESS, WA_NULL_POINTER or WA_BAD_STRUCT_SIZE.
//
// # Safety
// As under Memory at the top.
int32_t wa_plan_default(struct wa_plan *plan);

// What a measurement will be worth, before anyone touches a car.
//
// The result is a tree like "alignment" in wa_measure_json: the standard uncertainty of every reading, in
// its own unit, under the reading's path.
//
// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_OUT_OF_RANGE, WA_LENGTH_OUT_OF_RANGE, WA_ANGLE_OUT_OF_RANGE or
// WA_NOT_FINITE for what no measurement has; WA_SWEEP_TOO_SMALL.
//
// # Safety
// As under Memory at the top.
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
//
// # Safety
// As under Memory at the top.
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
//
// # Safety
// As under Memory at the top.
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
//
// # Safety
// As under Memory at the top.
int32_t wa_global_risks(double mean,
                        double standard_deviation,
                        double standard_uncertainty,
                        const struct wa_limits *limits,
                        const struct wa_limits *acceptance,
                        double *consumer,
                        double *producer,
                        struct wa_error *error);

// Mean, standard deviation and what follows from them, of repeats of one reading under the same conditions.
//
// values: at least two, all in one unit.
// repeatability_result: struct of the caller whose size is set.
//
// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE for fewer than two values or one beyond ± 1e9.
//
// # Safety
// As under Memory at the top.
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
//
// # Safety
// As under Memory at the top.
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
//
// # Safety
// As under Memory at the top.
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

// WA_ABI_VERSION of the library in use: compare it with the header's before the first call.
uint32_t wa_abi_version(void);

// The version of the library in use, as in "0.1.0": a static string, never NULL, not to be freed.
const char *wa_version(void);

#ifdef __cplusplus
}  // extern "C"
#endif  // __cplusplus

#endif  /* WHEEL_ALIGNMENT_H */
