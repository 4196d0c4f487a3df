/* Whole sessions with the kit's link client, made of bytes: a target for libFuzzer, and, built with
   -DLISTED, a program that takes a list of such bytes from its standard input.

   A second receiver, written from docs/link.md and sharing nothing with the kit, hears the same line
   and says of each frame whether it is damaged and what has to come back (the table of "Sessions").
   The first thing in which the client differs ends the program. The bytes:

     kind & 7   what happens
     0 to 2     a request: its kind, how (below), body length u16, body; 2: sent again, a zero in front
     3          the same, damaged: a count, and so many times what, place u16, value
     4          anything: a length, bytes
     5          time passes: u16, in ms; with its highest bit the key is turned
     6          the board boots
     7          bytes come in pieces of so many

   how & 7: number, 0 the next, 1 the last, 2 the one after the next, 3 the one before the last,
   4 one, else u32. how >> 3 & 3: nonce, 0 that of the session, 1 another, 2 none, 3 u32. */

#include "dc_exported.h"
#include "fuzz_permit.h"

enum { LONGEST = 4096, LINE = 1 << 16, SENDS = 512 };
enum { HELLO = 1, CONFIGURE = 3, RESET = 4, TICK = 5, PERMIT = 7, PING = 8, SAFE_NOW = 9 };
enum { READY = 0xf0, TEXT = 0xf1, REFUSED = 0xff };

typedef struct {
    uint8_t bytes[DC_LINK_PAYLOAD + 16];
    long count;
} payload;

static struct {
    unsigned long lists, good, damaged, requests, repeated, refused, ticks, strangers;
} told;

static dc_link client;
static dc_board board;

/* what the client has said, and how much of it was judged */
static uint8_t said[LINE];
static size_t spoken, judged;

/* the second receiver */
static uint8_t line[LINE];
static size_t on_line;
static uint32_t bad;
static uint32_t nonce, number;
static payload kept;
static int running; /* 0: no tick may be carried out, 1: after a reset, 2: after a tick */
static uint32_t last_tick;

/* what was sent whole, of this list */
static payload sent[SENDS];
static size_t sends;
static int anything;

/* what comes back */

static uint32_t micros(void *context)
{
    (void)context;
    return clock_us;
}

static void hear(void *context, const uint8_t *bytes, size_t count)
{
    (void)context;
    hold(spoken + count <= LINE, "it says too much");
    memcpy(said + spoken, bytes, count);
    spoken += count;
}

/* The next frame that the client has said, whole, or none; zeros: whether one stood in front. */
static int next_said(payload *came, int *zero)
{
    size_t end;

    for (*zero = 0; judged < spoken && said[judged] == 0; judged++)
        *zero = 1;
    for (end = judged; end < spoken && said[end] != 0; end++)
        ;
    if (judged == spoken)
        return 0;
    hold(end < spoken, "it says half a frame");
    came->count = content(said + judged, end - judged, came->bytes, sizeof came->bytes);
    hold(came->count >= 9, "it says a frame that is damaged");
    hold(came->count <= DC_LINK_PAYLOAD, "it says a frame that is too long");
    judged = end + 1;
    return 1;
}

static int is_same(const payload *a, const payload *b)
{
    return a->count == b->count && memcmp(a->bytes, b->bytes, (size_t)a->count) == 0;
}

static void must_be(const payload *came, uint8_t kind, const payload *asked, long count)
{
    hold(came->bytes[0] == kind, "a reply of another kind");
    hold(memcmp(came->bytes + 1, asked->bytes + 1, 8) == 0, "a reply to another request");
    hold(count == NONE || came->count == count, "a reply of another length");
}

static void must_refuse(const payload *came, const payload *asked, uint8_t reason)
{
    permit_over();
    must_be(came, REFUSED, asked, 11);
    hold(came->bytes[9] == reason && came->bytes[10] == asked->bytes[0], "another refusal");
}

