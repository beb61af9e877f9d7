/* Many threads, each with a car of its own, through every kind of call: each must give the bits that the same call gave
 * before there were threads, for as long as the run lasts.
 *
 *   threads POSES.txt SECONDS     2 in the tests; 60 and more as a soak
 *
 * The exit status is 0 when nothing failed. */

#define _POSIX_C_SOURCE 200112L

#include "poses.h"

#include <pthread.h>
#include <time.h>

#define THREADS 8
#define VALUES 256
#define JSON_CAPACITY ((size_t)1 << 16)

/* What a thread works on, and what it must find. */
typedef struct job {
    taken car;
    wa_session session;
    wa_session broken;
    wa_station broken_rolling[MOST_STATIONS];
    wa_compensation compensation[4];
    double values[VALUES];
    double live[VALUES];
    char json[JSON_CAPACITY];
    char session_json[JSON_CAPACITY];
    size_t session_length;
    wa_error error;
    double seconds;
    /* What it did find. */
    char again[JSON_CAPACITY];
    long rounds;
    long differences;
} job;

static job JOBS[THREADS];

static double now_s(void)
{
    struct timespec at;
    clock_gettime(CLOCK_MONOTONIC, &at);
    return (double)at.tv_sec + 1e-9 * (double)at.tv_nsec;
}

/* A turn of the whole rig about its vertical axis, so that each thread has other poses. */
static void turn(wa_pose *pose, double angle_rad)
{
    const double c = cos(angle_rad);
    const double s = sin(angle_rad);
    int column = 0;
    double x = pose->translation_mm[0];
    double y = pose->translation_mm[1];
    pose->translation_mm[0] = c * x - s * y;
    pose->translation_mm[1] = s * x + c * y;
    for (column = 0; column < 3; column += 1) {
        x = pose->rotation[0][column];
        y = pose->rotation[1][column];
        pose->rotation[0][column] = c * x - s * y;
        pose->rotation[1][column] = s * x + c * y;
    }
}

/* The readings of four poses, byte for byte. */
static int32_t ahead_values(const job *of, double *values, wa_error *error)
{
    wa_ahead_readings_result readings;
    int32_t status = WA_SUCCESS;
    memset(&readings, 0, sizeof readings);
    readings.size = sizeof readings;
    status = wa_ahead_readings(of->compensation, of->car.poses[WA_STAGE_AHEAD][0], of->car.rig.up,
                               of->car.rig.loaded_radius_mm, WA_CENTRELINE_AXLE_MIDPOINTS, &readings, error);
    memcpy(values, &readings, sizeof readings);
    return status;
}

/* Finds, before there are threads, what each must find. */
static int prepare(job *of, int number)
{
    wa_measurement measurement;
    wa_clamp_compensation clamps;
    wa_error error = empty_error();
    size_t length = 0;
    int stage = 0;
    size_t station = 0;
    int wheel = 0;
    /* A reading of another car can then not pass for one of this. */
    of->car.rig.clamp_standoff_mm[number % 4] += 0.25 * (double)number;
    for (stage = 0; stage < STAGES; stage += 1) {
        for (station = 0; station < of->car.counts[stage]; station += 1) {
            for (wheel = 0; wheel < 4; wheel += 1) {
                turn(&of->car.poses[stage][station][wheel], 0.1 * (double)number);
            }
        }
    }
    of->session = session_of(&of->car);
    of->session.method = number % 4 == 3 ? WA_METHOD_JOINT : WA_METHOD_STAGED;
    measurement.size = sizeof measurement;
    clamps.size = sizeof clamps;
    of->error = empty_error();
    if (wa_reading_count() > VALUES || sizeof(wa_ahead_readings_result) > sizeof of->live
        || wa_measure(&of->session, &measurement, &error) != WA_SUCCESS
        || wa_alignment_values(&measurement.alignment, of->values, VALUES, &error) != WA_SUCCESS
        || wa_session_to_json(&of->session, of->session_json, JSON_CAPACITY, &of->session_length, &error) != WA_SUCCESS
        || wa_measure_json(of->session_json, of->session_length, of->json, JSON_CAPACITY, &length, &error) != WA_SUCCESS
        || wa_from_rolling(of->session.rolling, of->session.rolling_count, of->car.rig.up, of->car.rig.clamp_standoff_mm,
                           of->car.rig.loaded_radius_mm, WA_ROLLING_BODY_TRANSLATES, &clamps, &error)
               != WA_SUCCESS
        || wa_clamp_compensation_all_wheels(&clamps, of->compensation, &error) != WA_SUCCESS
        || ahead_values(of, of->live, &error) != WA_SUCCESS) {
        printf("thread %d: %s\n", number, error.message);
        return 0;
    }
    /* A car that is refused, each with another count of frames, which the message has. */
    memcpy(of->broken_rolling, of->car.stations[WA_STAGE_ROLLING], sizeof of->broken_rolling);
    of->broken = of->session;
    of->broken.rolling = of->broken_rolling;
    of->broken_rolling[(size_t)number % of->session.rolling_count].fl.frames_count = 20000 + (size_t)number;
    return wa_measure(&of->broken, &measurement, &of->error) != WA_SUCCESS;
}

