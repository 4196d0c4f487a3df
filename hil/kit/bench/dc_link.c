/* The link to a host: sessions and requests. Bench image only; docs/link.md. */

#include "dc_link_inside.h"

void dc_link_say(const dc_link *link, dc_link_writer *w)
{
    dc_link_send(link->board->write, link->board->context, w->bytes, w->at);
}

void dc_link_begin(dc_link_writer *w, uint8_t *bytes, size_t room, uint8_t kind, uint32_t number,
                   uint32_t nonce)
{
    w->bytes = bytes;
    w->at = 0;
    w->room = room;
    dc_link_put(w, kind, 1);
    dc_link_put(w, number, 4);
    dc_link_put(w, nonce, 4);
}

static void refuse_unkept(dc_link *link, const uint8_t *payload, uint8_t reason)
{
    uint8_t bytes[DC_LINK_SMALL];
    dc_link_writer w;

    dc_link_mask(link);
    dc_link_begin(&w, bytes, DC_LINK_SMALL, REFUSED, dc_link_get(payload + 1, 4),
                  dc_link_get(payload + 5, 4));
    dc_link_put(&w, reason, 1);
    dc_link_put(&w, payload[0], 1);
    dc_link_say(link, &w);
}

/* requests */

/* Whether the host's wiring can be the board's; told: both say which it is. */
static int is_wired(const dc_link *link, const uint8_t *wiring, uint8_t *told)
{
    uint8_t its = 0, own = 0, other = 0;
    size_t i;

    for (i = 0; i < DC_LINK_SHA && link->board->wiring != NULL; i++) {
        uint8_t byte = dc_link_sha_at(link->board->wiring, i);
        its |= wiring[i];
        own |= byte;
        other |= (uint8_t)(byte ^ wiring[i]);
    }
    *told = its != 0 && own != 0;
    return !*told || other == 0;
}

static uint8_t configure(dc_link *link, const uint8_t *body, size_t count)
{
    uint8_t wired;
    uint16_t dead_man;
    size_t i;

    if (count != 2 * DC_LINK_SHA + 4)
        return BAD_BODY;
    dead_man = (uint16_t)dc_link_get(body + 2 * DC_LINK_SHA, 2);
    if (dead_man < 100 || dead_man > 10000 || dc_link_get(body + 2 * DC_LINK_SHA + 2, 2) != 0)
        return BAD_BODY;
    for (i = 0; i < DC_LINK_SHA; i++)
        if (body[i] != dc_link_sha_at(link->board->sequence, i))
            return OTHER_SEQUENCE;
    if (!is_wired(link, body + DC_LINK_SHA, &wired))
        return OTHER_WIRING;
    dc_link_mask(link);
    link->wired = wired;
    link->dead_man = (uint32_t)dead_man * 1000u;
    link->mode = NOT_RESET;
    return 0;
}

static uint8_t reset(dc_link *link, const uint8_t *body, size_t count)
{
    if (count != 1 || body[0] > 1)
        return BAD_BODY;
    dc_link_mask(link);
    dc_link_forget(link);
    link->board->logic->boot(body[0]);
    link->mode = RUNNING;
    link->ticked = 0;
    link->struck = 0;
    return 0;
}

/* The sensor frame into values and fresh; whether its length fits. */
static int read_inputs(const dc_link *link, const uint8_t *body, size_t count)
{
    const dc_board *board = link->board;
    size_t inputs = board->inputs.count, at = 8 + (inputs + 7) / 8, i;

    if (count < at)
        return 0;
    for (i = 0; i < inputs; i++) {
        board->fresh[i] = (uint8_t)((body[8 + i / 8] >> (i % 8)) & 1);
        if (!board->fresh[i])
            continue;
        if (count < at + sizeof(dc_real))
            return 0;
        board->values[i] = dc_link_get_real(body + at);
        at += sizeof(dc_real);
    }
    return count == at;
}

