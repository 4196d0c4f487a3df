/* Frames of docs/link.md, written from the page and sharing nothing with the kit: what the client is
   held against. */

#ifndef FUZZ_FRAME_H
#define FUZZ_FRAME_H

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = 512, NONE = -1 };

static void hold(int right, const char *what)
{
    if (right)
        return;
    fprintf(stderr, "the link client is wrong: %s\n", what);
    abort();
}

static uint32_t crc(const uint8_t *bytes, size_t count)
{
    static uint32_t of[256];
    uint32_t sum = 0xffffffffu;
    size_t i;
    int bit;

    for (i = 0; of[255] == 0 && i < 256; i++)
        for (of[i] = (uint32_t)i, bit = 0; bit < 8; bit++)
            of[i] = of[i] >> 1 ^ (of[i] & 1u ? 0xedb88320u : 0);
    for (i = 0; i < count; i++)
        sum = sum >> 8 ^ of[(sum ^ bytes[i]) & 255u];
    return ~sum;
}

static uint32_t little(const uint8_t *b)
{
    return (uint32_t)b[0] | (uint32_t)b[1] << 8 | (uint32_t)b[2] << 16 | (uint32_t)b[3] << 24;
}

/* Stuffed bytes, without the zero at the end, into what they hold; NONE: damaged. */
static long content(const uint8_t *stuffed, size_t count, uint8_t *out, size_t room)
{
    size_t at = 0, to = 0;

    while (at < count) {
        size_t end = at + stuffed[at];
        size_t zero = stuffed[at] != 255 && end < count;
        if (end > count || to + stuffed[at] - 1 + zero > room)
            return NONE;
        for (at++; at < end; at++)
            out[to++] = stuffed[at];
        if (zero)
            out[to++] = 0;
    }
    /* a frame without a payload says nothing: it counts as damaged */
    if (to < 5 || crc(out, to - 4) != little(out + to - 4))
        return NONE;
    return (long)to - 4;
}

static size_t stuffed_into(uint8_t *out, const uint8_t *bytes, size_t count)
{
    size_t to = 1, code = 0, i;

    for (i = 0; i < count; i++) {
        if (to - code == 255) {
            out[code] = 255;
            code = to++;
        }
        if (bytes[i] != 0) {
            out[to++] = bytes[i];
            continue;
        }
        out[code] = (uint8_t)(to - code);
        code = to++;
    }
    out[code] = (uint8_t)(to - code);
    out[to++] = 0;
    return to;
}

/* A whole frame of a payload. */
static size_t framed(uint8_t *out, const uint8_t *bytes, size_t count)
{
    uint8_t whole[MOST + 4];
    uint32_t sum = crc(bytes, count);
    size_t i;

    hold(count <= MOST, "too much for a frame");
    memcpy(whole, bytes, count);
    for (i = 0; i < 4; i++)
        whole[count + i] = (uint8_t)(sum >> 8 * i);
    return stuffed_into(out, whole, count + 4);
}

#endif
