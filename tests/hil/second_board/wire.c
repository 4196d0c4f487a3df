/* Numbers, CRC and frames, as the page about the link says; sent to standard output. */
#define _POSIX_C_SOURCE 200809L

#include "wire.h"

#include <errno.h>
#include <string.h>
#include <unistd.h>

/* ---- bytes ----------------------------------------------------------------- */

void put_bytes(struct writer *w, const void *from, size_t n)
{
    if (n == 0 || n > w->room - w->length) return;      /* callers keep to the room */
    memcpy(w->at + w->length, from, n);
    w->length += n;
}

void put_u8(struct writer *w, uint32_t v)
{
    uint8_t b = (uint8_t)(v & 0xFFu);
    put_bytes(w, &b, 1);
}

void put_u16(struct writer *w, uint32_t v) { put_u8(w, v); put_u8(w, v >> 8); }
void put_u32(struct writer *w, uint32_t v) { put_u16(w, v); put_u16(w, v >> 16); }

void put_f32(struct writer *w, float v)
{
    uint32_t b;
    memcpy(&b, &v, sizeof b);
    put_u32(w, b);
}

void put_value(struct writer *w, double v)
{
    uint64_t b;
    memcpy(&b, &v, sizeof b);
    put_u32(w, (uint32_t)(b & 0xFFFFFFFFu));
    put_u32(w, (uint32_t)(b >> 32));
}

void put_text(struct writer *w, const char *s)
{
    size_t n = strlen(s);
    put_u8(w, (uint32_t)n);
    put_bytes(w, s, n);
}

uint32_t get_u16(const uint8_t *p) { return (uint32_t)p[0] | (uint32_t)p[1] << 8; }
uint32_t get_u32(const uint8_t *p) { return get_u16(p) | get_u16(p + 2) << 16; }

double get_value(const uint8_t *p)
{
    uint64_t b = (uint64_t)get_u32(p) | (uint64_t)get_u32(p + 4) << 32;
    double v;
    memcpy(&v, &b, sizeof v);
    return v;
}

struct writer begin(uint8_t *at, uint32_t kind, uint32_t number, uint32_t session)
{
    struct writer w;
    w.at = at;
    w.length = 0;
    w.room = MAX_PAYLOAD;
    put_u8(&w, kind);
    put_u32(&w, number);
    put_u32(&w, session);
    return w;
}

uint32_t crc32(const uint8_t *p, size_t n)
{
    uint32_t crc = 0xFFFFFFFFu;
    size_t i;
    unsigned k;
    for (i = 0; i < n; i++) {
        crc ^= p[i];
        for (k = 0; k < 8; k++) crc = (crc & 1u) != 0 ? (crc >> 1) ^ 0xEDB88320u : crc >> 1;
    }
    return ~crc;
}

/* ---- sending --------------------------------------------------------------- */

bool line_gone;

static void write_all(const uint8_t *p, size_t n)
{
    unsigned tries;
    for (tries = 0; tries < 10000u && n > 0; tries++) {
        ssize_t k = write(STDOUT_FILENO, p, n);
        if (k > 0) {
            p += k;
            n -= (size_t)k;
        } else if (k < 0 && errno != EINTR) {
            break;
        }
    }
    if (n > 0) line_gone = true;
}

void send_payload(const uint8_t *payload, size_t n, bool again)
{
    uint8_t data[MAX_PAYLOAD + 4u];
    uint8_t frame[FRAME_MAX + 1u];
    uint32_t crc = crc32(payload, n);
    size_t i, code, out = 0, total = n + 4u;
    bool open = true;           /* a group is under way */

    memcpy(data, payload, n);
    for (i = 0; i < 4u; i++) data[n + i] = (uint8_t)(crc >> (8u * i) & 0xFFu);
    if (again) frame[out++] = 0;
    code = out++;
    frame[code] = 1;
    for (i = 0; i < total; i++) {
        if (!open) {            /* behind a full group: only now is another needed */
            code = out++;
            frame[code] = 1;
            open = true;
        }
        if (data[i] == 0) {
            code = out++;
            frame[code] = 1;
        } else {
            frame[out++] = data[i];
            frame[code]++;
            if (frame[code] == 0xFFu) open = false;
        }
    }
    frame[out++] = 0;
    write_all(frame, out);
}
