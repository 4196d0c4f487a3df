/* One tick of any sequence from its tables: sequencer/execute/interpret.py and what it calls, written
by hand in C99. Same tables, same memory, same order of operations: the same bits come out. */

#ifndef LOGIC_H
#define LOGIC_H

#include <math.h>
#include <stdbool.h>
#include <stdint.h>

#include "tables.h"

typedef struct {
    const int64_t *code;
    const double *numbers;
    double *memory;
    int64_t *queue;
    int64_t *events; /* rows of three; the very first number counts the rows behind it */
} Logic;

typedef struct {
    double value;
    bool bad;
} Cell;

static const Cell BAD = {0.0, true};

static inline Cell good(double value) { return (Cell){value, false}; }
static inline bool finite_(double x) { return x - x == 0.0; }
static inline double smaller(double a, double b) { return b < a ? b : a; }
static inline double larger(double a, double b) { return a < b ? b : a; }

static Cell unary(int64_t op, Cell a)
{
    if (a.bad)
        return BAD;
    switch (op) {
    case OP_NEGATE:
        return good(-a.value);
    case OP_NOT:
        return good(1.0 - a.value);
    case OP_ABS:
        return good(fabs(a.value));
    default:
        return a.value < 0.0 ? BAD : good(sqrt(a.value));
    }
}

static inline Cell both(Cell a, Cell b)
{
    if ((!a.bad && a.value == 0.0) || (!b.bad && b.value == 0.0))
        return good(0.0);
    return a.bad || b.bad ? BAD : good(1.0);
}

static inline Cell either(Cell a, Cell b)
{
    if ((!a.bad && a.value != 0.0) || (!b.bad && b.value != 0.0))
        return good(1.0);
    return a.bad || b.bad ? BAD : good(0.0);
}

static Cell binary(int64_t op, Cell a, Cell b)
{
    double x = a.value, y = b.value;
    switch (op) {
    case OP_AND:
        return both(a, b);
    case OP_AND_NOT:
        return both(a, (Cell){1.0 - y, b.bad});
    case OP_OR:
        return either(a, b);
    case OP_OR_NOT:
        return either(a, (Cell){1.0 - y, b.bad});
    }
    if (a.bad || b.bad)
        return BAD;
    switch (op) {
    case OP_LESS:
        return good(x < y);
    case OP_LESS_EQUAL:
        return good(x <= y);
    case OP_GREATER:
        return good(x > y);
    case OP_GREATER_EQUAL:
        return good(x >= y);
    case OP_EQUAL:
        return good(x == y);
    case OP_NOT_EQUAL:
        return good(x != y);
    case OP_ADD:
        x += y;
        break;
    case OP_SUBTRACT:
        x -= y;
        break;
    case OP_MULTIPLY:
        x *= y;
        break;
    case OP_DIVIDE:
        x = y != 0.0 ? x / y : INFINITY;
        break;
    case OP_MIN:
        x = smaller(x, y);
        break;
    default:
        x = larger(x, y);
    }
    return finite_(x) ? good(x) : BAD;
}

static inline Cell cell_at(const Logic *l, int64_t place)
{
    return (Cell){l->memory[place], l->memory[place + 1] != 0.0};
}

static Cell evaluate(const Logic *l, int64_t at)
{
    const int64_t *step = l->code + at + 1, *end = step + l->code[at];
    double *saved = l->memory + l->code[HEAD_M_SAVED];
    Cell now = BAD;
    while (step < end) {
        int64_t op = step[0], place = step[1];
        step += 2;
        if (op >= OP_ADD) {
            if (place == NONE) {
                saved -= 2;
                now = binary(op, (Cell){saved[0], saved[1] != 0.0}, now);
            } else {
                now = binary(op, now, cell_at(l, place));
            }
            continue;
        }
        if (op == OP_SAVE_AND_TAKE || op == OP_SAVE) {
            saved[0] = now.value;
            saved[1] = now.bad;
            saved += 2;
        }
        if (op == OP_TAKE || op == OP_SAVE_AND_TAKE) {
            now = cell_at(l, place);
        } else if (op == OP_IN_STATE) {
            now = good((double)step[(int64_t)l->memory[STATE]]);
            step += place;
        } else if (op != OP_SAVE) {
            now = unary(op, now);
        }
    }
    return now;
}