static void *work(void *argument)
{
    job *mine = (job *)argument;
    const double until_s = now_s() + mine->seconds;
    do {
        wa_measurement measurement;
        wa_error error = empty_error();
        double values[VALUES];
        size_t length = 0;
        size_t at = 0;
        measurement.size = sizeof measurement;
        mine->differences += wa_measure(&mine->session, &measurement, &error) != WA_SUCCESS
                             || wa_alignment_values(&measurement.alignment, values, VALUES, &error) != WA_SUCCESS
                             || memcmp(values, mine->values, wa_reading_count() * sizeof *values) != 0;
        mine->differences += wa_measure_json(mine->session_json, mine->session_length, mine->again, JSON_CAPACITY, &length,
                                             &error)
                                 != WA_SUCCESS
                             || strcmp(mine->again, mine->json) != 0;
        mine->differences += wa_measure(&mine->broken, &measurement, &error) != mine->error.code
                             || strcmp(error.message, mine->error.message) != 0;
        for (at = 0; at < 100; at += 1) {
            mine->differences += ahead_values(mine, values, &error) != WA_SUCCESS
                                 || memcmp(values, mine->live, sizeof(wa_ahead_readings_result)) != 0;
        }
        mine->rounds += 1;
    } while (now_s() < until_s);
    return NULL;
}

int main(int argc, char **argv)
{
    pthread_t threads[THREADS];
    const double seconds = argc == 3 ? strtod(argv[2], NULL) : 0.0;
    long rounds = 0;
    long differences = 0;
    int number = 0;
    if (!(seconds > 0.0)) {
        fprintf(stderr, "usage: threads POSES.txt SECONDS\n");
        return 2;
    }
    for (number = 0; number < THREADS; number += 1) {
        JOBS[number].seconds = seconds;
        if (!read_poses(argv[1], &JOBS[number].car) || !prepare(&JOBS[number], number)) {
            printf("thread %d could not be prepared\n", number);
            return 1;
        }
    }
    for (number = 0; number < THREADS; number += 1) {
        if (memcmp(JOBS[0].values, JOBS[number].values, sizeof JOBS[0].values) == 0 && number > 0) {
            printf("threads 0 and %d have the same car\n", number);
            return 1;
        }
        if (pthread_create(&threads[number], NULL, work, &JOBS[number]) != 0) {
            printf("thread %d did not start\n", number);
            return 1;
        }
    }
    for (number = 0; number < THREADS; number += 1) {
        pthread_join(threads[number], NULL);
        rounds += JOBS[number].rounds;
        differences += JOBS[number].differences;
    }
    printf("%d threads, %.1f s: %ld rounds, %ld differences\n", THREADS, seconds, rounds, differences);
    return rounds >= THREADS && differences == 0 ? 0 : 1;
}
