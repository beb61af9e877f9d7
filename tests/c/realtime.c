/* What the docs promise to a measuring loop: the reading path allocates nothing, needs little stack, leaves the floating-point
 * environment as it was, raises no flag but that of rounding on a sound car, and gives the same bits when the processor flushes
 * denormals to zero.
 *
 *   realtime POSES.txt
 *
 * To be linked to the static library with -Wl,--wrap=malloc,--wrap=calloc,--wrap=realloc,--wrap=posix_memalign, so that what
 * the library allocates is counted. The exit status is 0 when nothing failed. */

#define _POSIX_C_SOURCE 200112L

#include "poses.h"

#include <fenv.h>
#include <pthread.h>
#if defined(__SSE2__)
#include <xmmintrin.h>
#endif

/* What alignment-ffi/docs/linking.md says. */
#define MOST_STACK_OF_A_READING ((size_t)8 << 10)
#define MOST_STACK_OF_A_SESSION ((size_t)256 << 10)

static long allocations = 0;

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *block, size_t size);
int __real_posix_memalign(void **block, size_t alignment, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *block, size_t size);
int __wrap_posix_memalign(void **block, size_t alignment, size_t size);

void *__wrap_malloc(size_t size)
{
    allocations += 1;
    return __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size)
{
    allocations += 1;
    return __real_calloc(count, size);
}

void *__wrap_realloc(void *block, size_t size)
{
    allocations += 1;
    return __real_realloc(block, size);
}

int __wrap_posix_memalign(void **block, size_t alignment, size_t size)
{
    allocations += 1;
    return __real_posix_memalign(block, alignment, size);
}

static int failed = 0;

static void check(int condition, const char *what)
{
    if (!condition) {
        failed += 1;
        printf("failed: %s\n", what);
    }
}

static taken car;
static wa_session session;
static wa_compensation compensation[4];
static wa_pose broken[4];
static wa_ahead_readings_result readings;
static wa_measurement measurement;
static wa_uncertainty uncertainty;
static wa_error error;
static char session_json[1 << 16];
static size_t session_length = 0;
static char assessment_json[1 << 20];

static int32_t read_ahead(const wa_pose poses[4])
{
    return wa_ahead_readings(compensation, poses, car.rig.up, car.rig.loaded_radius_mm, WA_CENTRELINE_AXLE_MIDPOINTS, &readings,
                             &error);
}

static void a_reading(void)
{
    check(read_ahead(car.poses[WA_STAGE_AHEAD][0]) == WA_SUCCESS, "a reading");
}

static void a_refusal(void)
{
    check(read_ahead(broken) == WA_NOT_A_ROTATION && error.wheel == WA_WHEEL_RL, "a refusal");
}

static void a_session(void)
{
    check(wa_measure(&session, &measurement, &error) == WA_SUCCESS, "a session");
}

static void a_session_with_uncertainty(void)
{
    check(wa_propagate(&session, &uncertainty, &error) == WA_SUCCESS, "a session with its uncertainty");
}

static void a_session_from_text(void)
{
    check(wa_measure_session_json(session_json, session_length, &measurement, &error) == WA_SUCCESS, "a session from text");
}

static void an_assessment_from_text(void)
{
    size_t length = 0;
    check(wa_assess_json(session_json, session_length, NULL, 0, assessment_json, sizeof assessment_json, &length, &error)
              == WA_SUCCESS,
          "an assessment from text");
}

static long allocations_of(void (*call)(void))
{
    const long before = allocations;
    call();
    return allocations - before;
}

static void *in_thread(void *call)
{
    void (*const *job)(void) = (void (*const *)(void))call;
    (*job)();
    return NULL;
}

/* How much of a painted stack a call leaves changed, less what a thread needs that does nothing. */
static void nothing(void)
{
}

static size_t stack_used(void (*call)(void))
{
    const size_t size = (size_t)4 << 20;
    unsigned char *stack = NULL;
    void *block = NULL;
    pthread_attr_t attributes;
    pthread_t thread;
    size_t untouched = 0;
    if (posix_memalign(&block, 4096, size) != 0) {
        return size;
    }
    stack = (unsigned char *)block;
    memset(stack, 0xA5, size);
    if (pthread_attr_init(&attributes) != 0 || pthread_attr_setstack(&attributes, stack, size) != 0
        || pthread_create(&thread, &attributes, in_thread, &call) != 0) {
        free(block);
        return size;
    }
    pthread_join(thread, NULL);
    pthread_attr_destroy(&attributes);
    while (untouched < size && stack[untouched] == 0xA5) {
        untouched += 1;
    }
    free(block);
    return size - untouched;
}

