/* A consumer in C99, and in C++: a session of plain structs in, readings out, then the reading path. The car is invented, square and
 * level. The session named by the first argument is measured into the same struct. Prints one line per failure and a line of totals; the exit status is 0 when nothing failed. */

#include "consumer.h"

#define STATIONS 3

static const double wheelbase_mm = 2620.0;
static const double radius_mm = 308.0;
static const double target_mm = 850.0;
static const double standoff_mm = 90.0;

/* The pose of a target on a wheel that has rolled by an angle: turned about y, and moved along x. */
static wa_pose rolled(int wheel, double angle)
{
    wa_pose pose;
    memset(&pose, 0, sizeof pose);
    pose.rotation[0][0] = cos(angle);
    pose.rotation[0][2] = sin(angle);
    pose.rotation[1][1] = 1.0;
    pose.rotation[2][0] = -sin(angle);
    pose.rotation[2][2] = cos(angle);
    pose.translation_mm[0] = (wheel == WA_WHEEL_FL || wheel == WA_WHEEL_FR ? wheelbase_mm : 0.0) + radius_mm * angle;
    pose.translation_mm[1] = wheel == WA_WHEEL_FL || wheel == WA_WHEEL_RL ? target_mm : -target_mm;
    pose.translation_mm[2] = radius_mm;
    return pose;
}

static wa_station station(const wa_pose poses[4])
{
    wa_station seen;
    memset(&seen, 0, sizeof seen);
    seen.fl.frames = &poses[WA_WHEEL_FL];
    seen.fl.frames_count = 1;
    seen.fr.frames = &poses[WA_WHEEL_FR];
    seen.fr.frames_count = 1;
    seen.rl.frames = &poses[WA_WHEEL_RL];
    seen.rl.frames_count = 1;
    seen.rr.frames = &poses[WA_WHEEL_RR];
    seen.rr.frames_count = 1;
    return seen;
}

static int near(double found, double expected)
{
    return fabs(found - expected) < 1e-9;
}

static size_t position_of(const char *path)
{
    size_t position = 0;
    CHECK(wa_reading_position(path, &position, NULL) == WA_SUCCESS);
    return position;
}

