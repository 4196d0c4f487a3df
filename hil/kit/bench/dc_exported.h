/* The board of an exported sequence, whichever it is: build with -DSEQUENCE=NAME -DDC_NAMES. One
   file of an image includes this; it holds the memory of the logic. */

#ifndef DC_EXPORTED_H
#define DC_EXPORTED_H

#include "dc_core.h"
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

static OF(SEQUENCE, _memory) exported;

static void exported_boot(uint8_t warm)
{
    static uint8_t retained[COUNT(exported.values)];
    size_t flags = dc_size_at(&exported.logic, DC_HEAD_FLAGS), i;

    for (i = 0; i < flags; i++)
        retained[i] = dc_flag(&exported.logic, i);
    dc_boot(&exported.logic, warm ? retained : NULL);
}

static void exported_tick(uint32_t clock, const dc_real *values, const uint8_t *fresh)
{
    dc_tick(&exported.logic, clock, values, fresh);
}

static uint16_t exported_state(void) { return (uint16_t)dc_state(&exported.logic); }
static uint8_t exported_on(size_t pulse) { return dc_on(&exported.logic, pulse); }
static dc_real exported_demand(size_t servo) { return dc_demand(&exported.logic, servo); }
static uint8_t exported_publishes(void) { return dc_publishes(&exported.logic); }
static uint8_t exported_lost(void) { return dc_lost(&exported.logic) > 0; }

static dc_real exported_field(size_t field)
{
    dc_real value;

    return dc_field(&exported.logic, field, &value) ? value : dc_link_no_number();
}

static uint8_t exported_event(dc_link_event *event)
{
    dc_event next;

    if (!dc_next_event(&exported.logic, &next))
        return 0;
    event->kind = next.kind;
    event->subject = (uint16_t)next.about;
    event->detail = (uint16_t)next.detail;
    return 1;
}

/* All but what the board itself is and does: its name, boots, write and micros. */
void dc_join(dc_board *board)
{
    static dc_logic logic;
    static dc_real values[COUNT(OF(SEQUENCE, _input_names))];
    static uint8_t fresh[COUNT(OF(SEQUENCE, _input_names))];
    const dc_sequence *s = OF(SEQUENCE, _init)(&exported);

    logic.rate_hz = (uint16_t)dc_code_at(s, DC_HEAD_RATE_HZ);
    logic.pulses = (uint16_t)dc_code_at(s, DC_HEAD_PULSES);
    logic.servos = (uint16_t)dc_code_at(s, DC_HEAD_SERVOS);
    logic.fields = (uint16_t)s->tables->fields;
    logic.boot = exported_boot;
    logic.tick = exported_tick;
    logic.state = exported_state;
    logic.on = exported_on;
    logic.demand = exported_demand;
    logic.publishes = exported_publishes;
    logic.field = exported_field;
    logic.event = exported_event;
    logic.lost = exported_lost;
    board->logic = &logic;
    board->build = "exported " NAME_OF(SEQUENCE);
    board->sequence = OF(SEQUENCE, _sha256);
#if OF(SEQUENCE, _wired)
    board->wiring = OF(SEQUENCE, _wiring);
#endif
    board->inputs.names = OF(SEQUENCE, _input_names);
    board->inputs.count = COUNT(OF(SEQUENCE, _input_names));
    board->states.names = OF(SEQUENCE, _state_names);
    board->states.count = COUNT(OF(SEQUENCE, _state_names));
    board->functions.names = OF(SEQUENCE, _function_names);
    board->functions.count = COUNT(OF(SEQUENCE, _function_names));
    board->values = values;
    board->fresh = fresh;
}

#endif
