/* The truth for records and sensors, what sensors measure, what computers read. */

#ifndef SENSES_H
#define SENSES_H

#include "circuits.h"

static void feel(State *s, const Params *p, double time, double dt)
{
    Vector g = to_body(s->attitude, 0.0, 0.0, p->gravity);
    if (s->mode == MODE_FREE || s->mode == MODE_RAIL) {
        trial_here(s);
        Vector force, torque;
        forces(s, p, AT_START, time, dt, &force, &torque);
        double mass = s->budget[AT_START][MASS];
        g.x = force.x / mass;
        if (s->mode == MODE_FREE) {
            g.y = force.y / mass;
            g.z = force.z / mass;
        }
    }
    s->specific_force[0] = g.x;
    s->specific_force[1] = g.y;
    s->specific_force[2] = g.z;
}

static void note_facts(const State *s, const Params *p, Out *out)
{
    out->released = s->released;
    out->lifted = s->lifted;
    out->separated = s->separated;
    out->apogee = s->apogee;
    out->down = s->down;
    out->part1_down = s->part1_down;
    out->hit_obstacle = s->hit_obstacle;
    for (int64_t m = 0; m < p->motors; m++) {
        out->burning[m] = burns(s, m);
        out->burst[m] = s->lit[m] == BURST;
        out->burnt[m] = s->lit[m] == 3;
        out->ejected[m] = s->ejected[m];
    }
    for (int64_t i = 0; i < p->parachutes; i++) {
        double opened = opened_fraction(s, p, i);
        out->parachute[i] = opened;
        out->deployed[i] = s->parachute_clock[i] >= 0.0;
        out->opened[i] = opened >= 1.0;
    }
    for (int64_t i = 0; i < p->loads; i++)
        out->spent[i] = s->load_spent[i];
    for (int64_t b = 0; b < p->batteries; b++)
        out->powerless[b] = s->powerless[b];
}

static void observe(State *s, const Params *p, Out *out, double time, double dt)
{
    set_shape(s, p);
    if (s->mode == MODE_CLAMPED)
        stand(s, p, time, dt);
    else
        budget(s, p, AT_START, 0.0);
    see_obstacles(s, p);
    feel(s, p, time, dt);
    note_facts(s, p, out);
    for (int i = 0; i < 3; i++) {
        out->position[i] = s->position[i];
        out->velocity[i] = s->velocity[i];
        out->rates[i] = s->rates[i];
        out->specific_force[i] = s->specific_force[i];
        out->part1_position[i] = s->part1_position[i];
        out->part1_velocity[i] = s->part1_velocity[i];
    }
    for (int i = 0; i < 4; i++)
        out->attitude[i] = s->attitude[i];
    out->mass = s->budget[AT_START][MASS];
    out->centre_of_mass = s->budget[AT_START][CENTRE];
    out->height = lowest(s, p, out->centre_of_mass, 0.0);
    out->vertical_speed = s->velocity[2];
    out->tilt_cosine = cosine_of(s->attitude);

    Vector w = wind(p, s->position[2], time);
    w.x += s->stirred[0];
    w.y += s->stirred[1];
    w.z += s->stirred[2];
    out->wind[0] = w.x;
    out->wind[1] = w.y;
    out->wind[2] = w.z;
    Vector v = to_body(s->attitude, s->velocity[0] - w.x, s->velocity[1] - w.y,
                       s->velocity[2] - w.z);
    double across = sqrt(v.y * v.y + v.z * v.z);
    double density = air(p, s->position[2]).density;
    out->airspeed = sqrt(v.x * v.x + across * across);
    s->airspeed = out->airspeed;
    out->angle_of_attack = atan2(across, v.x);
    out->dynamic_pressure = 0.5 * density * out->airspeed * out->airspeed;
    Vector mast = wind(p, p->mast_height, time);
    Vector gusts = gusts_at(s, p, p->mast_height);
    out->wind_mast = sqrt(square(mast.x + gusts.x) + square(mast.y + gusts.y));

    double total = 0.0;
    for (int64_t m = 0; m < p->motors; m++) {
        double thrust = 0.0;
        if (burns(s, m))
            thrust = burn(p, m, s->motor_clock[m]).thrust * s->motor_factor[m];
        out->thrust[m] = thrust;
        if (takes_part(s, p, m, 0))
            total += thrust;
    }
    out->thrust_total = total;
    for (int64_t i = 0; i < p->servos; i++)
        out->servo[i] = s->servo[i];
    out->hold_down_force = s->hold_down_force;
    for (int64_t i = 0; i < p->loads; i++)
        out->load_current[i] = s->load_peak[i];
    for (int64_t b = 0; b < p->batteries; b++) {
        out->battery[b] = s->battery_volts[b];
        out->battery_least[b] = s->battery_least[b];
        out->battery_current[b] = s->battery_peak[b];
    }
    out->distance = NAN;
    if (s->separated != 0) {
        double gap = 0.0;
        for (int i = 0; i < 3; i++)
            gap += square(s->position[i] - s->part1_position[i]);
        out->distance = sqrt(gap);
        s->least_distance = least(s->least_distance, out->distance);
    }
}

