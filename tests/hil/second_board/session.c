/* The rows of the table on the page: sessions, numbers, replies that are kept. */
#include "board.h"

#include <string.h>

/* ---- rows ------------------------------------------------------------------ */

void watch(void)                 /* dead-man and permit, on the own clock */
{
    uint64_t now = now_us();

    if (configured && now - last_new_us >= (uint64_t)dead_man_ms * 1000u) {
        mask();
        if (!dead_man_struck) {
            dead_man_struck = true;
            say(WARNING, "the dead-man has struck");
        }
    }
    if (permit_held && (now >= permit_until_us || !arming_in())) mask();
}

static void carry_out(const uint8_t *p, size_t n)       /* row 11 */
{
    uint32_t number = get_u32(p + 1), kind = p[0], reason;
    const uint8_t *body = p + HEAD;
    size_t length = n - HEAD;
    uint64_t now = now_us();
    struct writer w = begin(kept, kind | REPLY, number, nonce);

    last_new_us = now;
    if (kind < HELLO || kind > SAFE_NOW) {
        reason = UNKNOWN_KIND;
    } else if (!configured && kind != NAMES && kind != CONFIGURE && kind != PING) {
        reason = NOT_CONFIGURED;
    } else {
        switch (kind) {
        case NAMES: reason = do_names(body, length, &w); break;
        case CONFIGURE: reason = do_configure(body, length); break;
        case RESET: reason = do_reset(body, length); break;
        case TICK: reason = do_tick(body, length, &w); break;
        case CHANNELS: reason = do_channels(length, &w); break;
        case PERMIT: reason = do_permit(body, length, &w, now); break;
        case PING: reason = do_ping(body, length, &w); break;
        default: reason = FAILED; break;        /* HELLO, SAFE_NOW: never here */
        }
    }
    kept_length = reason != NO_REASON ? refuse(kept, p, reason) : w.length;
    last_number = number;
    if (chatter) say(number % 4u, kind == TICK ? "tick \xc2\xb5" : "request");
    send_payload(kept, kept_length, false);
}

static void greet(const uint8_t *p, size_t n)           /* row 5 */
{
    struct writer w;
    uint32_t reason;

    go_safe();
    nonce = get_u32(p + 5);
    last_number = 1;
    configured = false;
    wiring_agreed = false;
    reset_in_session = false;
    needs_reset = true;
    dead_man_struck = false;
    last_new_us = now_us();
    w = begin(kept, HELLO | REPLY, 1, nonce);
    reason = do_hello(p + HEAD, n - HEAD, &w);
    kept_length = reason != NO_REASON ? refuse(kept, p, reason) : w.length;
    send_payload(kept, kept_length, false);
    say(NOTE, "a new session");
}

void take_payload(const uint8_t *p, size_t n)
{
    uint8_t aside[MAX_PAYLOAD];
    uint32_t number, session;

    watch();
    if (n < HEAD || (p[0] & 0x80u) != 0) return;                        /* 1 */
    number = get_u32(p + 1);
    session = get_u32(p + 5);
    if (p[0] == SAFE_NOW) {                                             /* 2 */
        struct writer w = begin(aside, SAFE_NOW | REPLY, number, session);
        go_safe();
        send_payload(aside, w.length, false);
        return;
    }
    if (p[0] == HELLO) {
        if (session == 0 || number != 1) return;                        /* 3 */
        if (session != nonce) {                                         /* 5 */
            greet(p, n);
            return;
        }
        if (last_number == 1) send_payload(kept, kept_length, true);    /* 4 */
        return;
    }
    if (nonce == 0) {                                                   /* 6 */
        send_payload(aside, refuse(aside, p, NO_SESSION), false);
    } else if (session != nonce) {                                      /* 7 */
        return;
    } else if (number == last_number) {                                 /* 8 */
        send_payload(kept, kept_length, true);
    } else if (number < last_number) {                                  /* 9 */
        return;
    } else if (number - last_number > 1u) {                             /* 10 */
        send_payload(aside, refuse(aside, p, OUT_OF_STEP), false);
    } else {                                                            /* 11 */
        carry_out(p, n);
    }
}
