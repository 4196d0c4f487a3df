/* Solid motors: thrust table, delay, ejection charge, puffs. */

#ifndef MOTORS_H
#define MOTORS_H

#include "air.h"

#define BURST 4 /* 0 cold, 1 the delay runs, 2 burning, 3 burnt out */

typedef struct {
    double thrust, impulse;
} Burn;

static Burn burn(const Params *p, int64_t m, double time)
{
    int64_t points = p->motor_points[m];
    const double *t = p->motor_time[m], *f = p->motor_thrust[m];
    double impulse = 0.0;
    if (points < 2 || time < t[0] - TINY)
        return (Burn){0.0, 0.0};
    for (int64_t i = 1; i < points; i++) {
        double t0 = t[i - 1], t1 = t[i], f0 = f[i - 1], f1 = f[i];
        if (time <= t1) {
            double since = most(time - t0, 0.0);
            double thrust = t1 > t0 ? f0 + (f1 - f0) * since / (t1 - t0) : f1;
            return (Burn){thrust, impulse + 0.5 * (f0 + thrust) * since};
        }
        impulse += 0.5 * (f0 + f1) * (t1 - t0);
    }
    if (time <= t[points - 1] + TINY)
        return (Burn){f[points - 1], impulse};
    return (Burn){0.0, impulse};
}

static inline bool takes_part(const State *s, const Params *p, int64_t m, int64_t body)
{
    return s->separated == 0 ? body == 0 : p->motor_part[m] == body;
}

static inline bool burns(const State *s, int64_t m)
{
    return s->lit[m] == 2 && s->motor_cold[m] == 0;
}

static void set_cold(State *s, int64_t m)
{
    double period = s->chuff_period[m];
    s->motor_cold[m] = 0;
    if (period > 0.0 && s->lit[m] == 2) {
        double clock = s->chuff_clock[m];
        if (clock - floor((clock + TINY) / period) * period >= 0.5 * period - TINY)
            s->motor_cold[m] = 1;
    }
}

static void set_factors(State *s, const Params *p, const Commands *c)
{
    for (int64_t m = 0; m < p->motors; m++) {
        s->motor_factor[m] = fault_size(p, c, FAULT_MOTOR_THRUST, m, 1.0);
        s->chuff_period[m] = fault_size(p, c, FAULT_MOTOR_CHUFF, m, 0.0);
        if (s->chuff_period[m] <= 0.0)
            s->chuff_clock[m] = 0.0;
        set_cold(s, m);
        double late = fault_size(p, c, FAULT_EJECTION_LATE, m, 0.0);
        s->eject_shift[m] = late - fault_size(p, c, FAULT_EJECTION_EARLY, m, 0.0);
    }
}

static void light(State *s, const Params *p, int64_t m, double since)
{
    if (s->lit[m] == 0) {
        double delay = most(p->motor_delay[m] - since, 0.0);
        s->motor_clock[m] = -delay;
        s->lit[m] = delay > TINY ? 1 : 2;
    }
}

/* Whether the ejection charge goes off at the end of the step. */
static bool burn_on(State *s, const Params *p, int64_t m, double dt)
{
    int64_t lit = s->lit[m];
    if (lit == 0 || lit == BURST)
        return false;
    double clock = s->motor_clock[m], after = clock + dt;
    if (lit == 2 && s->chuff_period[m] > 0.0) {
        s->chuff_clock[m] += dt;
        if (s->motor_cold[m] != 0)
            after = clock;
    }
    if (fabs(after) < TINY)
        after = 0.0;
    if (lit < 3) {
        double given = burn(p, m, clock).impulse;
        s->motor_used[m] += s->motor_factor[m] * (burn(p, m, after).impulse - given);
    }
    s->motor_clock[m] = after;
    int64_t last = p->motor_points[m] - 1;
    double end = p->motor_time[m][last > 0 ? last : 0];
    if (lit == 1 && after >= 0.0) {
        lit = 2;
        s->chuff_clock[m] = after;
    }
    if (lit == 2 && after >= end - TINY)
        lit = 3;
    s->lit[m] = lit;
    set_cold(s, m);
    double due = end + p->motor_eject_delay[m] + s->eject_shift[m] - TINY;
    if (lit < 3 || s->ejected[m] != 0 || after < due)
        return false;
    s->ejected[m] = 1;
    return true;
}

#endif
