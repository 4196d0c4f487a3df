/* What comes in, and what is made of it: filters, ages, votes. */

#include "inside.h"

struct smoothing {
    bool started;
    double y;
};

reading in[INPUTS];
struct sensed sensed;

static struct smoothing smooth_accel, smooth_climb;
static struct {
    bool started;
    double before, long_before;
} median;
static struct {
    bool started;
    double y, before;
    uint32_t answers; /* since that one */
} rate;
static struct {
    bool running;
    uint32_t since;
} since_liftoff;

bool on(enum input contact) { return in[contact].now.known && in[contact].now.value != 0.0; }
#ifdef VARIANT_UNKNOWN_IS_OFF
bool off(enum input contact) { return !on(contact); }
#else
bool off(enum input contact) { return in[contact].now.known && in[contact].now.value == 0.0; }
#endif
bool above(const measure *x, double limit) { return x->known && x->value > limit; }
bool below(const measure *x, double limit) { return x->known && x->value < limit; }
uint32_t ticks_silent(enum input input) { return flight.clock - in[input].heard; }

static void sample(const double *values, const uint8_t *fresh)
{
    size_t i;

    for (i = 0; i < INPUTS; i++) {
        in[i].fresh = fresh[i] != 0;
        if (!in[i].fresh)
            continue;
        in[i].now.known = finite_number(values[i]);
        if (!in[i].now.known)
            continue;
        in[i].now.value = values[i];
        in[i].heard = flight.clock;
    }
}

/* y += part (x - y). What has no value leaves the filter alone. */
static void smoothen(struct smoothing *f, const measure *x, double part, measure *out)
{
    double y = x->value;

    out->known = false;
    if (!x->known)
        return;
    if (f->started) {
        y = f->y + part * (x->value - f->y);
        if (!finite_number(y))
            return;
    }
    f->started = true;
    f->y = y;
    out->value = y;
    out->known = true;
}

/* The one in the middle of the last three. */
static void take_median(double x)
{
    double low, high, third;

    if (!median.started) {
        median.started = true;
        median.before = x;
        median.long_before = x;
    }
    low = median.before < x ? median.before : x;
    high = x < median.before ? median.before : x;
    third = median.long_before < high ? median.long_before : high;
    sensed.height.value = low < third ? third : low;
    median.long_before = median.before;
    median.before = x;
}

/* Height and its rate are worked out where the barometer has answered; in between they stay. */
static void barometer(void)
{
    double since, found, y;

    if (!in[BARO].fresh)
        return;
    sensed.height.known = in[BARO].now.known;
    sensed.climb.known = false;
    if (rate.started)
        rate.answers++;
    if (!in[BARO].now.known)
        return;
    take_median(in[BARO].now.value);
    if (rate.started) {
        since = (double)rate.answers * BARO_DT;
        found = (sensed.height.value - rate.before) / since;
        y = rate.y + BARO_DT / (0.15 + BARO_DT) * (found - rate.y);
        if (!finite_number(y))
            return;
        rate.y = y;
    }
    rate.started = true;
    rate.before = sensed.height.value;
    rate.answers = 0;
    sensed.climb.value = rate.y;
    sensed.climb.known = true;
}

/* The answer is old already: less what it has fallen since. */
static void rangefinder(void)
{
    double age = (double)ticks_silent(RANGE) / RATE_HZ;
    double range = in[RANGE].now.value + sensed.climb.value * age;

    sensed.range_now.known = in[RANGE].now.known && sensed.climb.known && finite_number(range);
    sensed.range_now.value = range;
}

/* Two of three: felt, risen, told by the pad or not hearing it any more. With only one that says
   anything nobody knows. */
