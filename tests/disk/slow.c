/*
 * A disk that takes its time, for tests.
 *
 *   gcc -shared -fPIC -O2 -o slow.so slow.c -ldl
 *
 * Loaded with LD_PRELOAD. What is written goes to the page cache as always;
 * only whoever asks for it to be on the disk waits (fsync(2), fdatasync(2)),
 * as with a worn memory card.
 *
 * Environment:
 *   DISK_SLOW_MS=n     every such question is answered n milliseconds later
 *   DISK_WELL=path     but at once while this file exists
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

static void wait_for_it(void) {
    const char *ms = getenv("DISK_SLOW_MS"), *well = getenv("DISK_WELL");
    if (!ms || (well && access(well, F_OK) == 0))
        return;
    long n = atol(ms);
    struct timespec t = {n / 1000, n % 1000 * 1000000};
    nanosleep(&t, NULL);
}

int fsync(int fd) {
    static int (*real)(int);
    if (!real)
        real = dlsym(RTLD_NEXT, "fsync");
    wait_for_it();
    return real(fd);
}

int fdatasync(int fd) {
    static int (*real)(int);
    if (!real)
        real = dlsym(RTLD_NEXT, "fdatasync");
    wait_for_it();
    return real(fd);
}
