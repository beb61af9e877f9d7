/* How the examples in C take poses: as plain text, a line for each pose, from a file or from a pipe. The format is of these
 * examples alone; a rig has its own.
 *
 *   # a remark
 *   up 0 0 1
 *   clamp_standoff_mm 90 90 90 90                 fl fr rl rr
 *   loaded_radius_mm 308 308                      front rear
 *   pose_noise 0.005 0.05                         rotation_deg translation_mm
 *   rolling 0 fl 1 0 0 0 1 0 0 0 1 100 200 300    stage, station, wheel, rotation row by row, translation_mm
 *
 * Stages are rolling, ahead, sweep, lock_left, lock_right, and live: frames straight ahead, one after the other. A wheel
 * that a camera does not see at a station has no line there. */

#ifndef POSES_H
#define POSES_H

#include "wheel_alignment.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* After the stages of the library, which are numbered from 0. */
#define STAGE_LIVE 5
#define STAGES 6
#define MOST_STATIONS 64

static const char *const STAGE_NAMES[STAGES] = {"rolling", "ahead", "sweep", "lock_left", "lock_right", "live"};
static const char *const WHEEL_NAMES[4] = {"fl", "fr", "rl", "rr"};

/* What the rig knows of itself. */
typedef struct rig_inputs {
    double up[3];
    double clamp_standoff_mm[4];
    wa_optional loaded_radius_mm[2];
    wa_pose_noise pose_noise;
    int pose_noise_stated;
} rig_inputs;

/* One line of poses. */
typedef struct pose_line {
    int stage;
    long station;
    int wheel;
    wa_pose pose;
} pose_line;

/* What a line turned out to be. */
typedef enum line_kind { LINE_EMPTY, LINE_OF_RIG, LINE_OF_POSE, LINE_UNKNOWN } line_kind;

static inline wa_error empty_error(void)
{
    wa_error error;
    memset(&error, 0, sizeof error);
    error.size = sizeof error;
    return error;
}

static inline rig_inputs fresh_rig(void)
{
    rig_inputs fresh;
    memset(&fresh, 0, sizeof fresh);
    fresh.up[2] = 1.0;
    return fresh;
}

/* A value as it is shown: no minus before what is rounded to zero. */
static inline double shown(double value, double half_a_digit)
{
    return fabs(value) < half_a_digit ? 0.0 : value;
}

/* The next word of a line, with its end marked by a NUL; NULL after the last. */
static inline char *next_word(char **rest)
{
    char *word = *rest + strspn(*rest, " \t\r\n");
    char *end = word + strcspn(word, " \t\r\n");
    if (*word == '\0' || *word == '#') {
        return NULL;
    }
    *rest = *end == '\0' ? end : end + 1;
    *end = '\0';
    return word;
}

/* Whether the rest of a line is so many numbers and no more. They may be NaN: what a camera hands over is the library's to
 * refuse. */
static inline int numbers(char *rest, double *to, size_t count)
{
    size_t at = 0;
    char *word = next_word(&rest);
    for (; word != NULL && at < count; word = next_word(&rest)) {
        char *end = NULL;
        to[at] = strtod(word, &end);
        if (end == word || *end != '\0') {
            return 0;
        }
        at += 1;
    }
    return word == NULL && at == count;
}

static inline int index_of(const char *word, const char *const *names, int count)
{
    int at = 0;
    while (at < count && (word == NULL || strcmp(word, names[at]) != 0)) {
        at += 1;
    }
    return at < count ? at : WA_NONE;
}

/* Reads a line, which it cuts into words. */
static inline line_kind read_line(char *text, rig_inputs *of_rig, pose_line *of_pose)
{
    char *rest = text;
    const char *word = next_word(&rest);
    double number[12];
    size_t at = 0;
    memset(of_pose, 0, sizeof *of_pose);
    if (word == NULL) {
        return LINE_EMPTY;
    }
    if (strcmp(word, "up") == 0) {
        return numbers(rest, of_rig->up, 3) ? LINE_OF_RIG : LINE_UNKNOWN;
    }
    if (strcmp(word, "clamp_standoff_mm") == 0) {
        return numbers(rest, of_rig->clamp_standoff_mm, 4) ? LINE_OF_RIG : LINE_UNKNOWN;
    }
    if (strcmp(word, "loaded_radius_mm") == 0) {
        if (!numbers(rest, number, 2)) {
            return LINE_UNKNOWN;
        }
        for (at = 0; at < 2; at += 1) {
            of_rig->loaded_radius_mm[at].value = number[at];
            of_rig->loaded_radius_mm[at].present = 1;
        }
        return LINE_OF_RIG;
    }
    if (strcmp(word, "pose_noise") == 0) {
        if (!numbers(rest, number, 2)) {
            return LINE_UNKNOWN;
        }
        of_rig->pose_noise.rotation_deg = number[0];
        of_rig->pose_noise.translation_mm = number[1];
        of_rig->pose_noise_stated = 1;
        return LINE_OF_RIG;
    }
    of_pose->stage = index_of(word, STAGE_NAMES, STAGES);
    word = next_word(&rest);
    if (of_pose->stage == WA_NONE || word == NULL) {
        return LINE_UNKNOWN;
    }
    {
        char *end = NULL;
        of_pose->station = strtol(word, &end, 10);
        if (end == word || *end != '\0' || of_pose->station < 0) {
            return LINE_UNKNOWN;
        }
    }
    of_pose->wheel = index_of(next_word(&rest), WHEEL_NAMES, 4);
    if (of_pose->wheel == WA_NONE || !numbers(rest, number, 12)) {
        return LINE_UNKNOWN;
    }
    for (at = 0; at < 9; at += 1) {
        of_pose->pose.rotation[at / 3][at % 3] = number[at];
    }
    for (at = 0; at < 3; at += 1) {
        of_pose->pose.translation_mm[at] = number[9 + at];
    }
    return LINE_OF_POSE;
}

