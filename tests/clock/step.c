/*
 * A wall clock that is set back by two hours, for tests.
 *
 *   gcc -shared -fPIC -O2 -o libstep.so step.c -ldl
 *
 * Loaded with LD_PRELOAD. The monotonic clock is left alone, as the kernel
 * leaves it alone when somebody sets the clock (clock_settime(2)).
 *
 * Environment:
 *   CLOCK_BACK=path    the wall clock is two hours back while this file exists
 *   CLOCK_JUMPS=1      every second question to the wall clock is answered two
 *                      hours too early
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

static const time_t BACK_S = 2 * 3600;
static atomic_uint asked;

static time_t back(void) {
    const char *path = getenv("CLOCK_BACK");
    if (path && access(path, F_OK) == 0)
        return BACK_S;
    if (getenv("CLOCK_JUMPS"))
        return atomic_fetch_add(&asked, 1) % 2 ? BACK_S : 0;
    return 0;
}

int clock_gettime(clockid_t clock, struct timespec *t) {
    static int (*real)(clockid_t, struct timespec *);
    if (!real)
        real = dlsym(RTLD_NEXT, "clock_gettime");
    int result = real(clock, t);
    if (result == 0 && (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE))
        t->tv_sec -= back();
    return result;
}

int gettimeofday(struct timeval *restrict t, void *restrict zone) {
    static int (*real)(struct timeval *restrict, void *restrict);
    if (!real)
        real = dlsym(RTLD_NEXT, "gettimeofday");
    int result = real(t, zone);
    if (result == 0)
        t->tv_sec -= back();
    return result;
}

time_t time(time_t *to) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    if (to)
        *to = now.tv_sec;
    return now.tv_sec;
}
