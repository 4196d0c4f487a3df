/* The link to a host, docs/link.md: for the bench image only, which defines DC_BENCH. A flight
   image is built without any of this: a dead-man that acts in flight keeps the parachute in.

   This client lets nothing through to an output: it grants no permit, and the board's bench code
   drives no pin by what the logic says. The host sees what the logic wants. */

#ifndef DC_LINK_H
#define DC_LINK_H

#include "dc_link_frame.h"

typedef struct {
    const char *const *names;
    uint16_t count;
} dc_names;

/* What the board's code gives. All of it stays where it is while the link lives. */
typedef struct {
    const char *board;         /* what it is, at most 40 bytes */
    const char *build;         /* what was built, at most 40 bytes */
    const uint8_t *sequence;   /* NAME_sha256 */
    dc_names inputs, states, functions; /* NAME_input_names, ...; build with -DDC_NAMES */
    uint32_t boots;            /* how often it has booted, or 0 */
    dc_sequence *logic;        /* of NAME_init */
    dc_real *values;           /* one per input, for the link's own use */
    uint8_t *fresh;            /* one per input */
    uint8_t *retained;         /* one per flag */
    void *context;             /* handed to the functions below */
    dc_link_write write;
    uint32_t (*micros)(void *context); /* the board's clock, us, which wraps; NULL without one */
} dc_board;

typedef struct {
    const dc_board *board;
    size_t received;  /* bytes of the frame that is coming in */
    size_t kept;      /* bytes of the last reply */
    uint32_t nonce;   /* of the session, 0 without one */
    uint32_t number;  /* of the last request that was carried out */
    uint32_t heard;   /* us: when a new request last came */
    uint32_t dead_man; /* us, 0 before it is configured */
    uint32_t last_tick;
    uint32_t bad;     /* frames that were damaged */
    uint8_t overlong;
    uint8_t mode;
    uint8_t ticked;
    uint8_t struck;   /* the dead-man, since the last reset */
    uint8_t frame[DC_LINK_STUFFED];
    uint8_t reply[DC_LINK_PAYLOAD + DC_LINK_CRC];
} dc_link;

/* Say that the board is there. The receiver must be on already. */
void dc_link_start(dc_link *link, const dc_board *board);

/* Take bytes as they come in; answers what they complete before it returns. */
void dc_link_take(dc_link *link, const uint8_t *bytes, size_t count);

/* Watch for a host that is gone; call it at least every 10 ms. */
void dc_link_watch(dc_link *link);

#endif
