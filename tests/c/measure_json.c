/* A consumer in C99, and in C++: measures the session named by the first argument, and tries every refusal.
 * Prints one line per failure and a line of totals; the exit status is 0 when nothing failed. */

#include "consumer.h"

static void test_measure(const char *session, size_t session_length)
{
    wa_error error = fresh_error();
    size_t length = 0;
    size_t again = 0;
    char *result = NULL;
    char *second = NULL;

    /* Asks for the length, then for the result. */
    CHECK(wa_measure_json(session, session_length, NULL, 0, &length, &error) == WA_BUFFER_TOO_SMALL);
    CHECK(error.code == WA_BUFFER_TOO_SMALL);
    CHECK(error.minimum == (double)length + 1.0);
    CHECK(length > 0);

    result = (char *)malloc(length + 1);
    second = (char *)malloc(length + 1);
    if (result == NULL || second == NULL) {
        free(result);
        free(second);
        CHECK(!"memory");
        return;
    }
    memset(result, '#', length + 1);
    CHECK(wa_measure_json(session, session_length, result, length, &again, NULL) == WA_BUFFER_TOO_SMALL);
    CHECK(again == length);
    CHECK(result[0] == '#' && result[length - 1] == '#');

    CHECK(wa_measure_json(session, session_length, result, length + 1, &again, &error) == WA_SUCCESS);
    CHECK(again == length);
    CHECK(result[length] == '\0' && strlen(result) == length);
    CHECK(error.size == sizeof error);
    CHECK(error.code == WA_SUCCESS);
    CHECK(error.stage == WA_NONE && error.station == WA_NONE && error.wheel == WA_NONE);
    CHECK(isnan(error.value) && isnan(error.minimum) && isnan(error.maximum));
    CHECK(error.message[0] == '\0');
    CHECK(result[0] == '{');
    CHECK(strstr(result, "\"alignment\"") != NULL);
    CHECK(strstr(result, "\"camber_deg\"") != NULL);
    CHECK(strstr(result, "\"thrust_angle_deg\"") != NULL);
    CHECK(strstr(result, "\"warnings\"") != NULL);
    CHECK(strstr(result, "NaN") == NULL);

    /* Same session, same bytes; and a terminator in the session is not needed. */
    CHECK(wa_measure_json(session, session_length, second, length + 1, &again, NULL) == WA_SUCCESS);
    CHECK(strcmp(result, second) == 0);
    free(result);
    free(second);
}

/* The session chooses the method by a member of its own, which is put in the place of the one that is there. */
static void test_joint(const char *session, size_t session_length)
{
    static const char staged[] = "\"method\": \"staged\"";
    static const char joint[] = "\"method\": \"joint\"";
    const size_t capacity = 1 << 18;
    char *text = (char *)calloc(session_length + 1, 1);
    char *result = (char *)malloc(capacity);
    char *method = NULL;
    const char *fit = NULL;
    wa_error error = fresh_error();
    size_t length = 0;

    if (text == NULL || result == NULL) {
        free(text);
        free(result);
        CHECK(!"memory");
        return;
    }
    memcpy(text, session, session_length);
    CHECK(wa_measure_json(text, session_length, result, capacity, &length, &error) == WA_SUCCESS);
    CHECK(strstr(result, staged) != NULL && strstr(result, "\"fit\": null") != NULL);

    method = strstr(text, staged);
    CHECK(method != NULL);
    if (method != NULL) {
        memset(method, ' ', strlen(staged));
        memcpy(method, joint, strlen(joint));
        CHECK(wa_measure_json(text, session_length, result, capacity, &length, &error) == WA_SUCCESS);
        CHECK(strstr(result, joint) != NULL);
        fit = strstr(result, "\"fit\": {");
        CHECK(fit != NULL);
        fit = fit == NULL ? NULL : strstr(fit, "\"chi_squared\": ");
        CHECK(fit != NULL && strtod(fit + strlen("\"chi_squared\": "), NULL) > 0.0);
    }
    free(text);
    free(result);
}

static void test_null_pointers(const char *session, size_t session_length)
{
    char result[8] = "#######";
    size_t length = 77;
    wa_error error = fresh_error();

    CHECK(wa_measure_json(NULL, session_length, result, sizeof result, &length, &error) == WA_NULL_POINTER);
    CHECK(strstr(error.message, "session_json") != NULL);
    CHECK(wa_measure_json(NULL, 0, result, sizeof result, &length, NULL) == WA_NULL_POINTER);
    CHECK(wa_measure_json(session, session_length, NULL, sizeof result, &length, &error) == WA_NULL_POINTER);
    CHECK(strstr(error.message, "result_json") != NULL);
    CHECK(wa_measure_json(session, session_length, result, sizeof result, NULL, &error) == WA_NULL_POINTER);
    CHECK(strstr(error.message, "result_length") != NULL);
    CHECK(wa_measure_json(session, (size_t)-1, result, sizeof result, &length, &error) == WA_BAD_LENGTH);
    CHECK(length == 77);
    CHECK(strcmp(result, "#######") == 0);
}

