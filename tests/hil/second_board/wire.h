/* Numbers, CRC and frames of the link. */
#ifndef WIRE_H
#define WIRE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define MAX_PAYLOAD 256u
#define FRAME_MAX (MAX_PAYLOAD + 4u + (MAX_PAYLOAD + 4u) / 254u + 3u)

struct writer { uint8_t *at; size_t length, room; };

/* A payload's first nine bytes. */
struct writer begin(uint8_t *at, uint32_t kind, uint32_t number, uint32_t session);

/* What does not fit the room is left out: callers keep to it. */
void put_bytes(struct writer *w, const void *from, size_t n);
void put_u8(struct writer *w, uint32_t v);
void put_u16(struct writer *w, uint32_t v);
void put_u32(struct writer *w, uint32_t v);
void put_f32(struct writer *w, float v);
void put_value(struct writer *w, double v);
void put_text(struct writer *w, const char *s);

uint32_t get_u16(const uint8_t *p);
uint32_t get_u32(const uint8_t *p);
double get_value(const uint8_t *p);

uint32_t crc32(const uint8_t *p, size_t n);

/* The payload with its CRC as a frame; a zero byte in front of one that is sent again. */
void send_payload(const uint8_t *payload, size_t n, bool again);
extern bool line_gone;

#endif