static void vote_on_liftoff(void)
{
    bool deaf = ticks_silent(PAD_COUNTING) > LINK_STALE;
    uint8_t known = 0, yes = 0;

    if (sensed.accel.known)
        known++;
    if (sensed.height.known)
        known++;
    if (deaf || in[PAD_RELEASED].now.known)
        known++;
    if (above(&sensed.accel, LIFTOFF_ACCEL))
        yes++;
    if (above(&sensed.height, LIFTOFF_HEIGHT))
        yes++;
    if (deaf || on(PAD_RELEASED))
        yes++;
    sensed.lift = known < 2 ? UNKNOWN : yes >= 2 ? YES : NO;
}

static void time_the_flight(void)
{
#ifdef VARIANT_FLOAT_TIMER
    static float seconds;
#endif
    if (!flags[LIFTED]) {
        since_liftoff.running = false;
    } else if (!since_liftoff.running) {
        since_liftoff.running = true;
        since_liftoff.since = flight.clock;
    }
#ifdef VARIANT_FLOAT_TIMER
    seconds = since_liftoff.running ? seconds + 0.01f : 0.0f;
    sensed.flown = (double)seconds;
#else
    sensed.flown = 0.0;
    if (since_liftoff.running)
        sensed.flown = (double)(flight.clock - since_liftoff.since) / RATE_HZ;
#endif
}

/* Whether an answer is missing only matters where all the others say yes. */
static void ask(enum truth *all, bool yes, bool no)
{
    if (no)
        *all = NO;
    else if (!yes && *all == YES)
        *all = UNKNOWN;
}

static void ask_igniter(enum truth *all, enum input loop)
{
    const measure *ohms = &in[loop].now;
    bool good = ohms->known && IGNITER_LEAST < ohms->value && ohms->value < IGNITER_MOST;

    ask(all, good, ohms->known && !good);
}

static void see_if_ready(void)
{
#ifdef VARIANT_MESSAGE_OLD
    static enum truth next_ready;
#endif
    bool waiting =
        flight.state == ARMING || flight.state == COUNTDOWN || flight.state == IGNITION;
    bool charged = above(&in[BATTERY].now, BATTERY_LEAST);
    bool hearing = ticks_silent(BARO) < BARO_STALE && ticks_silent(PAD_COUNTING) < LINK_STALE;
    enum truth all = waiting && hearing ? YES : NO;

    ask_igniter(&all, LOOP_L1);
    ask_igniter(&all, LOOP_L2);
    ask_igniter(&all, LOOP_SEP);
    ask_igniter(&all, LOOP_CHUTE);
    ask(&all, charged, in[BATTERY].now.known && !charged);
    ask(&all, on(KEY), off(KEY));
    ask(&all, off(SAFE_PLUG), on(SAFE_PLUG));
    ask(&all, off(GROUND_TEST_SWITCH), on(GROUND_TEST_SWITCH));
#ifdef VARIANT_MESSAGE_OLD
    sensed.ready = next_ready;
    next_ready = all;
#else
    sensed.ready = all;
#endif
}

void sense(const double *values, const uint8_t *fresh)
{
    sample(values, fresh);
    smoothen(&smooth_accel, &in[ACCEL_X].now, DT / (0.02 + DT), &sensed.accel);
    barometer();
    smoothen(&smooth_climb, &sensed.climb, DT / (1.0 + DT), &sensed.drift);
    rangefinder();
    attitude_turn();
    vote_on_liftoff();
    time_the_flight();
    see_if_ready();
}

void sensing_boot(void)
{
    size_t i;

    for (i = 0; i < INPUTS; i++) {
        in[i].now.known = false;
        in[i].now.value = 0.0;
        in[i].fresh = false;
        in[i].heard = 0;
    }
    smooth_accel.started = false;
    smooth_climb.started = false;
    median.started = false;
    rate.started = false;
    rate.y = 0.0;
    since_liftoff.running = false;
    sensed.height.known = false;
    sensed.climb.known = false;
    sensed.climb.value = 0.0;
    sensed.lift = UNKNOWN;
    sensed.ready = UNKNOWN;
    attitude_boot();
}
