/* An exported sequence on an emulated board: a Cortex-M3 with one PL011 UART, as on the LM3S6965.
   `drycount fly --on core:IMAGE` and `--on qemu:IMAGE`; docs/targets.md tells how to build one.

   It drives no pin. A real board needs its own clocks and pins set up, and is another file. */

#ifdef SEQUENCE
#include "dc_exported.h"
#else /* logic that was written by hand, with a dc_join of its own */
#include "dc_link.h"
#endif

#define AT(address) (*(volatile uint32_t *)(address))
#define UART_DATA AT(0x4000c000u)
#define UART_FLAGS AT(0x4000c018u)
#define UART_NOTHING 0x10u /* received */
#define UART_FULL 0x40u    /* of bytes received */
#define UART_ALL_SENT 0x80u
#define UART_FIFO 16u
#define UART_LINE AT(0x4000c02cu)
#define UART_CONTROL AT(0x4000c030u)
#define UART_MASK AT(0x4000c038u)
#define UART_INTERRUPTS 0x50u /* received, or something waits in the FIFO */
#define CLOCK_CONTROL AT(0xe000e010u)
#define CLOCK_RELOAD AT(0xe000e014u)
#define INTERRUPTS_ON AT(0xe000e100u)

#define CLOCK_HZ 12500000u /* what the board comes up with */

int main(void);
void on_clock(void);
void on_uart(void);

static volatile uint32_t milliseconds;

void on_clock(void) { milliseconds++; }

/* Its only use is to end the wait; the bytes are fetched below. */
void on_uart(void) { UART_MASK = 0; }

static void write_bytes(void *context, const uint8_t *bytes, size_t count)
{
    size_t i;

    (void)context;
    for (i = 0; i < count; i++) {
        while (i % UART_FIFO == 0 && (UART_FLAGS & UART_ALL_SENT) == 0) {
        }
        UART_DATA = bytes[i];
    }
}

static uint32_t micros(void *context)
{
    (void)context;
    return milliseconds * 1000u;
}

/* Until a byte or the next millisecond comes. With interrupts held back none is missed between the
   look and the wait; one that is pending ends it. */
static void wait(void)
{
    __asm volatile("cpsid i" ::: "memory");
    UART_MASK = UART_INTERRUPTS;
    if ((UART_FLAGS & UART_NOTHING) != 0)
        __asm volatile("wfi" ::: "memory");
    __asm volatile("cpsie i" ::: "memory");
}

int main(void)
{
    static dc_link link_;
    static dc_board board;
    uint8_t bytes[UART_FIFO];
    uint32_t flags;
    size_t count, i;

    CLOCK_RELOAD = CLOCK_HZ / 1000u - 1u;
    CLOCK_CONTROL = 7; /* on, with an interrupt, from the core's clock */
    UART_LINE = 0x70;  /* 8 data bits, no parity, 1 stop bit, FIFO */
    UART_CONTROL = 0x301; /* on, both ways */
    INTERRUPTS_ON = 1u << 5;

    dc_join(&board);
    board.board = "lm3s";
    board.write = write_bytes;
    board.micros = micros;
    dc_link_start(&link_, &board);
    for (;;) {
        wait();
        dc_link_watch(&link_);
        while (((flags = UART_FLAGS) & UART_NOTHING) == 0) {
            count = (flags & UART_FULL) != 0 ? UART_FIFO : 1;
            for (i = 0; i < count; i++)
                bytes[i] = (uint8_t)(UART_DATA & 0xffu);
            dc_link_take(&link_, bytes, count);
        }
    }
}
