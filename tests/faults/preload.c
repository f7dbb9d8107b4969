/* Put before the C library (LD_PRELOAD) of the program under test: it makes writing to files under one
   folder fail or take long, and shifts the wall clock, as a file says that the test writes while the
   program runs. Everything else is handed on as it is.

   FAULTS_CONTROL names that file: numbers of eight bytes in this machine's order.
   FAULTS_FOLDER names the folder. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/time.h>
#include <sys/uio.h>
#include <time.h>
#include <unistd.h>

struct orders {
    int64_t error;     /* what calls fail with (errno), 0: with nothing */
    int64_t per_mille; /* how many of a thousand fail */
    int64_t delay;     /* milliseconds that each takes longer */
    int64_t shift;     /* milliseconds that the wall clock is ahead */
    int64_t failed;    /* written here: calls that were failed … */
    int64_t seen;      /* … and calls that could have been */
};

static struct orders nothing;
static volatile struct orders *orders = &nothing;
static char folder[4096];
static size_t folder_length;

static void *next(const char *name) { return dlsym(RTLD_NEXT, name); }
#define NEXT(name) static __typeof__(&name) real; if (!real) real = (__typeof__(&name))next(#name)

__attribute__((constructor)) static void begin(void) {
    const char *control = getenv("FAULTS_CONTROL"), *where = getenv("FAULTS_FOLDER");
    if (where && strlen(where) < sizeof folder) {
        strcpy(folder, where);
        folder_length = strlen(folder);
    }
    int file = control ? open(control, O_RDWR | O_CLOEXEC) : -1;
    if (file < 0) return;
    void *shared = mmap(NULL, sizeof *orders, PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
    if (shared != MAP_FAILED) orders = shared;
    close(file);
}

static int is_ours(const char *path) {
    return folder_length && path && strncmp(path, folder, folder_length) == 0 &&
           (path[folder_length] == '/' || path[folder_length] == 0);
}

static int is_ours_open(int file) {
    char link[64], path[4096];
    snprintf(link, sizeof link, "/proc/self/fd/%d", file);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length < 0) return 0;
    path[length] = 0;
    return is_ours(path);
}

/* Whether this call is to fail; its errno is set then. Which calls do is decided by their number alone. */
static int fails(void) {
    int64_t number = __atomic_fetch_add(&orders->seen, 1, __ATOMIC_SEQ_CST);
    for (int64_t waited = 0; waited < orders->delay; waited += 10) usleep(10000);
    if (!orders->error) return 0;
    uint64_t mixed = ((uint64_t)number + 1) * 0x9E3779B97F4A7C15u;
    mixed ^= mixed >> 31;
    if ((int64_t)(mixed % 1000) >= orders->per_mille) return 0;
    __atomic_fetch_add(&orders->failed, 1, __ATOMIC_SEQ_CST);
    errno = (int)orders->error;
    return 1;
}

#define WRITING(type, name, parameters, arguments)                                                 \
    type name parameters {                                                                         \
        NEXT(name);                                                                                \
        if (is_ours_open(file) && fails()) return -1;                                              \
        return real arguments;                                                                     \
    }
WRITING(ssize_t, write, (int file, const void *bytes, size_t length), (file, bytes, length))
WRITING(ssize_t, writev, (int file, const struct iovec *parts, int count), (file, parts, count))
WRITING(ssize_t, pwrite, (int file, const void *bytes, size_t length, off_t at), (file, bytes, length, at))
WRITING(ssize_t, pwrite64, (int file, const void *bytes, size_t length, off64_t at), (file, bytes, length, at))
WRITING(int, ftruncate, (int file, off_t length), (file, length))
WRITING(int, ftruncate64, (int file, off64_t length), (file, length))
WRITING(int, fsync, (int file), (file))
WRITING(int, fdatasync, (int file), (file))

/* A full disk makes no new file, one that is read-only opens none for writing. */
static int opening_fails(const char *path, int flags) {
    if (!is_ours(path) || (flags & O_ACCMODE) == O_RDONLY) return 0;
    struct stat about;
    if (orders->error == ENOSPC && (!(flags & O_CREAT) || stat(path, &about) == 0)) return 0;
    return fails();
}

#define OPENING(name)                                                                              \
    int name(const char *path, int flags, ...) {                                                   \
        NEXT(name);                                                                                \
        va_list more;                                                                              \
        va_start(more, flags);                                                                     \
        mode_t mode = va_arg(more, mode_t);                                                        \
        va_end(more);                                                                              \
        if (opening_fails(path, flags)) return -1;                                                 \
        return real(path, flags, mode);                                                            \
    }
OPENING(open)
OPENING(open64)

static int64_t shift(void) { return orders->shift; }

int clock_gettime(clockid_t clock, struct timespec *time) {
    NEXT(clock_gettime);
    int outcome = real(clock, time);
    if (outcome == 0 && (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE)) {
        int64_t by = shift();
        int64_t nanoseconds = time->tv_nsec + by % 1000 * 1000000;
        time->tv_sec += by / 1000;
        if (nanoseconds < 0) { time->tv_sec -= 1; nanoseconds += 1000000000; }
        if (nanoseconds >= 1000000000) { time->tv_sec += 1; nanoseconds -= 1000000000; }
        time->tv_nsec = nanoseconds;
    }
    return outcome;
}

time_t time(time_t *to) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    if (to) *to = now.tv_sec;
    return now.tv_sec;
}

int gettimeofday(struct timeval *time, void *zone) {
    (void)zone;
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    time->tv_sec = now.tv_sec;
    time->tv_usec = now.tv_nsec / 1000;
    return 0;
}
