/* A board that somebody wrote who had nothing of drycount but docs/link.md: it talked to the host at the
   first try.  A program on standard input and output; no heap, no recursion. */
#define _POSIX_C_SOURCE 200809L

#include "board.h"

#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

const unsigned pulse_channel[LOGIC_PULSES] = LOGIC_PULSE_CHANNEL;

/* ---- what the board keeps ------------------------------------------------ */

uint8_t own_sequence[32], own_wiring[32];
uint32_t boots;
const char *arm_file;
bool chatter;

uint32_t nonce;                          /* 0: no session */
uint32_t last_number;
uint8_t kept[MAX_PAYLOAD];               /* the last reply, a payload */
size_t kept_length;

bool configured, wiring_agreed;
uint32_t dead_man_ms;
uint64_t last_new_us;                    /* when the last new request came */
bool dead_man_struck;
bool reset_in_session, needs_reset, safe;
bool ticked;
uint32_t last_tick;

bool permit_held;
uint32_t permit_channels;
uint64_t permit_until_us;
uint32_t challenge, asked_channels, asked_ms;    /* challenge 0: none */
uint64_t challenge_until_us;

struct logic_output output;
bool through[LOGIC_PULSES];      /* began under the permit that holds */
bool pin[LOGIC_CHANNELS];        /* what stands at the firing pins */

/* ---- clock, chance, arming input ----------------------------------------- */

uint64_t clock_start;

uint64_t raw_us(void)
{
    struct timespec t;
    if (clock_gettime(CLOCK_MONOTONIC, &t) != 0) return 0;
    return (uint64_t)t.tv_sec * 1000000u + (uint64_t)t.tv_nsec / 1000u;
}

uint64_t now_us(void) { return raw_us() - clock_start; }

uint32_t draw(void)
{
    uint32_t v = 0;
    FILE *f = fopen("/dev/urandom", "rb");
    if (f != NULL) {
        if (fread(&v, sizeof v, 1, f) != 1) v = 0;
        (void)fclose(f);
    }
    if (v == 0) v = (uint32_t)raw_us() * 2654435761u;
    return v == 0 ? 1u : v;
}

bool arming_in(void) { return arm_file != NULL && access(arm_file, F_OK) == 0; }

/* ---- pins: masked in this one place, below the logic ---------------------- */

void drive_pins(void)
{
    bool want[LOGIC_CHANNELS] = { false };
    unsigned i;

    for (i = 0; i < LOGIC_PULSES; i++) {
        if (!permit_held || !output.on[i]) through[i] = false;
        if (through[i]) want[pulse_channel[i]] = true;
    }
    for (i = 0; i < LOGIC_CHANNELS; i++) {
        if (pin[i] != want[i]) {
            pin[i] = want[i];
            (void)fprintf(stderr, "board: pin %u %s at %lu us\n", i, want[i] ? "on" : "off",
                          (unsigned long)now_us());
        }
    }
}

void mask(void)                  /* all off, permit and challenge gone */
{
    permit_held = false;
    permit_channels = 0;
    challenge = 0;
    drive_pins();
}

void go_safe(void)
{
    mask();
    safe = true;
}

void say(uint32_t level, const char *text)
{
    uint8_t buffer[MAX_PAYLOAD];
    struct writer w = begin(buffer, TEXT, 0, nonce);
    put_u8(&w, level);
    put_u32(&w, (uint32_t)now_us());
    put_bytes(&w, text, strlen(text));
    send_payload(buffer, w.length, false);
}

static const char *reason_text(uint32_t reason)
{
    static const char *const texts[] = {
        "", "unknown kind", "body does not fit", "no session", "speaks version 1",
        "out of step", "another sequence", "another wiring", "not configured",
        "not reset", "tick is not larger", "safe, reset first", "no permit",
        "cannot do that", "failed"
    };
    return reason < sizeof texts / sizeof texts[0] ? texts[reason] : "";
}