static void test_stack(const char *name, void (*call)(void), size_t most)
{
    size_t used = 0;
    /* What is loaded and bound once is not the call's own. */
    call();
    used = stack_used(call) - stack_used(nothing);
    printf("%s: %lu bytes of stack, at most %lu\n", name, (unsigned long)used, (unsigned long)most);
    check(used > 0 && used <= most, name);
}

static void test_floating_point(void)
{
    wa_ahead_readings_result plain;
    fenv_t environment;
    fegetenv(&environment);
    feclearexcept(FE_ALL_EXCEPT);
    a_reading();
    plain = readings;
    check(fetestexcept(FE_INVALID | FE_DIVBYZERO | FE_OVERFLOW | FE_UNDERFLOW) == 0,
          "no flag is raised but that of rounding");
    check(fegetround() == FE_TONEAREST, "the rounding mode is left alone");
#if defined(__SSE2__)
    {
        /* Flush to zero, and denormals are zero. */
        const unsigned int before = _mm_getcsr();
        const unsigned int flushing = before | 0x8040u;
        _mm_setcsr(flushing);
        a_reading();
        check((_mm_getcsr() & 0xFFC0u) == (flushing & 0xFFC0u), "the control bits are left alone");
        _mm_setcsr(before);
        check(memcmp(&plain, &readings, sizeof plain) == 0, "the same bits when denormals are flushed");
        printf("denormals flushed: the same bits\n");
    }
#else
    check(memcmp(&plain, &readings, sizeof plain) == 0, "the same bits");
#endif
    fesetenv(&environment);
}

int main(int argc, char **argv)
{
    wa_clamp_compensation clamps;
    int round = 0;
    if (argc != 2 || !read_poses(argv[1], &car)) {
        fprintf(stderr, "usage: realtime POSES.txt\n");
        return 2;
    }
    error = empty_error();
    readings.size = sizeof readings;
    measurement.size = sizeof measurement;
    uncertainty.size = sizeof uncertainty;
    clamps.size = sizeof clamps;
    session = session_of(&car);
    if (wa_from_rolling(session.rolling, session.rolling_count, car.rig.up, car.rig.clamp_standoff_mm,
                        car.rig.loaded_radius_mm, WA_ROLLING_BODY_TRANSLATES, &clamps, &error)
            != WA_SUCCESS
        || wa_clamp_compensation_all_wheels(&clamps, compensation, &error) != WA_SUCCESS
        || wa_session_to_json(&session, session_json, sizeof session_json, &session_length, &error) != WA_SUCCESS) {
        printf("%s\n", error.message);
        return 1;
    }
    memcpy(broken, car.poses[WA_STAGE_AHEAD][0], sizeof broken);
    broken[WA_WHEEL_RL].rotation[0][0] += 0.1;

    /* The count works: a session does allocate. */
    check(allocations_of(a_session) > 0, "allocations are counted");
    /* The first call too, and the first refusal. */
    for (round = 0; round < 100; round += 1) {
        check(allocations_of(a_reading) == 0, "a reading allocates nothing");
        check(allocations_of(a_refusal) == 0, "a refusal allocates nothing");
    }
    printf("a reading, and a refusal: no allocation\n");

    test_stack("a reading", a_reading, MOST_STACK_OF_A_READING);
    test_stack("a refusal", a_refusal, MOST_STACK_OF_A_READING);
    test_stack("a session", a_session, MOST_STACK_OF_A_SESSION);
    test_stack("a session from its text", a_session_from_text, MOST_STACK_OF_A_SESSION);
    test_stack("a session with its uncertainty", a_session_with_uncertainty, MOST_STACK_OF_A_SESSION);
    session.method = WA_METHOD_JOINT;
    test_stack("a session by the joint method", a_session, MOST_STACK_OF_A_SESSION);
    test_stack("the same with its uncertainty", a_session_with_uncertainty, MOST_STACK_OF_A_SESSION);
    check(wa_session_to_json(&session, session_json, sizeof session_json, &session_length, &error) == WA_SUCCESS,
          "a session by the joint method as text");
    test_stack("an assessment by the joint method", an_assessment_from_text, MOST_STACK_OF_A_SESSION);
    test_floating_point();
    return failed == 0 ? 0 : 1;
}
