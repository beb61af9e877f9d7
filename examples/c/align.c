/* A whole alignment in C: reads the poses of one car, measures it, and prints every reading that a technician asks for.
 *
 *   align POSES.txt            the report; examples/c/pulling-car.txt is the invented demo car
 *   align POSES.txt --values   every reading by its path, to the last digit
 *
 * The exit status is 1 when the car cannot be measured, 2 when the program was not called as it must be. */

#include "poses.h"

static char session_json[1 << 20];
static char result_json[1 << 20];

/* A reading that is absent is NaN: never print it as a number. */
static const char *angle(double value_deg, char text[32])
{
    if (isnan(value_deg)) {
        return "-";
    }
    snprintf(text, 32, "%.2f deg", shown(value_deg, 0.005));
    return text;
}

static const char *length(double value_mm, char text[32])
{
    if (isnan(value_mm)) {
        return "-";
    }
    snprintf(text, 32, "%.1f mm", shown(value_mm, 0.05));
    return text;
}

static void row_of_angles(const char *name, const double *values_deg, int count)
{
    char text[32];
    int at = 0;
    printf("%-34s", name);
    for (at = 0; at < count; at += 1) {
        printf("%14s", angle(values_deg[at], text));
    }
    printf("\n");
}

static void row_of_lengths(const char *name, const double *values_mm, int count)
{
    char text[32];
    int at = 0;
    printf("%-34s", name);
    for (at = 0; at < count; at += 1) {
        printf("%14s", length(values_mm[at], text));
    }
    printf("\n");
}

static void report(const wa_alignment *car)
{
    const wa_wheels *w = &car->wheels;
    const wa_axles *a = &car->axles;
    const wa_chassis_readings *c = &car->chassis;
    const wa_steering_readings *s = &car->steering;
    const wa_turns_readings *t = &car->turns;

    const double camber[] = {w->fl.camber_deg, w->fr.camber_deg, w->rl.camber_deg, w->rr.camber_deg};
    const double toe[] = {w->fl.toe_deg, w->fr.toe_deg, w->rl.toe_deg, w->rr.toe_deg};
    const double runout[] = {w->fl.runout_deg, w->fr.runout_deg, w->rl.runout_deg, w->rr.runout_deg};
    const double total_toe[] = {a->front.total_toe_deg, a->rear.total_toe_deg};
    const double cross_camber[] = {a->front.cross_camber_deg, a->rear.cross_camber_deg};
    const double setback[] = {a->front.setback_mm, a->rear.setback_mm};
    const double track[] = {a->front.track_mm, a->rear.track_mm};
    const double wheelbase[] = {c->wheelbase_left_mm, c->wheelbase_right_mm};
    const double caster[] = {s->left.caster_deg, s->right.caster_deg, s->cross_caster_deg};
    const double sai[] = {s->left.sai_deg, s->right.sai_deg, s->cross_sai_deg};
    const double included[] = {s->left.included_angle_deg, s->right.included_angle_deg};
    const double trail[] = {s->left.caster_trail_mm, s->right.caster_trail_mm};
    const double scrub[] = {s->left.scrub_radius_mm, s->right.scrub_radius_mm};
    const double toe_out[] = {t->left_turn.toe_out_deg, t->right_turn.toe_out_deg};
    const double ackermann[] = {t->left_turn.ackermann_deg, t->right_turn.ackermann_deg};
    const double lock_left[] = {t->lock_left.left_deg, t->lock_left.right_deg};
    const double lock_right[] = {t->lock_right.left_deg, t->lock_right.right_deg};

    printf("%-34s%14s%14s%14s%14s\n", "Wheels", "fl", "fr", "rl", "rr");
    row_of_angles("Camber, + top outward", camber, 4);
    row_of_angles("Toe (1), + toe-in", toe, 4);
    row_of_angles("Runout of the clamp", runout, 4);
    printf("(1) front: to the thrust line; rear: to the centreline\n");

    printf("\n%-34s%14s%14s\n", "Axles", "front", "rear");
    row_of_angles("Total toe", total_toe, 2);
    row_of_angles("Camber, left minus right", cross_camber, 2);
    row_of_lengths("Setback, + right further rearward", setback, 2);
    row_of_lengths("Track at the wheel centres", track, 2);

    printf("\n%-34s%14s%14s\n", "Chassis", "left", "right");
    row_of_lengths("Wheelbase", wheelbase, 2);
    row_of_angles("Thrust angle, + to the right", &c->thrust_angle_deg, 1);

    printf("\n%-34s%14s%14s%14s\n", "Steering", "left", "right", "left - right");
    row_of_angles("Caster, + top rearward", caster, 3);
    row_of_angles("SAI, + top inboard", sai, 3);
    row_of_angles("Included angle, SAI + camber", included, 2);
    row_of_lengths("Caster trail, + axis ahead", trail, 2);
    row_of_lengths("Scrub radius, + axis inboard", scrub, 2);

    printf("\n%-34s%14s%14s\n", "Turns, inner wheel at 20 deg", "left turn", "right turn");
    row_of_angles("Toe-out on turns", toe_out, 2);
    row_of_angles("Ideal by Ackermann", ackermann, 2);

    printf("\n%-34s%14s%14s\n", "Full lock, + to the left", "left wheel", "right wheel");
    row_of_angles("Lock left", lock_left, 2);
    row_of_angles("Lock right", lock_right, 2);
}

