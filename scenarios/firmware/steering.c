/* Thrust-vector control: proportional, integral, and the rate from the gyroscopes. */

#include "inside.h"

void steering_restart(struct steering *loop)
{
    loop->i_y = 0.0;
    loop->i_z = 0.0;
}

static double gathered(const struct steering *loop, double i, double error)
{
    i = i + error * DT;
    if (loop->ki * i > GIMBAL_LIMIT)
        return GIMBAL_LIMIT / loop->ki;
    if (loop->ki * i < -GIMBAL_LIMIT)
        return -GIMBAL_LIMIT / loop->ki;
    return i;
}

static double within_travel(double demand)
{
    if (demand > GIMBAL_LIMIT)
        return GIMBAL_LIMIT;
    return demand < -GIMBAL_LIMIT ? -GIMBAL_LIMIT : demand;
}

/* New demands, if attitude and rates are there; else nothing moves. */
bool steer(struct steering *loop)
{
    double e_y, e_z, i_y, i_z, y, z;

    if (!sensed.upright.known || !in[GYRO_Y].now.known || !in[GYRO_Z].now.known)
        return false;
    e_y = -(q[0] * q[0] - q[1] * q[1] - q[2] * q[2] + q[3] * q[3]);
    e_z = 2.0 * (q[2] * q[3] + q[0] * q[1]);
    i_y = gathered(loop, loop->i_y, e_y);
    i_z = gathered(loop, loop->i_z, e_z);
    y = loop->kp * e_y + loop->ki * i_y - loop->kd * in[GYRO_Y].now.value;
    z = loop->kp * e_z + loop->ki * i_z - loop->kd * in[GYRO_Z].now.value;
    if (!finite_number(y) || !finite_number(z))
        return false;
    loop->i_y = i_y;
    loop->i_z = i_z;
    loop->y = within_travel(y);
    loop->z = within_travel(z);
    return true;
}
