/* What the files of the logic share. Not for the board's code. */

#ifndef DC_CORE_H
#define DC_CORE_H

#include "dc_sequence.h"

static inline dc_code dc_code_at(const dc_sequence *s, size_t at)
{
#if !defined(__AVR__)
    return s->tables->code[at];
#elif DC_CODE_BITS == 16
    return (dc_code)pgm_read_word(&s->tables->code[at]);
#else
    return (dc_code)pgm_read_dword(&s->tables->code[at]);
#endif
}

/* What is known to be an offset, an index or a count. */
static inline size_t dc_size(dc_code entry) { return (size_t)entry; }

static inline size_t dc_size_at(const dc_sequence *s, size_t at)
{
    return dc_size(dc_code_at(s, at));
}

static inline dc_real dc_number_at(const dc_sequence *s, size_t at)
{
#if !defined(__AVR__)
    return s->tables->numbers[at];
#else
    return (dc_real)pgm_read_float(&s->tables->numbers[at]);
#endif
}

/* A place of the layout counts numbers; here a cell is one entry. */
static inline size_t dc_cell_index(size_t place)
{
    return (place - DC_FIRST_GROUP) / DC_CELL_WIDTH;
}

/* Cells go by address: to hand structures around by value some compilers call the library. */
static inline void dc_good(dc_cell *cell, dc_real value)
{
    cell->value = value;
    cell->bad = 0;
}

static inline void dc_no_value(dc_cell *cell)
{
    cell->value = 0;
    cell->bad = 1;
}

static inline void dc_truth(dc_cell *cell, int yes)
{
    dc_good(cell, yes ? DC_REAL(1.0) : DC_REAL(0.0));
}

static inline int dc_finite(dc_real x)
{
    dc_real nothing = x - x;
    return nothing == 0;
}

static inline dc_real dc_smaller(dc_real a, dc_real b) { return b < a ? b : a; }
static inline dc_real dc_larger(dc_real a, dc_real b) { return a < b ? b : a; }

/* dc_root.c */
dc_real dc_root(dc_real x); /* correctly rounded; x finite and not negative */

/* dc_expression.c */
void dc_cell_at(const dc_sequence *s, size_t place, dc_cell *cell);
int dc_is_bad(const dc_sequence *s, size_t place);
void dc_evaluate(const dc_sequence *s, size_t at, dc_cell *now);
/* Whether the expression is true whose offset stands at `entry`; unknown or none at all: no. */
int dc_holds(const dc_sequence *s, size_t entry);

/* dc_blocks.c */
void dc_estimate(dc_sequence *s, size_t row, dc_cell *found);
void dc_start_estimate(dc_sequence *s, size_t row, dc_cell *found);
void dc_ask_loop(dc_sequence *s, size_t loop);

#endif
