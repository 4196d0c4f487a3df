/* The states: what ends each, where that leads, what is done on the way. */

#include "inside.h"

static uint8_t counted[WAYS]; /* ticks or answers on which a way out was open */

/* whether it was so on that many ticks, one after the other */
static bool held(enum way way, bool so, uint8_t ticks)
{
    if (!so) {
        counted[way] = 0;
        return false;
    }
    if (counted[way] < ticks)
        counted[way]++;
    return counted[way] == ticks;
}

/* The same in answers of a sensor: a tick without one neither counts nor begins anew. */
static bool answered(enum way way, enum input sensor, bool so, uint8_t answers)
{
#ifndef VARIANT_STALE_COUNTED
    if (!in[sensor].fresh)
        return false;
#endif
    return held(way, so && in[sensor].now.known, answers);
}

/* Which states share a way out. */
static bool shared(enum way way, enum state state)
{
    switch (way) {
    case LIFT_SEEN:
        return state == IGNITION || state == RELEASED;
    case TILT_ABORT:
#ifdef VARIANT_ABORT_NOT_WIRED
        return state >= ASCENT && state <= COAST;
#else
        return state >= ASCENT && state <= STAGING;
#endif
    case ATTITUDE_LOST:
        return state >= DESCENT && state <= LANDING_BURN;
    default:
        return way == CHUTE_BY_TIMER && state >= COAST && state <= DESCENT;
    }
}

static void set(enum flag flag)
{
    if (!flags[flag])
        write_down(SET, flag, NOTHING);
    flags[flag] = true;
}

static void clear(enum flag flag)
{
    if (flags[flag])
        write_down(CLEARED, flag, NOTHING);
    flags[flag] = false;
}

static void centre_gimbals(void)
{
    order_move(ASCENT_Y, CENTRE);
    order_move(ASCENT_Z, CENTRE);
    order_move(LANDING_Y, CENTRE);
    order_move(LANDING_Z, CENTRE);
}

static void leave(enum state state)
{
    if (state == ASCENT) {
        order_move(ASCENT_Y, CENTRE);
        order_move(ASCENT_Z, CENTRE);
    } else if (state == LANDING_BURN) {
        order_move(LANDING_Y, CENTRE);
        order_move(LANDING_Z, CENTRE);
    }
}

static void on_the_way(enum way way)
{
    switch (way) {
    case LIFT_SEEN:
    case IN_THE_AIR:
        set(LIFTED);
        set(OWNS_ABORT);
        break;
    case LET_GO:
    case LET_GO_ASLEEP:
        set(OWNS_ABORT);
        break;
    case ABORT_KEY_OUT:
        clear(OWNS_ABORT);
        clear(AT_IGNITION);
        break;
    case PLANNED_RECOVERY:
    case PLANNED_BY_TIMER:
        order_fire(MAIN_CHUTE);
        set(CHUTE_FIRED);
        break;
    case CHUTE_NOT_FELT:
        order_fire(SECOND_CHARGE);
        set(SECOND_FIRED);
        break;
    case KEY_TAKEN_OUT:
        clear(LIFTED);
        clear(AT_IGNITION);
        clear(OWNS_ABORT);
        clear(CHUTE_FIRED);
        clear(SECOND_FIRED);
        clear(LANDED);
        break;
    default:
        break;
    }
}

void enter(enum state state)
{
    flight.state = state;
    flight.entered = flight.clock;
    write_down(ENTERED, state, NOTHING);
    switch (state) {
    case SAFE:
        order_move(FINS, STOWED);
        order_move(LEGS, STOWED);
        break;
    case GROUND_TEST:
        order_move(FINS, OUT);
        order_move(LEGS, OUT);
        centre_gimbals();
        break;
    case ARMING:
        clear(AT_IGNITION);
        centre_gimbals();
        break;
    case IGNITION:
        set(AT_IGNITION);
        break;
    case STAGING:
        order_fire(SEPARATION);
        break;
    case DEPLOY:
        order_move(FINS, OUT);
        break;
    case DESCENT:
        order_move(LEGS, OUT);
        break;
    case RELIGHT:
        order_fire(LANDING_1);
        order_fire(LANDING_2);
        break;
    case TOUCHDOWN:
        order_cut(LANDING_1);
        order_cut(LANDING_2);
        set(LANDED);
        break;
    case ABORT_FLIGHT:
        order_fire(MAIN_CHUTE);
        set(CHUTE_FIRED);
        order_cut(LANDING_1);
        order_cut(LANDING_2);
        break;
    default:
        break;
    }
}

static void go(enum way way, enum state to)
{
    unsigned i;

    write_down(TOOK, way, NOTHING);
    for (i = 0; i < WAYS; i++)
#ifndef VARIANT_COUNTER_RESTARTS /* an abort must not begin anew at staging */
        if (i == way || !shared((enum way)i, flight.state) || !shared((enum way)i, to))
#endif
            counted[i] = 0;
    leave(flight.state);
    on_the_way(way);
    enter(to);
}

