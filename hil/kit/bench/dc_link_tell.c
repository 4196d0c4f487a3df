/* What a board says of itself: greeting, names, resistances, lines for people. Bench image only;
   docs/link.md. */

#include "dc_link_inside.h"

#define TEXT_ROOM 96u

uint8_t dc_link_greet(const dc_link *link, dc_link_writer *w)
{
    const dc_board *board = link->board;
    uint8_t can = CAN_WARM;

    if (board->micros != NULL)
        can |= HAS_CLOCK;
    if (dc_link_channel_count(board) > 0)
        can |= MEASURES;
    if (dc_link_can_fire(board))
        can |= CAN_FIRE;
    dc_link_put(w, DC_LINK_VERSION, 2);
    dc_link_put(w, DC_LINK_PAYLOAD, 2);
    dc_link_put(w, sizeof(dc_real), 1);
    dc_link_put(w, can, 1);
    dc_link_put(w, board->logic->rate_hz, 2);
    dc_link_put(w, board->inputs.count, 2);
    dc_link_put(w, board->states.count, 2);
    dc_link_put(w, board->logic->pulses, 2);
    dc_link_put(w, board->logic->servos, 2);
    dc_link_put(w, board->logic->fields, 2);
    dc_link_put(w, dc_link_channel_count(board), 2);
    dc_link_put(w, board->boots, 4);
    dc_link_put_sha(w, board->sequence);
    dc_link_put_sha(w, board->wiring);
    dc_link_put_text(w, board->board, 40);
    dc_link_put_text(w, board->build, 40);
    return 0;
}

uint8_t dc_link_name(const dc_link *link, dc_link_writer *w, const uint8_t *body, size_t count)
{
    const char *const *names = NULL;
    uint16_t total, i, first;
    size_t counted;

    if (count != 3)
        return BAD_BODY;
    first = (uint16_t)dc_link_get(body + 1, 2);
    switch (body[0]) {
    case 0:
        names = link->board->inputs.names;
        total = link->board->inputs.count;
        break;
    case 1:
        names = link->board->states.names;
        total = link->board->states.count;
        break;
    case 2:
        names = link->board->functions.names;
        total = link->board->functions.count;
        break;
    case 3:
        total = dc_link_channel_count(link->board);
        if (total > 0)
            names = link->board->channels->names.names;
        break;
    default:
        return BAD_BODY;
    }
    if (first > total)
        return BAD_BODY;
    dc_link_put(w, body[0], 1);
    dc_link_put(w, first, 2);
    dc_link_put(w, total, 2);
    counted = w->at;
    dc_link_put(w, 0, 1);
    for (i = first; i < total && w->bytes[counted] < 255; i++) {
        if (w->at + 1 + dc_link_length(names[i], 100) > w->room)
            break;
        dc_link_put_text(w, names[i], 100);
        w->bytes[counted] = (uint8_t)(w->bytes[counted] + 1u);
    }
    return 0;
}

uint8_t dc_link_measure(const dc_link *link, dc_link_writer *w, size_t count)
{
    const dc_board *board = link->board;
    uint8_t channels = dc_link_channel_count(board), i;

    if (channels == 0)
        return CANNOT;
    if (count != 0)
        return BAD_BODY;
    dc_link_put_single(w, board->channels->test_current);
    dc_link_put(w, channels, 1);
    for (i = 0; i < channels; i++) {
        float ohms = board->channels->ohms(board->context, i);
        dc_link_put_single(w, ohms < 0.0f ? 0.0f : ohms); /* a meter's offset */
    }
    return 0;
}

void dc_link_text(dc_link *link, uint8_t level, const char *text)
{
    uint8_t bytes[DC_LINK_HEADER + 5 + TEXT_ROOM + DC_LINK_CRC];
    size_t count = dc_link_length(text, TEXT_ROOM + 1u), i;
    dc_link_writer w;

    if (count > TEXT_ROOM) /* cut it, but not within a character */
        for (count = TEXT_ROOM; count > 0 && ((uint8_t)text[count] & 0xc0u) == 0x80u; count--) {
        }
    dc_link_begin(&w, bytes, sizeof bytes - DC_LINK_CRC, TEXT_LINE, 0, link->nonce);
    dc_link_put(&w, level, 1);
    dc_link_put(&w, dc_link_now(link), 4);
    for (i = 0; i < count; i++)
        dc_link_put(&w, (uint8_t)text[i], 1);
    dc_link_say(link, &w);
}
