/* What the files of the link share. Not for the board's code. */

#ifndef DC_LINK_INSIDE_H
#define DC_LINK_INSIDE_H

#include "dc_link.h"

#if defined(__AVR__)
#include <avr/pgmspace.h>
#endif

#define DC_LINK_VERSION 1u
#define DC_LINK_HEADER 9u
#define DC_LINK_SHA 32u
#define DC_LINK_SMALL 20u

enum {
    ASK_HELLO = 1,
    ASK_NAMES,
    ASK_CONFIGURE,
    ASK_RESET,
    ASK_TICK,
    ASK_CHANNELS,
    ASK_PERMIT,
    ASK_PING,
    ASK_SAFE_NOW
};
enum { REPLY = 0x80, READY = 0xf0, TEXT_LINE = 0xf1, REFUSED = 0xff };
enum { CAN_WARM = 1, CAN_FIRE = 2, HAS_CLOCK = 4, MEASURES = 8 };
enum { MESSAGE = 1, NOT_ALL = 2, MASKED = 4, STRUCK = 8 };
enum {
    NO_SUCH_KIND = 1,
    BAD_BODY = 2,
    NO_SESSION = 3,
    OUT_OF_STEP = 5,
    OTHER_SEQUENCE = 6,
    OTHER_WIRING = 7,
    NOT_CONFIGURED = 8,
    NOT_RESET = 9,
    OLD_TICK = 10,
    SAFE = 11,
    NO_PERMIT = 12,
    CANNOT = 13
};
/* mode: why a tick is refused, or that it is not */
enum { RUNNING = 0 };

/* Hashes lie in flash, like the tables. */
static inline uint8_t dc_link_sha_at(const uint8_t *sha, size_t at)
{
#if defined(__AVR__)
    return pgm_read_byte(sha + at);
#else
    return sha[at];
#endif
}

static inline void dc_link_put_sha(dc_link_writer *w, const uint8_t *sha)
{
    size_t i;

    for (i = 0; i < DC_LINK_SHA; i++) /* not known: all zero */
        dc_link_put(w, sha != NULL ? dc_link_sha_at(sha, i) : 0u, 1);
}

static inline uint32_t dc_link_now(const dc_link *link)
{
    return link->board->micros != NULL ? link->board->micros(link->board->context) : 0;
}

/* Of those that the board can measure. */
static inline uint8_t dc_link_channel_count(const dc_board *board)
{
    const dc_channels *channels = board->channels;

    if (channels == NULL || channels->ohms == NULL)
        return 0;
    return (uint8_t)(channels->names.count < DC_LINK_CHANNELS ? channels->names.count
                                                              : DC_LINK_CHANNELS);
}

/* A payload's first bytes. */
void dc_link_begin(dc_link_writer *w, uint8_t *bytes, size_t room, uint8_t kind, uint32_t number,
                   uint32_t nonce);
void dc_link_say(const dc_link *link, dc_link_writer *w);

/* dc_link_tell.c: what the board is; the reply's body, or why there is none */
uint8_t dc_link_greet(const dc_link *link, dc_link_writer *w);
uint8_t dc_link_name(const dc_link *link, dc_link_writer *w, const uint8_t *body, size_t count);
uint8_t dc_link_measure(const dc_link *link, dc_link_writer *w, size_t count);

/* dc_link_permit.c: the only way to an output. In an image that was not built for dummy loads there
   is none, and all that these do is to say so. */
int dc_link_can_fire(const dc_board *board);
uint8_t dc_link_permit(dc_link *link, dc_link_writer *w, const uint8_t *body, size_t count);
/* All outputs off; the permit is gone. */
void dc_link_mask(dc_link *link);
/* The same, if the permit is over. */
void dc_link_check(dc_link *link);
/* A reset: no pulse has begun. */
void dc_link_forget(dc_link *link);
/* What the tick came to, as far as the permit lets it through; whether outputs are masked. */
int dc_link_let_through(dc_link *link);

#endif
