/* What the consumers share: checks that are counted, files, and an error that is fresh. */

#ifndef CONSUMER_H
#define CONSUMER_H

#include "wheel_alignment.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int passed = 0;
static int failed = 0;

#define CHECK(condition) check((condition) != 0, #condition, __FILE__, __LINE__)

static void check(int condition, const char *text, const char *file, int line)
{
    if (condition) {
        passed += 1;
    } else {
        failed += 1;
        printf("%s:%d: failed: %s\n", file, line, text);
    }
}

/* The whole file in a buffer to be freed, or NULL. */
static char *read_file(const char *path, size_t *length)
{
    FILE *file = fopen(path, "rb");
    char *text = NULL;
    long end = 0;
    if (file == NULL) {
        return NULL;
    }
    if (fseek(file, 0, SEEK_END) == 0 && (end = ftell(file)) > 0 && fseek(file, 0, SEEK_SET) == 0) {
        text = (char *)malloc((size_t)end);
        if (text != NULL) {
            *length = fread(text, 1, (size_t)end, file);
        }
    }
    fclose(file);
    return text;
}

static wa_error fresh_error(void)
{
    wa_error error;
    memset(&error, 0x55, sizeof error);
    error.size = sizeof error;
    return error;
}

/* One line of totals; the exit status is 0 when nothing failed. */
static int report(void)
{
    printf("%d passed, %d failed\n", passed, failed);
    return failed == 0 ? 0 : 1;
}

#endif
