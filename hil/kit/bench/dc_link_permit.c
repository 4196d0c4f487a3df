/* The one place where what the logic says can reach an output: under a permit, into dummy loads.
   Bench image only; docs/link.md. Built without DC_LINK_DUMMY_LOADS, it holds no way to any. */

#include "dc_link_inside.h"

enum { STEP_BACK = 0, STEP_ASK = 1, STEP_TAKE = 2 };

#ifndef DC_LINK_DUMMY_LOADS

int dc_link_can_fire(const dc_board *board)
{
    (void)board;
    return 0;
}

static uint8_t grant(dc_link *link, uint8_t step, uint32_t channels, uint16_t milliseconds,
                     uint32_t challenge, uint32_t *answer)
{
    (void)link, (void)step, (void)channels, (void)milliseconds, (void)challenge, (void)answer;
    return NO_PERMIT;
}

void dc_link_mask(dc_link *link) { (void)link; }
void dc_link_check(dc_link *link) { (void)link; }
void dc_link_forget(dc_link *link) { (void)link; }

int dc_link_let_through(dc_link *link)
{
    (void)link;
    return 1;
}

#else

#define TO_TAKE 2000000u /* us */
#define LONGEST_DEAD_MAN 500000u
#define MOST_PULSES 32u

enum { NOTHING, ASKED, HELD };

static uint32_t channels_of(const dc_firing *firing, size_t pulse)
{
#if defined(__AVR__)
    return pgm_read_dword(&firing->drives[pulse]);
#else
    return firing->drives[pulse];
#endif
}

int dc_link_can_fire(const dc_board *board)
{
    const dc_firing *firing = board->firing;
    uint8_t told = 0;
    size_t i;

    if (firing == NULL || firing->drives == NULL || firing->armed == NULL ||
        firing->chance == NULL || firing->drive == NULL)
        return 0;
    if (board->micros == NULL || board->wiring == NULL || board->logic->pulses > MOST_PULSES)
        return 0;
    for (i = 0; i < DC_LINK_SHA; i++)
        told |= dc_link_sha_at(board->wiring, i);
    return told != 0 && dc_link_channel_count(board) > 0 &&
           firing->dummy_least >= DC_LINK_LEAST_DUMMY && firing->dummy_most >= firing->dummy_least;
}

/* Whatever looks like an igniter, or like nothing at all, is no dummy load. */
static int are_dummies(const dc_board *board, uint32_t channels)
{
    uint8_t i;

    for (i = 0; channels != 0; i++, channels >>= 1) {
        float ohms;
        if ((channels & 1u) == 0)
            continue;
        ohms = board->channels->ohms(board->context, i);
        if (!(ohms >= board->firing->dummy_least && ohms <= board->firing->dummy_most))
            return 0;
    }
    return 1;
}

static int may_fire(const dc_link *link, uint32_t channels)
{
    const dc_board *board = link->board;

    return dc_link_can_fire(board) && link->wired && link->dead_man <= LONGEST_DEAD_MAN &&
           link->mode == RUNNING && !link->struck && board->firing->armed(board->context) &&
           are_dummies(board, channels);
}

void dc_link_mask(dc_link *link)
{
    link->permit.stage = NOTHING;
    link->permit.passing = 0;
    if (link->board->firing != NULL && link->board->firing->drive != NULL)
        link->board->firing->drive(link->board->context, 0);
}

void dc_link_check(dc_link *link)
{
    const dc_permit *permit = &link->permit;
    uint32_t past;

    if (permit->stage == NOTHING)
        return;
    past = dc_link_now(link) - permit->since;
    if (past >= (permit->stage == HELD ? permit->milliseconds * (uint32_t)1000 : TO_TAKE) ||
        !link->board->firing->armed(link->board->context))
        dc_link_mask(link);
}

void dc_link_forget(dc_link *link) { link->permit.was_on = 0; }

static uint8_t grant(dc_link *link, uint8_t step, uint32_t channels, uint16_t milliseconds,
                     uint32_t challenge, uint32_t *answer)
{
    const dc_board *board = link->board;
    dc_permit *permit = &link->permit;
    int asked = permit->stage == ASKED && challenge == permit->challenge &&
                channels == permit->channels && milliseconds == permit->milliseconds;

    dc_link_mask(link); /* a challenge counts once, and asking ends what holds */
    if (!may_fire(link, channels))
        return NO_PERMIT;
    if (step == STEP_ASK) {
        permit->challenge = board->firing->chance(board->context);
        if (permit->challenge == 0)
            return NO_PERMIT;
        permit->channels = channels;
        permit->milliseconds = milliseconds;
        permit->stage = ASKED;
        *answer = permit->challenge;
    } else if (asked) {
        permit->stage = HELD;
        *answer = challenge;
    } else {
        return NO_PERMIT;
    }
    permit->since = dc_link_now(link);
    return 0;
}

int dc_link_let_through(dc_link *link)
{
    const dc_board *board = link->board;
    dc_permit *permit = &link->permit;
    uint32_t channels = 0, is_on = 0, bit = 1;
    size_t i;

    dc_link_check(link);
    for (i = 0; i < board->logic->pulses && i < MOST_PULSES; i++, bit <<= 1)
        if (board->logic->on(i))
            is_on |= bit;
    permit->passing &= is_on;
    if (permit->stage == HELD) /* a pulse that was masked when it began stays masked */
        permit->passing |= is_on & ~permit->was_on;
    permit->was_on = is_on;
    if (permit->stage != HELD)
        return 1;
    for (i = 0, bit = 1; i < board->logic->pulses; i++, bit <<= 1)
        if ((permit->passing & bit) != 0)
            channels |= channels_of(board->firing, i);
    board->firing->drive(board->context, channels & permit->channels);
    return 0;
}

#endif

uint8_t dc_link_permit(dc_link *link, dc_link_writer *w, const uint8_t *body, size_t count)
{
    uint32_t channels, challenge, answer = 0;
    uint16_t milliseconds;
    uint8_t step, refused;

    if (count != 11 || body[0] > STEP_TAKE)
        return BAD_BODY;
    step = body[0];
    channels = dc_link_get(body + 1, 4);
    milliseconds = (uint16_t)dc_link_get(body + 5, 2);
    challenge = dc_link_get(body + 7, 4);
    if (step == STEP_BACK) {
        dc_link_mask(link);
        channels = 0;
        milliseconds = 0;
    } else {
        if (!dc_link_can_fire(link->board))
            return NO_PERMIT;
        if (channels == 0 || channels >> dc_link_channel_count(link->board) != 0 ||
            milliseconds < 1 || milliseconds > 2000 || (step == STEP_ASK && challenge != 0))
            return BAD_BODY;
        refused = grant(link, step, channels, milliseconds, challenge, &answer);
        if (refused)
            return refused;
    }
    dc_link_put(w, step, 1);
    dc_link_put(w, channels, 4);
    dc_link_put(w, milliseconds, 2);
    dc_link_put(w, answer, 4);
    return 0;
}
