/* The kit's logic as a library of the host: tables come at run time, memory from the heap. */

#include <stdlib.h>

#include "kit_memory.h"

#ifdef EXPORTED /* the name of a sequence whose tables are linked in */
#define JOINED(name, rest) name##rest
#define OF(name, rest) JOINED(name, rest)
#define TEXT(x) #x
#define HEADER(name) TEXT(name##_tables.h)
#define INCLUDED(name) HEADER(name)
#include INCLUDED(EXPORTED)
#endif

typedef struct {
    dc_tables tables;
    dc_sequence *logic;
    dc_sequence own;
} host;

static size_t some(size_t count) { return count > 0 ? count : 1; }

/* All memory in one piece of exactly so much room, so that a sanitizer sees what goes beyond. */
host *host_new(const dc_code *code, const dc_real *numbers, const uint32_t *at,
               const uint32_t *sizes)
{
    host *h = calloc(1, sizeof *h);
    dc_sequence *s = &h->own;

    h->logic = s;
    h->tables.code = code;
    h->tables.numbers = numbers;
    h->tables.starts = at[0];
    h->tables.constants = at[1];
    h->tables.flags = at[2];
    h->tables.published = at[3];
    h->tables.positions = at[4];
    h->tables.fields = at[5];
    h->tables.period = at[6];
    s->tables = &h->tables;
    s->values = calloc(some(sizes[0]), sizeof *s->values);
    s->bad = calloc(some(sizes[0]), sizeof *s->bad);
    s->heard = calloc(some(sizes[1]), sizeof *s->heard);
    s->registers = calloc(some(sizes[2]), sizeof *s->registers);
    s->holds = calloc(some(sizes[3]), sizeof *s->holds);
    s->loops = calloc(some(sizes[4]), sizeof *s->loops);
    s->until = calloc(some(sizes[5]), sizeof *s->until);
    s->commanded = calloc(some(sizes[5]), sizeof *s->commanded);
    s->demands = calloc(some(sizes[6]), sizeof *s->demands);
    s->saved = calloc(some(sizes[7]), sizeof *s->saved);
    s->queue = calloc(some(sizes[8]), sizeof *s->queue);
    s->events = calloc(some(sizes[9]), sizeof *s->events);
    s->room = sizes[9];
    return h;
}

#ifdef EXPORTED
host *host_exported(void)
{
    static OF(EXPORTED, _memory) memory;
    host *h = calloc(1, sizeof *h);

    h->logic = OF(EXPORTED, _init)(&memory);
    return h;
}
#endif

void host_free(host *h)
{
    dc_sequence *s = &h->own;

    free(s->values);
    free(s->bad);
    free(s->heard);
    free(s->registers);
    free(s->holds);
    free(s->loops);
    free(s->until);
    free(s->commanded);
    free(s->demands);
    free(s->saved);
    free(s->queue);
    free(s->events);
    free(h);
}

void host_boot(host *h, const uint8_t *retained) { dc_boot(h->logic, retained); }

/* Events as rows of three; how many there were, or -1 when some were lost. */
int32_t host_tick(host *h, uint32_t clock, const double *values, const uint8_t *fresh,
                  int32_t *events)
{
    dc_real given[64];
    dc_event event;
    int32_t count = 0;
    size_t inputs = dc_size_at(h->logic, DC_HEAD_INPUTS), i;

    for (i = 0; i < inputs; i++)
        given[i] = (dc_real)values[i];
    dc_tick(h->logic, clock, given, fresh);
    while (dc_next_event(h->logic, &event)) {
        int32_t *row = events + 3 * count;
        row[0] = event.kind;
        row[1] = event.about;
        row[2] = event.detail;
        count += event.clock == clock;
    }
    return dc_lost(h->logic) > 0 ? -1 : count;
}

int32_t host_state(const host *h) { return dc_state(h->logic); }

void host_outputs(const host *h, uint8_t *on, double *demands, uint8_t *flags)
{
    const dc_sequence *s = h->logic;
    size_t i;

    for (i = 0; i < dc_size_at(s, DC_HEAD_PULSES); i++)
        on[i] = dc_on(s, i);
    for (i = 0; i < dc_size_at(s, DC_HEAD_SERVOS); i++)
        demands[i] = (double)dc_demand(s, i);
    for (i = 0; i < dc_size_at(s, DC_HEAD_FLAGS); i++)
        flags[i] = dc_flag(s, i);
}

int32_t host_message(const host *h, double *values, uint8_t *bad)
{
    size_t i;

    if (!dc_publishes(h->logic))
        return 0;
    for (i = 0; i < h->logic->tables->fields; i++) {
        dc_real value;
        bad[i] = !dc_field(h->logic, i, &value);
        values[i] = (double)value;
    }
    return 1;
}

void host_memory(const host *h, double *image) { kit_memory(h->logic, image); }

double host_root(double x) { return (double)dc_root((dc_real)x); }
