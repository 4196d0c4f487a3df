/* The sequence of this board, as a table.  logic.txt describes it in words. */
#ifndef LOGIC_H
#define LOGIC_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* SHA-256 of the sequence and of the wiring, as the host's tool tells them (64
   hexadecimal digits).  Placeholders: give the real ones with -D or with the
   options --sequence and --wiring of the board. */
#ifndef LOGIC_SEQUENCE_HEX
#define LOGIC_SEQUENCE_HEX "5e90e9ce00000000000000000000000000000000000000000000000000000001"
#endif
#ifndef LOGIC_WIRING_HEX
#define LOGIC_WIRING_HEX "0000000000000000000000000000000000000000000000000000000000000000"
#endif

#define LOGIC_RATE_HZ 100u

/* inputs */
enum { IN_ACCEL, IN_CLIMB, IN_ALTITUDE, IN_ARMED, LOGIC_INPUTS };
#define LOGIC_INPUT_NAMES { "axial_accel", "climb_rate", "altitude", "armed" }

/* states */
enum { ST_PAD, ST_BOOST, ST_COAST, ST_DESCENT, ST_LANDED, LOGIC_STATES };
#define LOGIC_STATE_NAMES { "pad", "boost", "coast", "descent", "landed" }

/* functions in their order, pulses and servos in one list */
#define LOGIC_FUNCTIONS 2
#define LOGIC_FUNCTION_NAMES { "airbrake", "drogue" }
enum { PU_DROGUE, LOGIC_PULSES };
enum { SV_AIRBRAKE, LOGIC_SERVOS };

/* positions of the airbrake, 0 to 1 */
enum { POS_CLOSED, POS_OPEN };
#define LOGIC_POSITION_CLOSED 0.0
#define LOGIC_POSITION_OPEN 0.75

enum { FL_FLOWN, FL_BRAKE_OUT, LOGIC_FLAGS };   /* flown is retained */
enum { IH_NOT_ARMED, LOGIC_INHIBITS };
enum {                                          /* no common exits */
    EX_PAD_COAST,       /* pad:     flown and altitude > 50 for 10 ticks */
    EX_PAD_BOOST,       /* pad:     axial_accel > 20 for 5 ticks         */
    EX_BOOST_COAST,     /* boost:   axial_accel < 0 for 3 ticks          */
    EX_COAST_APOGEE,    /* coast:   climb_rate < 0, no hold              */
    EX_COAST_TIMEOUT,   /* coast:   300 ticks in the state               */
    EX_DESCENT_LANDED,  /* descent: altitude < 5 for 20 ticks            */
    LOGIC_EXITS
};
#define LOGIC_HOLD_FLOWN 10u
#define LOGIC_HOLD_LAUNCH 5u
#define LOGIC_HOLD_BURNOUT 3u
#define LOGIC_TIMEOUT_COAST 300u
#define LOGIC_HOLD_LANDED 20u
#define LOGIC_DROGUE_TICKS 100u

/* the message to other computers: altitude, flown */
#define LOGIC_FIELDS 2
#ifndef LOGIC_PUBLISH_EVERY
#define LOGIC_PUBLISH_EVERY 10u                 /* when tick % this is 0 */
#endif

/* channels whose resistance can be told; channel 0 fires the drogue */
#define LOGIC_CHANNELS 3
#define LOGIC_CHANNEL_NAMES { "J1 drogue", "J2 spare", "J3 spare" }
#define LOGIC_CHANNEL_OHM { 2.25f, INFINITY, NAN }
#define LOGIC_TEST_CURRENT 0.010f
#define LOGIC_PULSE_CHANNEL { 0 }               /* by pulse */

#define LOGIC_BOARD_TEXT "second"
#define LOGIC_BUILD_TEXT "1"

/* events of one tick, as the link numbers them */
enum {
    EV_ENTERED, EV_TOOK, EV_SET, EV_CLEARED, EV_ENDED, EV_CUT, EV_FIRED,
    EV_IGNORED, EV_BLOCKED, EV_MOVED, EV_MOVE_BLOCKED
};
#define EV_NONE 0xFFFFu
#define LOGIC_MAX_EVENTS 16u

struct logic_event { uint8_t kind; uint16_t subject; uint16_t detail; };

struct logic_output {
    unsigned state;
    bool on[LOGIC_PULSES];
    bool began[LOGIC_PULSES];           /* began in this tick */
    double demand[LOGIC_SERVOS];
    bool publishes;
    double field[LOGIC_FIELDS];
    unsigned events;
    bool events_lost;
    struct logic_event event[LOGIC_MAX_EVENTS];
};

void logic_boot(void);                  /* power on: nothing is remembered */
void logic_reset(bool warm);
void logic_input(unsigned index, double value);
void logic_tick(uint32_t tick, struct logic_output *out);

#endif
