/* The time of day, ahead of the machine's by as many seconds as a file holds (eight bytes, a double, mapped and read at
   each call). Only the time of day: what measures how long something takes (CLOCK_MONOTONIC) is the machine's. */

#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <math.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

static const volatile double *ahead;
static int (*true_clock)(clockid_t, struct timespec *);

__attribute__((constructor)) static void open_file(void)
{
    const char *path = getenv("STEPPED_CLOCK");
    int file = path ? open(path, O_RDONLY | O_CLOEXEC) : -1;
    true_clock = (int (*)(clockid_t, struct timespec *))dlsym(RTLD_NEXT, "clock_gettime");
    if (file < 0)
        return;
    void *mapped = mmap(NULL, sizeof(double), PROT_READ, MAP_SHARED, file, 0);
    close(file);
    if (mapped != MAP_FAILED)
        ahead = mapped;
}

int clock_gettime(clockid_t which, struct timespec *now)
{
    if (!true_clock) /* before this library's turn */
        true_clock = (int (*)(clockid_t, struct timespec *))dlsym(RTLD_NEXT, "clock_gettime");
    int result = true_clock(which, now);
    if (result == 0 && ahead && (which == CLOCK_REALTIME || which == CLOCK_REALTIME_COARSE))
        now->tv_sec += (time_t)floor(*ahead);
    return result;
}

int gettimeofday(struct timeval *now, void *zone)
{
    struct timespec exact;
    (void)zone;
    int result = clock_gettime(CLOCK_REALTIME, &exact);
    now->tv_sec = exact.tv_sec;
    now->tv_usec = exact.tv_nsec / 1000;
    return result;
}

time_t time(time_t *where)
{
    struct timespec exact;
    if (clock_gettime(CLOCK_REALTIME, &exact) != 0)
        return (time_t)-1;
    if (where)
        *where = exact.tv_sec;
    return exact.tv_sec;
}
