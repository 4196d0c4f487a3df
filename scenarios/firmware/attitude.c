/* Attitude from the gyroscopes. */

#include <float.h>

#include "inside.h"

double q[4];

bool finite_number(double x)
{
    double nothing = x - x;

    return nothing == 0.0;
}

/* Whether a * b is less than x, exactly: the product is high + low, its halves by Dekker's way. */
static bool product_below(double a, double b, double x)
{
#if DBL_MANT_DIG == 53
    const double splitter = 134217729.0; /* 2^27 + 1 */
#else
    const double splitter = 4097.0; /* 2^12 + 1, where a double is a single */
#endif
    double t = splitter * a, a_high = t - (t - a), a_low = a - a_high;
    double u = splitter * b, b_high = u - (u - b), b_low = b - b_high;
    double high = a * b;
    double low = ((a_high * b_high - high) + a_high * b_low + a_low * b_high) + a_low * b_low;

    return high < x || (high == x && low < 0.0);
}

/* The double nearest to the root of x, x finite and above 0, without a maths library. Heron's rule
   comes near; then one step is taken at a time while the middle between two neighbours,
   r + step / 2, is on the wrong side. As (r + step / 2)^2 = r (r + step) + step^2 / 4, and no root
   lies on a middle, r (r + step) < x tells. */
static double root(double x)
{
    const double step = DBL_EPSILON; /* between neighbours from 1 to 2 */
    double scale = 1.0, r;
    uint8_t i;

    while (x >= 4.0) {
        x *= 0.25;
        scale *= 2.0;
    }
    while (x < 1.0) {
        x *= 4.0;
        scale *= 0.5;
    }
    r = 0.5 * (1.0 + x);
    for (i = 0; i < 6; i++)
        r = 0.5 * (r + x / r);
    while (product_below(r, r + step, x))
        r += step;
    while (!product_below(r, r - step, x))
        r -= step;
    return r * scale;
}

static void nose_up(void)
{
    q[0] = 0.70710678118654757;
    q[1] = 0.0;
    q[2] = -0.70710678118654757;
    q[3] = 0.0;
}

static void look_up(void)
{
    sensed.upright.value = 2.0 * (q[1] * q[3] - q[0] * q[2]);
    sensed.upright.known = true;
}

void attitude_boot(void)
{
    nose_up();
    look_up();
}

/* One step of q' = q (0, w) / 2. Without a rate it stays as it was, and nobody knows the tilt. */
void attitude_turn(void)
{
    double x = in[GYRO_X].now.value, y = in[GYRO_Y].now.value, z = in[GYRO_Z].now.value;
    double n[4], square, length;

    if (!flags[LIFTED]) {
        attitude_boot();
        return;
    }
    sensed.upright.known = false;
    if (!in[GYRO_X].now.known || !in[GYRO_Y].now.known || !in[GYRO_Z].now.known)
        return;
    n[0] = q[0] + 0.5 * DT * (-q[1] * x - q[2] * y - q[3] * z);
    n[1] = q[1] + 0.5 * DT * (q[0] * x + q[2] * z - q[3] * y);
    n[2] = q[2] + 0.5 * DT * (q[0] * y - q[1] * z + q[3] * x);
    n[3] = q[3] + 0.5 * DT * (q[0] * z + q[1] * y - q[2] * x);
    square = n[0] * n[0] + n[1] * n[1] + n[2] * n[2] + n[3] * n[3];
    if (!finite_number(square) || square <= 0.0)
        return;
    length = root(square);
    q[0] = n[0] / length;
    q[1] = n[1] / length;
    q[2] = n[2] / length;
    q[3] = n[3] / length;
    look_up();
}
