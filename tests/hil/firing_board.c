/* A bench board with three channels, a key and a clock, all of which a test sets: as a library. */

#include <string.h>

#include "dc_exported.h"

static dc_link link_;
static dc_board board;
static uint8_t out[8192];
static size_t sent;
static uint32_t clock_us, pace_us, driven, drives, chances, unlucky;
static uint8_t key;
static float loads[3];
static const char *const names[] = {"X1", "X2", "X3"};
static const uint8_t not_told[32] = {0};

static void write_bytes(void *context, const uint8_t *bytes, size_t count)
{
    (void)context;
    memcpy(out + sent, bytes, count);
    sent += count;
}

static uint32_t micros(void *context)
{
    (void)context;
    return clock_us += pace_us;
}

static float ohms(void *context, uint8_t channel)
{
    (void)context;
    return loads[channel];
}

static uint8_t armed(void *context)
{
    (void)context;
    return key;
}

/* Not random: a test wants the same again. */
static uint32_t chance(void *context)
{
    (void)context;
    return unlucky ? 0 : (chances += 0x9e3779b9u);
}

static void drive(void *context, uint32_t channels)
{
    (void)context;
    driven = channels;
    drives++;
}

static dc_channels channels = {{names, 3}, 0.001f, ohms};
static dc_firing firing;

/* Power up; without: a bit for each thing that this board lacks. */
void rig_boot(uint32_t boots, uint32_t without)
{
    dc_join(&board);
    board.board = "rig";
    board.boots = boots;
    board.write = write_bytes;
    board.micros = (without & 1) != 0 ? NULL : micros;
    board.channels = (without & 2) != 0 ? NULL : &channels;
    board.firing = (without & 4) != 0 ? NULL : &firing;
    if ((without & 8) != 0)
        board.wiring = NULL;
    if ((without & 512) != 0)
        board.wiring = not_told;
    channels.ohms = (without & 1024) != 0 ? NULL : ohms;
    unlucky = without & 2048;
    pace_us = 0;
    firing.drives = (without & 16) != 0 ? NULL : OF(SEQUENCE, _drives);
    firing.armed = (without & 32) != 0 ? NULL : armed;
    firing.chance = (without & 64) != 0 ? NULL : chance;
    firing.drive = (without & 128) != 0 ? NULL : drive;
    firing.dummy_least = (without & 256) != 0 ? 2.0f : 15.0f;
    firing.dummy_most = 50.0f;
    dc_link_start(&link_, &board);
}

void rig_set(uint32_t us, uint8_t in)
{
    clock_us = us;
    key = in;
}

/* How long it takes from one look at the clock to the next. */
void rig_pace(uint32_t us) { pace_us = us; }
void rig_load(uint8_t channel, float ohm) { loads[channel] = ohm; }
void rig_watch(void) { dc_link_watch(&link_); }
void rig_take(const uint8_t *bytes, size_t count) { dc_link_take(&link_, bytes, count); }
void rig_text(uint8_t level, const char *text) { dc_link_text(&link_, level, text); }
uint32_t rig_driven(void) { return driven; }
uint32_t rig_drives(void) { return drives; }
float rig_open(void) { return dc_link_open(); }
float rig_not_measured(void) { return dc_link_not_measured(); }

/* What was sent since the last call. */
size_t rig_sent(uint8_t *bytes)
{
    size_t count = sent;

    memcpy(bytes, out, count);
    sent = 0;
    return count;
}
