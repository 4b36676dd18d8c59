/* A disk that fails on demand: preloaded into the server, it makes the n-th call of a kind on a file fail.
 *
 *   IOF_OP     write (also pwrite, pwrite64), fsync (also fdatasync), any
 *   IOF_PATH   a part of the file's path, such as -wal or /photos; with a $ behind it, the path's end
 *   IOF_FROM   the first call that fails, from 1
 *   IOF_COUNT  how many fail from there on; 0: all
 *   IOF_ERRNO  the number errno is set to; 0: the call does nothing and reports success (a disk that lies)
 *   IOF_DELAY_MS  in place of failing, each of these calls takes so much longer
 *   IOF_KILL   anything: in place of failing, the process is killed, as kill -9 does
 *   IOF_BYTES  writes fail once so many bytes were written to such files; counts bytes in place of calls
 *   IOF_GATE   a file; while it is not there, nothing fails and nothing is counted
 *   IOF_REPORT a file; one byte is added to it by each call that was made to fail
 *
 * What is counted is counted in one process. Calls that do not match go through untouched.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { WRITES = 1, SYNCS = 2 };

static int ops, fault, kills, is_set;
static long from, count, delay_ms, most_bytes;
static const char *part, *gate, *report;
static atomic_long calls, bytes;

static ssize_t (*real_write)(int, const void *, size_t);
static ssize_t (*real_pwrite)(int, const void *, size_t, off_t);
static ssize_t (*real_pwrite64)(int, const void *, size_t, off64_t);
static int (*real_fsync)(int);
static int (*real_fdatasync)(int);

static long number(const char *name, long otherwise) {
  const char *text = getenv(name);
  return text ? atol(text) : otherwise;
}

__attribute__((constructor)) static void begin(void) {
  real_write = dlsym(RTLD_NEXT, "write");
  real_pwrite = dlsym(RTLD_NEXT, "pwrite");
  real_pwrite64 = dlsym(RTLD_NEXT, "pwrite64");
  real_fsync = dlsym(RTLD_NEXT, "fsync");
  real_fdatasync = dlsym(RTLD_NEXT, "fdatasync");
  const char *op = getenv("IOF_OP");
  part = getenv("IOF_PATH");
  if (!op || !part) return;
  ops = !strcmp(op, "write") ? WRITES : !strcmp(op, "fsync") ? SYNCS : WRITES | SYNCS;
  from = number("IOF_FROM", 1);
  count = number("IOF_COUNT", 0);
  fault = (int)number("IOF_ERRNO", EIO);
  delay_ms = number("IOF_DELAY_MS", 0);
  most_bytes = number("IOF_BYTES", -1);
  kills = getenv("IOF_KILL") != NULL;
  gate = getenv("IOF_GATE");
  report = getenv("IOF_REPORT");
  is_set = 1;
}

static int matches(int fd) {
  char link[64], path[4096];
  snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  ssize_t length = readlink(link, path, sizeof path - 1);
  if (length <= 0) return 0;
  path[length] = 0;
  size_t end = strlen(part);
  if (end && part[end - 1] == '$')
    return (size_t)length >= end - 1 && !strncmp(path + length - (end - 1), part, end - 1);
  return strstr(path, part) != NULL;
}

static void note(void) {
  if (!report) return;
  int fd = open(report, O_WRONLY | O_CREAT | O_APPEND, 0600);
  if (fd < 0) return;
  if (real_write(fd, "x", 1) != 1) { /* nothing can be done about it */ }
  close(fd);
}

/* Whether this call is to fail. */
static int fails(int op, int fd, size_t size) {
  if (!is_set || !(ops & op)) return 0;
  int before = errno;
  if (!matches(fd) || (gate && access(gate, F_OK) != 0)) {
    errno = before;
    return 0;
  }
  errno = before;
  if (most_bytes >= 0) {
    if (atomic_load(&bytes) + (long)size <= most_bytes) {
      atomic_fetch_add(&bytes, (long)size);
      return 0;
    }
  } else {
    long call = atomic_fetch_add(&calls, 1) + 1;
    if (call < from || (count && call >= from + count)) return 0;
  }
  note();
  if (kills) {
    kill(getpid(), SIGKILL);
    for (;;) pause();
  }
  if (delay_ms) {
    struct timespec time = {delay_ms / 1000, delay_ms % 1000 * 1000000};
    nanosleep(&time, NULL);
    return 0;
  }
  return 1;
}

static ssize_t failed(size_t size) {
  if (!fault) return (ssize_t)size;
  errno = fault;
  return -1;
}

ssize_t write(int fd, const void *from_where, size_t size) {
  return fails(WRITES, fd, size) ? failed(size) : real_write(fd, from_where, size);
}

ssize_t pwrite(int fd, const void *from_where, size_t size, off_t at) {
  return fails(WRITES, fd, size) ? failed(size) : real_pwrite(fd, from_where, size, at);
}

ssize_t pwrite64(int fd, const void *from_where, size_t size, off64_t at) {
  return fails(WRITES, fd, size) ? failed(size) : real_pwrite64(fd, from_where, size, at);
}

int fsync(int fd) { return fails(SYNCS, fd, 0) ? (int)failed(0) : real_fsync(fd); }

int fdatasync(int fd) { return fails(SYNCS, fd, 0) ? (int)failed(0) : real_fdatasync(fd); }
