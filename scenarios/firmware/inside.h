/* What the files of the firmware share. */

#ifndef INSIDE_H
#define INSIDE_H

#include "flight.h"
#include "limits.h"

/* flight.c */
struct flight {
    enum state state;
    uint32_t clock;
    uint32_t entered; /* tick */
    bool running;
};
extern struct flight flight;
extern bool flags[FLAGS]; /* in memory that a reset leaves alone */

void write_down(enum note_kind kind, unsigned subject, unsigned detail);
uint32_t ticks_in_state(void);

/* sensing.c: a number, if there is one */
typedef struct {
    double value;
    bool known;
} measure;

typedef struct {
    measure now;
    bool fresh;
    uint32_t heard; /* tick of the last value that was one */
} reading;
extern reading in[INPUTS];

enum truth { NO, YES, UNKNOWN };

struct sensed {
    measure accel;     /* m/s2 along the nose */
    measure height;    /* m */
    measure climb;     /* m/s */
    measure drift;     /* m/s, slower */
    measure range_now; /* m, range less the way fallen since */
    measure upright;   /* cosine of the tilt */
    enum truth lift;
    enum truth ready;
    double flown; /* s since liftoff was seen */
};
extern struct sensed sensed;

void sensing_boot(void);
void sense(const double *values, const uint8_t *fresh);
bool on(enum input contact);  /* known to be */
bool off(enum input contact); /* known to be */
bool above(const measure *x, double limit);
bool below(const measure *x, double limit);
uint32_t ticks_silent(enum input input);

/* attitude.c */
extern double q[4]; /* body to earth, scalar first */
void attitude_boot(void);
void attitude_turn(void);
bool finite_number(double x);

/* outputs.c */
void outputs_boot(void);
void order_fire(enum pulse pulse);
void order_cut(enum pulse pulse);
void order_move(enum servo servo, enum position position);
void act(void);

/* steering.c */
struct steering {
    double kp, ki, kd;
    double i_y, i_z;
    double y, z; /* demands, rad */
};
void steering_restart(struct steering *loop);
bool steer(struct steering *loop);

/* states.c */
void states_boot(void);
void enter(enum state state);
void decide(void);

#endif
