/* What each request does. */
#include "board.h"

#include <math.h>
#include <string.h>

static const char *const input_names[] = LOGIC_INPUT_NAMES;
static const char *const state_names[] = LOGIC_STATE_NAMES;
static const char *const function_names[] = LOGIC_FUNCTION_NAMES;
static const char *const channel_names[] = LOGIC_CHANNEL_NAMES;

/* ---- requests: each returns a reason, or 0 and has written its reply -------- */

static bool all_zero(const uint8_t *p)
{
    unsigned i;
    for (i = 0; i < 32; i++) if (p[i] != 0) return false;
    return true;
}

uint32_t do_hello(const uint8_t *body, size_t n, struct writer *w)
{
    if (n < 2) return BAD_BODY;
    if (get_u16(body) == VERSION && n != 2) return BAD_BODY;
    /* another version: the greeting says which one this board speaks */
    put_u16(w, VERSION);
    put_u16(w, MAX_PAYLOAD);
    put_u8(w, 8);
    put_u8(w, ABILITIES);
    put_u16(w, LOGIC_RATE_HZ);
    put_u16(w, LOGIC_INPUTS);
    put_u16(w, LOGIC_STATES);
    put_u16(w, LOGIC_PULSES);
    put_u16(w, LOGIC_SERVOS);
    put_u16(w, LOGIC_FIELDS);
    put_u16(w, LOGIC_CHANNELS);
    put_u32(w, boots);
    put_bytes(w, own_sequence, 32);
    put_bytes(w, own_wiring, 32);
    put_text(w, LOGIC_BOARD_TEXT);
    put_text(w, LOGIC_BUILD_TEXT);
    return NO_REASON;
}

uint32_t do_names(const uint8_t *body, size_t n, struct writer *w)
{
    const char *const *names;
    uint32_t total, first, i, count = 0;
    size_t count_at;

    if (n != 3) return BAD_BODY;
    switch (body[0]) {
    case 0: names = input_names; total = LOGIC_INPUTS; break;
    case 1: names = state_names; total = LOGIC_STATES; break;
    case 2: names = function_names; total = LOGIC_FUNCTIONS; break;
    case 3: names = channel_names; total = LOGIC_CHANNELS; break;
    default: return BAD_BODY;
    }
    first = get_u16(body + 1);
    if (first > total) return BAD_BODY;
    put_u8(w, body[0]);
    put_u16(w, first);
    put_u16(w, total);
    count_at = w->length;
    put_u8(w, 0);
    for (i = first; i < total && count < 255u; i++) {
        if (strlen(names[i]) + 1u > w->room - w->length) break;
        put_text(w, names[i]);
        count++;
    }
    w->at[count_at] = (uint8_t)count;
    return NO_REASON;
}

uint32_t do_configure(const uint8_t *body, size_t n)
{
    uint32_t ms;

    if (n != 68) return BAD_BODY;
    ms = get_u16(body + 64);
    if (ms < 100u || ms > 10000u || get_u16(body + 66) != 0) return BAD_BODY;
    if (memcmp(body, own_sequence, 32) != 0) return OTHER_SEQUENCE;
    if (!all_zero(body + 32) && !all_zero(own_wiring)
        && memcmp(body + 32, own_wiring, 32) != 0) return OTHER_WIRING;
    mask();
    wiring_agreed = !all_zero(body) && !all_zero(body + 32)
                    && memcmp(body + 32, own_wiring, 32) == 0;
    dead_man_ms = ms;
    configured = true;
    needs_reset = true;
    return NO_REASON;
}

uint32_t do_reset(const uint8_t *body, size_t n)
{
    unsigned i;

    if (n != 1 || body[0] > 1) return BAD_BODY;
    logic_reset(body[0] == 1);
    for (i = 0; i < LOGIC_PULSES; i++) output.on[i] = false;
    mask();
    reset_in_session = true;
    needs_reset = false;
    safe = false;
    dead_man_struck = false;
    ticked = false;
    return NO_REASON;
}

