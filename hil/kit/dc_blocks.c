/* Estimates and control loops. docs/semantics.md has their equations; the order of operations in
   each is part of its meaning. */

#include "dc_core.h"

static dc_real rate(const dc_sequence *s) { return (dc_real)dc_code_at(s, DC_HEAD_RATE_HZ); }

static void argument(const dc_sequence *s, size_t entry, dc_cell *value)
{
    dc_evaluate(s, dc_size_at(s, entry), value);
}

/* Each of these takes its argument, where it has just one, and leaves its output in `x`. */

static void low_pass(const dc_sequence *s, size_t n, dc_register *r, dc_cell *x)
{
    dc_real y = x->value;

    if (x->bad)
        return;
    if (r[0].whole) {
        y = r[1].real + dc_number_at(s, n) * (x->value - r[1].real);
        if (!dc_finite(y)) {
            dc_no_value(x);
            return;
        }
    }
    r[0].whole = 1;
    r[1].real = y;
    x->value = y;
}

static void filtered_rate(const dc_sequence *s, size_t n, dc_register *r, dc_cell *x)
{
    if (r[0].whole)
        r[3].whole++;
    if (x->bad)
        return;
    if (r[0].whole) {
        dc_real since = (dc_real)r[3].whole * dc_number_at(s, n + 1);
        dc_real found = (x->value - r[2].real) / since;
        dc_real y = r[1].real + dc_number_at(s, n) * (found - r[1].real);
        if (!dc_finite(y)) {
            dc_no_value(x);
            return;
        }
        r[1].real = y;
    }
    r[0].whole = 1;
    r[2].real = x->value;
    r[3].whole = 0;
    x->value = r[1].real;
}

static void integral(const dc_sequence *s, size_t n, dc_register *r, size_t of, dc_cell *x)
{
    dc_real y;

    if (dc_holds(s, of + 2)) {
        r[0].real = dc_number_at(s, n + 1);
    } else if (dc_code_at(s, of + 1) == DC_NONE || dc_holds(s, of + 1)) {
        argument(s, of, x);
        y = r[0].real + x->value * dc_number_at(s, n);
        if (x->bad || !dc_finite(y)) {
            dc_no_value(x);
            return;
        }
        r[0].real = y;
    }
    dc_good(x, r[0].real);
}

static void peak(const dc_sequence *s, dc_register *r, size_t of, dc_cell *x)
{
    if (dc_holds(s, of + 1)) {
        r[0].whole = 0;
        r[1].real = 0;
    }
    argument(s, of, x);
    if (x->bad)
        return;
    r[1].real = r[0].whole ? dc_larger(r[1].real, x->value) : x->value;
    r[0].whole = 1;
    x->value = r[1].real;
}

static void median3(dc_register *r, dc_cell *x)
{
    dc_real now = x->value, low, high;

    if (x->bad)
        return;
    if (!r[0].whole) {
        r[0].whole = 1;
        r[1].real = now;
        r[2].real = now;
    }
    low = dc_smaller(now, r[1].real);
    high = dc_larger(now, r[1].real);
    x->value = dc_larger(low, dc_smaller(high, r[2].real));
    r[2].real = r[1].real;
    r[1].real = now;
}

static void age(const dc_sequence *s, size_t input, dc_cell *x)
{
    dc_good(x, (dc_real)(s->clock - s->heard[input]) / rate(s));
}

static void timer(const dc_sequence *s, dc_register *r, size_t of, dc_cell *x)
{
    if (dc_holds(s, of + 1)) {
        r[0].whole = 0;
        r[1].whole = 0;
    } else if (!r[0].whole && dc_holds(s, of)) {
        r[0].whole = 1;
        r[1].whole = s->clock;
    }
    dc_good(x, r[0].whole ? (dc_real)(s->clock - r[1].whole) / rate(s) : 0);
}

static void latch(const dc_sequence *s, dc_register *r, size_t of, dc_cell *x)
{
    if (dc_holds(s, of))
        r[0].whole = 1;
    else if (dc_holds(s, of + 1))
        r[0].whole = 0;
    dc_truth(x, r[0].whole != 0);
}