/* The inputs that the client has handed on are those of the frame. */
static void same_values(const payload *asked)
{
    size_t at = 17 + (size_t)(board.inputs.count + 7) / 8, i;

    for (i = 0; i < board.inputs.count; i++)
        if (asked->bytes[17 + i / 8] >> i % 8 & 1) {
            hold(memcmp(board.values + i, asked->bytes + at, sizeof(dc_real)) == 0,
                 "an input that was not sent");
            at += sizeof(dc_real);
        }
    hold((long)at == asked->count, "a tick of the wrong length");
}

static void new_reply(const payload *came, const payload *asked)
{
    uint8_t kind = asked->bytes[0];

    told.requests++;
    permit_watched();
    permit.heard = clock_us;
    if (came->bytes[0] == REFUSED) {
        permit_over();
        told.refused++;
        must_be(came, REFUSED, asked, 11);
        hold(came->bytes[10] == kind, "another refusal");
        return;
    }
    must_be(came, (uint8_t)(kind | 0x80), asked, NONE);
    if (kind == CONFIGURE || kind == RESET) {
        permit_over();
        running = kind == RESET;
    }
    if (kind == CONFIGURE)
        permit_configured(asked->bytes + 9, board.wiring);
    if (kind == RESET)
        permit.struck = 0;
    if (kind == PERMIT)
        permit_given(asked->bytes + 9, came->bytes + 9, running);
    if (kind == PING)
        hold(came->count == asked->count + 4 &&
                 memcmp(came->bytes + 13, asked->bytes + 9, (size_t)asked->count - 9) == 0,
             "a ping that is not the one that was sent");
    if (kind != TICK)
        return;
    told.ticks++;
    hold(running != 0, "a tick before a reset, or while safe");
    hold(running == 1 || little(asked->bytes + 9) > last_tick, "a tick that is old");
    running = 2;
    last_tick = little(asked->bytes + 9);
    hold(little(came->bytes + 9) == last_tick, "another tick");
    hold((came->bytes[17] & 4) != 0 || permit.held, "outputs that are not masked");
    same_values(asked);
}

/* One frame that came whole, and what the page says comes back. */
static void judge(const payload *asked)
{
    uint8_t kind = asked->bytes[0];
    uint32_t its_number, its_nonce;
    payload came;
    int zero, is_new;

    if (asked->count < 9 || kind >= 0x80)
        return;
    its_number = little(asked->bytes + 1);
    its_nonce = little(asked->bytes + 5);
    is_new = kind == HELLO && its_nonce != nonce;
    if (kind == HELLO && (its_nonce == 0 || its_number != 1))
        return;
    if (kind == SAFE_NOW) {
        hold(next_said(&came, &zero), "SAFE_NOW was not answered");
        must_be(&came, SAFE_NOW | 0x80, asked, 9);
        permit_over();
        running = 0;
        return;
    }
    if (!is_new && nonce != 0 && (its_nonce != nonce || its_number < number))
        return;
    hold(next_said(&came, &zero), "a request was not answered");
    if (is_new) {
        nonce = its_nonce;
        number = 1;
        running = 0;
        permit_forgotten();
        new_reply(&came, asked);
        kept = came;
    } else if (nonce == 0) {
        must_refuse(&came, asked, 3);
    } else if (its_number == number) {
        told.repeated++;
        hold(zero, "a reply is sent again without a zero byte in front");
        hold(is_same(&came, &kept), "a repeated request has another reply");
    } else if (its_number - number > 1) {
        must_refuse(&came, asked, 5);
    } else {
        number = its_number;
        new_reply(&came, asked);
        kept = came;
    }
}

/* The client's own unpacking, in memory that ends where the frame does. */
static void unpacked_alike(const payload *whole)
{
    uint8_t *copy;
    size_t found;

    if (on_line == 0 || on_line > DC_LINK_STUFFED)
        return;
    copy = malloc(on_line);
    if (copy == NULL)
        exit(EXIT_FAILURE);
    memcpy(copy, line, on_line);
    found = dc_link_unpack(copy, on_line);
    hold((long)found == (whole->count == NONE ? 0 : whole->count),
         found > 0 ? "a damaged frame was accepted" : "a good frame was taken for a damaged one");
    hold(found == 0 || memcmp(copy, whole->bytes, found) == 0, "a payload that was not sent");
    free(copy);
}

