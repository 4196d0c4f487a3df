/* A tick from its beginning to its end, and the log. */

#include "inside.h"

#define NOTES 40u

struct flight flight;
bool flags[FLAGS];

static note notes[NOTES];
static uint8_t first, waiting;
static bool lost;

void write_down(enum note_kind kind, unsigned subject, unsigned detail)
{
    note *next = &notes[((unsigned)first + waiting) % NOTES];

    if (waiting == NOTES) {
        lost = true;
        return;
    }
    waiting++;
    next->kind = (uint8_t)kind;
    next->subject = (uint16_t)subject;
    next->detail = (uint16_t)detail;
}

bool flight_next_note(note *oldest)
{
    if (waiting == 0)
        return false;
    oldest->kind = notes[first].kind;
    oldest->subject = notes[first].subject;
    oldest->detail = notes[first].detail;
    first = (uint8_t)((first + 1u) % NOTES);
    waiting--;
    return true;
}

bool flight_lost_notes(void) { return lost; }

uint32_t ticks_in_state(void)
{
    return flight.clock - flight.entered;
}

void flight_boot(bool warm)
{
    size_t i;

    if (!warm)
        for (i = 0; i < FLAGS; i++)
            flags[i] = false;
#ifdef VARIANT_FLAG_FORGOTTEN
    flags[AT_IGNITION] = false;
#endif
    flight.state = SAFE;
    flight.clock = 0;
    flight.entered = 0;
    flight.running = false;
    first = 0;
    waiting = 0;
    lost = false;
    sensing_boot();
    states_boot();
    outputs_boot();
}

void flight_tick(uint32_t clock, const double *values, const uint8_t *fresh)
{
#ifdef VARIANT_LATE_TICKS_FORGOTTEN
    flight.clock = flight.running ? flight.clock + 1 : clock;
#else
    flight.clock = clock;
#endif
    if (!flight.running) {
        flight.running = true;
        flight.entered = clock;
        enter(SAFE);
    }
    sense(values, fresh);
    decide();
    act();
}

enum state flight_state(void) { return flight.state; }

/* Every second tick, that is, 50 times a second. */
bool flight_publishes(void) { return flight.clock % 2 == 0; }

bool flight_ready(double *value)
{
    *value = sensed.ready == YES ? 1.0 : 0.0;
    return sensed.ready != UNKNOWN;
}

double flight_at_ignition(void) { return flags[AT_IGNITION] ? 1.0 : 0.0; }
