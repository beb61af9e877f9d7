/* Camber and toe while a technician turns the tie rods: frames of four poses come in at the rate of the cameras, the clamps
 * are compensated once, and then each frame is one call that allocates nothing.
 *
 *   live < POSES.txt           poses as in poses.h: what the rig knows, the rolling stations, then stages named live
 *   live --simulate SECONDS    an invented car at 100 frames a second: one toe is being set, a camera is blocked for half a
 *                              second, and one pose comes in broken
 *
 * A frame that cannot be measured is told once, and the next frame is tried. The exit status is 1 when the clamps cannot be
 * compensated, 2 when the program was not called as it must be.
 *
 * Times go to stderr: they differ from run to run. */

#if !defined(_WIN32)
/* For the clock and the sleep of --simulate. */
#define _POSIX_C_SOURCE 200112L
#endif

#include "poses.h"

#include <time.h>
#if defined(_WIN32)
#include <windows.h>
#endif

#define FRAMES_PER_SECOND 100
#define FRAMES_PER_LINE 50

/* What the four cameras saw at one moment. */
typedef struct frame {
    long number;
    wa_pose poses[4];
    int seen[4];
} frame;

/* All that the loop needs, made before it begins. */
typedef struct watch {
    rig_inputs rig;
    wa_compensation compensation[4];
    wa_ahead_readings_result readings;
    wa_error error;
    /* What is wrong now, so that it is told once: a bit for each blocked wheel, or the status of a refusal. */
    int blocked;
    int32_t refused;
    long frames;
    long frames_measured;
    long frames_blocked;
    long frames_refused;
    double slowest_s;
} watch;

static double now_s(void)
{
#if defined(_WIN32)
    LARGE_INTEGER ticks;
    LARGE_INTEGER per_second;
    QueryPerformanceCounter(&ticks);
    QueryPerformanceFrequency(&per_second);
    return (double)ticks.QuadPart / (double)per_second.QuadPart;
#else
    struct timespec at;
    clock_gettime(CLOCK_MONOTONIC, &at);
    return (double)at.tv_sec + 1e-9 * (double)at.tv_nsec;
#endif
}

static void wait_until_s(double then_s)
{
    const double left_s = then_s - now_s();
    if (left_s <= 0.0) {
        return;
    }
#if defined(_WIN32)
    Sleep((DWORD)(1000.0 * left_s));
#else
    {
        struct timespec left;
        left.tv_sec = (time_t)left_s;
        left.tv_nsec = (long)(1e9 * (left_s - (double)left.tv_sec));
        nanosleep(&left, NULL);
    }
#endif
}

/* What can be weak in a compensation, and what to do about it. */
static void print_doubts(uint32_t warnings)
{
    static const struct {
        uint32_t bit;
        const char *words;
    } DOUBTS[] = {
        {WA_WARNING_ROLL_SHORT, "the car was rolled less than 20 deg: roll it further"},
        {WA_WARNING_ROLLING_RADIUS_ASSUMED, "a rolling radius was assumed: roll over three stations or more"},
        {WA_WARNING_RESIDUAL_HIGH, "the poses do not fit a rigid wheel: check clamps and targets, and roll again"},
        {WA_WARNING_TARGET_SLIPPED_ONCE, "a target slipped at one station: check its clamp, and roll again"},
        {WA_WARNING_TARGET_SLIPPED_FROM, "a target slipped on its clamp: fasten it, and roll again"},
        {WA_WARNING_WHEEL_BLOCKED, "a wheel was not seen often enough: clear its camera's view, and roll again"},
    };
    size_t at = 0;
    for (at = 0; at < sizeof DOUBTS / sizeof DOUBTS[0]; at += 1) {
        if (warnings & DOUBTS[at].bit) {
            printf("Warning: %s\n", DOUBTS[at].words);
        }
    }
}

