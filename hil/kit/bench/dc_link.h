/* The link to a host, docs/link.md: for the bench image only, which defines DC_BENCH. A flight
   image is built without any of this: a dead-man that acts in flight keeps the parachute in.

   This client lets nothing through to an output, and the board's bench code drives no pin by what
   the logic says: the host sees what the logic wants. The only way to a pin is the `drive` below, in
   an image for dummy loads. */

#ifndef DC_LINK_H
#define DC_LINK_H

#include "dc_link_frame.h"

typedef struct {
    const char *const *names;
    uint16_t count;
} dc_names;

/* What came of a tick: kind, subject and detail as in docs/link.md; detail DC_LINK_NONE: none. */
typedef struct {
    uint8_t kind;
    uint16_t subject, detail;
} dc_link_event;

#define DC_LINK_NONE 0xffffu

/* The logic on the board: an exported sequence (dc_exported.h), or one that was written by hand.
   All but boot and tick tell what the last tick has left. */
typedef struct {
    uint16_t rate_hz, pulses, servos, fields;
    /* the next tick is the first; warm: retained flags stay as the last tick left them */
    void (*boot)(uint8_t warm);
    /* values are only read where fresh is 1 */
    void (*tick)(uint32_t clock, const dc_real *values, const uint8_t *fresh);
    uint16_t (*state)(void);
    uint8_t (*on)(size_t pulse);
    dc_real (*demand)(size_t servo);
    uint8_t (*publishes)(void);      /* whether there was a message; NULL without fields */
    dc_real (*field)(size_t field);  /* of it; dc_link_no_number() where there is no value */
    uint8_t (*event)(dc_link_event *event); /* takes the oldest; 0 when there is none left */
    uint8_t (*lost)(void);           /* whether there was no room for some */
} dc_logic;

#define DC_LINK_CHANNELS 24u

/* Outputs that the board can measure. */
typedef struct {
    dc_names names;     /* at most DC_LINK_CHANNELS */
    float test_current; /* A: the largest; well below the no-fire current of any igniter */
    /* of one of them, or dc_link_open(), or dc_link_not_measured(); all within 50 ms */
    float (*ohms)(void *context, uint8_t channel);
} dc_channels;

/* Of a bench image that may switch channels on, under a permit, into dummy loads. Nobody asks for it
   unless dc_link_permit.c is built with DC_LINK_DUMMY_LOADS. Read all of "Masked outputs, dead-man,
   permit" in docs/link.md before it is filled in: a motor, an igniter or a charge on any channel of
   such a board can go off. A watchdog must reset a board that hangs, and its outputs must be off
   while it boots. */
typedef struct {
    const uint32_t *drives;            /* NAME_drives, in flash: per pulse a bit for each channel */
    float dummy_least, dummy_most;     /* ohm: between these a channel reads as a dummy load */
    uint8_t (*armed)(void *context);   /* whether the key is in that a person at the board holds */
    uint32_t (*chance)(void *context); /* a number drawn at random, not 0 */
    /* switch on the channels whose bits are set and switch off all others: nothing else does */
    void (*drive)(void *context, uint32_t channels);
} dc_firing;

/* ohm: what a dummy load has at least, so that no igniter can pass for one */
#define DC_LINK_LEAST_DUMMY 10.0f

/* What the board's code gives, all else zero. All of it stays where it is while the link lives. */
typedef struct {
    const char *board;         /* what it is, at most 40 bytes */
    const char *build;         /* what was built, at most 40 bytes */
    const uint8_t *sequence;   /* NAME_sha256: of the sequence file that the logic keeps to */
    dc_names inputs, states, functions; /* NAME_input_names, ...; build with -DDC_NAMES */
    uint32_t boots;            /* how often it has booted, or 0 */
    const dc_logic *logic;
    dc_real *values;           /* one per input, for the link's own use */
    uint8_t *fresh;            /* one per input */
    void *context;             /* handed to the functions below */
    dc_link_write write;
    uint32_t (*micros)(void *context); /* the board's clock, us, which wraps; NULL without one */
    const uint8_t *wiring;             /* NAME_wiring; NULL where it is not known */
    const dc_channels *channels;       /* NULL: it measures none */
    const dc_firing *firing;           /* NULL: all outputs stay masked */
} dc_board;

typedef struct {
    uint32_t channels, challenge;
    uint32_t since;   /* us: when it was asked for, or taken */
    uint32_t was_on;  /* pulses, a bit each: on after the last tick, masked or not */
    uint32_t passing; /* of these, what began under the permit */
    uint16_t milliseconds;
    uint8_t stage;
} dc_permit;

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
    uint8_t wired;    /* host and board have told the same wiring */
    dc_permit permit;
    uint8_t frame[DC_LINK_STUFFED];
    uint8_t reply[DC_LINK_PAYLOAD + DC_LINK_CRC];
} dc_link;

/* The image's own: all of a board but what it is and does itself (its name, boots, write and
   micros). dc_exported.h has it for an exported sequence. */
void dc_join(dc_board *board);

/* Say that the board is there. The receiver must be on already. */
void dc_link_start(dc_link *link, const dc_board *board);

/* Take bytes as they come in; answers what they complete before it returns. */
void dc_link_take(dc_link *link, const uint8_t *bytes, size_t count);

/* Watch for a host that is gone; call it at least every 10 ms. */
void dc_link_watch(dc_link *link);

/* Send a line for people; level 0: trace, 1: note, 2: warning, 3: error. At most 96 bytes, the rest
   is left out. Not out of an interrupt, nor out of `write`. */
void dc_link_text(dc_link *link, uint8_t level, const char *text);

#endif
