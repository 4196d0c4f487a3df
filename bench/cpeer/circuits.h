/* Heating of loads, and what happens from one moment of a step to the next. */

#ifndef CIRCUITS_H
#define CIRCUITS_H

#include "network.h"

#define ENOUGH (1.0 - 1e-9)
#define NOTHING 1e-9
#define MOST_MOMENTS (2 * LOADS + 4)
#define LEAST_FACTOR 0.1

static bool is_warm(const State *s, const Params *p)
{
    for (int64_t i = 0; i < p->loads; i++)
        if (s->load_heat[i] > 0.0)
            return true;
    return false;
}

static void set_heating(State *s, const Params *p)
{
    for (int64_t i = 0; i < p->loads; i++) {
        double needed = p->load_energy[i];
        if (p->load_capacity[i] > 0.0)
            needed = p->load_capacity[i] * (p->load_burns_at[i] - celsius(p, s->position[2]));
        s->load_needed[i] = most(needed * s->load_factor[i], 0.0);
        s->load_leak[i] = p->load_loss[i] + p->load_loss_wind[i] * s->airspeed;
    }
}

static bool heats(const State *s, const Params *p, const Commands *c, int64_t i)
{
    return !(s->load_spent[i] != 0 || p->load_kind[i] == LOAD_SIGNAL
             || fault_at(p, c, FAULT_IGNITER_SHORTED, i));
}

static double power_of(const State *s, const Params *p, int64_t i)
{
    return s->load_amps[i] * s->load_amps[i] * most(p->load_resistance[i], LEAST_RESISTANCE);
}

static bool is_hot(const State *s, int64_t i)
{
    return s->load_heat[i] >= s->load_needed[i] * ENOUGH;
}

static double wait_of(const State *s, const Params *p, const Commands *c, int64_t i)
{
    double heat = s->load_heat[i], needed = s->load_needed[i], power = power_of(s, p, i);
    if ((heat <= 0.0 && power <= 0.0) || !heats(s, p, c, i))
        return INFINITY;
    if (is_hot(s, i)) {
        double late = fault_size(p, c, FAULT_IGNITER_LATE, i, 0.0);
        double left = p->load_hold[i] + late - s->load_held[i];
        return left > TINY ? left : 0.0;
    }
    double leak = s->load_leak[i];
    if (power <= leak * needed)
        return INFINITY;
    if (leak <= 0.0)
        return (needed - heat) / power;
    double final = power / leak;
    return log((final - heat) / (final - needed)) / leak;
}

/* Whether the load acts at the end of dt. */
static bool warm(State *s, const Params *p, const Commands *c, int64_t i, double dt)
{
    double power = heats(s, p, c, i) ? power_of(s, p, i) : 0.0;
    double heat = s->load_heat[i], needed = s->load_needed[i], leak = s->load_leak[i];
    if (heat <= 0.0 && power <= 0.0)
        return false;
    if (dt > 0.0) {
        bool hot = is_hot(s, i);
        s->load_held[i] = hot ? s->load_held[i] + dt : 0.0;
        if (leak > 0.0 && !(hot && p->load_capacity[i] <= 0.0))
            heat = heat * exp(-leak * dt) - power / leak * expm1(-leak * dt);
        else
            heat += power * dt;
        if (power <= 0.0 && heat < needed * NOTHING)
            heat = 0.0;
        s->load_heat[i] = heat;
    }
    return wait_of(s, p, c, i) <= 0.0;
}

static void start_circuits(State *s, const Params *p)
{
    for (int64_t b = 0; b < p->batteries; b++)
        s->battery_charge[b] = p->battery_charge[b];
    for (int64_t i = 0; i < p->loads; i++) {
        s->load_factor[i] = 1.0;
        if (p->load_spread[i] > 0.0) {
            double chance, unused;
            normal_pair(p, SOURCE_LOAD, i, &chance, &unused);
            s->load_factor[i] = most(1.0 + p->load_spread[i] * chance, LEAST_FACTOR);
        }
    }
}