static void vote(const dc_sequence *s, size_t n, size_t of, size_t count, dc_cell *x)
{
    uint16_t known = 0, yes = 0;
    size_t i;

    for (i = 0; i < count; i++) {
        argument(s, of + i, x);
        if (x->bad)
            continue;
        known = (uint16_t)(known + 1u);
        if (x->value != 0)
            yes = (uint16_t)(yes + 1u);
    }
    if ((dc_real)known < dc_number_at(s, n + 1))
        dc_no_value(x);
    else
        dc_truth(x, (dc_real)yes >= dc_number_at(s, n));
}

static void cosine(const dc_register *q, dc_cell *x)
{
    dc_good(x, DC_REAL(2.0) * (q[1].real * q[3].real - q[0].real * q[2].real));
}

static void nose_up(dc_register *q)
{
    dc_real half = dc_root(DC_REAL(0.5));

    q[0].real = half;
    q[1].real = 0;
    q[2].real = -half;
    q[3].real = 0;
}

static void attitude(const dc_sequence *s, size_t n, dc_register *q, size_t of, dc_cell *out)
{
    dc_cell rate_x, rate_y, rate_z;
    dc_real x, y, z, half_dt, q0, q1, q2, q3, n0, n1, n2, n3, square, norm;

    if (dc_holds(s, of + 3)) {
        nose_up(q);
        cosine(q, out);
        return;
    }
    dc_no_value(out);
    argument(s, of, &rate_x);
    argument(s, of + 1, &rate_y);
    argument(s, of + 2, &rate_z);
    if (rate_x.bad || rate_y.bad || rate_z.bad)
        return;
    x = rate_x.value;
    y = rate_y.value;
    z = rate_z.value;
    half_dt = DC_REAL(0.5) * dc_number_at(s, n);
    q0 = q[0].real;
    q1 = q[1].real;
    q2 = q[2].real;
    q3 = q[3].real;
    n0 = q0 + half_dt * (-q1 * x - q2 * y - q3 * z);
    n1 = q1 + half_dt * (q0 * x + q2 * z - q3 * y);
    n2 = q2 + half_dt * (q0 * y - q1 * z + q3 * x);
    n3 = q3 + half_dt * (q0 * z + q1 * y - q2 * x);
    square = n0 * n0 + n1 * n1 + n2 * n2 + n3 * n3;
    if (!dc_finite(square) || square == 0)
        return;
    norm = dc_root(square);
    q[0].real = n0 / norm;
    q[1].real = n1 / norm;
    q[2].real = n2 / norm;
    q[3].real = n3 / norm;
    cosine(q, out);
}

static dc_register *registers_of(const dc_sequence *s, size_t entry)
{
    return s->registers + (dc_size_at(s, entry) - dc_size_at(s, DC_HEAD_M_BLOCKS));
}

void dc_estimate(dc_sequence *s, size_t row, dc_cell *found)
{
    dc_register *r = registers_of(s, row + DC_ESTIMATE_REGISTERS);
    size_t n = dc_size_at(s, row + DC_ESTIMATE_NUMBERS);
    size_t of = dc_size_at(s, row + DC_ESTIMATE_ARGUMENTS);

    switch (dc_code_at(s, row + DC_ESTIMATE_KIND)) {
    case DC_BLOCK_LOW_PASS:
        argument(s, of, found);
        low_pass(s, n, r, found);
        break;
    case DC_BLOCK_FILTERED_RATE:
        argument(s, of, found);
        filtered_rate(s, n, r, found);
        break;
    case DC_BLOCK_INTEGRAL:
        integral(s, n, r, of, found);
        break;
    case DC_BLOCK_PEAK:
        peak(s, r, of, found);
        break;
    case DC_BLOCK_MEDIAN3:
        argument(s, of, found);
        median3(r, found);
        break;
    case DC_BLOCK_AGE:
        age(s, dc_size_at(s, row + DC_ESTIMATE_SUBJECT), found);
        break;
    case DC_BLOCK_TIMER:
        timer(s, r, of, found);
        break;
    case DC_BLOCK_LATCH:
        latch(s, r, of, found);
        break;
    case DC_BLOCK_VOTE:
        vote(s, n, of, dc_size_at(s, row + DC_ESTIMATE_COUNT), found);
        break;
    case DC_BLOCK_ATTITUDE:
        attitude(s, n, r, of, found);
        break;
    default:
        argument(s, of, found);
        break;
    }
}

