/* Standard atmosphere, wind, Philox4x32-10 and Dryden turbulence. */

#ifndef AIR_H
#define AIR_H

#include "common.h"

#define G0 9.80665
#define GAS (8314.32 / 28.9644)
#define SEA_TEMPERATURE 288.15
#define ICE 273.15
#define SEA_PRESSURE 101325.0
#define LAPSE 0.0065
#define TROPOPAUSE 11000.0
#define EXPONENT (G0 / (GAS * LAPSE))
#define FOOT 0.3048
#define LEAST_AIRSPEED 1.0
#define TO_UNIT 0x1p-53

enum { SOURCE_TURBULENCE = 1, SOURCE_START = 4, SOURCE_LOAD = 7, SOURCE_SENSOR = 16 };

typedef struct {
    double pressure, density;
} Air;

static double column(double warm, double above, double rise)
{
    double change = (above - warm) / warm;
    double inverse = 1.0 / warm;
    if (change != 0.0)
        inverse *= log1p(change) / change;
    return exp(-G0 / GAS * inverse * rise);
}

static double measured_air(const Params *p, double height, double *ratio)
{
    double low = 0.0, warm = p->temperature_kelvin[0];
    *ratio = 1.0;
    for (int64_t i = 0; i < p->temperature_levels; i++) {
        double top = p->temperature_height[i], above = p->temperature_kelvin[i];
        if (top > low) {
            if (height <= top) {
                double here = warm + (above - warm) * (height - low) / (top - low);
                *ratio *= column(warm, here, height - low);
                return here;
            }
            *ratio *= column(warm, above, top - low);
        }
        low = top;
        warm = above;
    }
    *ratio *= column(warm, warm, height - low);
    return warm;
}

static Air air(const Params *p, double height)
{
    double altitude = p->pad_altitude + height;
    if (p->temperature_levels > 0)
        altitude = p->pad_altitude;
    double layer = least(altitude, TROPOPAUSE);
    double sea = SEA_TEMPERATURE + p->temperature_offset;
    double temperature = sea - LAPSE * layer;
    double pressure = (SEA_PRESSURE + p->pressure_offset) * pow(temperature / sea, EXPONENT);
    if (altitude > layer)
        pressure *= exp(-G0 * (altitude - layer) / (GAS * temperature));
    if (p->temperature_levels > 0) {
        double ratio;
        temperature = measured_air(p, height, &ratio);
        pressure *= ratio;
    }
    return (Air){pressure, pressure / (GAS * temperature)};
}

static double celsius(const Params *p, double height)
{
    Air here = air(p, height);
    return here.pressure / (here.density * GAS) - ICE;
}

static double pressure_height(double pressure)
{
    double ratio = pow(pressure / SEA_PRESSURE, 1.0 / EXPONENT);
    return SEA_TEMPERATURE / LAPSE * (1.0 - ratio);
}

static Vector wind(const Params *p, double height, double time)
{
    Vector w = {0.0, 0.0, 0.0};
    int64_t levels = p->wind_levels;
    if (levels > 0) {
        int64_t i = 0;
        while (i < levels && p->wind_height[i] < height)
            i++;
        if (i == 0 || i == levels) {
            i = i < levels - 1 ? i : levels - 1;
            w.x = p->wind_east[i];
            w.y = p->wind_north[i];
        } else {
            double low = p->wind_height[i - 1];
            double part = (height - low) / (p->wind_height[i] - low);
            w.x = p->wind_east[i - 1] + part * (p->wind_east[i] - p->wind_east[i - 1]);
            w.y = p->wind_north[i - 1] + part * (p->wind_north[i] - p->wind_north[i - 1]);
        }
    }
    for (int64_t i = 0; i < p->gusts; i++) {
        double since = time - p->gust_start[i];
        if (0.0 < since && since < p->gust_length[i]) {
            double part = 0.5 * (1.0 - cos(2.0 * PI * since / p->gust_length[i]));
            w.x += part * p->gust_east[i];
            w.y += part * p->gust_north[i];
            w.z += part * p->gust_up[i];
        }
    }
    return w;
}

/* Two standard normal numbers for (seed, flight, source, draw). */
static void normal_pair(const Params *p, int64_t source, int64_t draw, double *one, double *two)
{
    uint32_t a = (uint32_t)draw, b = (uint32_t)source;
    uint32_t c = (uint32_t)p->flight, d = (uint32_t)(p->flight >> 32);
    uint32_t key0 = (uint32_t)p->seed, key1 = (uint32_t)(p->seed >> 32);
    for (int round = 0; round < 10; round++) {
        uint64_t first = (uint64_t)0xD2511F53u * a;
        uint64_t second = (uint64_t)0xCD9E8D57u * c;
        a = (uint32_t)(second >> 32) ^ b ^ key0;
        b = (uint32_t)second;
        c = (uint32_t)(first >> 32) ^ d ^ key1;
        d = (uint32_t)first;
        key0 += 0x9E3779B9u;
        key1 += 0xBB67AE85u;
    }
    double u = ((double)(((uint64_t)a << 32 | b) >> 11) + 0.5) * TO_UNIT;
    double angle = 2.0 * PI * ((double)(((uint64_t)c << 32 | d) >> 11) * TO_UNIT);
    double radius = sqrt(-2.0 * log(u));
    *one = radius * cos(angle);
    *two = radius * sin(angle);
}