static inline bool is_low(const State *s, const Params *p, int64_t b)
{
    return s->battery_volts[b] <= 0.0 || s->battery_volts[b] < p->battery_brown_out[b];
}

static void begin_circuits(State *s, const Params *p, const Commands *c)
{
    bool dark = false;
    for (int64_t b = 0; b < p->batteries; b++) {
        s->battery_open[b] = open_voltage(s, p, c, b);
        s->battery_inner[b] = inner_resistance(p, c, b);
        dark = dark || s->powerless[b] != 0;
    }
    bool on = switch_channels(s, p, c);
    s->circuit_busy = on || is_warm(s, p) ? 1 : 0;
    if (s->circuit_busy != 0)
        set_heating(s, p);
    for (int64_t i = 0; i < p->loads; i++)
        s->load_amps[i] = s->load_peak[i] = 0.0;
    for (int64_t b = 0; b < p->batteries; b++) {
        s->battery_least[b] = INFINITY;
        s->battery_peak[b] = 0.0;
    }
    if (!dark && s->tick != 0)
        return;
    settle(s, p, c);
    for (int64_t b = 0; b < p->batteries; b++)
        if (s->powerless[b] != 0 && !is_low(s, p, b)) {
            s->powerless[b] = 0;
            s->battery_low[b] = 0.0;
        }
}

static double until_dark(const State *s, const Params *p, double longest)
{
    for (int64_t b = 0; b < p->batteries; b++)
        if (s->powerless[b] == 0 && is_low(s, p, b)) {
            double left = p->battery_brown_out_time[b] - s->battery_low[b];
            longest = least(longest, most(left, 0.0));
        }
    return longest;
}

/* Whether a computer lost its power at the end of dt. */
static bool drain(State *s, const Params *p, double dt)
{
    bool lost = false;
    for (int64_t b = 0; b < p->batteries; b++) {
        double used = s->battery_amps[b] * dt / p->battery_capacity[b];
        s->battery_charge[b] = most(s->battery_charge[b] - used, 0.0);
        if (!is_low(s, p, b)) {
            s->battery_low[b] = 0.0;
            continue;
        }
        s->battery_low[b] += dt;
        if (s->powerless[b] == 0 && s->battery_low[b] >= p->battery_brown_out_time[b] - TINY) {
            s->powerless[b] = 1;
            lost = true;
            for (int64_t i = 0; i < p->servos; i++)
                if (p->servo_battery[i] == b)
                    s->servo_amps[i] = 0.0;
        }
    }
    return lost;
}

static void act(State *s, const Params *p, const Commands *c, int64_t i, double since)
{
    s->load_spent[i] = 1;
    s->load_heat[i] = 0.0;
    if (fault_at(p, c, FAULT_IGNITER_BESIDE, i))
        return;
    int64_t target = p->load_target[i];
    switch (p->load_kind[i]) {
    case LOAD_MOTOR:
        light(s, p, target, since);
        break;
    case LOAD_HOLD_DOWN:
        s->release_ordered = 1;
        break;
    case LOAD_SEPARATION:
        order_separation(s);
        break;
    case LOAD_PARACHUTE:
        deploy(s, p, c, target, 0.0);
        break;
    default:
        break;
    }
}

static void run_circuits(State *s, const Params *p, const Commands *c, double dt)
{
    bool busy = s->circuit_busy != 0;
    if (dt <= 0.0 && !busy)
        return;
    double left = dt;
    for (int moment = 0; moment < MOST_MOMENTS; moment++) {
        settle(s, p, c);
        double span = until_dark(s, p, left);
        if (busy)
            for (int64_t i = 0; i < p->loads; i++)
                span = least(span, wait_of(s, p, c, i));
        left = most(left - span, 0.0);
        bool changed = drain(s, p, span);
        if (busy)
            for (int64_t i = 0; i < p->loads; i++)
                if (warm(s, p, c, i, span)) {
                    act(s, p, c, i, left);
                    changed = true;
                }
        if (left <= 0.0 && !changed)
            break;
    }
}

#endif