static void put_outputs(dc_link *link, dc_link_writer *w)
{
    const dc_logic *logic = link->board->logic;
    size_t flags = w->at, counted = w->at + 3, i;
    dc_link_event event;

    dc_link_put(w, (dc_link_let_through(link) ? MASKED : 0u) | (link->struck ? STRUCK : 0u), 1);
    dc_link_put(w, logic->state(), 2);
    dc_link_put(w, 0, 1);
    for (i = 0; i < logic->pulses; i += 8) {
        uint8_t bits = 0, j;
        for (j = 0; j < 8 && i + j < logic->pulses; j++)
            bits = (uint8_t)(bits | (unsigned)(logic->on(i + j) != 0) << j);
        dc_link_put(w, bits, 1);
    }
    for (i = 0; i < logic->servos; i++)
        dc_link_put_real(w, logic->demand(i));
    if (logic->fields != 0 && logic->publishes()) {
        w->bytes[flags] |= MESSAGE;
        for (i = 0; i < logic->fields; i++)
            dc_link_put_real(w, logic->field(i));
    }
    while (logic->event(&event)) {
        if (w->at + 5 > w->room || w->bytes[counted] == 255) {
            w->bytes[flags] |= NOT_ALL;
            continue;
        }
        dc_link_put(w, event.kind, 1);
        dc_link_put(w, event.subject, 2);
        dc_link_put(w, event.detail, 2);
        w->bytes[counted] = (uint8_t)(w->bytes[counted] + 1u);
    }
    if (logic->lost())
        w->bytes[flags] |= NOT_ALL;
}

static uint8_t tick(dc_link *link, dc_link_writer *w, const uint8_t *body, size_t count)
{
    const dc_board *board = link->board;
    uint32_t clock;

    if (link->mode != RUNNING)
        return link->mode;
    if (count < 8)
        return BAD_BODY;
    clock = dc_link_get(body, 4);
    if (link->ticked && clock <= link->last_tick)
        return OLD_TICK;
    if (!read_inputs(link, body, count))
        return BAD_BODY;
    link->ticked = 1;
    link->last_tick = clock;
    board->logic->tick(clock, board->values, board->fresh);
    dc_link_put(w, clock, 4);
    dc_link_put(w, dc_link_now(link), 4);
    put_outputs(link, w);
    return 0;
}

static uint8_t ping(const dc_link *link, dc_link_writer *w, const uint8_t *body, size_t count)
{
    size_t i;

    if (count > DC_LINK_PAYLOAD - DC_LINK_HEADER - 4)
        return BAD_BODY;
    dc_link_put(w, dc_link_now(link), 4);
    for (i = 0; i < count; i++)
        dc_link_put(w, body[i], 1);
    return 0;
}

/* The reply's body, or why there is none. */
static uint8_t carry_out(dc_link *link, uint8_t kind, dc_link_writer *w, const uint8_t *body,
                         size_t count)
{
    if (kind == ASK_NAMES)
        return dc_link_name(link, w, body, count);
    if (kind == ASK_PING)
        return ping(link, w, body, count);
    if (kind < ASK_CONFIGURE || kind > ASK_PERMIT)
        return NO_SUCH_KIND;
    if (kind == ASK_CONFIGURE)
        return configure(link, body, count);
    if (link->dead_man == 0)
        return NOT_CONFIGURED;
    if (kind == ASK_RESET)
        return reset(link, body, count);
    if (kind == ASK_TICK)
        return tick(link, w, body, count);
    if (kind == ASK_CHANNELS)
        return dc_link_measure(link, w, count);
    return dc_link_permit(link, w, body, count);
}

static void answer(dc_link *link, const uint8_t *payload, size_t count)
{
    uint8_t kind = payload[0], refused;
    dc_link_writer w;

    dc_link_watch(link);
    link->number = dc_link_get(payload + 1, 4);
    link->heard = dc_link_now(link);
    dc_link_begin(&w, link->reply, DC_LINK_PAYLOAD, (uint8_t)(kind | REPLY), link->number,
                  link->nonce);
    if (kind == ASK_HELLO)
        refused = count == DC_LINK_HEADER + 2 ? dc_link_greet(link, &w) : (uint8_t)BAD_BODY;
    else
        refused = carry_out(link, kind, &w, payload + DC_LINK_HEADER, count - DC_LINK_HEADER);
    if (refused) {
        dc_link_mask(link);
        dc_link_begin(&w, link->reply, DC_LINK_PAYLOAD, REFUSED, link->number, link->nonce);
        dc_link_put(&w, refused, 1);
        dc_link_put(&w, kind, 1);
    }
    link->kept = w.at;
    dc_link_say(link, &w);
}