/* Compensates the clamps, once per car. */
static int compensate(watch *of, const taken *rolled)
{
    wa_clamp_compensation clamps;
    int wheel = 0;
    clamps.size = sizeof clamps;
    of->rig = rolled->rig;
    if (wa_from_rolling(rolled->stations[WA_STAGE_ROLLING], rolled->counts[WA_STAGE_ROLLING], of->rig.up,
                        of->rig.clamp_standoff_mm, of->rig.loaded_radius_mm, WA_ROLLING_BODY_TRANSLATES, &clamps, &of->error)
            != WA_SUCCESS
        || wa_clamp_compensation_all_wheels(&clamps, of->compensation, &of->error) != WA_SUCCESS) {
        fprintf(stderr, "The clamps cannot be compensated (%s).\n%s\n", wa_status_name(of->error.code), of->error.message);
        return 0;
    }
    print_doubts(clamps.warnings);
    printf("Clamps compensated. Runout, deg:");
    for (wheel = 0; wheel < 4; wheel += 1) {
        printf(" %s %.2f", WHEEL_NAMES[wheel], of->compensation[wheel].runout_deg);
    }
    printf("\n%8s  %-27s  %-27s  %9s  %6s\n", "frame", "camber, deg: fl fr rl rr", "toe, deg: fl fr rl rr", "total toe", "thrust");
    return 1;
}

/* Names the wheels of a set of bits. */
static void print_wheels(int bits)
{
    int wheel = 0;
    for (wheel = 0; wheel < 4; wheel += 1) {
        if (bits & (1 << wheel)) {
            printf(" %s", WHEEL_NAMES[wheel]);
        }
    }
}

static void show(const watch *of, long number)
{
    const wa_wheels *w = &of->readings.wheels;
    const double columns[] = {w->fl.camber_deg, w->fr.camber_deg, w->rl.camber_deg, w->rr.camber_deg,
                              w->fl.toe_deg,    w->fr.toe_deg,    w->rl.toe_deg,    w->rr.toe_deg,
                              of->readings.axles.front.total_toe_deg, of->readings.chassis.thrust_angle_deg};
    static const int WIDTHS[] = {8, 7, 7, 7, 8, 7, 7, 7, 11, 8};
    int column = 0;
    printf("%8ld", number);
    for (column = 0; column < 10; column += 1) {
        printf("%*.2f", WIDTHS[column], shown(columns[column], 0.005));
    }
    printf("\n");
    fflush(stdout);
}

/* One frame: the measuring loop of a rig. Apart from what it prints it neither allocates nor waits. */
static void measure(watch *of, const frame *seen)
{
    int blocked = 0;
    int wheel = 0;
    of->frames += 1;
    for (wheel = 0; wheel < 4; wheel += 1) {
        blocked |= seen->seen[wheel] ? 0 : 1 << wheel;
    }
    if (blocked != of->blocked) {
        of->blocked = blocked;
        printf("%8ld  ", seen->number);
        if (blocked) {
            printf("blocked:");
            print_wheels(blocked);
            printf("; clear the view of the camera\n");
        } else {
            printf("all wheels are seen again\n");
        }
    }
    if (blocked) {
        of->frames_blocked += 1;
        return;
    }
    {
        const double begun_s = now_s();
        const int32_t status =
            wa_ahead_readings(of->compensation, seen->poses, of->rig.up, of->rig.loaded_radius_mm,
                              WA_CENTRELINE_AXLE_MIDPOINTS, &of->readings, &of->error);
        const double took_s = now_s() - begun_s;
        of->slowest_s = took_s > of->slowest_s ? took_s : of->slowest_s;
        if (status != WA_SUCCESS) {
            of->frames_refused += 1;
            if (status != of->refused) {
                printf("%8ld  refused: %s\n", seen->number, of->error.message);
            }
            of->refused = status;
            return;
        }
        of->refused = WA_SUCCESS;
    }
    of->frames_measured += 1;
    if (seen->number % FRAMES_PER_LINE == 0) {
        show(of, seen->number);
    }
}

static int conclude(const watch *of)
{
    printf("%ld frames: %ld measured, %ld with a blocked wheel, %ld refused\n", of->frames, of->frames_measured,
           of->frames_blocked, of->frames_refused);
    fprintf(stderr, "The slowest call took %.0f microseconds; a frame has %d.\n", 1e6 * of->slowest_s,
            1000000 / FRAMES_PER_SECOND);
    return 0;
}

