/* What is switched and moved: pulses with their inhibits, servos, and the orders of a tick. */

#include "inside.h"

/* Entering a state, leaving one and what is done on the way never come to more than this. */
#define ORDERS 16u

enum verb { FIRE, CUT_OFF, MOVE };

static struct {
    enum verb verb;
    uint8_t what;
    enum position position;
} orders[ORDERS];
static uint8_t ordered;

static uint32_t until[PULSES]; /* tick on which it is over, 0: off */
static double demands[SERVOS];
static struct steering ascent = {0.5, 0.2, 0.12, 0.0, 0.0, 0.0, 0.0};
static struct steering landing = {0.4, 0.1, 0.1, 0.0, 0.0, 0.0, 0.0};
static enum state steered; /* the state on the last tick */

static const uint32_t lengths[PULSES] = {
    TICKS(0.6), TICKS(0.6), TICKS(0.4), TICKS(0.6), TICKS(0.6)
};

bool flight_on(enum pulse pulse) { return until[pulse] != 0; }
double flight_demand(enum servo servo) { return demands[servo]; }

static void order(enum verb verb, unsigned what, enum position position)
{
    if (ordered == ORDERS)
        return;
    orders[ordered].verb = verb;
    orders[ordered].what = (uint8_t)what;
    orders[ordered].position = position;
    ordered++;
}

void order_fire(enum pulse pulse) { order(FIRE, pulse, CENTRE); }
void order_cut(enum pulse pulse) { order(CUT_OFF, pulse, CENTRE); }
void order_move(enum servo servo, enum position position) { order(MOVE, servo, position); }

/* The first of its inhibits that is in place. Nobody knows is in place, but for a parachute. */
static enum inhibit inhibited(enum pulse pulse)
{
    if (pulse == MAIN_CHUTE || pulse == SECOND_CHARGE)
#ifdef VARIANT_CHUTE_KEPT_IN
        return on(KEY) ? NO_INHIBIT : KEY_OUT;
#else
        return off(KEY) ? KEY_OUT : NO_INHIBIT;
#endif
    if (!on(KEY))
        return KEY_OUT;
    if (!off(SAFE_PLUG))
        return SAFE_PLUG_IN;
    if (flags[LANDED])
        return DOWN;
    if (!flags[LIFTED])
        return NOT_LIFTED;
    if (pulse == SEPARATION)
        return NO_INHIBIT;
    if (flight.state != RELIGHT && flight.state != LANDING_BURN)
        return NOT_LANDING;
    return flags[CHUTE_FIRED] ? CHUTE_OUT : NO_INHIBIT;
}

static void fire(enum pulse pulse)
{
    enum inhibit by;

    if (until[pulse] != 0) {
        write_down(IGNORED, pulse, NOTHING);
        return;
    }
    by = inhibited(pulse);
    if (by != NO_INHIBIT) {
        write_down(BLOCKED, pulse, by);
        return;
    }
#ifdef VARIANT_PULSE_LONG
    until[pulse] = flight.clock + lengths[pulse] + 1;
#else
    until[pulse] = flight.clock + lengths[pulse];
#endif
    write_down(FIRED, pulse, NOTHING);
}

static void cut(enum pulse pulse, unsigned by)
{
    if (until[pulse] == 0)
        return;
    until[pulse] = 0;
    write_down(CUT, pulse, by);
}

static void pulses_end(void)
{
    unsigned i;

    for (i = 0; i < PULSES; i++)
        if (until[i] != 0 && until[i] <= flight.clock) {
            until[i] = 0;
            write_down(ENDED, i, NOTHING);
        }
    for (i = 0; i < PULSES; i++) {
        enum inhibit by = inhibited((enum pulse)i);
        if (by != NO_INHIBIT)
            cut((enum pulse)i, by);
    }
}

/* A gimbal is steered in the state that burns its motors, and begins anew with it. */
static void gimbal(struct steering *loop, enum state burn, enum servo y, enum servo z)
{
    if (flight.state != burn)
        return;
    if (steered != burn)
        steering_restart(loop);
    if (steer(loop)) {
        demands[y] = loop->y;
        demands[z] = loop->z;
    }
}

/* The orders come last, so a move wins over steering. No way orders the same thing twice. */
void act(void)
{
    uint8_t i;

    pulses_end();
    gimbal(&ascent, ASCENT, ASCENT_Y, ASCENT_Z);
#ifdef VARIANT_STEERS_COLD
    gimbal(&landing, RELIGHT, LANDING_Y, LANDING_Z);
#endif
    gimbal(&landing, LANDING_BURN, LANDING_Y, LANDING_Z);
    steered = flight.state;
    for (i = 0; i < ordered; i++) {
        uint8_t what = orders[i].what;
        switch (orders[i].verb) {
        case FIRE:
            fire((enum pulse)what);
            break;
        case CUT_OFF:
            cut((enum pulse)what, NOTHING);
            break;
        case MOVE:
            demands[what] = orders[i].position == OUT ? 1.0 : 0.0;
            write_down(MOVED, what, orders[i].position);
            break;
        }
    }
    ordered = 0;
}

void outputs_boot(void)
{
    size_t i;

    ordered = 0;
    steered = SAFE;
    for (i = 0; i < PULSES; i++)
        until[i] = 0;
    for (i = 0; i < SERVOS; i++)
        demands[i] = 0.0;
}