static double distance_below(const State *s, const Params *p, const Out *out, int64_t i)
{
    double cosine = out->tilt_cosine;
    if (cosine <= 0.0 || cosine < p->sensor_cutoff[i])
        return NAN;
    if (p->sensor_plume[i] != 0)
        for (int64_t m = 0; m < p->motors; m++)
            if (burns(s, m) && takes_part(s, p, m, 0))
                return NAN;
    double below = tail_station(s, p) - out->centre_of_mass;
    double way = (s->position[2] - below * cosine) / cosine;
    return way > p->sensor_high[i] ? NAN : most(way, 0.0);
}

static double truth(const State *s, const Params *p, const Commands *c, const Out *out, int64_t i)
{
    int64_t kind = p->sensor_kind[i], place = p->sensor_place[i];
    switch (kind) {
    case SENSOR_ACCELERATION:
        return out->specific_force[place];
    case SENSOR_RATE:
        return out->rates[place];
    case SENSOR_RANGE:
        return distance_below(s, p, out, i);
    case SENSOR_HOLD_DOWN_FORCE:
        return out->hold_down_force;
    case SENSOR_FLAME:
        return (double)out->burning[place];
    case SENSOR_CONTINUITY:
        return least(resistance_seen(s, p, c, place), p->sensor_high[i]);
    case SENSOR_BATTERY:
        return sensed_volts(p, c, place, out->battery[place]);
    case SENSOR_WIND:
        return out->wind_mast;
    case SENSOR_SWITCH:
        return (double)c->switch_[place];
    case SENSOR_SERVO:
        return out->servo[place];
    case SENSOR_SEPARATED:
        return (double)out->separated;
    default:
        break;
    }
    double value = air(p, s->position[2]).pressure + s->bay_excess[i];
    if (kind == SENSOR_BAROMETER)
        value = pressure_height(value) - s->ground_reading;
    return value;
}

static void begin_sensing(State *s, const Params *p)
{
    for (int64_t i = 0; i < p->sensors; i++) {
        double lag = p->sensor_lag[i];
        if (lag > 0.0)
            s->sensor_share[i] = 1.0 - exp(-1.0 / ((double)p->rate_hz * lag));
    }
    s->ground_reading = pressure_height(air(p, 0.0).pressure);
}

static double lagged(State *s, const Params *p, int64_t i, double value)
{
    if (isnan(value)) {
        s->sensor_started[i] = 0;
        return value;
    }
    double lag = p->sensor_lag[i];
    if (s->sensor_started[i] == 0 || lag <= 0.0) {
        s->sensor_started[i] = 1;
        s->sensor_filter[i] = value;
    } else {
        s->sensor_filter[i] += s->sensor_share[i] * (value - s->sensor_filter[i]);
    }
    return s->sensor_filter[i];
}

static inline double in_range(double value, double low, double high)
{
    return isnan(value) ? value : within(value, low, high);
}

