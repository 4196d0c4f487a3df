/* The world step of sequencer/world/kernel.py, written by hand in C99 from the same equations.

It works on the same memory (layout.h), so that either step can take over where the other left off.
Build without fast-math and without contraction: every operation is rounded as it stands. */

#include "flight.h"
#include "senses.h"

static void begin(State *s, const Params *p, const Commands *c)
{
    s->tick = 0;
    s->separation_clock = -1.0;
    s->least_distance = INFINITY;
    s->released = p->holds_down != 0 ? 0 : 1;
    for (int64_t i = 0; i < p->parachutes; i++)
        s->parachute_clock[i] = -INFINITY;
    for (int64_t i = 0; i < p->servos; i++) {
        s->servo[i] = p->servo_start[i];
        s->servo_demand[i] = NAN;
    }
    for (int64_t i = 0; i < p->sensors; i++)
        s->sensor_value[i] = s->port_value[i] = NAN;
    begin_sensing(s, p);
    start_circuits(s, p);
    set_factors(s, p, c);
    begin_turbulence(s, p);
    set_shape(s, p);
    place_on_pad(s, p);
}

static void advance_tick(State *s, const Params *p, const Commands *c, double dt)
{
    set_factors(s, p, c);
    stir(s, p, 1.0 / (double)p->rate_hz);
    for (int64_t n = -1; n < p->substeps; n++) {
        if (n >= 0) {
            double time = (double)(s->tick * p->substeps + n) * dt;
            move_servos(s, p, c, 0.5 * dt);
            set_shape(s, p);
            move_body0(s, p, time, dt);
            move_servos(s, p, c, 0.5 * dt);
            if (s->separated != 0 && s->part1_down == 0)
                advance_part1(s, p, time, dt);
            burn_motors(s, p, c, dt);
            run_parachutes(s, p, c, dt);
        }
        double gone = n >= 0 ? dt : 0.0;
        run_circuits(s, p, c, gone);
        let_go(s, p, c);
        part(s, p, c, gone);
        burst_motors(s, p, c);
    }
    s->tick++;
}

/* Advance by one world tick; a zeroed state with tick NOT_BEGUN is put on its pad instead. */
static void step(State *s, const Params *p, const Commands *c, Out *out)
{
    double dt = 1.0 / (double)(p->rate_hz * p->substeps);
    bool begun = s->tick != NOT_BEGUN;
    if (!begun)
        begin(s, p, c);
    begin_circuits(s, p, c);
    if (begun)
        advance_tick(s, p, c, dt);
    observe(s, p, out, (double)s->tick / (double)p->rate_hz, dt);
    measure(s, p, c, out);
    answer(s, p, c, out);
}

void world_step(State *s, const Params *p, const Commands *c, Out *out) { step(s, p, c, out); }

/* `count` ticks, each with commands of its own. */
void world_run(State *s, const Params *p, const Commands *c, Out *out, int64_t count)
{
    for (int64_t i = 0; i < count; i++)
        step(s, p, c + i, out);
}

/* One tick of one sequence. */
void logic_tick(const Logic *l, int64_t clock, const double *values, const uint8_t *fresh)
{
    tick(l, clock, values, fresh);
}

/* `count` ticks of the world, each with commands of its own, and of the computers in it. */
void whole_flight(State *s, const Params *p, const Commands *c, Out *out, int64_t count, Board *boards,
                  int64_t computers)
{
    for (int64_t k = 0; k < computers; k++)
        hear(boards + k, out);
    for (int64_t i = 0; i < count; i++) {
        for (int64_t k = 0; k < computers; k++)
            turn(boards + k, i);
        step(s, p, c + i, out);
        for (int64_t k = 0; k < computers; k++)
            hear(boards + k, out);
    }
}