static bool holds(const Logic *l, int64_t at)
{
    if (at == NONE)
        return false;
    Cell found = evaluate(l, at);
    return !found.bad && found.value != 0.0;
}

static Cell low_pass(const double *n, double *r, double x)
{
    double y = x;
    if (r[0] != 0.0) {
        y = r[1] + n[0] * (x - r[1]);
        if (!finite_(y))
            return BAD;
    }
    r[0] = 1.0;
    r[1] = y;
    return good(y);
}

static Cell filtered_rate(const double *n, double *r, Cell x)
{
    bool started = r[0] != 0.0;
    if (started)
        r[3] += 1.0;
    if (x.bad)
        return BAD;
    if (started) {
        double rate = (x.value - r[2]) / (r[3] * n[1]), y = r[1] + n[0] * (rate - r[1]);
        if (!finite_(y))
            return BAD;
        r[1] = y;
    }
    r[0] = 1.0;
    r[2] = x.value;
    r[3] = 0.0;
    return good(r[1]);
}

static Cell integral(const Logic *l, const double *n, double *r, const int64_t *of)
{
    if (holds(l, of[2]))
        return good(r[0] = n[1]);
    if (of[1] != NONE && !holds(l, of[1]))
        return good(r[0]);
    Cell x = evaluate(l, of[0]);
    double y = r[0] + x.value * n[0];
    if (x.bad || !finite_(y))
        return BAD;
    return good(r[0] = y);
}

static Cell peak(const Logic *l, double *r, const int64_t *of)
{
    if (holds(l, of[1]))
        r[0] = r[1] = 0.0;
    Cell x = evaluate(l, of[0]);
    if (x.bad)
        return BAD;
    r[1] = r[0] != 0.0 ? larger(r[1], x.value) : x.value;
    r[0] = 1.0;
    return good(r[1]);
}

static Cell median3(double *r, double x)
{
    if (r[0] == 0.0) {
        r[0] = 1.0;
        r[1] = r[2] = x;
    }
    double y = larger(smaller(x, r[1]), smaller(larger(x, r[1]), r[2]));
    r[2] = r[1];
    r[1] = x;
    return good(y);
}

static Cell timer(const Logic *l, double *r, const int64_t *of)
{
    if (holds(l, of[1])) {
        r[0] = r[1] = 0.0;
    } else if (r[0] == 0.0 && holds(l, of[0])) {
        r[0] = 1.0;
        r[1] = l->memory[CLOCK];
    }
    if (r[0] == 0.0)
        return good(0.0);
    return good((l->memory[CLOCK] - r[1]) / (double)l->code[HEAD_RATE_HZ]);
}

static Cell latch(const Logic *l, double *r, const int64_t *of)
{
    if (holds(l, of[0]))
        r[0] = 1.0;
    else if (holds(l, of[1]))
        r[0] = 0.0;
    return good(r[0]);
}

static Cell vote(const Logic *l, const double *n, const int64_t *of, int64_t count)
{
    int64_t known = 0, yes = 0;
    for (int64_t i = 0; i < count; i++) {
        Cell member = evaluate(l, of[i]);
        known += !member.bad;
        yes += !member.bad && member.value != 0.0;
    }
    return (double)known < n[1] ? BAD : good((double)yes >= n[0]);
}

static inline Cell cosine(const double *q) { return good(2.0 * (q[1] * q[3] - q[0] * q[2])); }

