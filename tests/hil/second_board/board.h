/* What the board keeps, and what its parts want of each other. */
#ifndef BOARD_H
#define BOARD_H

#include "logic.h"
#include "wire.h"

#define VERSION 1u
#define HEAD 9u
#define ABILITIES 0x0Fu         /* warm reset, can fire, clock, measures */

enum { HELLO = 1, NAMES, CONFIGURE, RESET, TICK, CHANNELS, PERMIT, PING, SAFE_NOW };
enum { REPLY = 0x80, READY = 0xF0, TEXT = 0xF1, REFUSED = 0xFF };
enum { TRACE, NOTE, WARNING, ERROR };
enum {
    NO_REASON, UNKNOWN_KIND, BAD_BODY, NO_SESSION, OTHER_VERSION, OUT_OF_STEP,
    OTHER_SEQUENCE, OTHER_WIRING, NOT_CONFIGURED, NOT_RESET, TICK_NOT_LARGER,
    SAFE_RESET_FIRST, NO_PERMIT, CANNOT, FAILED
};

/* ---- what the board keeps ------------------------------------------------ */

extern uint8_t own_sequence[32], own_wiring[32];
extern uint32_t boots;
extern const char *arm_file;
extern bool chatter;

extern uint32_t nonce;                          /* 0: no session */
extern uint32_t last_number;
extern uint8_t kept[MAX_PAYLOAD];               /* the last reply, a payload */
extern size_t kept_length;

extern bool configured, wiring_agreed;
extern uint32_t dead_man_ms;
extern uint64_t last_new_us;                    /* when the last new request came */
extern bool dead_man_struck;
extern bool reset_in_session, needs_reset, safe;
extern bool ticked;
extern uint32_t last_tick;

extern bool permit_held;
extern uint32_t permit_channels;
extern uint64_t permit_until_us;
extern uint32_t challenge, asked_channels, asked_ms;    /* challenge 0: none */
extern uint64_t challenge_until_us;

extern struct logic_output output;
extern bool through[LOGIC_PULSES];      /* began under the permit that holds */
extern bool pin[LOGIC_CHANNELS];        /* what stands at the firing pins */
extern uint64_t clock_start;
extern const unsigned pulse_channel[LOGIC_PULSES];

/* board.c */
uint64_t now_us(void);
uint32_t draw(void);
bool arming_in(void);
void drive_pins(void);
void mask(void);
void go_safe(void);
void say(uint32_t level, const char *text);
size_t refuse(uint8_t *at, const uint8_t *request, uint32_t reason);
uint64_t raw_us(void);

/* requests.c: each returns a reason, or 0 and has written its reply */
uint32_t do_hello(const uint8_t *body, size_t n, struct writer *w);
uint32_t do_names(const uint8_t *body, size_t n, struct writer *w);
uint32_t do_configure(const uint8_t *body, size_t n);
uint32_t do_reset(const uint8_t *body, size_t n);
uint32_t do_tick(const uint8_t *body, size_t n, struct writer *w);
uint32_t do_channels(size_t n, struct writer *w);
uint32_t do_permit(const uint8_t *body, size_t n, struct writer *w, uint64_t now);
uint32_t do_ping(const uint8_t *body, size_t n, struct writer *w);

/* session.c */
void watch(void);
void take_payload(const uint8_t *p, size_t n);

#endif
