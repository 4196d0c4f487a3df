/* What a tick came to. */

#include "dc_core.h"

dc_code dc_state(const dc_sequence *s) { return s->state; }

uint8_t dc_on(const dc_sequence *s, size_t pulse) { return (uint8_t)(s->until[pulse] != 0); }

dc_real dc_demand(const dc_sequence *s, size_t servo) { return s->demands[servo]; }

uint8_t dc_flag(const dc_sequence *s, size_t flag)
{
    size_t cell = dc_cell_index(dc_size_at(s, DC_HEAD_M_FLAGS)) + flag;

    return (uint8_t)(s->values[cell] != 0);
}

uint8_t dc_publishes(const dc_sequence *s)
{
    return (uint8_t)(s->tables->fields != 0 && s->clock % s->tables->period == 0);
}

uint8_t dc_field(const dc_sequence *s, size_t field, dc_real *value)
{
    dc_cell cell;

    dc_cell_at(s, dc_size_at(s, s->tables->published + field), &cell);
    *value = cell.value;
    return (uint8_t)!cell.bad;
}

uint8_t dc_next_event(dc_sequence *s, dc_event *event)
{
    const dc_event *oldest = s->events + s->first;

    if (s->waiting == 0)
        return 0;
    /* one by one: some compilers copy a structure by a call of the library */
    event->clock = oldest->clock;
    event->about = oldest->about;
    event->detail = oldest->detail;
    event->kind = oldest->kind;
    s->first++;
    if (s->first == s->room)
        s->first = 0;
    s->waiting--;
    return 1;
}

uint32_t dc_lost(const dc_sequence *s) { return s->lost; }
