/* A consumer in C99, and in C++: assesses the session of the first argument by the specification of the second, and
 * calls all else that tells what readings are worth.
 * Prints one line per failure and a line of totals; the exit status is 0 when nothing failed. */

#include "consumer.h"

static int near(double value, double expected, double tolerance)
{
    return fabs(value - expected) <= tolerance;
}

static wa_optional number(double value)
{
    wa_optional given;
    given.value = value;
    given.present = 1;
    return given;
}

static wa_optional absent(void)
{
    wa_optional given;
    memset(&given, 0, sizeof given);
    return given;
}

/* Roomy enough for every result: one call each. */
static char result[1 << 18];
static size_t result_length = 0;

static int has(const char *words)
{
    return strlen(result) == result_length && strstr(result, words) != NULL;
}

static void test_assess(const char *session, size_t session_length, const char *limits, size_t limits_length)
{
    wa_error error = fresh_error();
    size_t needed = 0;

    CHECK(wa_assess_json(session, session_length, NULL, 0, result, sizeof result, &result_length, &error)
          == WA_SUCCESS);
    CHECK(error.code == WA_SUCCESS && error.message[0] == '\0');
    CHECK(has("\"expanded_uncertainty\": {") && has("\"verdicts\": null"));
    CHECK(wa_assess_json(session, session_length, limits, limits_length, result, sizeof result, &result_length, NULL)
          == WA_SUCCESS);
    CHECK(has("\"overall\": \"") && has("\"probability_of_conformity\": "));

    CHECK(wa_assess_json(session, session_length, limits, limits_length, NULL, 0, &needed, NULL)
          == WA_BUFFER_TOO_SMALL);
    CHECK(needed == result_length);
    CHECK(wa_assess_json(session, session_length, NULL, 1, result, sizeof result, &needed, &error)
          == WA_NULL_POINTER);
    CHECK(wa_assess_json(session, session_length, "{}", 2, result, sizeof result, &needed, &error)
          == WA_NOT_A_SPECIFICATION);
    CHECK(strstr(error.message, "format") != NULL);
}

static void test_budget_and_covariance(const char *session, size_t session_length)
{
    const char *path = "chassis.thrust_angle_deg";
    const size_t count = wa_reading_count();
    double *covariance = (double *)malloc(count * count * sizeof(double));
    wa_error error = fresh_error();
    size_t row = 0;

    CHECK(wa_uncertainty_budget_json(session, session_length, path, result, sizeof result, &result_length, &error)
          == WA_SUCCESS);
    CHECK(has("\"poses\"") && has("\"station\": null") && has("\"share\": "));
    CHECK(wa_uncertainty_budget_by_pose_json(session, session_length, path, result, sizeof result, &result_length, &error)
          == WA_SUCCESS);
    CHECK(has("\"station\": 0"));
    CHECK(wa_uncertainty_budget_json(session, session_length, "thrust", result, sizeof result, &result_length, &error)
          == WA_UNKNOWN_READING);

    CHECK(wa_reading_path(count) == NULL);
    while (row < count && strcmp(wa_reading_path(row), path) != 0) {
        row += 1;
    }
    CHECK(row < count);
    if (covariance == NULL || row == count) {
        CHECK(!"memory");
        free(covariance);
        return;
    }
    CHECK(wa_uncertainty_covariance_matrix(session, session_length, covariance, count * count - 1, &error) == WA_BUFFER_TOO_SMALL);
    CHECK(error.minimum == (double)(count * count));
    CHECK(wa_uncertainty_covariance_matrix(session, session_length, covariance, count * count, &error) == WA_SUCCESS);
    CHECK(covariance[row * count + row] > 0.0);
    CHECK(near(covariance[row * count], covariance[row], 1e-15));
    free(covariance);
}

