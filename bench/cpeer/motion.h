/* Equations of motion of both bodies and their integration. */

#ifndef MOTION_H
#define MOTION_H

#include "forces.h"

static void trial_here(State *s)
{
    for (int i = 0; i < 3; i++) {
        s->trial[i] = s->position[i];
        s->trial[3 + i] = s->velocity[i];
        s->trial[10 + i] = s->rates[i];
    }
    for (int i = 0; i < 4; i++)
        s->trial[6 + i] = s->attitude[i];
}

static void slope(State *s, const Params *p, int stage, int row, double time, double dt)
{
    const double *at = s->trial, *line = s->budget[row];
    double *out = s->slopes[stage];
    double a = at[6], b = at[7], c = at[8], d = at[9];
    double wx = at[10], wy = at[11], wz = at[12];
    Vector f, t;
    forces(s, p, row, time, dt, &f, &t);
    Vector push = to_earth(at + 6, f.x, f.y, f.z);
    Vector axis = to_earth(at + 6, 1.0, 0.0, 0.0);
    out[0] = at[3] + line[SHIFT] * axis.x;
    out[1] = at[4] + line[SHIFT] * axis.y;
    out[2] = at[5] + line[SHIFT] * axis.z;
    if (s->mode == MODE_RAIL) {
        double along = f.x / line[MASS] - p->gravity * axis.z;
        out[3] = along * axis.x;
        out[4] = along * axis.y;
        out[5] = along * axis.z;
        for (int i = 6; i < 13; i++)
            out[i] = 0.0;
        return;
    }
    out[3] = push.x / line[MASS];
    out[4] = push.y / line[MASS];
    out[5] = push.z / line[MASS] - p->gravity;
    out[6] = -0.5 * (b * wx + c * wy + d * wz);
    out[7] = 0.5 * (a * wx + c * wz - d * wy);
    out[8] = 0.5 * (a * wy + d * wx - b * wz);
    out[9] = 0.5 * (a * wz + b * wy - c * wx);
    double ix = line[INERTIA], iy = line[INERTIA + 1], iz = line[INERTIA + 2];
    out[10] = (t.x - (iz - iy) * wy * wz) / ix;
    out[11] = (t.y - (ix - iz) * wz * wx) / iy;
    out[12] = (t.z - (iy - ix) * wx * wy) / iz;
}

static inline double norm_of(const double *q)
{
    return sqrt(q[0] * q[0] + q[1] * q[1] + q[2] * q[2] + q[3] * q[3]);
}

static void advance(State *s, const Params *p, double time, double dt)
{
    trial_here(s);
    for (int i = 0; i < 13; i++)
        s->before[i] = s->trial[i];
    budget_ahead(s, p, dt);
    for (int stage = 0; stage < 4; stage++) {
        int row = (stage + 1) / 2;
        double ahead = 0.5 * row * dt;
        if (stage > 0)
            for (int i = 0; i < 13; i++)
                s->trial[i] = s->before[i] + ahead * s->slopes[stage - 1][i];
        slope(s, p, stage, row, time + ahead, dt);
    }
    for (int i = 0; i < 13; i++)
        s->trial[i] = s->before[i]
                      + dt / 6.0
                            * (s->slopes[0][i] + 2.0 * (s->slopes[1][i] + s->slopes[2][i])
                               + s->slopes[3][i]);
    const double *at = s->trial;
    double norm = norm_of(at + 6);
    for (int i = 0; i < 3; i++) {
        s->position[i] = at[i];
        s->velocity[i] = at[3 + i];
        s->rates[i] = at[10 + i];
    }
    for (int i = 0; i < 4; i++)
        s->attitude[i] = at[6 + i] / norm;
}

static double part1_mass(const State *s, const Params *p, double *thrust)
{
    double mass = p->part_mass[1];
    *thrust = 0.0;
    for (int64_t m = 0; m < p->motors; m++) {
        if (!takes_part(s, p, m, 1))
            continue;
        double share = 1.0;
        if (p->motor_impulse[m] > 0.0)
            share = most(1.0 - s->motor_used[m] / p->motor_impulse[m], 0.0);
        mass += share * p->motor_propellant[m];
        if (burns(s, m))
            *thrust += burn(p, m, s->motor_clock[m]).thrust * s->motor_factor[m];
    }
    return mass;
}

static void advance_part1(State *s, const Params *p, double time, double dt)
{
    double thrust, mass = part1_mass(s, p, &thrust);
    s->part1_mass = mass;
    double area = most(p->aero_side[0] - p->aero_side[1], 0.0);
    for (int64_t i = 0; i < p->parachutes; i++)
        if (p->parachute_body[i] == 1)
            area += p->parachute_area[i] * opened_fraction(s, p, i);
    double *place = s->part1_position, *speeds = s->part1_velocity;
    double height = place[2];
    double mean[3] = {speeds[0], speeds[1], speeds[2]}, pull[3] = {0.0, 0.0, 0.0};
    for (int half = 0; half < 2; half++) {
        double density = air(p, height).density;
        Vector w = wind(p, height, time + 0.5 * half * dt);
        double re = mean[0] - w.x - s->stirred[0];
        double rn = mean[1] - w.y - s->stirred[1];
        double ru = mean[2] - w.z - s->stirred[2];
        double speed = sqrt(re * re + rn * rn + ru * ru);
        double factor = -0.5 * least(density * area * speed / mass, 1.0 / dt);
        if (speed > 0.0)
            factor += thrust / (mass * speed);
        pull[0] = factor * re;
        pull[1] = factor * rn;
        pull[2] = factor * ru - p->gravity;
        if (half == 0) {
            height = place[2] + 0.5 * dt * speeds[2];
            for (int i = 0; i < 3; i++)
                mean[i] = speeds[i] + 0.5 * dt * pull[i];
        }
    }
    for (int i = 0; i < 3; i++) {
        place[i] += dt * mean[i];
        speeds[i] += dt * pull[i];
    }
    if (place[2] <= 0.0) {
        place[2] = 0.0;
        s->part1_down = 1;
        speeds[0] = speeds[1] = speeds[2] = 0.0;
    }
}

#endif
