/* Masses and thrust of a step; forces and torques on body 0. */

#ifndef FORCES_H
#define FORCES_H

#include "motors.h"

#define STIFFEST 2.0 /* largest product of damping rate and step */

/* rows of state.budget, places in one of them, places in state.shape */
enum { AT_START, AT_MIDDLE, AT_END };
enum { MASS = 0, CENTRE = 1, INERTIA = 2, THRUST = 5, TORQUE = 8, JET = 11, SHIFT = 12 };
enum {
    AXIAL_NOSE, AXIAL_TAIL, SIDE, SLOPE_NOSE, SLOPE_TAIL,
    CENTRE_NOSE, CENTRE_TAIL, CENTRE_SIDE, DAMPING_PITCH, DAMPING_ROLL,
};

static double servo_sum(const State *s, const Params *p, int64_t role, int64_t target)
{
    double total = 0.0;
    for (int64_t i = 0; i < p->servos; i++)
        if (p->servo_role[i] == role && p->servo_target[i] == target)
            total += s->servo[i];
    return total;
}

static inline bool joined(const State *s, const Params *p)
{
    return s->separated == 0 && p->part_mass[1] > 0.0;
}

static inline double tail_station(const State *s, const Params *p)
{
    return joined(s, p) ? most(p->part_tail[0], p->part_tail[1]) : p->part_tail[0];
}

static void set_shape(State *s, const Params *p)
{
    double fins = within(servo_sum(s, p, SERVO_FINS, 0), 0.0, 1.0);
    double legs = within(servo_sum(s, p, SERVO_LEGS, 0), 0.0, 1.0);
    const double *figures[] = {
        p->aero_axial_nose, p->aero_axial_tail, p->aero_side, p->aero_slope_nose,
        p->aero_slope_tail, p->aero_centre_nose, p->aero_centre_tail, p->aero_centre_side,
        p->aero_damping_pitch, p->aero_damping_roll,
    };
    bool whole = joined(s, p);
    for (int i = 0; i < 10; i++) {
        const double *of = figures[i];
        s->shape[i] = whole ? of[0] : of[1] + fins * (of[2] - of[1]) + legs * (of[3] - of[1]);
    }
}

static void look_ahead(State *s, const Params *p, int64_t m, double ahead)
{
    double used = s->motor_used[m], thrust = 0.0;
    if (s->lit[m] == 1 || burns(s, m)) {
        double clock = s->motor_clock[m], factor = s->motor_factor[m];
        double given = burn(p, m, clock).impulse;
        Burn then = burn(p, m, clock + ahead);
        thrust = then.thrust * factor;
        used += factor * (then.impulse - given);
    }
    double left = p->motor_propellant[m];
    if (p->motor_impulse[m] > 0.0)
        left *= most(1.0 - used / p->motor_impulse[m], 0.0);
    s->motor_left[m] = left;
    s->motor_push[m] = thrust;
}

static void budget(State *s, const Params *p, int row, double ahead)
{
    int parts = s->separated != 0 ? 1 : 2;
    double mass = 0.0, moment = 0.0;
    for (int i = 0; i < parts; i++) {
        mass += p->part_mass[i];
        moment += p->part_mass[i] * p->part_station[i];
    }
    for (int64_t m = 0; m < p->motors; m++)
        if (takes_part(s, p, m, 0)) {
            look_ahead(s, p, m, ahead);
            double left = s->motor_left[m];
            mass += left;
            moment += left * p->motor_grain_station[m];
        }
    double centre = moment / mass;

    double axial = 0.0, about_y = 0.0;
    for (int i = 0; i < parts; i++)
        if (p->part_mass[i] > 0.0) {
            double arm = centre - p->part_station[i];
            axial += p->part_axial[i];
            about_y += p->part_transverse[i] + p->part_mass[i] * arm * arm;
        }
    double about_z = about_y;
    double fx = 0.0, fy = 0.0, fz = 0.0, tx = 0.0, ty = 0.0, tz = 0.0, jet = 0.0, shift = 0.0;
    for (int64_t m = 0; m < p->motors; m++) {
        if (!takes_part(s, p, m, 0))
            continue;
        double left = s->motor_left[m], thrust = s->motor_push[m];
        double y = p->motor_y[m], z = p->motor_z[m];
        double grain = centre - p->motor_grain_station[m];
        axial += left * (y * y + z * z);
        about_y += left * (grain * grain + z * z);
        about_z += left * (grain * grain + y * y);
        if (thrust <= 0.0)
            continue;
        double dy = p->motor_cant_y[m], dz = p->motor_cant_z[m];
        int64_t gimbal = p->motor_gimbal[m];
        if (gimbal >= 0) {
            dy += servo_sum(s, p, SERVO_GIMBAL_Y, gimbal);
            dz += servo_sum(s, p, SERVO_GIMBAL_Z, gimbal);
        }
        double sy = sin(dy), sz = sin(dz);
        double mx = thrust * sqrt(most(1.0 - sy * sy - sz * sz, 0.0));
        double my = -thrust * sz, mz = thrust * sy;
        double x = centre - p->motor_station[m];
        fx += mx;
        fy += my;
        fz += mz;
        tx += y * mz - z * my;
        ty += z * mx - x * mz;
        tz += x * my - y * mx;
        if (p->motor_impulse[m] > 0.0) {
            double flow = p->motor_propellant[m] * thrust / p->motor_impulse[m];
            jet += flow * (x * x - grain * grain);
            shift -= flow * grain / mass;
        }
    }
    double *line = s->budget[row];
    line[MASS] = mass;
    line[CENTRE] = centre;
    line[INERTIA] = axial;
    line[INERTIA + 1] = about_y;
    line[INERTIA + 2] = about_z;
    line[THRUST] = fx;
    line[THRUST + 1] = fy;
    line[THRUST + 2] = fz;
    line[TORQUE] = tx;
    line[TORQUE + 1] = ty;
    line[TORQUE + 2] = tz;
    line[JET] = jet;
    line[SHIFT] = shift;
}

