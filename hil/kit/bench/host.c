/* An exported sequence as a program of this host, on its standard input and output:
   `drycount fly --on exec:PROGRAM`. A board's bench image does the same with its UART.

   Build with -DSEQUENCE=NAME -DDC_NAMES -DDC_BENCH: NAME_tables.c, the kit, and this folder. */

#define _POSIX_C_SOURCE 200809L

#include <stdlib.h>
#include <time.h>
#include <unistd.h>

#include "dc_link.h"

#define JOINED(name, rest) name##rest
#define OF(name, rest) JOINED(name, rest)
#define TEXT(x) #x
#define HEADER(name) TEXT(name##_tables.h)
#define INCLUDED(name) HEADER(name)
#define WORD(name) TEXT(name)
#define NAME_OF(name) WORD(name)
#include INCLUDED(SEQUENCE)

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

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
    static OF(SEQUENCE, _memory) memory;
    static dc_real values[COUNT(OF(SEQUENCE, _input_names))];
    static uint8_t fresh[COUNT(OF(SEQUENCE, _input_names))];
    static uint8_t retained[COUNT(memory.values)];
    static dc_link link_;
    static dc_board board;
    uint8_t in[1024];

    board.board = "host";
    board.build = "example 1, " NAME_OF(SEQUENCE);
    board.sequence = OF(SEQUENCE, _sha256);
    board.inputs.names = OF(SEQUENCE, _input_names);
    board.inputs.count = COUNT(OF(SEQUENCE, _input_names));
    board.states.names = OF(SEQUENCE, _state_names);
    board.states.count = COUNT(OF(SEQUENCE, _state_names));
    board.functions.names = OF(SEQUENCE, _function_names);
    board.functions.count = COUNT(OF(SEQUENCE, _function_names));
    board.boots = 1;
    board.logic = OF(SEQUENCE, _init)(&memory);
    board.values = values;
    board.fresh = fresh;
    board.retained = retained;
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