static void end_of_frame(void)
{
    payload whole;
    size_t i;

    if (on_line == 0)
        return;
    whole.count = content(line, on_line, whole.bytes, DC_LINK_PAYLOAD + 4);
    unpacked_alike(&whole);
    on_line = 0;
    if (whole.count == NONE) {
        bad++;
        told.damaged++;
        return;
    }
    told.good++;
    for (i = 0; i < sends && !is_same(&sent[i], &whole); i++)
        ;
    if (i == sends && !anything)
        told.strangers++;
    judge(&whole);
    off_without_permit();
}

/* What has come in piece by piece; then both receivers have heard the same. */
static void deliver(const uint8_t *bytes, size_t count, size_t piece)
{
    while (count > 0) {
        size_t now = count < piece ? count : piece, i;
        payload more;
        int zero;
#ifdef DC_LINK_DUMMY_LOADS
        /* a frame at a time: what is switched on is held against what came before it */
        const uint8_t *end_of_one = memchr(bytes, 0, now);
        now = end_of_one != NULL ? (size_t)(end_of_one - bytes) + 1 : now;
#endif
        dc_link_take(&client, bytes, now);
        for (i = 0; i < now; i++)
            if (bytes[i] == 0)
                end_of_frame();
            else if (on_line < LINE)
                line[on_line++] = bytes[i];
        hold(!next_said(&more, &zero), "it says something that nobody asked for");
        hold(client.bad == bad, "its count of damaged frames");
        spoken = judged = 0;
        bytes += now;
        count -= now;
    }
}

static void boot(void)
{
    payload came;
    int zero;

    nonce = number = bad = 0;
    on_line = spoken = judged = 0;
    running = 0;
    permit_forgotten();
    dc_link_start(&client, &board);
    hold(next_said(&came, &zero) && came.bytes[0] == READY && came.count == 15, "no READY");
    spoken = judged = 0;
    off_without_permit();
    off_without_permit();
}

/* the list of what happens */

static const uint8_t *at, *end;

static uint32_t take(size_t bytes)
{
    uint32_t value = 0;
    size_t i;

    for (i = 0; i < bytes && at < end; i++)
        value |= (uint32_t)*at++ << 8 * i;
    return value;
}

static void request(payload *made)
{
    uint8_t kind = (uint8_t)take(1), how = (uint8_t)take(1);
    uint32_t numbers[] = {number + 1, number, number + 2, number - 1, 1};
    uint32_t nonces[] = {nonce, 0x5eed0001u, 0};
    uint32_t its_number = (how & 7) < 5 ? numbers[how & 7] : take(4);
    uint32_t its_nonce = (how >> 3 & 3) < 3 ? nonces[how >> 3 & 3] : take(4);
    size_t count = take(2) % (DC_LINK_PAYLOAD + 8u), i;

    made->bytes[0] = kind;
    for (i = 0; i < 4; i++) {
        made->bytes[1 + i] = (uint8_t)(its_number >> 8 * i);
        made->bytes[5 + i] = (uint8_t)(its_nonce >> 8 * i);
    }
    if (count > DC_LINK_PAYLOAD + 8u - 9u)
        count = DC_LINK_PAYLOAD + 8u - 9u;
    for (i = 0; i < count; i++)
        made->bytes[9 + i] = (uint8_t)take(1);
    made->count = (long)count + 9;
    if (sends < SENDS)
        sent[sends++] = *made;
    else
        anything = 1;
}

