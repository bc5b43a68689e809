/* The yardstick of reading_engine.py: pread(2) in a loop, one buffer for each thread.
 * Arguments: path, transfer bytes, threads, seconds. Prints bytes read and seconds. */
#define _GNU_SOURCE
#include <fcntl.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

static int fd;
static long transfer, transfers;
static double until;
static atomic_long next_transfer, completed;

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return t.tv_sec + t.tv_nsec / 1e9;
}

static void *work(void *unused)
{
    void *buffer;
    long mine;
    (void)unused;
    if (posix_memalign(&buffer, 4096, transfer))
        return NULL;
    while (now() < until && (mine = atomic_fetch_add(&next_transfer, 1)) < transfers) {
        if (pread(fd, buffer, transfer, mine * transfer) != transfer) {
            perror("pread");
            exit(1);
        }
        atomic_fetch_add(&completed, 1);
    }
    free(buffer);
    return NULL;
}

int main(int count, char **words)
{
    pthread_t threads[256];
    if (count != 5 || atoi(words[3]) > 256)
        return 2;
    fd = open(words[1], O_RDONLY | O_DIRECT);
    if (fd < 0) {
        perror(words[1]);
        return 1;
    }
    transfer = atol(words[2]);
    transfers = lseek(fd, 0, SEEK_END) / transfer;
    double begun = now();
    until = begun + atof(words[4]);
    for (int i = 0; i < atoi(words[3]); i++)
        pthread_create(&threads[i], NULL, work, NULL);
    for (int i = 0; i < atoi(words[3]); i++)
        pthread_join(threads[i], NULL);
    printf("%ld %.6f\n", completed * transfer, now() - begun);
    return 0;
}
