/* A disk and a clock that can be made to fail, laid under a process by LD_PRELOAD.

   What the process does to files under PITLOGGER_SHIM_FOLDER passes through here: it is
   written down in PITLOGGER_SHIM_LOG (every write, truncation, sync, in order, with the
   monotonic time), and refused or delayed as the control page at PITLOGGER_SHIM_CONTROL says.
   The wall clock is shifted by the page; PITLOGGER_SHIM_BOOT is read in place of the kernel's
   boot id. The shared-memory index of SQLite is left alone: it does not outlive a power cut.

   A record of the log: op, 3 octets of padding, id of the open file (u32), time in ns (i64),
   a (i64), b (i64), then b octets. shim.py reads it. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { MODE_WELL, MODE_FULL, MODE_BROKEN, MODE_READ_ONLY };
struct control {
    int32_t mode, sync_ms;
    int64_t wall_ns;
};
struct record {
    char op, pad[3];
    uint32_t id;
    int64_t at_ns, a, b;
};

#define FILES 4096
static struct control idle;
static volatile struct control *control = &idle;
static const char *folder, *boot;
static int log_fd = -1;
static uint32_t ids[FILES], last_id;
static pthread_mutex_t order = PTHREAD_MUTEX_INITIALIZER;
static pthread_once_t once = PTHREAD_ONCE_INIT;

#define REAL(type, name, ...) static type (*real_##name)(__VA_ARGS__)
REAL(int, open, const char *, int, ...);
REAL(int, open64, const char *, int, ...);
REAL(int, close, int);
REAL(ssize_t, write, int, const void *, size_t);
REAL(ssize_t, pwrite, int, const void *, size_t, off_t);
REAL(ssize_t, pwrite64, int, const void *, size_t, off64_t);
REAL(int, ftruncate, int, off_t);
REAL(int, ftruncate64, int, off64_t);
REAL(int, fsync, int);
REAL(int, fdatasync, int);
REAL(int, unlink, const char *);
REAL(int, rename, const char *, const char *);
REAL(int, clock_gettime, clockid_t, struct timespec *);

static void begin(void) {
#define FIND(name) real_##name = dlsym(RTLD_NEXT, #name)
    FIND(open); FIND(open64); FIND(close); FIND(write); FIND(pwrite); FIND(pwrite64);
    FIND(ftruncate); FIND(ftruncate64); FIND(fsync); FIND(fdatasync);
    FIND(unlink); FIND(rename); FIND(clock_gettime);
    folder = getenv("PITLOGGER_SHIM_FOLDER");
    boot = getenv("PITLOGGER_SHIM_BOOT");
    const char *page = getenv("PITLOGGER_SHIM_CONTROL"), *log = getenv("PITLOGGER_SHIM_LOG");
    if (page) {
        int fd = real_open(page, O_RDWR | O_CLOEXEC);
        if (fd >= 0) {
            void *at = mmap(NULL, sizeof idle, PROT_READ, MAP_SHARED, fd, 0);
            if (at != MAP_FAILED) control = at;
            real_close(fd);
        }
    }
    if (log) log_fd = real_open(log, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
}
static void ready(void) { pthread_once(&once, begin); }

static int is_ours(const char *path) {
    size_t length = path ? strlen(path) : 0;
    if (!folder || !length || strncmp(path, folder, strlen(folder))) return 0;
    return length < 4 || strcmp(path + length - 4, "-shm");
}
static uint32_t id_of(int fd) { return fd >= 0 && fd < FILES ? ids[fd] : 0; }

static void note(char op, uint32_t id, int64_t a, const void *data, int64_t b) {
    if (log_fd < 0) return;
    struct timespec now;
    real_clock_gettime(CLOCK_MONOTONIC, &now);
    struct record head = {op, {0}, id, now.tv_sec * 1000000000LL + now.tv_nsec, a, b};
    (void)!real_write(log_fd, &head, sizeof head);
    if (data && b) (void)!real_write(log_fd, data, b);
}
#define LOCKED(result, call) \
    do { pthread_mutex_lock(&order); result = call; } while (0)
#define UNLOCK pthread_mutex_unlock(&order)

static int opened(int fd, const char *path, int flags) {
    if (fd >= 0 && fd < FILES && is_ours(path)) {
        pthread_mutex_lock(&order);
        ids[fd] = ++last_id;
        note('O', ids[fd], flags, path, strlen(path));
        UNLOCK;
    }
    return fd;
}
static const char *swapped(const char *path) {
    return boot && path && !strcmp(path, "/proc/sys/kernel/random/boot_id") ? boot : path;
}
static int forbidden(const char *path, int flags) {
    return control->mode == MODE_READ_ONLY && (flags & (O_WRONLY | O_RDWR | O_CREAT))
        && is_ours(path);
}

#define OPEN(name)                                                    \
    int name(const char *path, int flags, ...) {                      \
        ready();                                                      \
        va_list rest;                                                 \
        va_start(rest, flags);                                        \
        int mode = flags & O_CREAT ? va_arg(rest, int) : 0;             \
        va_end(rest);                                                 \
        if (forbidden(path, flags)) return errno = EROFS, -1;         \
        return opened(real_##name(swapped(path), flags, mode), path, flags); \
    }
OPEN(open)
OPEN(open64)

int close(int fd) {
    ready();
    if (id_of(fd)) ids[fd] = 0;
    return real_close(fd);
}

/* Return the errno that writing to a file meets now, 0 if none. */
static int refusal(int fd, int64_t end) {
    struct stat now;
    if (control->mode == MODE_BROKEN) return EIO;
    if (control->mode == MODE_READ_ONLY) return EROFS;
    if (control->mode == MODE_FULL && !fstat(fd, &now) && end > now.st_size) return ENOSPC;
    return 0;
}

