/* An exported sequence as a program of this host, on its standard input and output:
   `drycount fly --on exec:PROGRAM`. A board's bench image does the same with its UART.

   Build with -DSEQUENCE=NAME -DDC_NAMES -DDC_BENCH: NAME_tables.c, the kit, and this folder. Without a
   SEQUENCE it is the program of whatever logic has the dc_join that it is linked with. */

#define _POSIX_C_SOURCE 200809L

#include <stdlib.h>
#include <time.h>
#include <unistd.h>

#ifdef SEQUENCE
#include "dc_exported.h"
#else /* logic that was written by hand, with a dc_join of its own */
#include "dc_link.h"
#endif

static uint8_t out[4096];
static size_t waiting;

static void flush(void)
{
    size_t at = 0;

    while (at < waiting) {
        ssize_t done = write(STDOUT_FILENO, out + at, waiting - at);
        if (done <= 0)
            exit(EXIT_FAILURE);
        at += (size_t)done;
    }
    waiting = 0;
}

static void write_bytes(void *context, const uint8_t *bytes, size_t count)
{
    size_t i;

    (void)context;
    for (i = 0; i < count; i++) {
        if (waiting == sizeof out)
            flush();
        out[waiting++] = bytes[i];
    }
}

static uint32_t micros(void *context)
{
    struct timespec now;

    (void)context;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (uint32_t)((uint64_t)now.tv_sec * 1000000u + (uint64_t)(now.tv_nsec / 1000));
}

int main(void)
{
    static dc_link link_;
    static dc_board board;
    uint8_t in[1024];

    dc_join(&board);
    board.board = "host";
    board.boots = 1;
    board.write = write_bytes;
    board.micros = micros;
    dc_link_start(&link_, &board);
    for (;;) {
        ssize_t got;
        flush();
        got = read(STDIN_FILENO, in, sizeof in);
        if (got <= 0)
            return EXIT_SUCCESS;
        dc_link_watch(&link_);
        dc_link_take(&link_, in, (size_t)got);
    }
}
