/* A whole flight: the world, and the logic of computers that hear what sensors say. What comes from
elsewhere was recorded: the commands of crew and computers, what arrived by message, and on which
tick of the world a computer ran. */

#ifndef FLIGHT_H
#define FLIGHT_H

#include "common.h"
#include "tick.h"

typedef struct {
    Logic logic;
    double *values;
    uint8_t *fresh;
    int64_t inputs;
    const int64_t *sensors; /* per input its sensor, or NONE */
    /* per tick of the world: of its own clock, NONE where it does not run; per input what arrived */
    const int64_t *clocks;
    const double *mail;
    const uint8_t *arrived;
    int64_t told; /* events so far */
} Board;

static void hear(Board *b, const Out *out)
{
    for (int64_t i = 0; i < b->inputs; i++) {
        int64_t sensor = b->sensors[i];
        if (sensor != NONE && out->fresh[sensor] != 0) {
            b->values[i] = out->value[sensor];
            b->fresh[i] = 1;
        }
    }
}

static void turn(Board *b, int64_t at)
{
    if (b->clocks[at] == NONE)
        return;
    const uint8_t *arrived = b->arrived + at * b->inputs;
    for (int64_t i = 0; i < b->inputs; i++)
        if (arrived[i]) {
            b->values[i] = b->mail[at * b->inputs + i];
            b->fresh[i] = 1;
        }
    tick(&b->logic, b->clocks[at], b->values, b->fresh);
    b->told += b->logic.events[0];
    for (int64_t i = 0; i < b->inputs; i++)
        b->fresh[i] = 0;
}

#endif
