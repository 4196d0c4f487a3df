/* Numbers as bytes, and frames of them: CRC and byte stuffing. Bench image only; docs/link.md. */

#include "dc_link_frame.h"

/* little end first */

void dc_link_put(dc_link_writer *w, uint32_t value, uint8_t count)
{
    for (; count > 0; count--, value >>= 8)
        if (w->at < w->room)
            w->bytes[w->at++] = (uint8_t)(value & 0xffu);
}

uint32_t dc_link_get(const uint8_t *bytes, uint8_t count)
{
    uint32_t value = 0;

    while (count > 0)
        value = (value << 8) | bytes[--count];
    return value;
}

typedef union {
    dc_real real;
    uint32_t words[sizeof(dc_real) / 4];
    uint16_t probe;
} number;

/* Index of the word that goes first. */
static uint8_t word(uint8_t i)
{
    number one;

    one.words[0] = 1;
    return one.probe == 1 ? i : (uint8_t)(sizeof(dc_real) / 4 - 1 - i);
}

void dc_link_put_real(dc_link_writer *w, dc_real value)
{
    number n;
    uint8_t i;

    n.real = value;
    for (i = 0; i < sizeof(dc_real) / 4; i++)
        dc_link_put(w, n.words[word(i)], 4);
}

dc_real dc_link_get_real(const uint8_t *bytes)
{
    number n;
    uint8_t i;

    for (i = 0; i < sizeof(dc_real) / 4; i++)
        n.words[word(i)] = dc_link_get(bytes + 4u * i, 4);
    return n.real;
}

dc_real dc_link_no_number(void)
{
    number n;

    n.words[word(0)] = sizeof(dc_real) == 4 ? 0x7fc00000u : 0;
    if (sizeof(dc_real) == 8)
        n.words[word((uint8_t)(sizeof(dc_real) / 4 - 1))] = 0x7ff80000u;
    return n.real;
}

typedef union {
    float single;
    uint32_t bits;
} single;

void dc_link_put_single(dc_link_writer *w, float value)
{
    single s;

    s.single = value;
    dc_link_put(w, s.bits, 4);
}

float dc_link_open(void)
{
    single s;

    s.bits = 0x7f800000u;
    return s.single;
}

float dc_link_not_measured(void)
{
    single s;

    s.bits = 0x7fc00000u;
    return s.single;
}

size_t dc_link_length(const char *text, size_t most)
{
    size_t count = 0;

    while (count < most && text[count] != '\0')
        count++;
    return count;
}

void dc_link_put_text(dc_link_writer *w, const char *text, size_t most)
{
    size_t count = dc_link_length(text, most), i;

    dc_link_put(w, (uint32_t)count, 1);
    for (i = 0; i < count; i++)
        dc_link_put(w, (uint8_t)text[i], 1);
}

/* frames */

static uint32_t crc_of(const uint8_t *bytes, size_t count)
{
    uint32_t crc = 0xffffffffu;
    uint8_t bit;

    for (; count > 0; count--, bytes++) {
        crc ^= *bytes;
        for (bit = 0; bit < 8; bit++)
            crc = (crc & 1u) != 0 ? (crc >> 1) ^ 0xedb88320u : crc >> 1;
    }
    return crc ^ 0xffffffffu;
}

void dc_link_send(dc_link_write write, void *context, uint8_t *payload, size_t count)
{
    dc_link_writer w;
    size_t at = 0;
    uint8_t code;

    w.bytes = payload;
    w.at = count;
    w.room = count + DC_LINK_CRC;
    dc_link_put(&w, crc_of(payload, count), DC_LINK_CRC);
    /* pieces of up to 254 bytes that are not zero; behind a shorter one a zero is left out */
    for (;;) {
        uint8_t run = 0;
        while (run < 254 && at + run < w.at && payload[at + run] != 0)
            run = (uint8_t)(run + 1u);
        code = (uint8_t)(run + 1u);
        write(context, &code, 1);
        write(context, payload + at, run);
        at += run;
        if (at == w.at)
            break;
        if (run < 254)
            at++;
    }
    code = 0;
    write(context, &code, 1);
}

size_t dc_link_unpack(uint8_t *frame, size_t count)
{
    size_t from = 0, to = 0;

    while (from < count) {
        uint8_t code = frame[from++], i;
        if ((size_t)(code - 1) > count - from)
            return 0;
        for (i = 1; i < code; i++)
            frame[to++] = frame[from++];
        if (code != 255 && from < count)
            frame[to++] = 0;
    }
    if (to < DC_LINK_CRC || to > DC_LINK_PAYLOAD + DC_LINK_CRC)
        return 0;
    to -= DC_LINK_CRC;
    return crc_of(frame, to) == dc_link_get(frame + to, DC_LINK_CRC) ? to : 0;
}
