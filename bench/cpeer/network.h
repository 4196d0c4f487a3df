/* Batteries and the networks behind them, solved in closed form. */

#ifndef NETWORK_H
#define NETWORK_H

#include "mechanisms.h"

#define LEAST_RESISTANCE 1e-3
#define SHORT_CIRCUIT 0.02
#define COPPER 0.00393 /* 1/K from 20 C */

static double straight_lines(const double *at, const double *values, int64_t points, double x)
{
    int64_t i = 0;
    while (i < points && at[i] < x)
        i++;
    if (i == 0)
        return values[0];
    if (i == points)
        return values[points - 1];
    double part = (x - at[i - 1]) / (at[i] - at[i - 1]);
    return values[i - 1] + part * (values[i] - values[i - 1]);
}

static double open_voltage(const State *s, const Params *p, const Commands *c, int64_t b)
{
    if (fault_at(p, c, FAULT_BATTERY_DISCONNECTED, b))
        return 0.0;
    double volts = straight_lines(p->battery_charge_at[b], p->battery_volts_at[b],
                                  p->battery_points[b], s->battery_charge[b]);
    return fault_size(p, c, FAULT_BATTERY_LOW, b, volts);
}

static double inner_resistance(const Params *p, const Commands *c, int64_t b)
{
    double factor = fault_size(p, c, FAULT_BATTERY_RESISTANCE, b, 1.0);
    int64_t points = p->battery_factor_points[b];
    if (points > 0) {
        double colder = fault_size(p, c, FAULT_BATTERY_COLD, b, 0.0);
        factor *= straight_lines(p->battery_celsius_at[b], p->battery_factor_at[b], points,
                                 celsius(p, 0.0) - colder);
    }
    return factor * p->battery_resistance[b];
}

static double sensed_volts(const Params *p, const Commands *c, int64_t b, double volts)
{
    return volts * p->battery_sense[b] * fault_size(p, c, FAULT_BATTERY_SENSED, b, 1.0);
}

static bool any_switch(const Commands *c, int64_t bits, bool wanted)
{
    if (bits == 0)
        return false;
    for (int i = 0; i < SWITCHES; i++)
        if ((bits >> i & 1) != 0 && (c->switch_[i] != 0) == wanted)
            return true;
    return false;
}

static bool broken(const State *s, const Params *p, const Commands *c, int64_t channel)
{
    if (any_switch(c, p->channel_opened_by[channel], true))
        return true;
    if (p->faults == 0)
        return false;
    if (fault_at(p, c, FAULT_CHANNEL_DEAD, channel))
        return true;
    double period = fault_size(p, c, FAULT_CHANNEL_INTERMITTENT, channel, 0.0);
    if (period <= 0.0)
        return false;
    double turns = ((double)s->tick + 0.5) / ((double)p->rate_hz * period);
    return turns - floor(turns) >= 0.5;
}

static bool commanded(const Params *p, const Commands *c, int64_t channel)
{
    int64_t source = channel;
    for (int64_t i = 0; i < p->faults; i++) {
        if (c->fault[i] == 0 || p->fault_kind[i] != FAULT_WRONG_MAP)
            continue;
        int64_t place = p->fault_place[i], other = (int64_t)p->fault_size[i];
        if (source == place)
            source = other;
        else if (source == other)
            source = place;
    }
    return c->channel[source] != 0;
}

static double series_resistance(const Params *p, const Commands *c, int64_t channel)
{
    double wire = p->channel_wire[channel];
    if (wire > 0.0)
        wire *= 1.0 + COPPER * (celsius(p, 0.0) - 20.0);
    double worn = fault_size(p, c, FAULT_CHANNEL_RESISTANCE, channel, 0.0);
    return p->channel_resistance[channel] + wire + worn;
}

static bool switch_channels(State *s, const Params *p, const Commands *c)
{
    bool found = false;
    for (int64_t i = 0; i < p->channels; i++) {
        int64_t on = commanded(p, c, i) ? 1 : 0;
        if (fault_at(p, c, FAULT_CHANNEL_SHORTED_ON, i))
            on = 2;
        if (on != 0 && (any_switch(c, p->channel_closed_by[i], false) || broken(s, p, c, i)))
            on = 0;
        s->channel_on[i] = on;
        if (on != 0) {
            found = true;
            s->channel_ohm[i] = series_resistance(p, c, i);
        }
    }
    return found;
}