static void test_struct_size(const char *session, size_t session_length)
{
    const size_t sizes[] = {0, 1, sizeof(wa_error) - 1, 4097, (size_t)-1};
    size_t index = 0;
    char result[8];
    size_t length = 77;
    struct {
        wa_error error;
        char later[40];
    } longer;

    for (index = 0; index < sizeof sizes / sizeof sizes[0]; index += 1) {
        wa_error error = fresh_error();
        error.size = sizes[index];
        error.code = 7;
        CHECK(wa_measure_json(session, session_length, result, sizeof result, &length, &error) == WA_BAD_STRUCT_SIZE);
        CHECK(error.size == sizes[index] && error.code == 7);
        CHECK(length == 77);
    }

    /* A program that was built against a later header: what this library does not know comes back as zero. */
    memset(&longer, 0x55, sizeof longer);
    longer.error.size = sizeof longer;
    CHECK(wa_measure_json("{}", 2, result, sizeof result, &length, &longer.error) == WA_NOT_A_SESSION);
    CHECK(longer.error.code == WA_NOT_A_SESSION);
    for (index = 0; index < sizeof longer.later; index += 1) {
        CHECK(longer.later[index] == 0);
    }
}

static void test_refused_texts(const char *session, size_t session_length)
{
    static const char unknown_key[] = "{\"format\": \"alignment-session/1\", \"colour\": 1}";
    static const char not_finite[] = "{\"format\": \"alignment-session/1\", \"up\": [NaN, 0, 1]}";
    static const char not_utf8[] = "{\"note\": \"\xff\"}";
    char result[8] = "#######";
    size_t length = 77;
    wa_error error = fresh_error();

    CHECK(wa_measure_json("", 0, result, sizeof result, &length, &error) == WA_NOT_A_SESSION);
    CHECK(wa_measure_json("null", 4, result, sizeof result, &length, &error) == WA_NOT_A_SESSION);
    CHECK(wa_measure_json(session, session_length / 2, result, sizeof result, &length, &error) == WA_NOT_A_SESSION);
    CHECK(strstr(error.message, "line") != NULL);
    CHECK(wa_measure_json(unknown_key, strlen(unknown_key), result, sizeof result, &length, &error)
          == WA_NOT_A_SESSION);
    CHECK(error.code == WA_NOT_A_SESSION);
    CHECK(strstr(error.message, "colour") != NULL);
    CHECK(wa_measure_json(not_finite, strlen(not_finite), result, sizeof result, &length, &error) == WA_NOT_A_SESSION);
    CHECK(strstr(error.message, "up") != NULL);
    CHECK(wa_measure_json(not_utf8, sizeof not_utf8 - 1, result, sizeof result, &length, &error) == WA_NOT_UTF8);
    CHECK(strstr(error.message, "byte 10") != NULL);
    CHECK(length == 77);
    CHECK(strcmp(result, "#######") == 0);
}

static void test_names(void)
{
    CHECK(wa_abi_version() == WA_ABI_VERSION);
    CHECK(strlen(wa_version()) > 0);
    CHECK(strcmp(wa_status_name(WA_SUCCESS), "success") == 0);
    CHECK(strcmp(wa_status_name(WA_ROLL_TOO_SMALL), "roll_too_small") == 0);
    CHECK(strcmp(wa_status_name(WA_BUFFER_TOO_SMALL), "buffer_too_small") == 0);
    CHECK(strcmp(wa_status_name(1), "unknown") == 0);
}

/* Nothing of the struct is padding that a caller in another language could miss. */
static void test_layout(void)
{
    CHECK(offsetof(wa_error, size) == 0);
    CHECK(offsetof(wa_error, code) == sizeof(size_t));
    CHECK(offsetof(wa_error, value) == sizeof(size_t) + 4 * sizeof(int32_t));
    CHECK(offsetof(wa_error, message) == offsetof(wa_error, value) + 3 * sizeof(double));
    CHECK(sizeof(wa_error) == offsetof(wa_error, message) + WA_MESSAGE_CAPACITY);
}

int main(int argc, char **argv)
{
    size_t session_length = 0;
    char *session = argc >= 2 ? read_file(argv[1], &session_length) : NULL;
    if (session == NULL) {
        fprintf(stderr, "usage: measure_json SESSION.json\n");
        return 2;
    }
    test_measure(session, session_length);
    test_joint(session, session_length);
    test_null_pointers(session, session_length);
    test_struct_size(session, session_length);
    test_refused_texts(session, session_length);
    test_names();
    test_layout();
    free(session);
    return report();
}