static void measure(State *s, const Params *p, const Commands *c, const Out *out)
{
    for (int64_t i = 0; i < p->sensors; i++) {
        double value = lagged(s, p, i, truth(s, p, c, out, i));
        s->measured_fresh[i] = 0;
        if (s->tick % p->sensor_period[i] != p->sensor_phase[i])
            continue;
        value += p->sensor_bias[i];
        if (p->sensor_noise[i] > 0.0) {
            double chance, unused;
            normal_pair(p, SOURCE_SENSOR + i, s->tick, &chance, &unused);
            value += p->sensor_noise[i] * chance;
        }
        double quantum = p->sensor_quantum[i];
        if (quantum > 0.0 && !isnan(value))
            value = floor(value / quantum + 0.5) * quantum;
        s->measured[i] = in_range(value, p->sensor_low[i], p->sensor_high[i]);
        s->measured_fresh[i] = 1;
    }
}

static bool past(const State *s, const Params *p, int64_t i, double age, double *value)
{
    int64_t latest = s->tick - (int64_t)ceil(age * (double)p->rate_hz - TINY);
    int64_t kept = s->remembered[i] < REMEMBERED ? s->remembered[i] : REMEMBERED;
    for (int64_t back = 1; back <= kept; back++) {
        int64_t place = (s->remembered[i] - back) % REMEMBERED;
        if (s->past_tick[i][place] <= latest) {
            *value = s->past_value[i][place];
            return true;
        }
    }
    return false;
}

static double port(State *s, const Params *p, const Commands *c, int64_t i, double value)
{
    int64_t gone = s->tick - s->port_tick[i];
    s->port_tick[i] = s->tick;
    double constant = fault_size(p, c, FAULT_SENSOR_BLOCKED, i, 0.0);
    double inside = s->port_value[i];
    if (constant <= 0.0 || isnan(inside)) {
        s->port_value[i] = value;
        return value;
    }
    if (isnan(value))
        return value;
    double share = 1.0 - exp((double)-gone / ((double)p->rate_hz * constant));
    s->port_value[i] = inside + share * (value - inside);
    return s->port_value[i];
}

static int64_t source_of(const Params *p, const Commands *c, int64_t sensor)
{
    for (int64_t i = 0; i < p->faults; i++)
        if (c->fault[i] != 0 && p->fault_kind[i] == FAULT_SENSOR_SWAPPED) {
            int64_t one = p->fault_place[i], two = (int64_t)p->fault_size[i];
            if (one == sensor)
                return two;
            if (two == sensor)
                return one;
        }
    return sensor;
}

static void answer(State *s, const Params *p, const Commands *c, Out *out)
{
    for (int64_t i = 0; i < p->sensors; i++)
        if (s->measured_fresh[i] != 0) {
            int64_t place = s->remembered[i] % REMEMBERED;
            s->past_value[i][place] = s->measured[i];
            s->past_tick[i][place] = s->tick;
            s->remembered[i]++;
        }
    for (int64_t i = 0; i < p->sensors; i++) {
        out->fresh[i] = 0;
        out->value[i] = s->sensor_value[i];
        int64_t source = source_of(p, c, i);
        if (s->measured_fresh[source] == 0)
            continue;
        double value = s->measured[source];
        double age = fault_size(p, c, FAULT_SENSOR_STALE, i, 0.0);
        if (age > 0.0 && !past(s, p, source, age, &value))
            continue;
        value = port(s, p, c, i, value);
        if (fault_at(p, c, FAULT_SENSOR_SILENT, i))
            continue;
        double bias = fault_size(p, c, FAULT_SENSOR_BIAS, i, 0.0);
        if (bias != 0.0)
            value = in_range(value + bias, p->sensor_low[i], p->sensor_high[i]);
        double limit = fault_size(p, c, FAULT_SENSOR_CLIPPED, i, INFINITY);
        value = in_range(value, -limit, limit);
        if (fault_at(p, c, FAULT_SENSOR_SIGN, i))
            value = -value;
        value = fault_size(p, c, FAULT_SENSOR_SPIKE, i, value);
        if (fault_at(p, c, FAULT_SENSOR_NAN, i))
            value = NAN;
        if (!fault_at(p, c, FAULT_SENSOR_FROZEN, i))
            s->sensor_value[i] = value;
        out->fresh[i] = 1;
        out->value[i] = s->sensor_value[i];
    }
}

#endif
