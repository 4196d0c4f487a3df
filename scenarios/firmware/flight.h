/* Flight computer of the demo vehicle "sandpiper", written by hand: what a builder has who had
   firmware before there was a sequence file. States are a switch, timers are counters, filters are
   written out. It shares nothing with the kit's logic and touches no pin.

   Vehicle, logic and numbers are our own invention. Motors and charges injure: local law, the rules
   of your site and its range safety officer come before anything that this does. */

#ifndef FLIGHT_H
#define FLIGHT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#ifdef __FAST_MATH__
#error "the logic tells numbers from what is none: build it without -ffast-math"
#endif
#if defined(__clang__)
#pragma STDC FP_CONTRACT OFF
#endif

/* All of these stand in the order of flight.sequence.toml. */
enum input {
    KEY, PLAN_CHUTE, SAFE_PLUG, GROUND_TEST_SWITCH, ACCEL_X, GYRO_X, GYRO_Y, GYRO_Z, BARO, RANGE,
    SEPARATED, BATTERY, LOOP_L1, LOOP_L2, LOOP_SEP, LOOP_CHUTE, PAD_COUNTING, PAD_IGNITING,
    PAD_RELEASED,
    INPUTS
};

enum state {
    SAFE, GROUND_TEST, REBORN, ARMING, COUNTDOWN, IGNITION, RELEASED, ABORT_PAD, ASCENT, COAST,
    STAGING, DEPLOY, DESCENT, RELIGHT, LANDING_BURN, TOUCHDOWN, RECOVERY, ABORT_FLIGHT, UNDER_CHUTE,
    STATES
};

enum flag { AT_IGNITION, LIFTED, OWNS_ABORT, CHUTE_FIRED, SECOND_FIRED, LANDED, FLAGS };

enum inhibit { KEY_OUT, SAFE_PLUG_IN, NOT_LIFTED, NOT_LANDING, DOWN, CHUTE_OUT, NO_INHIBIT };

enum pulse { LANDING_1, LANDING_2, SEPARATION, MAIN_CHUTE, SECOND_CHARGE, PULSES };

enum servo { ASCENT_Y, ASCENT_Z, LANDING_Y, LANDING_Z, FINS, LEGS, SERVOS };

/* of fins and legs; a gimbal has a centre only */
enum position { CENTRE = 0, STOWED = 0, OUT = 1 };

/* The ways out of states. Those that several states share come first. */
enum way {
    LIFT_SEEN, TILT_ABORT, ATTITUDE_LOST, CHUTE_BY_TIMER,
    COMMON_WAYS,
    REBOOTED_IN_FLIGHT = COMMON_WAYS, REBOOTED_UNDER_CHUTE, REBOOTED_AT_IGNITION, TEST_CHOSEN,
    KEY_TURNED,
    TEST_OVER,
    IN_THE_AIR, LET_GO_ASLEEP, STILL_ON_THE_PAD, NO_FLIGHT_SO_LONG,
    ARMING_KEY_OUT, PAD_COUNTS,
    PAD_IGNITES, PAD_RECYCLES,
    LET_GO, PAD_ABORTED,
    HELD_ALTHOUGH_LET_GO,
    ABORT_KEY_OUT,
    THRUST_TOO_WEAK, BURNT_OUT, BURNT_OUT_BY_TIMER,
    SLOW_ENOUGH, PARTING_BY_TIMER,
    PARTED, HANG_TOGETHER,
    PLANNED_RECOVERY, PLANNED_BY_TIMER, OVER_TOP, OVER_TOP_BY_TIMER,
    BURN_BEGINS, FALLING_TOO_FAST, NO_RANGE,
    THRUST_VERIFIED, NO_THRUST,
    CONTACT, BURN_OVER,
    SETTLED,
    KEY_TAKEN_OUT,
    CHUTE_COMMANDED,
    CHUTE_NOT_FELT, AT_REST, AT_REST_BY_TIMER,
    WAYS
};

/* What the log holds, with the numbers that docs/link.md gives to events. */
enum note_kind {
    ENTERED, TOOK, SET, CLEARED, ENDED, CUT, FIRED, IGNORED, BLOCKED, MOVED
};

#define NOTHING 0xffffu

typedef struct {
    uint8_t kind;
    uint16_t subject, detail; /* detail: of a cut or a block the inhibit, of a move the position */
} note;

/* warm: after a reset that left the memory whole; the flags are then as the last tick left them */
void flight_boot(bool warm);

/* One tick. clock: ticks since boot, late ones included, that are left out. A value counts where
   it is fresh; NaN: the sensor had none. */
void flight_tick(uint32_t clock, const double *values, const uint8_t *fresh);

/* What the last tick left. */
enum state flight_state(void);
bool flight_on(enum pulse pulse);
double flight_demand(enum servo servo); /* rad, or 0 to 1 */
bool flight_publishes(void);            /* whether the pad is told something on this tick */
bool flight_ready(double *value);       /* 0 or 1; false: nobody knows */
double flight_at_ignition(void);
bool flight_next_note(note *oldest);    /* takes it */
bool flight_lost_notes(void);

#endif