static ssize_t put(int fd, const void *data, size_t length, int64_t at,
                   ssize_t (*real)(int, const void *, size_t, off_t)) {
    int error = refusal(fd, at + (int64_t)length);
    if (error) return errno = error, -1;
    ssize_t done;
    LOCKED(done, real(fd, data, length, at));
    if (done > 0) note('W', ids[fd], at, data, done);
    UNLOCK;
    return done;
}
ssize_t pwrite(int fd, const void *data, size_t length, off_t at) {
    ready();
    return id_of(fd) ? put(fd, data, length, at, real_pwrite) : real_pwrite(fd, data, length, at);
}
ssize_t pwrite64(int fd, const void *data, size_t length, off64_t at) {
    ready();
    return id_of(fd) ? put(fd, data, length, at, real_pwrite64)
                     : real_pwrite64(fd, data, length, at);
}
ssize_t write(int fd, const void *data, size_t length) {
    ready();
    if (!id_of(fd)) return real_write(fd, data, length);
    int64_t at = lseek(fd, 0, SEEK_CUR);
    int error = refusal(fd, at + (int64_t)length);
    if (error) return errno = error, -1;
    ssize_t done;
    LOCKED(done, real_write(fd, data, length));
    if (done > 0) note('W', ids[fd], at, data, done);
    UNLOCK;
    return done;
}

static int cut(int fd, int64_t size, int (*real)(int, off_t)) {
    if (!id_of(fd)) return real(fd, size);
    int error = refusal(fd, 0), done;
    if (error) return errno = error, -1;
    LOCKED(done, real(fd, size));
    if (!done) note('T', ids[fd], size, NULL, 0);
    UNLOCK;
    return done;
}
int ftruncate(int fd, off_t size) { return ready(), cut(fd, size, real_ftruncate); }
int ftruncate64(int fd, off64_t size) { return ready(), cut(fd, size, real_ftruncate64); }

static int settle(int fd, int (*real)(int)) {
    if (!id_of(fd)) return real(fd);
    if (control->mode == MODE_BROKEN) return errno = EIO, -1;
    if (control->sync_ms) usleep(control->sync_ms * 1000);
    int done;
    LOCKED(done, log_fd < 0 ? real(fd) : 0); /* recorded: the log is what counts */
    if (!done) note('S', ids[fd], 0, NULL, 0);
    UNLOCK;
    return done;
}
int fsync(int fd) { return ready(), settle(fd, real_fsync); }
int fdatasync(int fd) { return ready(), settle(fd, real_fdatasync); }

int unlink(const char *path) {
    ready();
    if (!is_ours(path)) return real_unlink(path);
    if (control->mode == MODE_READ_ONLY) return errno = EROFS, -1;
    int done;
    LOCKED(done, real_unlink(path));
    if (!done) note('U', 0, 0, path, strlen(path));
    UNLOCK;
    return done;
}
int rename(const char *from, const char *to) {
    ready();
    if (!is_ours(from)) return real_rename(from, to);
    if (control->mode == MODE_READ_ONLY) return errno = EROFS, -1;
    int done;
    LOCKED(done, real_rename(from, to));
    if (!done) {
        note('F', 0, 0, from, strlen(from));
        note('R', 0, 0, to, strlen(to));
    }
    UNLOCK;
    return done;
}

int clock_gettime(clockid_t which, struct timespec *now) {
    ready();
    int done = real_clock_gettime(which, now);
    if (!done && which == CLOCK_REALTIME && control->wall_ns) {
        int64_t shifted = now->tv_sec * 1000000000LL + now->tv_nsec + control->wall_ns;
        now->tv_sec = shifted / 1000000000LL;
        now->tv_nsec = shifted % 1000000000LL;
    }
    return done;
}
