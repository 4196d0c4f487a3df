/* What every part needs: the world's memory, whether a fault is active, turning of vectors.

layout.h is written at build time from the NumPy record types of sequencer/world/layout.py. */

#ifndef COMMON_H
#define COMMON_H

#include <math.h>
#include <stdbool.h>
#include <stdint.h>

#include "layout.h"

#define PI 3.141592653589793
#define TINY 1e-9 /* clocks that differ by less are the same instant, s */

typedef struct {
    double x, y, z;
} Vector;

static inline double least(double a, double b) { return a < b ? a : b; }
static inline double most(double a, double b) { return a > b ? a : b; }
static inline double within(double x, double low, double high) { return least(most(x, low), high); }
static inline double square(double x) { return x * x; }

static inline bool fault_at(const Params *p, const Commands *c, int64_t kind, int64_t place)
{
    for (int64_t i = 0; i < p->faults; i++)
        if (c->fault[i] != 0 && p->fault_kind[i] == kind && p->fault_place[i] == place)
            return true;
    return false;
}

static inline double fault_size(const Params *p, const Commands *c, int64_t kind, int64_t place,
                                double without)
{
    for (int64_t i = 0; i < p->faults; i++)
        if (c->fault[i] != 0 && p->fault_kind[i] == kind && p->fault_place[i] == place)
            return p->fault_size[i];
    return without;
}

static inline Vector turned(double a, double b, double c, double d, double x, double y, double z)
{
    return (Vector){
        (1.0 - 2.0 * (c * c + d * d)) * x + 2.0 * (b * c - a * d) * y + 2.0 * (b * d + a * c) * z,
        2.0 * (b * c + a * d) * x + (1.0 - 2.0 * (b * b + d * d)) * y + 2.0 * (c * d - a * b) * z,
        2.0 * (b * d - a * c) * x + 2.0 * (c * d + a * b) * y + (1.0 - 2.0 * (b * b + c * c)) * z,
    };
}

/* from body to earth axes by the quaternion q, scalar first, and back */
static inline Vector to_earth(const double *q, double x, double y, double z)
{
    return turned(q[0], q[1], q[2], q[3], x, y, z);
}

static inline Vector to_body(const double *q, double x, double y, double z)
{
    return turned(q[0], -q[1], -q[2], -q[3], x, y, z);
}

#endif