/* What several states share comes before what is their own, and all of it is counted. */
static bool common(void)
{
    enum state now = flight.state;
    bool lift = false, tilt = false, lost = false, late = false;

    if (shared(LIFT_SEEN, now))
        lift = held(LIFT_SEEN, sensed.lift == YES, 3);
    if (shared(TILT_ABORT, now))
        tilt = held(TILT_ABORT, below(&sensed.upright, TILT_MAX_COSINE), 10);
    if (shared(ATTITUDE_LOST, now))
        lost = held(ATTITUDE_LOST, below(&sensed.upright, TILT_LOST_COSINE), 20);
    if (shared(CHUTE_BY_TIMER, now))
        late = sensed.flown > CHUTE_LATEST;
    if (lift)
        go(LIFT_SEEN, ASCENT);
    else if (tilt)
        go(TILT_ABORT, ABORT_FLIGHT);
    else if (lost)
        go(ATTITUDE_LOST, ABORT_FLIGHT);
    else if (late)
        go(CHUTE_BY_TIMER, ABORT_FLIGHT);
    return lift || tilt || lost || late;
}

static void safe(void)
{
    bool may_start = !flags[LIFTED];
    bool test = on(GROUND_TEST_SWITCH) && off(KEY) && may_start;
    bool key = on(KEY) && off(GROUND_TEST_SWITCH) && may_start;

#ifdef VARIANT_FIRED_TWICE
    if (flags[LIFTED] && !flags[LANDED])
#else
    if (flags[LIFTED] && !flags[LANDED] && !flags[CHUTE_FIRED])
#endif
        go(REBOOTED_IN_FLIGHT, ABORT_FLIGHT);
    else if (flags[LIFTED] && !flags[LANDED] && flags[CHUTE_FIRED])
        go(REBOOTED_UNDER_CHUTE, UNDER_CHUTE);
    else if (flags[AT_IGNITION] && !flags[LIFTED])
        go(REBOOTED_AT_IGNITION, REBORN);
    else if (held(TEST_CHOSEN, test, 10))
        go(TEST_CHOSEN, GROUND_TEST);
    else if (held(KEY_TURNED, key, 10))
        go(KEY_TURNED, ARMING);
}

/* It has slept through T-0 and does not know whether it flies. What the pad has given away is its
   own, even if it hangs in a hold-down that has not opened. */
static void reborn(uint32_t time)
{
    bool on_pad = off(PAD_IGNITING) && off(PAD_RELEASED);

    if (held(IN_THE_AIR, sensed.lift == YES, 3))
        go(IN_THE_AIR, ABORT_FLIGHT);
    else if (on(PAD_RELEASED) && !flags[OWNS_ABORT] && sensed.lift == NO)
        go(LET_GO_ASLEEP, REBORN);
    else if (held(STILL_ON_THE_PAD, on_pad, 10))
        go(STILL_ON_THE_PAD, ARMING);
    else if (time >= CHUTE_LATEST_TICKS)
        go(NO_FLIGHT_SO_LONG, ABORT_PAD);
}

static void on_the_pad(uint32_t time)
{
    switch (flight.state) {
    case GROUND_TEST:
        if (held(TEST_OVER, off(GROUND_TEST_SWITCH), 10))
            go(TEST_OVER, SAFE);
        break;
    case ARMING:
        if (held(ARMING_KEY_OUT, off(KEY), 10))
            go(ARMING_KEY_OUT, SAFE);
        else if (on(PAD_COUNTING))
            go(PAD_COUNTS, COUNTDOWN);
        break;
    case COUNTDOWN:
        if (on(PAD_IGNITING))
            go(PAD_IGNITES, IGNITION);
        else if (off(PAD_COUNTING))
            go(PAD_RECYCLES, ARMING);
        break;
    case IGNITION:
        if (on(PAD_RELEASED))
            go(LET_GO, RELEASED);
        else if (held(PAD_ABORTED, off(PAD_IGNITING) && off(PAD_RELEASED), 10))
            go(PAD_ABORTED, ARMING);
        break;
    case RELEASED: /* it hangs over burning motors: nothing is fired into that */
        if (time >= LIFT_TIME)
            go(HELD_ALTHOUGH_LET_GO, ABORT_PAD);
        break;
    case ABORT_PAD:
        if (held(ABORT_KEY_OUT, off(KEY), 10))
            go(ABORT_KEY_OUT, SAFE);
        break;
    default:
        break;
    }
}