typedef struct {
    double length_u, length_w, sigma_u, sigma_w;
} Dryden;

static Dryden dryden(double height, double w20)
{
    double feet = within(height / FOOT, 10.0, 1000.0);
    double base = 0.177 + 0.000823 * feet;
    double sigma_w = 0.1 * w20;
    return (Dryden){
        feet / pow(base, 1.2) * FOOT,
        feet * FOOT,
        sigma_w / pow(base, 0.4),
        sigma_w,
    };
}

static void begin_turbulence(State *s, const Params *p)
{
    double first, second, third, fourth, unused;
    normal_pair(p, SOURCE_START, 0, &first, &second);
    s->turbulence[0] = first;
    s->turbulence[1] = second;
    normal_pair(p, SOURCE_START + 1, 0, &first, &third);
    normal_pair(p, SOURCE_START + 2, 0, &fourth, &unused);
    s->turbulence[2] = 0.5 * (second + first);
    s->turbulence[3] = third;
    s->turbulence[4] = 0.5 * (third + fourth);
}

static void second_order(double *pair, double ratio, double first, double second)
{
    double decay = exp(-ratio);
    double squared = decay * decay;
    double q11 = 1.0 - squared;
    double q12 = 0.5 - squared * (ratio + 0.5);
    double q22 = 0.5 - squared * (ratio * ratio + ratio + 0.5);
    double l11 = sqrt(q11);
    double l21 = l11 > 0.0 ? q12 / l11 : 0.0;
    double l22 = sqrt(most(q22 - l21 * l21, 0.0));
    double a = pair[0], b = pair[1];
    pair[0] = decay * a + l11 * first;
    pair[1] = decay * (b + ratio * a) + l21 * first + l22 * second;
}

static Vector gusts_at(const State *s, const Params *p, double height)
{
    if (p->turbulence_w20 <= 0.0)
        return (Vector){0.0, 0.0, 0.0};
    const double root3 = sqrt(3.0), half = sqrt(0.5);
    const double *t = s->turbulence;
    Dryden here = dryden(height, p->turbulence_w20);
    double u = here.sigma_u * t[0];
    double v = here.sigma_u * half * (root3 * t[1] + (1.0 - root3) * t[2]);
    double w = here.sigma_w * half * (root3 * t[3] + (1.0 - root3) * t[4]);
    Vector mean = wind(p, height, -1.0);
    double speed = sqrt(mean.x * mean.x + mean.y * mean.y);
    double east = 1.0, north = 0.0;
    if (speed > 0.0) {
        east = mean.x / speed;
        north = mean.y / speed;
    }
    return (Vector){u * east - v * north, u * north + v * east, w};
}

static void stir(State *s, const Params *p, double dt)
{
    s->stirred[0] = s->stirred[1] = s->stirred[2] = 0.0;
    if (p->turbulence_w20 <= 0.0)
        return;
    double height = s->position[2];
    Vector w = wind(p, height, (double)s->tick / (double)p->rate_hz);
    double airspeed = sqrt(square(s->velocity[0] - w.x) + square(s->velocity[1] - w.y)
                           + square(s->velocity[2] - w.z));
    double travel = most(airspeed, LEAST_AIRSPEED) * dt;
    Dryden here = dryden(height, p->turbulence_w20);
    double u, unused, v1, v2, w1, w2;
    normal_pair(p, SOURCE_TURBULENCE, s->tick, &u, &unused);
    normal_pair(p, SOURCE_TURBULENCE + 1, s->tick, &v1, &v2);
    normal_pair(p, SOURCE_TURBULENCE + 2, s->tick, &w1, &w2);
    double decay = exp(-travel / here.length_u);
    s->turbulence[0] = decay * s->turbulence[0] + sqrt(1.0 - decay * decay) * u;
    second_order(s->turbulence + 1, travel / here.length_u, v1, v2);
    second_order(s->turbulence + 3, travel / here.length_w, w1, w2);
    Vector gusts = gusts_at(s, p, height);
    s->stirred[0] = gusts.x;
    s->stirred[1] = gusts.y;
    s->stirred[2] = gusts.z;
}

#endif