/* The middle and the end of a step whose start is there already. */
static void budget_ahead(State *s, const Params *p, double dt)
{
    for (int64_t m = 0; m < p->motors; m++)
        if (takes_part(s, p, m, 0) && (s->lit[m] == 1 || burns(s, m))) {
            budget(s, p, AT_MIDDLE, 0.5 * dt);
            budget(s, p, AT_END, dt);
            return;
        }
    for (int i = 0; i < 13; i++)
        s->budget[AT_MIDDLE][i] = s->budget[AT_END][i] = s->budget[AT_START][i];
}

static double opened_fraction(const State *s, const Params *p, int64_t i)
{
    double clock = s->parachute_clock[i];
    if (clock < 0.0)
        return 0.0;
    if (clock >= p->parachute_inflation[i])
        return 1.0;
    double part = clock / p->parachute_inflation[i];
    return part * part * (3.0 - 2.0 * part);
}

/* Force and torque on body 0 in body axes, gravity left out, for state.trial. */
static void forces(const State *s, const Params *p, int row, double time, double dt, Vector *force,
                   Vector *torque)
{
    const double *line = s->budget[row], *at = s->trial, *shape = s->shape;
    double wx = at[10], wy = at[11], wz = at[12];
    double fx = line[THRUST], fy = line[THRUST + 1], fz = line[THRUST + 2];
    double tx = line[TORQUE];
    double ty = line[TORQUE + 1] - line[JET] * wy;
    double tz = line[TORQUE + 2] - line[JET] * wz;

    double density = air(p, at[2]).density;
    Vector w = wind(p, at[2], time);
    Vector v = to_body(at + 6, at[3] - w.x - s->stirred[0], at[4] - w.y - s->stirred[1],
                       at[5] - w.z - s->stirred[2]);
    double speed = sqrt(v.x * v.x + v.y * v.y + v.z * v.z);
    if (speed > 0.0) {
        double half = 0.5 * density;
        double across = sqrt(v.y * v.y + v.z * v.z);
        bool nose = v.x > 0.0;
        double axial_area = shape[nose ? AXIAL_NOSE : AXIAL_TAIL];
        double slope = shape[nose ? SLOPE_NOSE : SLOPE_TAIL];
        double station = shape[nose ? CENTRE_NOSE : CENTRE_TAIL];
        fx -= half * axial_area * v.x * fabs(v.x);
        double potential = half * slope * fabs(v.x);
        double cross = half * shape[SIDE] * across;
        fy -= (potential + cross) * v.y;
        fz -= (potential + cross) * v.z;
        double lever = potential * (line[CENTRE] - station)
                       + cross * (line[CENTRE] - shape[CENTRE_SIDE]);
        ty += lever * v.z;
        tz -= lever * v.y;
        double damping = density * speed;
        tx -= shape[DAMPING_ROLL] * damping * wx;
        ty -= shape[DAMPING_PITCH] * damping * wy;
        tz -= shape[DAMPING_PITCH] * damping * wz;
    }
    for (int64_t i = 0; i < p->parachutes; i++) {
        if (s->separated != 0 && p->parachute_body[i] != 0)
            continue;
        double area = p->parachute_area[i] * opened_fraction(s, p, i);
        if (area <= 0.0)
            continue;
        double arm = line[CENTRE] - p->parachute_station[i];
        double px = v.x, py = v.y + wz * arm, pz = v.z - wy * arm;
        double pull = density * sqrt(px * px + py * py + pz * pz);
        double along = 1.0 / line[MASS];
        double sideways = along + arm * arm / least(line[INERTIA + 1], line[INERTIA + 2]);
        pull *= area;
        double firm = 0.5 * least(pull, STIFFEST / (along * dt));
        double soft = 0.5 * least(pull, STIFFEST / (sideways * dt));
        fx -= firm * px;
        fy -= soft * py;
        fz -= soft * pz;
        ty += arm * soft * pz;
        tz -= arm * soft * py;
    }
    *force = (Vector){fx, fy, fz};
    *torque = (Vector){tx, ty, tz};
}

#endif