static size_t damaged(uint8_t *wire, size_t count)
{
    size_t times = take(1) % 4 + 1;

    while (times-- > 0) {
        uint8_t what = (uint8_t)take(1);
        size_t place = take(2) % (count + 1);
        uint8_t value = (uint8_t)take(1);
        size_t some = 1 + value % 8u;
        if (some > count - place)
            some = count - place;
        if (what % 4 == 0) {
            memmove(wire + place + 1, wire + place, count - place);
            wire[place] = value;
            count++;
        } else if (what % 4 == 1) {
            memmove(wire + place, wire + place + some, count - place - some);
            count -= some;
        } else if (what % 4 == 2) {
            memmove(wire + place + some, wire + place, count - place);
            count += some;
        } else if (place < count) {
            wire[place] ^= value == 0 ? 1 : value;
        }
    }
    return count;
}

static void send_request(uint8_t what, size_t piece)
{
    uint8_t wire[2 * DC_LINK_PAYLOAD + 128];
    payload made;
    size_t count;

    request(&made);
    count = framed(wire, made.bytes, (size_t)made.count);
    if (what == 3)
        count = damaged(wire, count);
    deliver(wire, count, piece);
    if (what == 2) {
        memmove(wire + 1, wire, count);
        wire[0] = 0;
        deliver(wire, count + 1, piece);
    }
}

/* Whatever came, the second good frame is answered at the latest. */
static void in_step_again(void)
{
    uint8_t wire[64];
    payload safe = {{SAFE_NOW, 1, 2, 3, 4, 5, 6, 7, 8}, 9};
    unsigned long good;
    size_t count = framed(wire, safe.bytes, (size_t)safe.count);

    if (sends == SENDS)
        sends--;
    sent[sends++] = safe;
    deliver(wire, count, count);
    good = told.good;
    deliver(wire, count, count);
    hold(told.good == good + 1, "not in step again"); /* and judge() has seen the answer */
}

#ifdef DC_LINK_DUMMY_LOADS
static const dc_firing firing = {OF(SEQUENCE, _drives), 15.0f, 50.0f, armed, chance, drive};
#endif

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);
int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    size_t piece = LINE;

    if (board.write == NULL) {
        dc_join(&board);
        board.board = "fuzzed";
        board.write = hear;
        board.micros = micros;
        board.boots = 1;
#ifdef DC_LINK_DUMMY_LOADS
        board.channels = &measured;
        board.firing = &firing;
#endif
    }
    told.lists++;
    at = bytes;
    end = bytes + (size < LONGEST ? size : LONGEST);
    sends = 0;
    anything = 0;
    clock_us = 0;
    key = 1;
    boot();
    while (at < end) {
        uint8_t what = (uint8_t)take(1) & 7;
        if (what <= 3) {
            send_request(what, piece);
        } else if (what == 4) {
            size_t count = take(1);
            if (count > (size_t)(end - at))
                count = (size_t)(end - at);
            anything = 1;
            deliver(at, count, piece);
            at += count;
        } else if (what == 5) {
            uint32_t time = take(2);
            clock_us += (time & 0x7fff) * 1000u;
            if (time >> 15) {
                key = !key;
                permit_over();
            }
            permit_watched();
            dc_link_watch(&client);
            off_without_permit();
        } else if (what == 6) {
            boot();
        } else {
            piece = take(1) % 64 + 1;
        }
    }
    in_step_again();
    return 0;
}

#ifdef LISTED
int main(void)
{
    static uint8_t bytes[LONGEST];
    uint8_t length[4];

    while (fread(length, 1, 4, stdin) == 4) {
        size_t count = little(length);
        hold(count <= LONGEST && fread(bytes, 1, count, stdin) == count, "the list");
        LLVMFuzzerTestOneInput(bytes, count);
    }
    printf("lists %lu good %lu damaged %lu requests %lu repeated %lu refused %lu ticks %lu "
           "strangers %lu switched %lu\n",
           told.lists, told.good, told.damaged, told.requests, told.repeated, told.refused,
           told.ticks, told.strangers, switched_on);
    return 0;
}
#endif
