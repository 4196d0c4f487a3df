/* Numbers as bytes, little end first, and frames of them: docs/link.md. */

#ifndef DC_LINK_FRAME_H
#define DC_LINK_FRAME_H

#ifndef DC_BENCH
#error "the link is for the bench image only: define DC_BENCH there, and leave it out of the others"
#endif

#include "dc_real.h"

/* the longest payload that it takes and sends */
#ifndef DC_LINK_PAYLOAD
#define DC_LINK_PAYLOAD 256
#endif
#if DC_LINK_PAYLOAD < 192 || DC_LINK_PAYLOAD > 1024
#error "DC_LINK_PAYLOAD is 192 to 1024"
#endif

#define DC_LINK_CRC 4
/* byte stuffing: one byte in 254, the first, and one that a sender may add */
#define DC_LINK_STUFFED (DC_LINK_PAYLOAD + DC_LINK_CRC + (DC_LINK_PAYLOAD + DC_LINK_CRC) / 254 + 2)

/* The board's own: sends all of it, in order. */
typedef void (*dc_link_write)(void *context, const uint8_t *bytes, size_t count);

/* What has no room is left out. */
typedef struct {
    uint8_t *bytes;
    size_t at;
    size_t room;
} dc_link_writer;

void dc_link_put(dc_link_writer *w, uint32_t value, uint8_t count);
void dc_link_put_real(dc_link_writer *w, dc_real value);
void dc_link_put_single(dc_link_writer *w, float value);
/* Its length in one byte first; at most so many characters. */
void dc_link_put_text(dc_link_writer *w, const char *text, size_t most);
uint32_t dc_link_get(const uint8_t *bytes, uint8_t count);
dc_real dc_link_get_real(const uint8_t *bytes);

/* A NaN, without an operation that could raise a flag. */
dc_real dc_link_no_number(void);

/* Resistances: of a channel to which nothing is connected; of one that was not measured. */
float dc_link_open(void);
float dc_link_not_measured(void);

size_t dc_link_length(const char *text, size_t most);

/* Send a payload, behind which there is room for its CRC. */
void dc_link_send(dc_link_write write, void *context, uint8_t *payload, size_t count);

/* Bytes of the payload, unstuffed in its place; 0 where the frame is damaged. */
size_t dc_link_unpack(uint8_t *frame, size_t count);

#endif