static void test_trials(const char *session, size_t session_length)
{
    const char *paths[] = {"wheels.fl.camber_deg", "wheels.rr.toe_deg"};
    wa_error error = fresh_error();
    wa_trials trials;

    memset(&trials, 0x55, sizeof trials);
    CHECK(wa_trials_default(&trials) == WA_BAD_STRUCT_SIZE);
    trials.size = sizeof trials;
    CHECK(wa_trials_default(&trials) == WA_SUCCESS);
    CHECK(trials.size == sizeof trials && trials.probability == 0.95);
    CHECK(trials.significant_digits == 2 && trials.seed == 0 && trials.most_trials == 10000000);
    trials.significant_digits = 1;
    trials.most_trials = 100000;
    CHECK(wa_monte_carlo_json(session, session_length, paths, 2, &trials, result, sizeof result, &result_length, &error)
          == WA_SUCCESS);
    CHECK(has("\"wheels.rr.toe_deg\"") && has("\"trials\": 100000") && has("\"agrees\": true"));
    trials.most_trials = 99999;
    CHECK(wa_monte_carlo_json(session, session_length, paths, 2, &trials, result, sizeof result, &result_length, &error)
          == WA_OUT_OF_RANGE);
    CHECK(error.value == 99999.0 && error.minimum == 100000.0);
}

static void test_plan(void)
{
    wa_error error = fresh_error();
    wa_plan plan;
    wa_reach_result reach;
    struct {
        wa_plan plan;
        char later[16];
    } longer;

    memset(&plan, 0x55, sizeof plan);
    plan.size = sizeof plan;
    CHECK(wa_plan_default(&plan) == WA_SUCCESS);
    CHECK(plan.frames == 1 && plan.roll_stations == 5 && plan.sweep_stations == 9);
    CHECK(plan.compensation == WA_COMPENSATION_ROLLED && plan.sweep_wheels_locked == 1);
    CHECK(plan.pose_noise.rotation_deg == 0.005 && plan.input_uncertainty.up_deg == 0.0);
    CHECK(wa_plan_json(&plan, result, sizeof result, &result_length, &error) == WA_SUCCESS);
    CHECK(has("\"caster_deg\": 0.0"));

    memset(&reach, 0x55, sizeof reach);
    reach.size = sizeof reach;
    CHECK(wa_reach(&plan, 0.02, 2.0, &reach, &error) == WA_SUCCESS);
    CHECK(reach.roll_range_deg.present == 1 && reach.sweep_range_deg.present == 1);
    CHECK(reach.wheels_expanded_deg <= 0.02 && reach.steering_expanded_deg.value <= 0.02);
    /* What was found, planned: it is worth what was wanted. */
    plan.roll_range_deg = reach.roll_range_deg.value;
    plan.sweep_range_deg = reach.sweep_range_deg.value;
    CHECK(wa_plan_json(&plan, result, sizeof result, &result_length, &error) == WA_SUCCESS);

    plan.sweep_stations = 0;
    CHECK(wa_reach(&plan, 1e-5, 2.0, &reach, &error) == WA_SUCCESS);
    CHECK(reach.roll_range_deg.present == 0 && isnan(reach.roll_range_deg.value));
    CHECK(reach.steering_expanded_deg.present == 0 && isnan(reach.steering_expanded_deg.value));
    CHECK(reach.wheels_expanded_deg > 1e-5);

    /* A program that was built against a later header: what is new must be zero, and comes back as zero. */
    memset(&longer, 0x55, sizeof longer);
    longer.plan.size = sizeof longer;
    CHECK(wa_plan_default(&longer.plan) == WA_SUCCESS);
    CHECK(longer.later[0] == 0 && longer.later[15] == 0);
    CHECK(wa_plan_json(&longer.plan, result, sizeof result, &result_length, &error) == WA_SUCCESS);
    longer.later[15] = 1;
    CHECK(wa_plan_json(&longer.plan, result, sizeof result, &result_length, &error) == WA_BAD_STRUCT_SIZE);
    CHECK(strstr(error.message, "plan") != NULL);
}