static void upwards(uint32_t time)
{
    bool weak, burnt, slow;

    switch (flight.state) {
    case ASCENT:
        weak = WEAK_FROM < time && time < BURN_LEAST && below(&sensed.accel, WEAK_ACCEL);
        burnt = time >= BURN_LEAST && below(&sensed.accel, BURNOUT_ACCEL);
        if (held(THRUST_TOO_WEAK, weak, 20))
            go(THRUST_TOO_WEAK, ABORT_FLIGHT);
        else if (held(BURNT_OUT, burnt, BURNT_OUT_HOLD))
            go(BURNT_OUT, COAST);
        else if (time >= BURN_MOST)
            go(BURNT_OUT_BY_TIMER, COAST);
        break;
    case COAST: /* it stays on the booster's fins until it is slow */
        slow = time >= STAGE_DELAY && below(&sensed.climb, STAGE_CLIMB);
        if (answered(SLOW_ENOUGH, BARO, slow, 2))
            go(SLOW_ENOUGH, STAGING);
        else if (time >= COAST_MOST)
            go(PARTING_BY_TIMER, STAGING);
        break;
    case STAGING:
        if (held(PARTED, on(SEPARATED), 5))
            go(PARTED, DEPLOY);
        else if (time >= STAGE_TIME)
            go(HANG_TOGETHER, ABORT_FLIGHT);
        break;
    default:
        break;
    }
}

static bool falls_faster_than(double speed)
{
    return sensed.climb.known && -sensed.climb.value > speed;
}

static void over_the_top(void)
{
    bool falls = falls_faster_than(FALL_START), late = sensed.flown > OVER_THE_TOP;

    if (answered(PLANNED_RECOVERY, BARO, on(PLAN_CHUTE) && falls, 3))
        go(PLANNED_RECOVERY, UNDER_CHUTE);
    else if (on(PLAN_CHUTE) && late)
        go(PLANNED_BY_TIMER, UNDER_CHUTE);
    else if (answered(OVER_TOP, BARO, falls, 3))
        go(OVER_TOP, DESCENT);
    else if (late)
        go(OVER_TOP_BY_TIMER, DESCENT);
}

static void downwards(uint32_t time)
{
    bool near, low;

    switch (flight.state) {
    case DESCENT:
        near = sensed.range_now.known && sensed.range_now.value <= BURN_START &&
               ticks_silent(RANGE) < RANGE_STALE;
#ifdef VARIANT_SIGN
        low = above(&sensed.height, CHUTE_FLOOR) && ticks_silent(RANGE) > RANGE_STALE;
#else
        low = below(&sensed.height, CHUTE_FLOOR) && ticks_silent(RANGE) > RANGE_STALE;
#endif
        if (held(BURN_BEGINS, near, 3))
            go(BURN_BEGINS, RELIGHT);
        else if (answered(FALLING_TOO_FAST, BARO, falls_faster_than(FALL_MAX), 3))
            go(FALLING_TOO_FAST, ABORT_FLIGHT);
        else if (held(NO_RANGE, low, 5))
            go(NO_RANGE, ABORT_FLIGHT);
        break;
    case RELIGHT: /* a gimbal that steers a cold motor only winds up */
        if (held(THRUST_VERIFIED, above(&sensed.accel, THRUST_ACCEL), 3))
            go(THRUST_VERIFIED, LANDING_BURN);
        else if (time >= RELIGHT_TIME)
            go(NO_THRUST, ABORT_FLIGHT);
        break;
    case LANDING_BURN:
        if (answered(CONTACT, RANGE, below(&in[RANGE].now, CONTACT_RANGE), 3))
            go(CONTACT, TOUCHDOWN);
        else if (time >= BURN_LONGEST)
            go(BURN_OVER, TOUCHDOWN);
        break;
    default:
        break;
    }
}

static void under_chute(uint32_t time)
{
    bool unfelt = falls_faster_than(CHUTE_FALL) || ticks_silent(BARO) > BARO_STALE;
    bool still = above(&sensed.drift, -STILL_SPEED) && below(&sensed.drift, STILL_SPEED);

    if (!flags[SECOND_FIRED] && time >= CHARGE_WAIT && unfelt)
        go(CHUTE_NOT_FELT, UNDER_CHUTE);
    else if (answered(AT_REST, BARO, still && time > SETTLE_TIME, 50))
        go(AT_REST, TOUCHDOWN);
    else if (time >= SINK_MOST)
        go(AT_REST_BY_TIMER, TOUCHDOWN);
}

void decide(void)
{
    uint32_t time = ticks_in_state();

    if (common())
        return;
    switch (flight.state) {
    case SAFE:
        safe();
        break;
    case REBORN:
        reborn(time);
        break;
    case ASCENT:
    case COAST:
    case STAGING:
        upwards(time);
        break;
    case DEPLOY:
        over_the_top();
        break;
    case DESCENT:
    case RELIGHT:
    case LANDING_BURN:
        downwards(time);
        break;
    case TOUCHDOWN:
        if (time >= SETTLE_TIME)
            go(SETTLED, RECOVERY);
        break;
    case RECOVERY:
        if (held(KEY_TAKEN_OUT, off(KEY), 10))
            go(KEY_TAKEN_OUT, SAFE);
        break;
    case ABORT_FLIGHT:
        if (flags[CHUTE_FIRED])
            go(CHUTE_COMMANDED, UNDER_CHUTE);
        break;
    case UNDER_CHUTE:
        under_chute(time);
        break;
    default:
        on_the_pad(time);
        break;
    }
}

void states_boot(void)
{
    size_t i;

    for (i = 0; i < WAYS; i++)
        counted[i] = 0;
}
