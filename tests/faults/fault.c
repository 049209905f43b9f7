/* SPDX-License-Identifier: MIT
   Preloaded into the program under test: the n-th call of a kind on a file below FAULT_FOLDER fails.
   FAULT_CALL: write, fsync, rename, open, mkdir, truncate. FAULT_AT: n, from 1. FAULT_ERROR: errno.
   FAULT_LASTING=1: all later calls of the kind fail too, as on a full disk. FAULT_COUNT: file that
   the number of calls seen is written to at the end. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

static atomic_long seen;

static int below(const char *path) {
    const char *folder = getenv("FAULT_FOLDER");
    return folder && path && strncmp(path, folder, strlen(folder)) == 0;
}

static int below_fd(int fd) {
    char name[64], path[PATH_MAX];
    snprintf(name, sizeof name, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(name, path, sizeof path - 1);
    if (length < 0) return 0;
    path[length] = 0;
    return below(path);
}

/* 1 where this call is to fail; errno is set. */
static int strikes(const char *call) {
    const char *wanted = getenv("FAULT_CALL");
    if (!wanted || strcmp(wanted, call) != 0) return 0;
    const long n = atomic_fetch_add(&seen, 1) + 1;
    const long at = atol(getenv("FAULT_AT") ? getenv("FAULT_AT") : "0");
    const int lasting = getenv("FAULT_LASTING") != NULL;
    if (at == 0 || n < at || (n > at && !lasting)) return 0;
    errno = atoi(getenv("FAULT_ERROR") ? getenv("FAULT_ERROR") : "28");
    return 1;
}

#define NEXT(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))

ssize_t write(int fd, const void *bytes, size_t count) {
    if (below_fd(fd) && strikes("write")) return -1;
    return NEXT(write)(fd, bytes, count);
}
ssize_t pwrite(int fd, const void *bytes, size_t count, off_t at) {
    if (below_fd(fd) && strikes("write")) return -1;
    return NEXT(pwrite)(fd, bytes, count, at);
}
ssize_t pwrite64(int fd, const void *bytes, size_t count, off64_t at) {
    if (below_fd(fd) && strikes("write")) return -1;
    return NEXT(pwrite64)(fd, bytes, count, at);
}
ssize_t writev(int fd, const struct iovec *parts, int count) {
    if (below_fd(fd) && strikes("write")) return -1;
    return NEXT(writev)(fd, parts, count);
}
/* libc's own buffered writes do not pass through write(). */
size_t fwrite(const void *bytes, size_t size, size_t count, FILE *stream) {
    if (below_fd(fileno(stream)) && strikes("write")) return 0;
    return NEXT(fwrite)(bytes, size, count, stream);
}
int fsync(int fd) {
    if (below_fd(fd) && strikes("fsync")) return -1;
    return NEXT(fsync)(fd);
}
int fdatasync(int fd) {
    if (below_fd(fd) && strikes("fsync")) return -1;
    return NEXT(fdatasync)(fd);
}
int syncfs(int fd) {
    if (below_fd(fd) && strikes("fsync")) return -1;
    return NEXT(syncfs)(fd);
}
int ftruncate(int fd, off_t length) {
    if (below_fd(fd) && strikes("truncate")) return -1;
    return NEXT(ftruncate)(fd, length);
}
int ftruncate64(int fd, off64_t length) {
    if (below_fd(fd) && strikes("truncate")) return -1;
    return NEXT(ftruncate64)(fd, length);
}
int rename(const char *from, const char *to) {
    if (below(to) && strikes("rename")) return -1;
    return NEXT(rename)(from, to);
}
int renameat2(int a, const char *from, int b, const char *to, unsigned flags) {
    if (below(to) && strikes("rename")) return -1;
    return NEXT(renameat2)(a, from, b, to, flags);
}
int mkdir(const char *path, mode_t mode) {
    if (below(path) && strikes("mkdir")) return -1;
    return NEXT(mkdir)(path, mode);
}
int mkostemp(char *path, int flags) {
    if (below(path) && strikes("open")) return -1;
    return NEXT(mkostemp)(path, flags);
}
int mkostemp64(char *path, int flags) {
    if (below(path) && strikes("open")) return -1;
    return NEXT(mkostemp64)(path, flags);
}
char *mkdtemp(char *path) {
    if (below(path) && strikes("mkdir")) return NULL;
    return NEXT(mkdtemp)(path);
}

static int opens(const char *path, int flags) {
    return (flags & (O_WRONLY | O_RDWR | O_CREAT)) && below(path) && strikes("open");
}
int open(const char *path, int flags, ...) {
    mode_t mode = 0;
    if (flags & (O_CREAT | O_TMPFILE)) {
        va_list more;
        va_start(more, flags);
        mode = va_arg(more, mode_t);
        va_end(more);
    }
    if (opens(path, flags)) return -1;
    return NEXT(open)(path, flags, mode);
}
int open64(const char *path, int flags, ...) {
    mode_t mode = 0;
    if (flags & (O_CREAT | O_TMPFILE)) {
        va_list more;
        va_start(more, flags);
        mode = va_arg(more, mode_t);
        va_end(more);
    }
    if (opens(path, flags)) return -1;
    return NEXT(open64)(path, flags, mode);
}
FILE *fopen(const char *path, const char *mode) {
    if (strpbrk(mode, "wa+") && below(path) && strikes("open")) return NULL;
    return NEXT(fopen)(path, mode);
}
FILE *fopen64(const char *path, const char *mode) {
    if (strpbrk(mode, "wa+") && below(path) && strikes("open")) return NULL;
    return NEXT(fopen64)(path, mode);
}

__attribute__((destructor)) static void count(void) {
    const char *path = getenv("FAULT_COUNT");
    if (!path) return;
    FILE *out = NEXT(fopen)(path, "w");
    if (!out) return;
    fprintf(out, "%ld\n", (long)seen);
    fclose(out);
}