static double conductance(const State *s, const Params *p, const Commands *c, int64_t load)
{
    if (fault_at(p, c, FAULT_IGNITER_OPEN, load))
        return 0.0;
    if (fault_at(p, c, FAULT_IGNITER_SHORTED, load))
        return 1.0 / SHORT_CIRCUIT;
    if (s->load_spent[load] == 0)
        return 1.0 / most(p->load_resistance[load], LEAST_RESISTANCE);
    if (p->load_shorts[load] != 0 || fault_at(p, c, FAULT_IGNITER_SHORTS_AFTER, load))
        return 1.0 / SHORT_CIRCUIT;
    return 0.0;
}

static double resistance_seen(const State *s, const Params *p, const Commands *c, int64_t channel)
{
    double siemens = 0.0;
    for (int64_t i = 0; i < p->loads; i++)
        if (p->load_channel[i] == channel)
            siemens += conductance(s, p, c, i);
    if (siemens == 0.0 || broken(s, p, c, channel))
        return INFINITY;
    return series_resistance(p, c, channel) + 1.0 / siemens;
}

static void connect(State *s, const Params *p, const Commands *c)
{
    for (int64_t i = 0; i < p->channels; i++)
        s->channel_siemens[i] = 0.0;
    for (int64_t i = 0; i < p->loads; i++) {
        int64_t channel = p->load_channel[i];
        s->load_siemens[i] = 0.0;
        if (channel < 0 || s->channel_on[channel] == 0)
            continue;
        if (s->channel_on[channel] == 1 && s->powerless[p->channel_battery[channel]] != 0)
            continue;
        s->load_siemens[i] = conductance(s, p, c, i);
        s->channel_siemens[channel] += s->load_siemens[i];
    }
    for (int64_t i = 0; i < p->channels; i++)
        if (s->channel_siemens[i] > 0.0) {
            double whole = most(s->channel_ohm[i] + 1.0 / s->channel_siemens[i], LEAST_RESISTANCE);
            s->battery_siemens[p->channel_battery[i]] += 1.0 / whole;
        }
}

static void share(State *s, const Params *p)
{
    for (int64_t i = 0; i < p->loads; i++) {
        double amps = 0.0;
        if (s->load_siemens[i] > 0.0) {
            int64_t channel = p->load_channel[i];
            double parallel = s->channel_siemens[channel];
            double whole = most(s->channel_ohm[channel] + 1.0 / parallel, LEAST_RESISTANCE);
            double through = s->battery_volts[p->channel_battery[channel]] / whole;
            amps = through * s->load_siemens[i] / parallel;
        }
        s->load_amps[i] = amps;
        s->load_peak[i] = most(s->load_peak[i], amps);
    }
}

static void settle(State *s, const Params *p, const Commands *c)
{
    for (int64_t b = 0; b < p->batteries; b++) {
        s->battery_siemens[b] = 0.0;
        s->battery_steady[b] = s->powerless[b] != 0 ? 0.0 : p->battery_draw[b];
    }
    for (int64_t i = 0; i < p->servos; i++)
        s->battery_steady[p->servo_battery[i]] += s->servo_amps[i];
    if (s->circuit_busy != 0)
        connect(s, p, c);
    for (int64_t b = 0; b < p->batteries; b++) {
        double volts = s->battery_open[b], inner = s->battery_inner[b];
        double steady = s->battery_steady[b], siemens = s->battery_siemens[b];
        double across = (volts - inner * steady) / (1.0 + inner * siemens);
        double amps = steady + across * siemens;
        if (across <= 0.0) {
            across = 0.0;
            amps = volts / most(inner, LEAST_RESISTANCE);
        }
        s->battery_volts[b] = across;
        s->battery_amps[b] = amps;
        s->battery_least[b] = least(s->battery_least[b], across);
        s->battery_peak[b] = most(s->battery_peak[b], amps);
    }
    if (s->circuit_busy != 0)
        share(s, p);
}

#endif
