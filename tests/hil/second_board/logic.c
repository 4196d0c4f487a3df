#include "logic.h"

#include <math.h>

struct hold { bool running; uint32_t since; };

static struct {
    bool started;
    double in[LOGIC_INPUTS];
    unsigned state;
    uint32_t entered_at;
    struct hold hold[LOGIC_EXITS];
    bool flag[LOGIC_FLAGS];
    bool on[LOGIC_PULSES];
    uint32_t on_since[LOGIC_PULSES];
    double demand[LOGIC_SERVOS];
} m;

static struct logic_output *o;          /* of the tick that is being executed */

static void event(unsigned kind, unsigned subject, unsigned detail)
{
    if (o->events >= LOGIC_MAX_EVENTS) {
        o->events_lost = true;
        return;
    }
    o->event[o->events].kind = (uint8_t)kind;
    o->event[o->events].subject = (uint16_t)subject;
    o->event[o->events].detail = (uint16_t)detail;
    o->events++;
}

void logic_boot(void)
{
    logic_reset(false);
}

void logic_reset(bool warm)
{
    bool flown = warm && m.flag[FL_FLOWN];
    unsigned i;

    m.started = false;
    for (i = 0; i < LOGIC_INPUTS; i++) m.in[i] = NAN;
    m.state = ST_PAD;
    m.entered_at = 0;
    for (i = 0; i < LOGIC_EXITS; i++) m.hold[i].running = false;
    for (i = 0; i < LOGIC_FLAGS; i++) m.flag[i] = false;
    for (i = 0; i < LOGIC_PULSES; i++) m.on[i] = false;
    for (i = 0; i < LOGIC_SERVOS; i++) m.demand[i] = LOGIC_POSITION_CLOSED;
    m.flag[FL_FLOWN] = flown;
}

void logic_input(unsigned index, double value)
{
    if (index < LOGIC_INPUTS) m.in[index] = value;
}

static bool held(unsigned exit_index, bool condition, uint32_t tick, uint32_t ticks)
{
    struct hold *h = &m.hold[exit_index];

    if (!condition) {
        h->running = false;
        return false;
    }
    if (!h->running) {
        h->running = true;
        h->since = tick;
    }
    return tick - h->since >= ticks;
}

static void set_flag(unsigned flag, bool to)
{
    if (m.flag[flag] == to) return;
    m.flag[flag] = to;
    event(to ? EV_SET : EV_CLEARED, flag, EV_NONE);
}

static void move(unsigned servo, unsigned position)
{
    m.demand[servo] = position == POS_OPEN ? LOGIC_POSITION_OPEN : LOGIC_POSITION_CLOSED;
    event(EV_MOVED, servo, position);
}

static void fire(unsigned pulse, bool inhibited, uint32_t tick)
{
    if (m.on[pulse]) {
        event(EV_IGNORED, pulse, EV_NONE);
    } else if (inhibited) {
        event(EV_BLOCKED, pulse, IH_NOT_ARMED);
    } else {
        m.on[pulse] = true;
        m.on_since[pulse] = tick;
        o->began[pulse] = true;
        event(EV_FIRED, pulse, EV_NONE);
    }
}

static void enter(unsigned state, bool inhibited, uint32_t tick)
{
    unsigned i;

    m.state = state;
    m.entered_at = tick;
    for (i = 0; i < LOGIC_EXITS; i++) m.hold[i].running = false;
    event(EV_ENTERED, state, EV_NONE);
    switch (state) {
    case ST_BOOST:
        set_flag(FL_FLOWN, true);
        break;
    case ST_COAST:
        set_flag(FL_BRAKE_OUT, true);
        move(SV_AIRBRAKE, POS_OPEN);
        break;
    case ST_DESCENT:
        set_flag(FL_BRAKE_OUT, false);
        move(SV_AIRBRAKE, POS_CLOSED);
        fire(PU_DROGUE, inhibited, tick);
        break;
    case ST_LANDED:
        set_flag(FL_FLOWN, false);
        break;
    default:
        break;
    }
}

static unsigned exit_due(uint32_t tick, unsigned *to)
{
    bool a, b;

    switch (m.state) {
    case ST_PAD:                        /* both holds run side by side */
        a = held(EX_PAD_COAST, m.flag[FL_FLOWN] && m.in[IN_ALTITUDE] > 50.0, tick,
                 LOGIC_HOLD_FLOWN);
        b = held(EX_PAD_BOOST, m.in[IN_ACCEL] > 20.0, tick, LOGIC_HOLD_LAUNCH);
        if (a) { *to = ST_COAST; return EX_PAD_COAST; }
        if (b) { *to = ST_BOOST; return EX_PAD_BOOST; }
        break;
    case ST_BOOST:
        if (held(EX_BOOST_COAST, m.in[IN_ACCEL] < 0.0, tick, LOGIC_HOLD_BURNOUT)) {
            *to = ST_COAST;
            return EX_BOOST_COAST;
        }
        break;
    case ST_COAST:
        if (m.in[IN_CLIMB] < 0.0) { *to = ST_DESCENT; return EX_COAST_APOGEE; }
        if (tick - m.entered_at >= LOGIC_TIMEOUT_COAST) {
            *to = ST_DESCENT;
            return EX_COAST_TIMEOUT;
        }
        break;
    case ST_DESCENT:
        if (held(EX_DESCENT_LANDED, m.in[IN_ALTITUDE] < 5.0, tick, LOGIC_HOLD_LANDED)) {
            *to = ST_LANDED;
            return EX_DESCENT_LANDED;
        }
        break;
    default:
        break;
    }
    return LOGIC_EXITS;
}

void logic_tick(uint32_t tick, struct logic_output *out)
{
    bool inhibited = !(m.in[IN_ARMED] > 0.5);   /* NaN: not armed */
    unsigned i, ex, to = ST_PAD;

    o = out;
    o->events = 0;
    o->events_lost = false;
    for (i = 0; i < LOGIC_PULSES; i++) o->began[i] = false;

    for (i = 0; i < LOGIC_PULSES; i++) {
        if (!m.on[i]) continue;
        if (tick - m.on_since[i] >= LOGIC_DROGUE_TICKS) {
            m.on[i] = false;
            event(EV_ENDED, i, EV_NONE);
        } else if (inhibited) {
            m.on[i] = false;
            event(EV_CUT, i, IH_NOT_ARMED);
        }
    }
    if (!m.started) {
        m.started = true;
        enter(ST_PAD, inhibited, tick);
    } else {
        ex = exit_due(tick, &to);
        if (ex < LOGIC_EXITS) {
            event(EV_TOOK, ex, EV_NONE);
            enter(to, inhibited, tick);
        }
    }

    o->state = m.state;
    for (i = 0; i < LOGIC_PULSES; i++) o->on[i] = m.on[i];
    for (i = 0; i < LOGIC_SERVOS; i++) o->demand[i] = m.demand[i];
    o->publishes = tick % LOGIC_PUBLISH_EVERY == 0;
    o->field[0] = m.in[IN_ALTITUDE];
    o->field[1] = m.flag[FL_FLOWN] ? 1.0 : 0.0;
}
