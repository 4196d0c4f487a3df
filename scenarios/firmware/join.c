/* The firmware on the bench: what the kit's link client (hil/kit/bench/dc_link.h) asks of it, in
   the bench image only. The names are compared with those of the sequence file, one by one. */

#include "dc_link.h"

#include "flight.h"
#include "written_for.h"

#if defined(__AVR__)
#include <avr/pgmspace.h>
#define IN_FLASH PROGMEM
#else
#define IN_FLASH
#endif

static const uint8_t written_for[] IN_FLASH = {WRITTEN_FOR};

static const char *const inputs[INPUTS] = {
    "arm_key", "plan_chute", "safe_plug", "ground_test", "accel_x", "gyro_x", "gyro_y", "gyro_z",
    "baro", "range", "separated", "battery", "continuity_l1", "continuity_l2", "continuity_sep",
    "continuity_chute", "pad_counting", "pad_igniting", "pad_released"
};
static const char *const states[STATES] = {
    "safe", "ground_test", "reborn", "arming", "countdown", "ignition", "released", "abort_pad",
    "ascent", "coast", "staging", "deploy", "descent", "relight", "landing_burn", "touchdown",
    "recovery", "abort_flight", "under_chute"
};
static const char *const functions[PULSES + SERVOS] = {
    "landing_1", "landing_2", "separation", "main_chute", "second_charge", "ascent_y", "ascent_z",
    "landing_y", "landing_z", "fins", "legs"
};

static void boot(uint8_t warm) { flight_boot(warm != 0); }
static uint16_t state(void) { return (uint16_t)flight_state(); }
static uint8_t on(size_t pulse) { return flight_on((enum pulse)pulse); }
static dc_real demand(size_t servo) { return (dc_real)flight_demand((enum servo)servo); }
static uint8_t publishes(void) { return flight_publishes(); }
static uint8_t lost(void) { return flight_lost_notes(); }

static void tick(uint32_t clock, const dc_real *values, const uint8_t *fresh)
{
    static double given[INPUTS];
    size_t i;

    for (i = 0; i < INPUTS; i++)
        given[i] = (double)values[i];
    flight_tick(clock, given, fresh);
}

static dc_real field(size_t field)
{
    double value = flight_at_ignition();

    return field == 1 || flight_ready(&value) ? (dc_real)value : dc_link_no_number();
}

static uint8_t event(dc_link_event *event)
{
    note oldest;

    if (!flight_next_note(&oldest))
        return 0;
    event->kind = oldest.kind;
    event->subject = oldest.subject;
    event->detail = oldest.detail;
    return 1;
}

void dc_join(dc_board *board)
{
    static const dc_logic logic = {100, PULSES, SERVOS, 2, boot, tick, state, on, demand, publishes,
                                   field, event, lost};
    static dc_real values[INPUTS];
    static uint8_t fresh[INPUTS];

    board->logic = &logic;
    board->build = "by hand";
    board->sequence = written_for;
    board->inputs = (dc_names){inputs, INPUTS};
    board->states = (dc_names){states, STATES};
    board->functions = (dc_names){functions, PULSES + SERVOS};
    board->values = values;
    board->fresh = fresh;
}
