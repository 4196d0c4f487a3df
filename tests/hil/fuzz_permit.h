/* A board that may fire into dummy loads, and what has to hold before anything is switched on: the
   part "Masked outputs, dead-man, permit" of docs/link.md. Without DC_LINK_DUMMY_LOADS nothing may be. */

#ifndef FUZZ_PERMIT_H
#define FUZZ_PERMIT_H

#include "dc_link.h"
#include "fuzz_frame.h"

static uint32_t clock_us;
static uint8_t key = 1;

static struct {
    uint32_t dead_man, heard; /* us */
    int wired, struck;
    int asked, held;
    uint32_t channels, milliseconds, challenge, since;
} permit;

static unsigned long switched_on;
static uint32_t driven;

static void permit_over(void) { permit.asked = permit.held = 0; }

/* A new session, or a boot. */
static void permit_forgotten(void)
{
    permit_over();
    permit.dead_man = 0;
    permit.wired = permit.struck = 0;
}

/* Whether the host was heard of for the last time too long ago. */
static int is_overdue(void)
{
    return permit.dead_man != 0 && clock_us - permit.heard > permit.dead_man;
}

static void permit_watched(void)
{
    if (is_overdue()) {
        permit.struck = 1;
        permit_over();
    }
    if (permit.held && clock_us - permit.since >= permit.milliseconds * 1000u)
        permit_over();
}

static void permit_configured(const uint8_t *body, const uint8_t *wiring)
{
    permit_over();
    permit.dead_man = ((uint32_t)body[64] | (uint32_t)body[65] << 8) * 1000u;
    permit.wired = wiring != NULL && memcmp(body + 32, wiring, 32) == 0;
}

/* Whenever a permit has ended, all is off. */
static void off_without_permit(void) { hold(driven == 0 || permit.held, "left on without a permit"); }

/* A PERMIT that was not refused. */
static void permit_given(const uint8_t *body, const uint8_t *reply, int running)
{
    uint32_t channels = little(body + 1), milliseconds = (uint32_t)body[5] | (uint32_t)body[6] << 8;

    if (body[0] != 0) {
#ifndef DC_LINK_DUMMY_LOADS
        hold(0, "a permit that this board cannot give");
#endif
        hold(running && permit.wired && !permit.struck && key, "a permit that may not be given");
        hold(permit.dead_man <= 500000u, "a permit under a slow dead-man");
        hold(channels != 0 && channels < 8 && milliseconds != 0 && milliseconds <= 2000,
             "a permit of another size");
        hold(little(reply + 1) == channels, "a permit for other channels");
    }
    if (body[0] == 2) {
        hold(permit.asked && permit.channels == channels && permit.challenge == little(body + 7) &&
                 permit.milliseconds == milliseconds && clock_us - permit.since < 2000000u,
             "a permit that was not asked for");
    }
    permit_over();
    permit.asked = body[0] == 1;
    permit.held = body[0] == 2;
    permit.channels = channels;
    permit.milliseconds = milliseconds;
    permit.challenge = little(reply + 7);
    permit.since = clock_us;
}

#ifdef DC_LINK_DUMMY_LOADS
static float ohms(void *context, uint8_t channel)
{
    (void)context;
    return 20.0f + channel;
}

static uint8_t armed(void *context)
{
    (void)context;
    return key;
}

/* Not random, so that the fuzzer finds it. */
static uint32_t chance(void *context)
{
    (void)context;
    return 7;
}

/* Called while a frame is answered: what is known here is what came before that frame. */
static void drive(void *context, uint32_t channels)
{
    (void)context;
    driven = channels;
    if (channels == 0)
        return;
    hold(permit.held, "switched on without a permit");
    hold((channels & ~permit.channels) == 0, "a channel that the permit does not name");
    hold(clock_us - permit.since < permit.milliseconds * 1000u, "switched on after the permit");
    hold(key && !is_overdue(), "switched on without the key, or after the dead-man");
    switched_on++;
}

static const char *const channel_names[] = {"X1", "X2", "X3"};
static const dc_channels measured = {{channel_names, 3}, 0.001f, ohms};
#endif

#endif