/* Registers at boot, and what the estimate is before its first update. */
void dc_start_estimate(dc_sequence *s, size_t row, dc_cell *found)
{
    dc_register *r = registers_of(s, row + DC_ESTIMATE_REGISTERS);

    dc_no_value(found);
    switch (dc_code_at(s, row + DC_ESTIMATE_KIND)) {
    case DC_BLOCK_LOW_PASS:
    case DC_BLOCK_PEAK:
        r[0].whole = 0;
        r[1].real = 0;
        break;
    case DC_BLOCK_FILTERED_RATE:
        r[0].whole = 0;
        r[1].real = 0;
        r[2].real = 0;
        r[3].whole = 0;
        break;
    case DC_BLOCK_MEDIAN3:
        r[0].whole = 0;
        r[1].real = 0;
        r[2].real = 0;
        break;
    case DC_BLOCK_INTEGRAL:
        r[0].real = dc_number_at(s, dc_size_at(s, row + DC_ESTIMATE_NUMBERS) + 1);
        dc_good(found, r[0].real);
        break;
    case DC_BLOCK_TIMER:
        r[0].whole = 0;
        r[1].whole = 0;
        dc_good(found, 0);
        break;
    case DC_BLOCK_LATCH:
        r[0].whole = 0;
        dc_good(found, 0);
        break;
    case DC_BLOCK_AGE:
        dc_good(found, 0);
        break;
    case DC_BLOCK_ATTITUDE:
        nose_up(r);
        cosine(r, found);
        break;
    default:
        break;
    }
}

static dc_real integrated(dc_real i, dc_real e, dc_real dt, dc_real ki, dc_real limit)
{
    dc_real part;

    i = i + e * dt;
    part = ki * i;
    if (part > limit)
        return limit / ki;
    return part < -limit ? -limit / ki : i;
}

/* What a thrust-vector loop demands on this tick; nothing where it has no attitude or rate. */
void dc_ask_loop(dc_sequence *s, size_t loop)
{
    size_t row = dc_size_at(s, DC_HEAD_LOOPS_AT) + loop * DC_LOOP_WIDTH;
    size_t n = dc_size_at(s, row + DC_LOOP_NUMBERS);
    const dc_register *q = registers_of(s, row + DC_LOOP_ATTITUDE_REGISTERS);
    dc_loop *memory = s->loops + loop;
    dc_cell rate_y, rate_z;
    dc_real kp, ki, kd, limit, dt, q0, q1, q2, q3, e_y, e_z, i_y, i_z, y, z;

    memory->asked = 0;
    argument(s, row + DC_LOOP_RATE_Y, &rate_y);
    argument(s, row + DC_LOOP_RATE_Z, &rate_z);
    if (dc_is_bad(s, dc_size_at(s, row + DC_LOOP_ATTITUDE_PLACE)) || rate_y.bad || rate_z.bad)
        return;
    kp = dc_number_at(s, n);
    ki = dc_number_at(s, n + 1);
    kd = dc_number_at(s, n + 2);
    limit = dc_number_at(s, n + 3);
    dt = dc_number_at(s, n + 4);
    q0 = q[0].real;
    q1 = q[1].real;
    q2 = q[2].real;
    q3 = q[3].real;
    e_y = -(q0 * q0 - q1 * q1 - q2 * q2 + q3 * q3);
    e_z = DC_REAL(2.0) * (q2 * q3 + q0 * q1);
    i_y = integrated(memory->i_y, e_y, dt, ki, limit);
    i_z = integrated(memory->i_z, e_z, dt, ki, limit);
    y = kp * e_y + ki * i_y - kd * rate_y.value;
    z = kp * e_z + ki * i_z - kd * rate_z.value;
    if (!dc_finite(y) || !dc_finite(z))
        return;
    memory->i_y = i_y;
    memory->i_z = i_z;
    memory->y = dc_larger(dc_smaller(y, limit), -limit);
    memory->z = dc_larger(dc_smaller(z, limit), -limit);
    memory->asked = 1;
}