uint32_t do_tick(const uint8_t *body, size_t n, struct writer *w)
{
    const size_t fresh_bytes = (LOGIC_INPUTS + 7u) / 8u;
    const uint8_t *fresh = body + 8, *value;
    size_t count = 0, i;
    uint32_t tick, flags = 0, event_room, events, bits;

    if (!reset_in_session) return NOT_RESET;
    if (safe) return SAFE_RESET_FIRST;
    if (needs_reset) return NOT_RESET;
    if (n < 8u + fresh_bytes) return BAD_BODY;
    for (i = 0; i < fresh_bytes * 8u; i++) {
        if ((fresh[i / 8u] >> (i % 8u) & 1) != 0) {
            if (i >= LOGIC_INPUTS) return BAD_BODY;     /* a bit left over */
            count++;
        }
    }
    if (n != 8u + fresh_bytes + 8u * count) return BAD_BODY;
    tick = get_u32(body);
    if (ticked && tick <= last_tick) return TICK_NOT_LARGER;

    value = fresh + fresh_bytes;
    for (i = 0; i < LOGIC_INPUTS; i++) {
        if ((fresh[i / 8u] >> (i % 8u) & 1) != 0) {
            logic_input((unsigned)i, get_value(value));
            value += 8;
        }
    }
    logic_tick(tick, &output);
    ticked = true;
    last_tick = tick;
    for (i = 0; i < LOGIC_PULSES; i++) {
        if (output.began[i]) {
            through[i] = permit_held && (permit_channels >> pulse_channel[i] & 1u) != 0;
        }
    }
    drive_pins();

    event_room = (uint32_t)((MAX_PAYLOAD - HEAD - 4u - 4u - 1u - 2u - 1u
                             - (LOGIC_PULSES + 7u) / 8u - 8u * LOGIC_SERVOS
                             - (output.publishes ? 8u * LOGIC_FIELDS : 0u)) / 5u);
    events = output.events < event_room ? output.events : event_room;
    if (output.publishes) flags |= 1u;
    if (output.events_lost || events < output.events) flags |= 2u;
    if (!permit_held) flags |= 4u;
    if (dead_man_struck) flags |= 8u;
    put_u32(w, tick);
    put_u32(w, (uint32_t)now_us());
    put_u8(w, flags);
    put_u16(w, output.state);
    put_u8(w, events);
    bits = 0;
    for (i = 0; i < LOGIC_PULSES; i++) {
        if (output.on[i]) bits |= 1u << (i % 8u);
        if (i % 8u == 7u || i + 1u == LOGIC_PULSES) {
            put_u8(w, bits);
            bits = 0;
        }
    }
    for (i = 0; i < LOGIC_SERVOS; i++) put_value(w, output.demand[i]);
    if (output.publishes) for (i = 0; i < LOGIC_FIELDS; i++) put_value(w, output.field[i]);
    for (i = 0; i < events; i++) {
        put_u8(w, output.event[i].kind);
        put_u16(w, output.event[i].subject);
        put_u16(w, output.event[i].detail);
    }
    return NO_REASON;
}

uint32_t do_channels(size_t n, struct writer *w)
{
    static const float ohm[LOGIC_CHANNELS] = LOGIC_CHANNEL_OHM;
    unsigned i;

    if (n != 0) return BAD_BODY;
    put_f32(w, LOGIC_TEST_CURRENT);
    put_u8(w, LOGIC_CHANNELS);
    for (i = 0; i < LOGIC_CHANNELS; i++) put_f32(w, ohm[i]);
    return NO_REASON;
}

static bool permit_possible(void)
{
    return (ABILITIES & 2u) != 0 && configured && wiring_agreed && dead_man_ms <= 500u
           && reset_in_session && !needs_reset && !safe && !dead_man_struck && arming_in();
}

uint32_t do_permit(const uint8_t *body, size_t n, struct writer *w, uint64_t now)
{
    uint32_t step, channels, ms, given, answer = 0;

    if (n != 11 || body[0] > 2) return BAD_BODY;
    step = body[0];
    channels = get_u32(body + 1);
    ms = get_u16(body + 5);
    given = get_u32(body + 7);
    if (step == 0) {
        mask();
        channels = 0;
        ms = 0;
    } else {
        if (channels == 0 || channels >> LOGIC_CHANNELS != 0) return BAD_BODY;
        if (ms < 1u || ms > 2000u) return BAD_BODY;
        if (step == 1 && given != 0) return BAD_BODY;
        if (!permit_possible()) return NO_PERMIT;
        if (step == 1) {
            challenge = draw();
            asked_channels = channels;
            asked_ms = ms;
            challenge_until_us = now + 2000000u;
            answer = challenge;
        } else {
            bool fits = challenge != 0 && given == challenge && channels == asked_channels
                        && ms == asked_ms && now <= challenge_until_us;
            mask();                             /* what held before is over */
            if (!fits) return NO_PERMIT;
            permit_held = true;
            permit_channels = channels;
            permit_until_us = now + (uint64_t)ms * 1000u;
            answer = given;
        }
    }
    put_u8(w, step);
    put_u32(w, channels);
    put_u16(w, ms);
    put_u32(w, answer);
    return NO_REASON;
}

uint32_t do_ping(const uint8_t *body, size_t n, struct writer *w)
{
    if (n > MAX_PAYLOAD - HEAD - 4u) return BAD_BODY;
    put_u32(w, (uint32_t)now_us());
    put_bytes(w, body, n);
    return NO_REASON;
}
