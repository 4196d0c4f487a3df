/* The flight logic of one computer, tick by tick, from constant tables that
   `drycount export SEQUENCE --c` writes. No heap, no recursion, no library but the compiler's own.

   Use: NAME_init once, dc_boot after every boot, dc_tick once per tick; then read the outputs.
   Nothing here touches a pin: what the outputs do is for the board's own code to decide. */

#ifndef DC_SEQUENCE_H
#define DC_SEQUENCE_H

#include "dc_layout.h"
#include "dc_real.h"

/* Entries of the tables: 16 bit unless an exported header asks for 32. */
#ifndef DC_CODE_BITS
#define DC_CODE_BITS 16
#endif
#if DC_CODE_BITS == 16
typedef int16_t dc_code;
typedef uint16_t dc_count;
#elif DC_CODE_BITS == 32
typedef int32_t dc_code;
typedef uint32_t dc_count;
#else
#error "DC_CODE_BITS is 16 or 32"
#endif

/* Tables stay in flash. On AVR that takes a word of its own, and reading them too. */
#if defined(__AVR__)
#include <avr/pgmspace.h>
#define DC_FLASH PROGMEM
#else
#define DC_FLASH
#endif

typedef struct {
    const dc_code *code;    /* see dc_layout.h */
    const dc_real *numbers; /* coefficients, then where servos start, then constants */
    size_t starts;          /* in numbers: per servo its demand at boot */
    size_t constants;       /* in numbers: what expressions compare with */
    size_t flags;           /* in code: per flag DC_FLAG_INITIAL, DC_FLAG_RETAINED or both */
    size_t published;       /* in code: per published field its cell */
    size_t positions;       /* in code: per coefficient its index among a servo's positions */
    size_t fields;          /* how many; 0: nothing is published */
    uint32_t period;        /* ticks between publications */
} dc_tables;

#define DC_FLAG_INITIAL 1
#define DC_FLAG_RETAINED 2

/* What a block remembers: a number, or a count of ticks, which must not be rounded. */
typedef union {
    dc_real real;
    uint32_t whole;
} dc_register;

typedef struct {
    dc_real value;
    uint8_t bad; /* 1: there is no value */
} dc_cell;

typedef struct {
    dc_real i_y, i_z; /* integrators */
    dc_real y, z;     /* demands of this tick, rad */
    uint8_t asked;    /* whether there are any */
} dc_loop;

typedef struct {
    uint32_t clock; /* tick */
    dc_code about;  /* state, exit, flag, pulse or servo */
    dc_code detail; /* inhibit, or DC_NONE; of a move the position of the servo */
    uint8_t kind;   /* DC_EVENT_... */
} dc_event;

/* One computer's logic at work. Set up by NAME_init, which gives it its memory; not to be touched
   from outside. */
typedef struct {
    const dc_tables *tables;
    dc_real *values;       /* per cell: time in state, inputs, estimates, flags */
    uint8_t *bad;          /* per cell */
    uint32_t *heard;       /* per input: tick of its last finite refresh */
    dc_register *registers;
    dc_count *holds;       /* per exit: ticks counted */
    dc_loop *loops;
    uint32_t *until;       /* per pulse: tick on which it is over, 0 when off */
    uint8_t *commanded;    /* per pulse: whether it was, on this tick */
    dc_real *demands;      /* per servo: rad, or 0..1 */
    dc_cell *saved;        /* of an expression under evaluation */
    size_t *queue;         /* commands of this tick */
    dc_event *events;      /* a ring */
    size_t room;           /* of the ring */
    size_t first;          /* the oldest event */
    size_t waiting;        /* events in the ring */
    size_t queued;
    uint32_t lost;         /* events that found the ring full */
    uint32_t clock;
    uint32_t entered;      /* tick on which the present state was entered */
    dc_code state;
    uint8_t started;
} dc_sequence;

/* Forget everything but the retained flags; the next tick is tick 0, all pulses are off.
   retained: one entry per flag, 0 or 1, as the last finished tick left them (dc_flag), of which
   only those declared retained are taken; NULL after a cold start. Events not yet read are gone. */
void dc_boot(dc_sequence *s, const uint8_t *retained);

/* Execute one tick.
   clock: ticks since boot; grows from call to call, leaving out ticks that were too late to run.
   values, fresh: one per input in the order of the enumeration of inputs, in SI units, truths as
   0 and 1; a value is read only where fresh is not 0, that is, refreshed since the last tick.
   A NaN or an infinity says that the sensor has no value. */
void dc_tick(dc_sequence *s, uint32_t clock, const dc_real *values, const uint8_t *fresh);

/* The outputs, as the last tick left them; each index in the order of its enumeration. */
dc_code dc_state(const dc_sequence *s);
uint8_t dc_on(const dc_sequence *s, size_t pulse);      /* 1 while it is on */
dc_real dc_demand(const dc_sequence *s, size_t servo);  /* rad, or 0..1; always a number */
uint8_t dc_flag(const dc_sequence *s, size_t flag);

/* What is published: whether on this tick, and each field, truths as 0 and 1. The latter returns 0
   where the field has no value now, which goes out as a NaN. */
uint8_t dc_publishes(const dc_sequence *s);
uint8_t dc_field(const dc_sequence *s, size_t field, dc_real *value);

/* Take the oldest event out of the ring; 0 when there is none. A full ring keeps what it has;
   dc_lost counts what found no room since boot. */
uint8_t dc_next_event(dc_sequence *s, dc_event *event);
uint32_t dc_lost(const dc_sequence *s);

#endif