/* Poses from a stream. A frame is whole when all four wheels are there, or the next frame begins. */
static int follow(FILE *stream)
{
    static taken rolled;
    static watch watching;
    static char text[1024];
    frame current;
    pose_line line;
    long row = 0;
    int compensated = 0;
    rolled.rig = fresh_rig();
    watching.readings.size = sizeof watching.readings;
    watching.error = empty_error();
    memset(&current, 0, sizeof current);
    current.number = WA_NONE;
    while (fgets(text, sizeof text, stream) != NULL) {
        const line_kind kind = read_line(text, &rolled.rig, &line);
        row += 1;
        if (kind == LINE_UNKNOWN) {
            /* A line garbled on its way costs one pose, not the job. */
            printf("line %ld was not understood\n", row);
        }
        if (kind != LINE_OF_POSE) {
            continue;
        }
        if (line.stage != STAGE_LIVE) {
            if (!compensated && !keep(&rolled, &line)) {
                printf("line %ld: more than %d stations\n", row, MOST_STATIONS);
            }
            continue;
        }
        if (!compensated) {
            if (!compensate(&watching, &rolled)) {
                return 1;
            }
            compensated = 1;
        }
        if (line.station != current.number) {
            if (current.number != WA_NONE
                && !(current.seen[0] && current.seen[1] && current.seen[2] && current.seen[3])) {
                measure(&watching, &current);
            }
            memset(&current, 0, sizeof current);
            current.number = line.station;
        }
        current.poses[line.wheel] = line.pose;
        current.seen[line.wheel] = 1;
        if (current.seen[0] && current.seen[1] && current.seen[2] && current.seen[3]) {
            measure(&watching, &current);
        }
    }
    if (!compensated) {
        fprintf(stderr, "There was no frame of the stage live.\n");
        return 1;
    }
    if (!(current.seen[0] && current.seen[1] && current.seen[2] && current.seen[3])) {
        measure(&watching, &current);
    }
    return conclude(&watching);
}

/* A small forward model for --simulate: invented figures throughout. X forward, Y left, Z up; the car stands on z = 0. */

static const double PI = 3.14159265358979323846;
static const double STANDOFF_MM = 90.0;
static const double RADIUS_MM = 308.0;

typedef struct virtual_wheel {
    double centre_mm[2];
    double camber_deg;
    double toe_deg;
    double clamp_tilt_deg;
    double clamp_clock_deg;
} virtual_wheel;

static virtual_wheel CAR[4] = {
    {{2700.0, 770.0}, -0.40, 0.45, 1.2, 30.0},
    {{2700.0, -770.0}, -0.60, 0.05, 0.6, 115.0},
    {{0.0, 765.0}, -1.15, 0.20, 0.8, 250.0},
    {{0.0, -765.0}, -1.20, 0.10, 1.6, 340.0},
};

static void multiply(double a[3][3], double b[3][3], double product[3][3])
{
    int row = 0;
    int column = 0;
    for (row = 0; row < 3; row += 1) {
        for (column = 0; column < 3; column += 1) {
            product[row][column] = a[row][0] * b[0][column] + a[row][1] * b[1][column] + a[row][2] * b[2][column];
        }
    }
}

/* The pose of a target when the wheel was rolled forward by an angle. */
static wa_pose pose_of(const virtual_wheel *wheel, double rolled_deg)
{
    const double side = wheel->centre_mm[1] > 0.0 ? 1.0 : -1.0;
    const double camber = wheel->camber_deg * PI / 180.0;
    const double toe = wheel->toe_deg * PI / 180.0;
    const double rolled = rolled_deg * PI / 180.0;
    const double tilt = wheel->clamp_tilt_deg * PI / 180.0;
    /* Rolling forward turns a left wheel about its spindle, outward, and a right wheel against it. */
    const double turned = wheel->clamp_clock_deg * PI / 180.0 + side * rolled;
    /* The columns of this are a wheel's rearward or forward direction, its upward one, and its spindle outward. */
    double upright[3][3] = {
        {-side * cos(toe), sin(camber) * sin(toe), cos(camber) * sin(toe)},
        {sin(toe), side * sin(camber) * cos(toe), side * cos(camber) * cos(toe)},
        {0.0, cos(camber), -sin(camber)},
    };
    double spin[3][3] = {{cos(turned), -sin(turned), 0.0}, {sin(turned), cos(turned), 0.0}, {0.0, 0.0, 1.0}};
    double tilted[3][3] = {{1.0, 0.0, 0.0}, {0.0, cos(tilt), -sin(tilt)}, {0.0, sin(tilt), cos(tilt)}};
    double spun[3][3];
    wa_pose pose;
    int axis = 0;
    multiply(upright, spin, spun);
    multiply(spun, tilted, pose.rotation);
    for (axis = 0; axis < 3; axis += 1) {
        /* The target sits on the spindle, and a little off it. */
        pose.translation_mm[axis] = STANDOFF_MM * upright[axis][2] + 4.0 * spun[axis][0] - 2.0 * spun[axis][1];
    }
    pose.translation_mm[0] += wheel->centre_mm[0] + RADIUS_MM * rolled;
    pose.translation_mm[1] += wheel->centre_mm[1];
    pose.translation_mm[2] += RADIUS_MM;
    return pose;
}