static Cell attitude(const Logic *l, const double *n, double *q, const int64_t *of)
{
    if (holds(l, of[3])) {
        q[0] = sqrt(0.5);
        q[1] = 0.0;
        q[2] = -sqrt(0.5);
        q[3] = 0.0;
        return cosine(q);
    }
    Cell cx = evaluate(l, of[0]), cy = evaluate(l, of[1]), cz = evaluate(l, of[2]);
    if (cx.bad || cy.bad || cz.bad)
        return BAD;
    double x = cx.value, y = cy.value, z = cz.value, half_dt = 0.5 * n[0];
    double q0 = q[0], q1 = q[1], q2 = q[2], q3 = q[3];
    double n0 = q0 + half_dt * (-q1 * x - q2 * y - q3 * z);
    double n1 = q1 + half_dt * (q0 * x + q2 * z - q3 * y);
    double n2 = q2 + half_dt * (q0 * y - q1 * z + q3 * x);
    double n3 = q3 + half_dt * (q0 * z + q1 * y - q2 * x);
    double square_ = n0 * n0 + n1 * n1 + n2 * n2 + n3 * n3;
    if (!finite_(square_) || square_ == 0.0)
        return BAD;
    double norm = sqrt(square_);
    q[0] = n0 / norm;
    q[1] = n1 / norm;
    q[2] = n2 / norm;
    q[3] = n3 / norm;
    return cosine(q);
}

static Cell estimate(const Logic *l, const int64_t *row)
{
    const double *n = l->numbers + row[ESTIMATE_NUMBERS];
    double *r = l->memory + row[ESTIMATE_REGISTERS];
    const int64_t *of = l->code + row[ESTIMATE_ARGUMENTS];
    Cell x;
    switch (row[ESTIMATE_KIND]) {
    case BLOCK_INTEGRAL:
        return integral(l, n, r, of);
    case BLOCK_PEAK:
        return peak(l, r, of);
    case BLOCK_AGE: {
        double since = l->memory[l->code[HEAD_M_HEARD] + row[ESTIMATE_SUBJECT]];
        return good((l->memory[CLOCK] - since) / (double)l->code[HEAD_RATE_HZ]);
    }
    case BLOCK_TIMER:
        return timer(l, r, of);
    case BLOCK_LATCH:
        return latch(l, r, of);
    case BLOCK_VOTE:
        return vote(l, n, of, row[ESTIMATE_COUNT]);
    case BLOCK_ATTITUDE:
        return attitude(l, n, r, of);
    case BLOCK_FILTERED_RATE:
        return filtered_rate(n, r, evaluate(l, of[0]));
    }
    x = evaluate(l, of[0]);
    if (x.bad)
        return BAD;
    switch (row[ESTIMATE_KIND]) {
    case BLOCK_LOW_PASS:
        return low_pass(n, r, x.value);
    case BLOCK_MEDIAN3:
        return median3(r, x.value);
    default:
        return x;
    }
}

static double integrated(double i, double e, double dt, double ki, double limit)
{
    i += e * dt;
    double part = ki * i;
    if (part > limit)
        return limit / ki;
    return part < -limit ? -limit / ki : i;
}

static void ask_loop(const Logic *l, int64_t loop)
{
    const int64_t *row = l->code + l->code[HEAD_LOOPS_AT] + loop * LOOP_WIDTH;
    double *asked = l->memory + l->code[HEAD_M_ASKED] + 3 * loop;
    asked[2] = 0.0;
    Cell rate_y = evaluate(l, row[LOOP_RATE_Y]), rate_z = evaluate(l, row[LOOP_RATE_Z]);
    if (cell_at(l, row[LOOP_ATTITUDE_PLACE]).bad || rate_y.bad || rate_z.bad)
        return;
    const double *q = l->memory + row[LOOP_ATTITUDE_REGISTERS];
    const double *n = l->numbers + row[LOOP_NUMBERS];
    double *r = l->memory + row[LOOP_REGISTERS];
    double kp = n[0], ki = n[1], kd = n[2], limit = n[3], dt = n[4];
    double e_y = -(q[0] * q[0] - q[1] * q[1] - q[2] * q[2] + q[3] * q[3]);
    double e_z = 2.0 * (q[2] * q[3] + q[0] * q[1]);
    double i_y = integrated(r[0], e_y, dt, ki, limit);
    double i_z = integrated(r[1], e_z, dt, ki, limit);
    double y = kp * e_y + ki * i_y - kd * rate_y.value;
    double z = kp * e_z + ki * i_z - kd * rate_z.value;
    if (!finite_(y) || !finite_(z))
        return;
    r[0] = i_y;
    r[1] = i_z;
    asked[0] = larger(smaller(y, limit), -limit);
    asked[1] = larger(smaller(z, limit), -limit);
    asked[2] = 1.0;
}

#endif