/* The bits of a measurement say what is weak; its JSON has a sentence for each, with the place and the figure. */
static void warn(const wa_session *session, uint32_t warnings)
{
    wa_error error = empty_error();
    const char *at = result_json;
    size_t needed = 0;
    if (warnings == 0) {
        printf("\nNo warnings.\n");
        return;
    }
    printf("\nWarnings:\n");
    if (wa_session_to_json(session, session_json, sizeof session_json, &needed, &error) != WA_SUCCESS
        || wa_measure_json(session_json, needed, result_json, sizeof result_json, &needed, &error) != WA_SUCCESS) {
        printf("- numbers %#lx (%s)\n", (unsigned long)warnings, error.message);
        return;
    }
    while ((at = strstr(at, "\"message\": \"")) != NULL) {
        printf("- ");
        for (at += strlen("\"message\": \""); *at != '\0' && *at != '"'; at += 1) {
            at += *at == '\\' && at[1] != '\0';
            putchar(*at);
        }
        printf("\n");
    }
}

static void every_value(const wa_alignment *car)
{
    const size_t count = wa_reading_count();
    double *values = (double *)malloc(count * sizeof *values);
    size_t at = 0;
    if (values == NULL || wa_alignment_values(car, values, count, NULL) != WA_SUCCESS) {
        fprintf(stderr, "the readings cannot be listed\n");
        exit(1);
    }
    for (at = 0; at < count; at += 1) {
        if (isnan(values[at])) {
            printf("%s -\n", wa_reading_path(at));
        } else {
            printf("%s %.17g\n", wa_reading_path(at), values[at]);
        }
    }
    free(values);
}

int main(int argc, char **argv)
{
    static taken poses;
    wa_session session;
    wa_measurement measurement;
    wa_error error = empty_error();

    if (argc < 2 || argc > 3 || (argc == 3 && strcmp(argv[2], "--values") != 0)) {
        fprintf(stderr, "usage: align POSES.txt [--values]\n");
        return 2;
    }
    if (wa_abi_version() != WA_ABI_VERSION) {
        fprintf(stderr, "the library is of interface %lu, this program of %d\n", (unsigned long)wa_abi_version(),
                WA_ABI_VERSION);
        return 2;
    }
    if (!read_poses(argv[1], &poses)) {
        return 2;
    }

    session = session_of(&poses);
    measurement.size = sizeof measurement;
    if (wa_measure(&session, &measurement, &error) != WA_SUCCESS) {
        /* The sentence names the place, the figure, the bound and the remedy. */
        fprintf(stderr, "The car cannot be measured (%s).\n%s\n", wa_status_name(error.code), error.message);
        return 1;
    }
    if (argc == 3) {
        every_value(&measurement.alignment);
        return 0;
    }
    report(&measurement.alignment);
    warn(&session, measurement.warnings);
    printf("\nReadings are no licence to drive: the vehicle maker's procedure and figures, local codes and licensed\n"
           "practice decide. Secure the car before anybody lifts, rolls or steers it.\n");
    return 0;
}
