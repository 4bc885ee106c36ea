/* A disk as slow as a card in a bad mood: every fsync and fdatasync takes SLOW_DISK_MS longer, and
   each SLOW_DISK_EVERY-th of them stalls for SLOW_DISK_STALL_MS instead. Loaded by LD_PRELOAD. */

#define _GNU_SOURCE
#include <dlfcn.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <time.h>

static long number(const char *name)
{
    const char *text = getenv(name);
    return text ? atol(text) : 0;
}

static void slow_down(void)
{
    static atomic_long syncs;
    long every = number("SLOW_DISK_EVERY");
    int stalls = every > 0 && (atomic_fetch_add(&syncs, 1) + 1) % every == 0;
    long ms = number(stalls ? "SLOW_DISK_STALL_MS" : "SLOW_DISK_MS");
    struct timespec pause = {ms / 1000, ms % 1000 * 1000000};
    nanosleep(&pause, NULL);
}

int fsync(int fd)
{
    slow_down();
    return ((int (*)(int))dlsym(RTLD_NEXT, "fsync"))(fd);
}

int fdatasync(int fd)
{
    slow_down();
    return ((int (*)(int))dlsym(RTLD_NEXT, "fdatasync"))(fd);
}
