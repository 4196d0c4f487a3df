#include "kit_memory.h"

/* Which registers of a block are counts. */
static const char *kinds(dc_code block)
{
    switch (block) {
    case DC_BLOCK_LOW_PASS:
    case DC_BLOCK_PEAK:
        return "wr";
    case DC_BLOCK_FILTERED_RATE:
        return "wrrw";
    case DC_BLOCK_INTEGRAL:
        return "r";
    case DC_BLOCK_MEDIAN3:
        return "wrr";
    case DC_BLOCK_TIMER:
        return "ww";
    case DC_BLOCK_LATCH:
        return "w";
    case DC_BLOCK_ATTITUDE:
        return "rrrr";
    default:
        return "";
    }
}

void kit_memory(const dc_sequence *s, double *image)
{
    size_t blocks = dc_size_at(s, DC_HEAD_M_BLOCKS), row, at, i, j;

    image[0] = s->state;
    image[1] = s->entered;
    image[2] = s->clock;
    image[3] = s->started;
    at = dc_size_at(s, DC_HEAD_M_CELLS);
    for (i = 0; at + 2 * i < dc_size_at(s, DC_HEAD_M_HEARD); i++) {
        image[at + 2 * i] = (double)s->values[i];
        image[at + 2 * i + 1] = s->bad[i];
    }
    for (i = 0; i < dc_size_at(s, DC_HEAD_INPUTS); i++)
        image[dc_size_at(s, DC_HEAD_M_HEARD) + i] = s->heard[i];
    row = dc_size_at(s, DC_HEAD_ESTIMATES_AT);
    for (i = 0; i < dc_size_at(s, DC_HEAD_ESTIMATES); i++, row += DC_ESTIMATE_WIDTH) {
        const char *kind = kinds(dc_code_at(s, row + DC_ESTIMATE_KIND));
        at = dc_size_at(s, row + DC_ESTIMATE_REGISTERS);
        for (j = 0; kind[j] != '\0'; j++) {
            dc_register r = s->registers[at - blocks + j];
            image[at + j] = kind[j] == 'w' ? (double)r.whole : (double)r.real;
        }
    }
    for (i = 0; i < dc_size_at(s, DC_HEAD_EXITS); i++)
        image[dc_size_at(s, DC_HEAD_M_HOLDS) + i] = s->holds[i];
    for (i = 0; i < dc_size_at(s, DC_HEAD_LOOPS); i++) {
        image[dc_size_at(s, DC_HEAD_M_LOOPS) + 2 * i] = (double)s->loops[i].i_y;
        image[dc_size_at(s, DC_HEAD_M_LOOPS) + 2 * i + 1] = (double)s->loops[i].i_z;
    }
    for (i = 0; i < dc_size_at(s, DC_HEAD_PULSES); i++)
        image[dc_size_at(s, DC_HEAD_M_UNTIL) + i] = s->until[i];
    for (i = 0; i < dc_size_at(s, DC_HEAD_SERVOS); i++)
        image[dc_size_at(s, DC_HEAD_M_DEMAND) + i] = (double)s->demands[i];
}