size_t refuse(uint8_t *at, const uint8_t *request, uint32_t reason)
{
    struct writer w = begin(at, REFUSED, get_u32(request + 1), get_u32(request + 5));
    const char *text = reason_text(reason);
    put_u8(&w, reason);
    put_u8(&w, request[0]);
    put_bytes(&w, text, strlen(text));
    mask();                     /* any REFUSED ends a permit */
    return w.length;
}

/* ---- receiving ------------------------------------------------------------- */

static uint8_t in[MAX_PAYLOAD + 4u];
static size_t in_length;
static unsigned in_left;                /* bytes of the group still to come */
static bool in_begun, in_zero, in_bad;  /* in_zero: a zero is meant behind the group */

static void store(uint8_t b)
{
    if (in_length < sizeof in) in[in_length++] = b;
    else in_bad = true;
}

static void take_byte(uint8_t b)
{
    if (b == 0) {
        if (in_begun && !in_bad && in_left == 0 && in_length >= 4u
            && crc32(in, in_length - 4u) == get_u32(in + in_length - 4u)) {
            take_payload(in, in_length - 4u);
        }
        in_length = 0;
        in_left = 0;
        in_begun = in_zero = in_bad = false;
    } else if (in_left == 0) {          /* the head of a group */
        if (in_begun && in_zero) store(0);
        in_begun = true;
        in_zero = b != 0xFFu;
        in_left = (unsigned)b - 1u;
    } else {
        store(b);
        in_left--;
    }
}

/* ---- main ------------------------------------------------------------------ */

static bool parse_hex(const char *s, uint8_t out[32])
{
    static const char digits[] = "0123456789abcdef";
    unsigned i;

    if (strlen(s) != 64) return false;
    for (i = 0; i < 64; i++) {
        char c = s[i] >= 'A' && s[i] <= 'F' ? (char)(s[i] - 'A' + 'a') : s[i];
        const char *d = strchr(digits, c);
        if (d == NULL) return false;
        out[i / 2] = (uint8_t)((out[i / 2] << 4 | (int)(d - digits)) & 0xFF);
    }
    return true;
}

int main(int argc, char **argv)
{
    const char *sequence = LOGIC_SEQUENCE_HEX, *wiring = LOGIC_WIRING_HEX;
    uint8_t ready[MAX_PAYLOAD], chunk[512];
    struct writer w;
    int i;

    for (i = 1; i < argc; i++) {
        const char *next = i + 1 < argc ? argv[i + 1] : NULL;
        if (strcmp(argv[i], "--chatter") == 0) {
            chatter = true;
            continue;
        }
        if (next != NULL && strcmp(argv[i], "--sequence") == 0) sequence = next;
        else if (next != NULL && strcmp(argv[i], "--wiring") == 0) wiring = next;
        else if (next != NULL && strcmp(argv[i], "--arm-file") == 0) arm_file = next;
        else if (next != NULL && strcmp(argv[i], "--boots") == 0)
            boots = (uint32_t)(strtoul(next, NULL, 10) & 0xFFFFFFFFu);
        else sequence = "";
        i++;
    }
    if (!parse_hex(sequence, own_sequence) || !parse_hex(wiring, own_wiring)) {
        (void)fputs("usage: board [--sequence HEX64] [--wiring HEX64] [--arm-file PATH]"
                    " [--boots N] [--chatter]\n", stderr);
        return 2;
    }
    (void)signal(SIGPIPE, SIG_IGN);
    clock_start = raw_us();
    logic_boot();
    mask();

    w = begin(ready, READY, 0, 0);
    put_u16(&w, VERSION);
    put_u32(&w, boots);
    send_payload(ready, w.length, false);

    while (!line_gone) {                /* until the input is closed */
        struct pollfd f;
        int r;
        ssize_t n, k;

        f.fd = STDIN_FILENO;
        f.events = POLLIN;
        f.revents = 0;
        r = poll(&f, 1, 5);
        watch();
        if (r < 0 && errno != EINTR) break;
        if (r <= 0) continue;
        n = read(STDIN_FILENO, chunk, sizeof chunk);
        if (n < 0 && errno == EINTR) continue;
        if (n <= 0) break;
        for (k = 0; k < n; k++) take_byte(chunk[k]);
    }
    go_safe();
    return 0;
}
