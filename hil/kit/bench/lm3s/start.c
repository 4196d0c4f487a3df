/* From reset to main on a Cortex-M3: vectors, memory, and nothing else. Bench image only. */

#include <stdint.h>

extern uint32_t image_stack_top, image_data_from, image_data, image_data_end, image_bss,
    image_bss_end;

int main(void);
void on_reset(void);
void on_fault(void);
void on_clock(void);
void on_uart(void);

#define COPROCESSORS (*(volatile uint32_t *)0xe000ed88u)

typedef union {
    void (*handler)(void);
    const void *stack;
} vector;

/* The first word is where the stack begins; exceptions are 1 to 15, interrupts from 16 on. */
const vector vectors[64] __attribute__((section(".vectors"), used)) = {
    [0] = {.stack = &image_stack_top},
    [1] = {.handler = on_reset},
    [2] = {.handler = on_fault},
    [3] = {.handler = on_fault},
    [4] = {.handler = on_fault},
    [5] = {.handler = on_fault},
    [6] = {.handler = on_fault},
    [15] = {.handler = on_clock},
    [16 + 5] = {.handler = on_uart},
};

void on_reset(void)
{
    /* volatile: else a compiler makes calls of a library out of these loops */
    volatile uint32_t *to;
    const volatile uint32_t *from = &image_data_from;

    for (to = &image_data; to < &image_data_end; to++)
        *to = *from++;
    for (to = &image_bss; to < &image_bss_end; to++)
        *to = 0;
#if defined(__ARM_FP)
    COPROCESSORS |= 0xfu << 20; /* the floating-point unit is off at reset */
    __asm volatile("dsb\n\tisb" ::: "memory");
#endif
    (void)main();
    on_fault();
}

/* A board that went wrong is silent. */
void on_fault(void)
{
    for (;;) {
    }
}
