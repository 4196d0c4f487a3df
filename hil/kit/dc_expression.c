/* Expressions: numbers that may have no value, truths that may be unknown (Kleene). */

#include "dc_core.h"

void dc_cell_at(const dc_sequence *s, size_t place, dc_cell *cell)
{
    size_t constants = dc_size_at(s, DC_HEAD_M_CONSTANTS), index;

    if (place >= constants) {
        index = s->tables->constants + (place - constants) / DC_CELL_WIDTH;
        dc_good(cell, dc_number_at(s, index));
        return;
    }
    index = dc_cell_index(place);
    cell->value = s->values[index];
    cell->bad = s->bad[index];
}

int dc_is_bad(const dc_sequence *s, size_t place) { return s->bad[dc_cell_index(place)] != 0; }

static void unary(dc_code op, dc_cell *a)
{
    dc_real x = a->value;

    if (a->bad)
        return;
    switch (op) {
    case DC_OP_NEGATE:
        a->value = -x;
        break;
    case DC_OP_NOT:
        a->value = 1 - x;
        break;
    case DC_OP_ABS: /* of -0.0 too */
        a->value = x <= 0 ? 0 - x : x;
        break;
    default:
        if (x < 0)
            dc_no_value(a);
        else
            a->value = dc_root(x);
        break;
    }
}

/* A truth as a number: 0 false, 1 true, 2 unknown. */
static int truth(const dc_cell *a, int opposite)
{
    if (a->bad)
        return 2;
    return (a->value != 0) != opposite;
}

/* `deciding` is the truth of one side that is enough: false for "and", true for "or". */
static void join(dc_cell *a, int b, int deciding)
{
    int first = truth(a, 0);

    if (first == deciding || b == deciding)
        dc_truth(a, deciding);
    else if (first == 2 || b == 2)
        dc_no_value(a);
    else
        dc_truth(a, !deciding);
}

/* The result takes the place of the left side. */
static void binary(dc_code op, dc_cell *a, const dc_cell *b)
{
    dc_real x = a->value, y = b->value;

    if (op >= DC_OP_AND) {
        int opposite = op == DC_OP_AND_NOT || op == DC_OP_OR_NOT;
        join(a, truth(b, opposite), op == DC_OP_OR || op == DC_OP_OR_NOT);
        return;
    }
    if (a->bad || b->bad) {
        dc_no_value(a);
        return;
    }
    switch (op) {
    case DC_OP_LESS:
        dc_truth(a, x < y);
        return;
    case DC_OP_LESS_EQUAL:
        dc_truth(a, x <= y);
        return;
    case DC_OP_GREATER:
        dc_truth(a, x > y);
        return;
    case DC_OP_GREATER_EQUAL:
        dc_truth(a, x >= y);
        return;
    case DC_OP_EQUAL:
        dc_truth(a, x == y);
        return;
    case DC_OP_NOT_EQUAL:
        dc_truth(a, x != y);
        return;
    case DC_OP_ADD:
        x = x + y;
        break;
    case DC_OP_SUBTRACT:
        x = x - y;
        break;
    case DC_OP_MULTIPLY:
        x = x * y;
        break;
    case DC_OP_DIVIDE:
        if (y == 0) {
            dc_no_value(a);
            return;
        }
        x = x / y;
        break;
    case DC_OP_MIN:
        x = dc_smaller(x, y);
        break;
    default:
        x = dc_larger(x, y);
        break;
    }
    if (dc_finite(x))
        a->value = x;
    else
        dc_no_value(a);
}

void dc_evaluate(const dc_sequence *s, size_t at, dc_cell *now)
{
    size_t step = at + 1, end = step + dc_size_at(s, at);
    dc_cell *saved = s->saved;
    dc_cell other;

    dc_no_value(now);
    while (step < end) {
        dc_code op = dc_code_at(s, step), place = dc_code_at(s, step + 1);
        step += 2;
        if (op >= DC_OP_ADD) {
            if (place == DC_NONE) {
                saved--;
                binary(op, saved, now);
                now->value = saved->value;
                now->bad = saved->bad;
            } else {
                dc_cell_at(s, dc_size(place), &other);
                binary(op, now, &other);
            }
            continue;
        }
        if (op == DC_OP_SAVE_AND_TAKE || op == DC_OP_SAVE) {
            saved->value = now->value;
            saved->bad = now->bad;
            saved++;
        }
        if (op == DC_OP_TAKE || op == DC_OP_SAVE_AND_TAKE) {
            dc_cell_at(s, dc_size(place), now);
        } else if (op == DC_OP_IN_STATE) {
            dc_truth(now, dc_code_at(s, step + dc_size(s->state)) != 0);
            step += dc_size(place);
        } else if (op != DC_OP_SAVE) {
            unary(op, now);
        }
    }
}

int dc_holds(const dc_sequence *s, size_t entry)
{
    dc_code at = dc_code_at(s, entry);
    dc_cell found;

    if (at == DC_NONE)
        return 0;
    dc_evaluate(s, dc_size(at), &found);
    return truth(&found, 0) == 1;
}