int main(int argc, char **argv)
{
    static char text[65536];
    size_t length = 0;
    const double up[3] = {0.0, 0.0, 1.0};
    wa_pose rolling_poses[STATIONS][4];
    wa_pose ahead_poses[4];
    wa_station rolling[STATIONS];
    wa_error error = fresh_error();
    wa_session session;
    wa_measurement measurement;
    wa_measurement again;
    wa_clamp_compensation clamps;
    wa_compensation compensation[4];
    wa_ahead_readings_result now;
    wa_optional caster;
    char *file;
    int index;
    int wheel;

    for (index = 0; index < STATIONS; index += 1) {
        for (wheel = 0; wheel < 4; wheel += 1) {
            rolling_poses[index][wheel] = rolled(wheel, 0.4 * (index - 1));
            ahead_poses[wheel] = rolled(wheel, 0.0);
        }
        rolling[index] = station(rolling_poses[index]);
    }

    session.size = sizeof session;
    CHECK(wa_session_default(&session) == WA_SUCCESS);
    session.up = up;
    for (wheel = 0; wheel < 4; wheel += 1) {
        session.clamp_standoff_mm[wheel] = standoff_mm;
    }
    session.rolling = rolling;
    session.rolling_count = STATIONS;
    session.ahead = station(ahead_poses);

    measurement.size = sizeof measurement;
    CHECK(wa_measure(&session, &measurement, &error) == WA_SUCCESS);
    CHECK(measurement.size == sizeof measurement && measurement.alignment.size == sizeof measurement.alignment);
    CHECK(near(measurement.alignment.axles.front.track_mm, 2.0 * (target_mm - standoff_mm)));
    CHECK(near(measurement.alignment.chassis.wheelbase_left_mm, wheelbase_mm));
    CHECK(near(measurement.alignment.wheels.fl.camber_deg, 0.0) && near(measurement.alignment.wheels.rr.toe_deg, 0.0));
    CHECK(near(measurement.alignment.wheels.fr.rolling_radius_mm, radius_mm));
    CHECK(measurement.warnings == WA_WARNING_LOADED_RADIUS_ASSUMED);
    CHECK(measurement.method == WA_METHOD_STAGED && measurement.fit.present == 0);

    /* Without a sweep there is no caster: NaN, and said so. */
    CHECK(isnan(measurement.alignment.steering.left.caster_deg));
    CHECK(!wa_is_present(measurement.alignment.present, position_of("steering.left.caster_deg")));
    CHECK(wa_is_present(measurement.alignment.present, position_of("wheels.fl.camber_deg")));
    CHECK(wa_alignment_get(&measurement.alignment, "steering.left.caster_deg", &caster, &error) == WA_SUCCESS);
    CHECK(caster.present == 0 && isnan(caster.value));

    /* The same as text. */
    CHECK(wa_session_to_json(&session, text, sizeof text, &length, &error) == WA_SUCCESS);
    again.size = sizeof again;
    CHECK(wa_measure_session_json(text, length, &again, &error) == WA_SUCCESS);
    CHECK(memcmp(&again.alignment, &measurement.alignment, sizeof again.alignment) == 0);

    file = argc > 1 ? read_file(argv[1], &length) : NULL;
    CHECK(file != NULL);
    if (file != NULL) {
        CHECK(wa_measure_session_json(file, length, &again, &error) == WA_SUCCESS);
        CHECK(wa_is_present(again.alignment.present, position_of("steering.left.caster_deg")));
        CHECK(wa_measure_session_json(file, length / 2, &again, &error) == WA_NOT_A_SESSION);
        free(file);
    }

    /* The clamps once, then readings frame by frame. */
    clamps.size = sizeof clamps;
    CHECK(wa_from_rolling(rolling, STATIONS, up, session.clamp_standoff_mm, NULL, WA_ROLLING_BODY_TRANSLATES, &clamps, &error)
          == WA_SUCCESS);
    CHECK(wa_clamp_compensation_all_wheels(&clamps, compensation, &error) == WA_SUCCESS);
    now.size = sizeof now;
    CHECK(wa_ahead_readings(compensation, ahead_poses, up, NULL, WA_CENTRELINE_AXLE_MIDPOINTS, &now, &error) == WA_SUCCESS);
    CHECK(memcmp(&now.wheels, &measurement.alignment.wheels, sizeof now.wheels) == 0);
    CHECK(memcmp(&now.axles, &measurement.alignment.axles, sizeof now.axles) == 0);
    CHECK(memcmp(&now.chassis, &measurement.alignment.chassis, sizeof now.chassis) == 0);

    /* A refusal names the place and the figure, and writes nothing else. */
    ahead_poses[WA_WHEEL_RL].translation_mm[1] = 1e9;
    CHECK(wa_ahead_readings(compensation, ahead_poses, up, NULL, WA_CENTRELINE_AXLE_MIDPOINTS, &now, &error)
          == WA_LENGTH_OUT_OF_RANGE);
    CHECK(error.code == WA_LENGTH_OUT_OF_RANGE && error.stage == WA_STAGE_AHEAD && error.wheel == WA_WHEEL_RL);
    CHECK(error.value == 1e9 && error.maximum == 1e6 && isnan(error.minimum));
    CHECK(strstr(error.message, "ahead.translation_mm.rl") != NULL);
    CHECK(near(now.chassis.wheelbase_left_mm, wheelbase_mm));
    ahead_poses[WA_WHEEL_RL] = rolled(WA_WHEEL_RL, 0.0);
    session.rolling_count = 1;
    CHECK(wa_measure(&session, &measurement, &error) == WA_TOO_FEW_STATIONS);
    CHECK(near(measurement.alignment.chassis.wheelbase_left_mm, wheelbase_mm));
    session.size = 3;
    CHECK(wa_measure(&session, &measurement, &error) == WA_BAD_STRUCT_SIZE);
    CHECK(wa_measure(NULL, &measurement, &error) == WA_NULL_POINTER);
    return report();
}