/* The poses of one car, kept where stations can point to them. */
typedef struct taken {
    rig_inputs rig;
    size_t counts[STAGES];
    wa_pose poses[STAGES][MOST_STATIONS][4];
    wa_station stations[STAGES][MOST_STATIONS];
} taken;

/* Keeps a pose; 0 when there are more stations than this program has room for. */
static inline int keep(taken *into, const pose_line *line)
{
    const size_t station = (size_t)line->station;
    wa_sighting *sighting = NULL;
    if (station >= MOST_STATIONS) {
        return 0;
    }
    switch (line->wheel) {
    case WA_WHEEL_FL: sighting = &into->stations[line->stage][station].fl; break;
    case WA_WHEEL_FR: sighting = &into->stations[line->stage][station].fr; break;
    case WA_WHEEL_RL: sighting = &into->stations[line->stage][station].rl; break;
    default: sighting = &into->stations[line->stage][station].rr; break;
    }
    into->poses[line->stage][station][line->wheel] = line->pose;
    sighting->frames = &into->poses[line->stage][station][line->wheel];
    sighting->frames_count = 1;
    if (into->counts[line->stage] <= station) {
        into->counts[line->stage] = station + 1;
    }
    return 1;
}

/* Reads all poses of a file; 0, with the reason on stderr, when that is not possible. What was taken lives as long as
 * into, to which its stations point. */
static inline int read_poses(const char *path, taken *into)
{
    FILE *file = fopen(path, "r");
    char text[1024];
    pose_line line;
    long row = 0;
    int good = 1;
    memset(into, 0, sizeof *into);
    into->rig = fresh_rig();
    if (file == NULL) {
        fprintf(stderr, "%s: cannot be opened\n", path);
        return 0;
    }
    while (good && fgets(text, sizeof text, file) != NULL) {
        const line_kind kind = read_line(text, &into->rig, &line);
        row += 1;
        if (kind == LINE_UNKNOWN || (kind == LINE_OF_POSE && !keep(into, &line))) {
            fprintf(stderr, "%s, line %ld: neither a pose nor what the rig knows, or beyond %d stations\n", path, row,
                    MOST_STATIONS);
            good = 0;
        }
    }
    fclose(file);
    return good;
}

/* The session of what was taken. Its sweep is of wheels that the brake holds. */
static inline wa_session session_of(const taken *of)
{
    wa_session session;
    session.size = sizeof session;
    wa_session_default(&session);
    session.up = of->rig.up;
    memcpy(session.clamp_standoff_mm, of->rig.clamp_standoff_mm, sizeof session.clamp_standoff_mm);
    memcpy(session.loaded_radius_mm, of->rig.loaded_radius_mm, sizeof session.loaded_radius_mm);
    session.pose_noise = of->rig.pose_noise_stated ? &of->rig.pose_noise : NULL;
    session.rolling = of->stations[WA_STAGE_ROLLING];
    session.rolling_count = of->counts[WA_STAGE_ROLLING];
    session.ahead = of->stations[WA_STAGE_AHEAD][0];
    if (of->counts[WA_STAGE_SWEEP] > 0) {
        session.sweep = of->stations[WA_STAGE_SWEEP];
        session.sweep_count = of->counts[WA_STAGE_SWEEP];
        session.sweep_wheels_locked = 1;
    }
    if (of->counts[WA_STAGE_LOCK_LEFT] > 0) {
        session.lock_left = of->stations[WA_STAGE_LOCK_LEFT];
    }
    if (of->counts[WA_STAGE_LOCK_RIGHT] > 0) {
        session.lock_right = of->stations[WA_STAGE_LOCK_RIGHT];
    }
    return session;
}

#endif
