/* Servos, parachutes, the joint between the bodies, motors' charges. */

#ifndef MECHANISMS_H
#define MECHANISMS_H

#include "ground.h"

#define VENTED 1e-3 /* Pa */

static void move_servos(State *s, const Params *p, const Commands *c, double dt)
{
    for (int64_t i = 0; i < p->servos; i++) {
        s->servo_amps[i] = 0.0;
        if (s->powerless[p->servo_battery[i]] != 0)
            continue;
        if (!isnan(c->servo[i]))
            s->servo_demand[i] = c->servo[i];
        double demand = s->servo_demand[i];
        if (isnan(demand))
            continue;
        double aim = within(demand + p->servo_bias[i], p->servo_low[i], p->servo_high[i]);
        double error = aim - s->servo[i];
        double left = fabs(error);
        if (left <= p->servo_dead_band[i])
            continue;
        if (fault_at(p, c, FAULT_SERVO_STUCK, i)) {
            s->servo_amps[i] = p->servo_stall[i];
            continue;
        }
        s->servo_amps[i] = p->servo_moving[i];
        double lag = p->servo_lag[i], rate = p->servo_rate[i];
        double near = lag > 0.0 ? rate * lag : 0.0;
        double fast = least(most(left - near, 0.0), rate * dt);
        left -= fast;
        if (lag > 0.0 && rate > 0.0)
            left *= exp(-(dt - fast / rate) / lag);
        left = most(left, p->servo_dead_band[i]);
        s->servo[i] = aim - copysign(left, error);
    }
}

static void throw_out(State *s, const Params *p, const Commands *c, int64_t i, double delay)
{
    if (fault_at(p, c, FAULT_PARACHUTE_FAILS, i))
        return;
    double late = delay + fault_size(p, c, FAULT_PARACHUTE_LATE, i, 0.0);
    s->parachute_clock[i] = most(s->parachute_clock[i], -late);
}

static void deploy(State *s, const Params *p, const Commands *c, int64_t i, double delay)
{
    if (p->parachute_body[i] == 0)
        for (int64_t k = 0; k < p->sensors; k++)
            s->bay_excess[k] += p->sensor_bay_pressure[k];
    throw_out(s, p, c, i, delay);
}

static void vent(State *s, const Params *p, double dt)
{
    for (int64_t i = 0; i < p->sensors; i++)
        if (s->bay_excess[i] > 0.0) {
            s->bay_excess[i] *= exp(-dt / p->sensor_bay_decay[i]);
            if (s->bay_excess[i] < VENTED)
                s->bay_excess[i] = 0.0;
        }
}

static void run_parachutes(State *s, const Params *p, const Commands *c, double dt)
{
    for (int64_t i = 0; i < p->parachutes; i++) {
        double clock = s->parachute_clock[i];
        if (clock == -INFINITY)
            continue;
        double after = clock + dt;
        if (fabs(after) < TINY)
            after = 0.0;
        if (clock < 0.0 && 0.0 <= after && fault_at(p, c, FAULT_PARACHUTE_FAILS, i))
            after = -INFINITY;
        s->parachute_clock[i] = after;
    }
}

static inline void order_separation(State *s)
{
    s->separation_clock = most(s->separation_clock, 0.0);
}

static void burn_motors(State *s, const Params *p, const Commands *c, double dt)
{
    vent(s, p, dt);
    for (int64_t m = 0; m < p->motors; m++) {
        if (!burn_on(s, p, m, dt))
            continue;
        if (p->motor_eject_kind[m] == LOAD_SEPARATION)
            order_separation(s);
        else
            deploy(s, p, c, p->motor_eject_target[m], 0.0);
    }
}

static void burst_motors(State *s, const Params *p, const Commands *c)
{
    for (int64_t m = 0; m < p->motors; m++) {
        if (s->lit[m] != 2 || !fault_at(p, c, FAULT_MOTOR_BURST, m))
            continue;
        budget(s, p, AT_START, 0.0);
        double ahead = s->budget[AT_START][CENTRE];
        s->lit[m] = BURST;
        s->motor_used[m] = p->motor_impulse[m];
        budget(s, p, AT_START, 0.0);
        ahead -= s->budget[AT_START][CENTRE];
        if (s->mode == MODE_DOWN)
            continue;
        Vector axis = to_earth(s->attitude, 1.0, 0.0, 0.0);
        Vector swing = to_earth(s->attitude, 0.0, s->rates[2], -s->rates[1]);
        s->position[0] += ahead * axis.x;
        s->position[1] += ahead * axis.y;
        s->position[2] += ahead * axis.z;
        s->velocity[0] += ahead * swing.x;
        s->velocity[1] += ahead * swing.y;
        s->velocity[2] += ahead * swing.z;
    }
}

static void part(State *s, const Params *p, const Commands *c, double dt)
{
    if (s->separation_clock < 0.0)
        return;
    s->separation_clock += dt;
    if (s->separated != 0)
        return;
    double late = fault_size(p, c, FAULT_SEPARATION_LATE, 0, 0.0);
    if (s->separation_clock < late - TINY || fault_at(p, c, FAULT_SEPARATION_HUNG, 0)
        || p->part_mass[1] <= 0.0)
        return;
    budget(s, p, AT_START, 0.0);
    double whole = s->budget[AT_START][MASS], centre = s->budget[AT_START][CENTRE];
    s->separated = 1;
    budget(s, p, AT_START, 0.0);
    double mass = s->budget[AT_START][MASS];
    double ahead = centre - s->budget[AT_START][CENTRE];
    double rest = whole - mass, behind = ahead * mass / rest;
    Vector axis = to_earth(s->attitude, 1.0, 0.0, 0.0);
    Vector turn = to_earth(s->attitude, 0.0, s->rates[2], -s->rates[1]);
    Vector side = to_earth(s->attitude, 0.0, 1.0, 0.0);
    bool down = s->mode == MODE_DOWN;
    double push = down ? 0.0 : p->separation_push, across = down ? 0.0 : p->separation_sideways;
    double along[3] = {axis.x, axis.y, axis.z}, swing[3] = {turn.x, turn.y, turn.z};
    double apart[3] = {
        push * axis.x + across * side.x,
        push * axis.y + across * side.y,
        push * axis.z + across * side.z,
    };
    for (int i = 0; i < 3; i++) {
        double place = s->position[i], speed = s->velocity[i];
        s->position[i] = place + ahead * along[i];
        s->velocity[i] = speed + ahead * swing[i] + apart[i] * rest / whole;
        s->part1_position[i] = place - behind * along[i];
        s->part1_velocity[i] = speed - behind * swing[i] - apart[i] * mass / whole;
    }
    s->part1_mass = rest;
    s->part1_down = down ? 1 : 0;
    if (!down)
        s->mode = MODE_FREE;
    for (int64_t i = 0; i < p->parachutes; i++)
        if (p->parachute_self_delay[i] < INFINITY)
            throw_out(s, p, c, i, p->parachute_self_delay[i]);
}

#endif
