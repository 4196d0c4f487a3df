/* Pad, hold-down, rail, touchdown, obstacles. */

#ifndef GROUND_H
#define GROUND_H

#include "motion.h"

#define LIFTED 0.05
#define APOGEE 2.0

static void place_on_pad(State *s, const Params *p)
{
    budget(s, p, AT_START, 0.0);
    double half = 0.5 * p->rail_tilt;
    double a = cos(half);
    double b = -sin(half) * cos(p->rail_azimuth);
    double c = sin(half) * sin(p->rail_azimuth);
    double r = sqrt(0.5);
    double q[4] = {r * (a + c), r * b, r * (c - a), -r * b};
    Vector axis = to_earth(q, 1.0, 0.0, 0.0);
    double up = tail_station(s, p) - s->budget[AT_START][CENTRE];
    s->position[0] = up * axis.x;
    s->position[1] = up * axis.y;
    s->position[2] = up * axis.z;
    for (int i = 0; i < 3; i++)
        s->velocity[i] = s->rates[i] = 0.0;
    for (int i = 0; i < 4; i++)
        s->attitude[i] = q[i];
}

static inline double cosine_of(const double *q) { return 2.0 * (q[1] * q[3] - q[0] * q[2]); }

static double lowest(const State *s, const Params *p, double centre, double legs)
{
    double rise = cosine_of(s->attitude);
    double nose = centre * rise;
    double tail = (centre - tail_station(s, p) - legs) * rise;
    return s->position[2] + least(nose, tail);
}

static void stand(State *s, const Params *p, double time, double dt)
{
    place_on_pad(s, p);
    trial_here(s);
    Vector force, torque;
    forces(s, p, AT_START, time, dt, &force, &torque);
    double weight = s->budget[AT_START][MASS] * p->gravity;
    s->hold_down_force = force.x - weight * cos(p->rail_tilt);
}

static void let_go(State *s, const Params *p, const Commands *c)
{
    if (s->release_ordered != 0 && !fault_at(p, c, FAULT_HOLD_DOWN_STUCK, 0))
        s->released = 1;
}

static void note_heights(State *s, const Params *p)
{
    double height = lowest(s, p, s->budget[AT_END][CENTRE], 0.0);
    s->highest = most(s->highest, height);
    if (height > LIFTED && s->mode == MODE_FREE)
        s->lifted = 1;
    if (s->lifted != 0 && s->highest >= APOGEE && s->velocity[2] <= 0.0)
        s->apogee = 1;
}

static void meet_ground(State *s, double was, double low)
{
    if (s->lifted == 0) {
        s->mode = MODE_CLAMPED;
        for (int i = 0; i < 3; i++)
            s->velocity[i] = s->rates[i] = 0.0;
        return;
    }
    double share = was > low ? within(was / (was - low), 0.0, 1.0) : 1.0;
    double *at = s->trial;
    for (int i = 0; i < 13; i++)
        at[i] = s->before[i] + share * (at[i] - s->before[i]);
    double norm = norm_of(at + 6);
    for (int i = 0; i < 3; i++) {
        s->position[i] = at[i];
        s->velocity[i] = s->rates[i] = 0.0;
    }
    for (int i = 0; i < 4; i++)
        s->attitude[i] = at[6 + i] / norm;
    s->mode = MODE_DOWN;
    s->down = 1;
    s->down_speed = -at[5];
    s->down_sideways = sqrt(at[3] * at[3] + at[4] * at[4]);
    s->down_cosine = cosine_of(s->attitude);
    s->down_rate = sqrt(at[11] * at[11] + at[12] * at[12]);
    s->down_east = at[0];
    s->down_north = at[1];
    s->down_tick = s->tick + 1;
}

static void slide(State *s, const Params *p)
{
    Vector axis = to_earth(s->attitude, 1.0, 0.0, 0.0);
    double travel = s->budget[AT_END][CENTRE] - s->budget[AT_START][CENTRE];
    travel += (s->position[0] - s->before[0]) * axis.x;
    travel += (s->position[1] - s->before[1]) * axis.y;
    travel += (s->position[2] - s->before[2]) * axis.z;
    double was = s->rail_travel;
    s->rail_travel += travel;
    if (s->rail_travel < 0.0) {
        meet_ground(s, was, s->rail_travel);
        s->rail_travel = 0.0;
    } else if (s->rail_travel >= p->rail_length) {
        s->mode = MODE_FREE;
    }
    if (s->rail_travel > LIFTED)
        s->lifted = 1;
    note_heights(s, p);
}

static void move_body0(State *s, const Params *p, double time, double dt)
{
    if (s->mode == MODE_DOWN)
        return;
    if (s->mode == MODE_CLAMPED) {
        stand(s, p, time, dt);
        if (s->released == 0 || s->hold_down_force <= 0.0)
            return;
        s->mode = p->rail_length > 0.0 ? MODE_RAIL : MODE_FREE;
    } else {
        budget(s, p, AT_START, 0.0);
    }
    s->hold_down_force = 0.0;
    double legs = p->leg_length * within(servo_sum(s, p, SERVO_LEGS, 0), 0.0, 1.0);
    if (joined(s, p))
        legs = 0.0;
    if (s->mode == MODE_RAIL) {
        advance(s, p, time, dt);
        slide(s, p);
        return;
    }
    double was = lowest(s, p, s->budget[AT_START][CENTRE], legs);
    advance(s, p, time, dt);
    double low = lowest(s, p, s->budget[AT_END][CENTRE], legs);
    if (low <= 0.0)
        meet_ground(s, was, low);
    note_heights(s, p);
}

static void see_obstacles(State *s, const Params *p)
{
    Vector axis = to_earth(s->attitude, 1.0, 0.0, 0.0);
    double centre = s->budget[AT_START][CENTRE];
    double points[3] = {0.0, centre, centre - tail_station(s, p)};
    for (int64_t i = 0; i < p->obstacles; i++)
        for (int point = 0; point < 3; point++) {
            double x = points[point], radius = p->obstacle_radius[i];
            double east = s->position[0] + x * axis.x - p->obstacle_east[i];
            double north = s->position[1] + x * axis.y - p->obstacle_north[i];
            if (east * east + north * north <= radius * radius
                && s->position[2] + x * axis.z <= p->obstacle_height[i])
                s->hit_obstacle = 1;
        }
}

#endif