/* A zero byte first: what is left of a copy that was cut ends there. */
static void again(dc_link *link)
{
    static const uint8_t zero = 0;

    link->board->write(link->board->context, &zero, 1);
    dc_link_send(link->board->write, link->board->context, link->reply, link->kept);
}

static void safe_now(dc_link *link, const uint8_t *payload)
{
    uint8_t bytes[DC_LINK_SMALL];
    dc_link_writer w;

    dc_link_mask(link);
    link->mode = SAFE;
    dc_link_begin(&w, bytes, DC_LINK_SMALL, ASK_SAFE_NOW | REPLY, dc_link_get(payload + 1, 4),
                  dc_link_get(payload + 5, 4));
    dc_link_say(link, &w);
}

static void hear(dc_link *link, const uint8_t *payload, size_t count)
{
    uint8_t kind = payload[0];
    uint32_t number, nonce;

    if (count < DC_LINK_HEADER || (kind & REPLY) != 0)
        return;
    number = dc_link_get(payload + 1, 4);
    nonce = dc_link_get(payload + 5, 4);
    if (kind == ASK_SAFE_NOW) {
        safe_now(link, payload);
    } else if (kind == ASK_HELLO && (nonce == 0 || number != 1)) {
        return;
    } else if (kind == ASK_HELLO && nonce != link->nonce) {
        link->nonce = nonce;
        link->dead_man = 0;
        link->mode = NOT_RESET;
        dc_link_mask(link);
        answer(link, payload, count);
    } else if (link->nonce == 0) {
        refuse_unkept(link, payload, NO_SESSION);
    } else if (nonce != link->nonce || number < link->number) {
        return;
    } else if (number == link->number) {
        again(link);
    } else if (number - link->number > 1) {
        refuse_unkept(link, payload, OUT_OF_STEP);
    } else {
        answer(link, payload, count);
    }
}

void dc_link_start(dc_link *link, const dc_board *board)
{
    uint8_t bytes[DC_LINK_SMALL];
    dc_link_writer w;

    link->board = board;
    link->received = 0;
    link->kept = 0;
    link->nonce = 0;
    link->number = 0;
    link->heard = 0;
    link->dead_man = 0;
    link->last_tick = 0;
    link->bad = 0;
    link->overlong = 0;
    link->mode = NOT_RESET;
    link->ticked = 0;
    link->struck = 0;
    link->wired = 0;
    dc_link_forget(link);
    dc_link_mask(link);
    dc_link_begin(&w, bytes, DC_LINK_SMALL, READY, 0, 0);
    dc_link_put(&w, DC_LINK_VERSION, 2);
    dc_link_put(&w, board->boots, 4);
    dc_link_say(link, &w);
}

void dc_link_take(dc_link *link, const uint8_t *bytes, size_t count)
{
    for (; count > 0; count--, bytes++) {
        size_t found;
        if (*bytes != 0) {
            if (link->received == DC_LINK_STUFFED)
                link->overlong = 1;
            else
                link->frame[link->received++] = *bytes;
            continue;
        }
        found = link->overlong ? 0 : dc_link_unpack(link->frame, link->received);
        if (found > 0)
            hear(link, link->frame, found);
        else if (link->received > 0)
            link->bad++;
        link->received = 0;
        link->overlong = 0;
    }
}

void dc_link_watch(dc_link *link)
{
    if (link->dead_man != 0 && link->board->micros != NULL &&
        dc_link_now(link) - link->heard > link->dead_man) {
        link->struck = 1;
        dc_link_mask(link);
    }
    dc_link_check(link);
}