static void test_judge(void)
{
    wa_error error = fresh_error();
    wa_uncertain known;
    wa_limits limits;
    wa_judgement judged;
    double consumer = 0.0;
    double producer = 0.0;

    limits.min = number(-1.0);
    limits.max = number(0.0);
    known.standard_uncertainty = 0.05;
    known.degrees_of_freedom = absent();
    memset(&judged, 0x55, sizeof judged);
    judged.size = sizeof judged;

    CHECK(wa_judge(-0.05, &known, &limits, WA_RULE_GUARDED, 0.95, &judged, &error) == WA_SUCCESS);
    CHECK(judged.verdict == WA_VERDICT_UNDETERMINED && judged.reason == WA_REASON_NEAR_LIMIT);
    /* One standard deviation inside: 0.8413, and z = 1.6449 for 95 %. Any table of the normal distribution. */
    CHECK(judged.probability_of_conformity.present == 1);
    CHECK(near(judged.probability_of_conformity.value, 0.8413, 5e-5));
    CHECK(near(judged.guard_band.value, 1.6449 * 0.05, 5e-6));
    CHECK(judged.risk_of_wrong_verdict.present == 0 && isnan(judged.risk_of_wrong_verdict.value));
    CHECK(near(judged.acceptance.min.value, -1.0 + 1.6449 * 0.05, 5e-6));

    CHECK(wa_judge(-0.05, NULL, &limits, WA_RULE_GUARDED, 0.95, &judged, &error) == WA_SUCCESS);
    CHECK(judged.verdict == WA_VERDICT_CONFORMS && judged.reason == WA_NONE);
    CHECK(judged.rule == WA_RULE_SIMPLE_ACCEPTANCE && judged.probability_of_conformity.present == 0);

    limits.min = absent();
    CHECK(wa_judge(0.2, &known, &limits, WA_RULE_GUARDED, 0.95, &judged, &error) == WA_SUCCESS);
    CHECK(judged.verdict == WA_VERDICT_DOES_NOT_CONFORM && judged.acceptance.min.present == 0);
    CHECK(wa_judge(NAN, &known, &limits, WA_RULE_GUARDED, 0.95, &judged, &error) == WA_NOT_FINITE);
    CHECK(wa_judge(0.0, &known, NULL, WA_RULE_GUARDED, 0.95, &judged, &error) == WA_NULL_POINTER);

    /* Limits so wide that nothing is beyond them. */
    limits.min = number(-9.0);
    limits.max = number(9.0);
    CHECK(wa_global_risks(0.0, 0.3, 0.05, &limits, &limits, &consumer, &producer, &error) == WA_SUCCESS);
    CHECK(near(consumer, 0.0, 1e-12) && near(producer, 0.0, 1e-12));
}

static void test_repeats(void)
{
    const double camber_deg[] = {-0.51, -0.49, -0.50, -0.52, -0.48, -0.47};
    const size_t sizes[] = {2, 4};
    const double width = 0.5;
    wa_error error = fresh_error();
    wa_repeatability_result repeats;

    memset(&repeats, 0x55, sizeof repeats);
    repeats.size = sizeof repeats;
    CHECK(wa_repeatability(camber_deg, 5, &repeats, &error) == WA_SUCCESS);
    CHECK(near(repeats.mean, -0.50, 1e-12));
    /* Squares of 0.01 twice and of 0.02 twice, over 4. */
    CHECK(near(repeats.standard_deviation, sqrt(0.001 / 4.0), 1e-12));
    /* JCGM 100:2008, table G.2: four degrees of freedom, 95 %. */
    CHECK(repeats.degrees_of_freedom == 4.0 && near(repeats.coverage_factor, 2.78, 5e-3));
    CHECK(wa_repeatability(camber_deg, 1, &repeats, &error) == WA_OUT_OF_RANGE);

    CHECK(wa_one_way_json(camber_deg, sizes, 2, result, sizeof result, &result_length, &error) == WA_SUCCESS);
    CHECK(has("\"between\": {") && has("\"reproducibility_sd\": "));
    CHECK(wa_crossed_json(camber_deg, 2, 1, 3, 0.25, NULL, result, sizeof result, &result_length, &error)
          == WA_OUT_OF_RANGE);
    CHECK(strstr(error.message, "operators") != NULL);
    {
        const double toe_deg[] = {0.10, 0.11, 0.12, 0.12, 0.25, 0.24, 0.26, 0.27};
        CHECK(wa_crossed_json(toe_deg, 2, 2, 2, 0.25, &width, result, sizeof result, &result_length, &error)
              == WA_SUCCESS);
    }
    CHECK(has("\"gauge\": {") && has("\"percent_of_tolerance\": "));
}

int main(int argc, char **argv)
{
    size_t session_length = 0;
    size_t limits_length = 0;
    char *session = argc == 3 ? read_file(argv[1], &session_length) : NULL;
    char *limits = argc == 3 ? read_file(argv[2], &limits_length) : NULL;
    if (session == NULL || limits == NULL) {
        free(session);
        free(limits);
        fprintf(stderr, "usage: assess SESSION.json SPECIFICATION.json\n");
        return 2;
    }
    test_assess(session, session_length, limits, limits_length);
    test_budget_and_covariance(session, session_length);
    test_trials(session, session_length);
    test_plan();
    test_judge();
    test_repeats();
    free(session);
    free(limits);
    return report();
}