static int simulate(double seconds)
{
    static taken rolled;
    static watch watching;
    const long frames = (long)(seconds * FRAMES_PER_SECOND);
    const double begun_s = now_s();
    int right = 1;
    pose_line line;
    frame current;
    long number = 0;

    printf("An invented car and rig.\n");
    rolled.rig = fresh_rig();
    watching.readings.size = sizeof watching.readings;
    watching.error = empty_error();
    line.stage = WA_STAGE_ROLLING;
    for (line.wheel = 0; line.wheel < 4; line.wheel += 1) {
        rolled.rig.clamp_standoff_mm[line.wheel] = STANDOFF_MM;
        for (line.station = 0; line.station < 5; line.station += 1) {
            line.pose = pose_of(&CAR[line.wheel], -27.0 + 13.5 * (double)line.station);
            keep(&rolled, &line);
        }
    }
    if (!compensate(&watching, &rolled)) {
        return 1;
    }
    for (number = 0; number < frames; number += 1) {
        int wheel = 0;
        current.number = number;
        /* The left tie rod is turned until the toe is right. */
        CAR[WA_WHEEL_FL].toe_deg = 0.10 + 0.35 * exp(-(double)number / 80.0);
        for (wheel = 0; wheel < 4; wheel += 1) {
            current.poses[wheel] = pose_of(&CAR[wheel], 0.0);
            current.seen[wheel] = 1;
        }
        if (number >= 75 && number < 125) {
            /* Somebody stands before the camera. */
            current.seen[WA_WHEEL_FR] = 0;
        }
        if (number == 160) {
            current.poses[WA_WHEEL_RL].rotation[0][0] += 0.1;
        }
        measure(&watching, &current);
        if (watching.blocked == 0 && watching.refused == WA_SUCCESS) {
            /* What was built in is what must come out. */
            for (wheel = 0; wheel < 4; wheel += 1) {
                const wa_wheel_readings *w = wheel == WA_WHEEL_FL   ? &watching.readings.wheels.fl
                                             : wheel == WA_WHEEL_FR ? &watching.readings.wheels.fr
                                             : wheel == WA_WHEEL_RL ? &watching.readings.wheels.rl
                                                                    : &watching.readings.wheels.rr;
                /* Not fmax, which passes over NaN. */
                right = right && fabs(w->camber_deg - CAR[wheel].camber_deg) < 1e-9;
                right = right && fabs(w->toe_to_centreline_deg - CAR[wheel].toe_deg) < 1e-9;
            }
        }
        wait_until_s(begun_s + (double)(number + 1) / FRAMES_PER_SECOND);
    }
    printf("Camber and toe are those of the car %s 1e-9 deg.\n", right && watching.frames_measured > 0 ? "to within" : "NOT to");
    return conclude(&watching);
}

int main(int argc, char **argv)
{
    const double seconds = argc == 3 ? strtod(argv[2], NULL) : 0.0;
    if (!(argc == 1 || (argc == 3 && strcmp(argv[1], "--simulate") == 0 && seconds > 0.0 && seconds < 86400.0))) {
        fprintf(stderr, "usage: live < POSES.txt, or live --simulate SECONDS\n");
        return 2;
    }
    if (wa_abi_version() != WA_ABI_VERSION) {
        fprintf(stderr, "the library is of interface %lu, this program of %d\n", (unsigned long)wa_abi_version(),
                WA_ABI_VERSION);
        return 2;
    }
    printf("Before a car is rolled or lifted: nobody in its way or under it, lifted at its maker's points and held, chocked\n"
           "where it stands. The vehicle maker's procedure and figures rule what is set, and no reading is a licence to drive.\n"
           "\n");
    return argc == 3 ? simulate(seconds) : follow(stdin);
}
