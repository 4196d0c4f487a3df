/* Every number that the logic compares with, as in flight.sequence.toml, where the reasons stand.
   SI units; angles by their cosines, times in ticks. */

#ifndef LIMITS_H
#define LIMITS_H

#define RATE_HZ 100
#define DT 0.01      /* s, of a tick */
#define BARO_DT 0.04 /* s, between two answers of the barometer */
#define TICKS(seconds) ((uint32_t)((seconds) * RATE_HZ + 0.5))

#define LINK_STALE TICKS(0.3)
#define BARO_STALE TICKS(0.5)
#define RANGE_STALE TICKS(0.15)

#define IGNITER_LEAST 0.6 /* ohm */
#define IGNITER_MOST 4.0
#define BATTERY_LEAST 7.2 /* V */

#define LIFTOFF_ACCEL 13.0 /* m/s2 */
#define LIFTOFF_HEIGHT 3.0 /* m */
#define LIFT_TIME TICKS(1.0)
#define WEAK_ACCEL 14.0
#define WEAK_FROM TICKS(1.2)
#define BURN_LEAST TICKS(3.2)
#define BURN_MOST TICKS(5.2)
#define BURNOUT_ACCEL 2.0
#ifdef VARIANT_HOLD_SHORT
#define BURNT_OUT_HOLD 4
#else
#define BURNT_OUT_HOLD 5 /* ticks */
#endif
#define TILT_MAX_COSINE 0.8660254037844386  /* 30 deg */
#define TILT_LOST_COSINE 0.4999999999999999 /* 60 deg */

#define STAGE_DELAY TICKS(0.4)
#define STAGE_CLIMB 5.0 /* m/s */
#define COAST_MOST TICKS(3.2)
#define STAGE_TIME TICKS(0.6)
#define FALL_START 1.0
#define OVER_THE_TOP 11.0 /* s of flight */
#define FALL_MAX 27.0
#define BURN_START 20.3 /* m */
#define THRUST_ACCEL 14.0
#define RELIGHT_TIME TICKS(0.45)
#define BURN_LONGEST TICKS(3.4)
#define CONTACT_RANGE 0.30

#define CHUTE_FLOOR 26.0
#define CHUTE_LATEST 26.0 /* s of flight */
#define CHUTE_LATEST_TICKS TICKS(CHUTE_LATEST)
#define CHARGE_WAIT TICKS(1.5)
#define CHUTE_FALL 10.0
#define SINK_MOST TICKS(60.0)
#define STILL_SPEED 0.7
#define SETTLE_TIME TICKS(2.0)

#define GIMBAL_LIMIT 0.10471975511965978 /* rad, 6 deg */

#endif
