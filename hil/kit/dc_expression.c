/* Expressions: numbers that may have no value, truths that may be unknown (Kleene). */

#include "dc_core.h"

dc_cell dc_cell_at(const dc_sequence *s, size_t place)
{
    size_t constants = dc_size_at(s, DC_HEAD_M_CONSTANTS), index;
    dc_cell cell;

    if (place >= constants)
        return dc_good(
            dc_number_at(s, s->tables->constants + (place - constants) / DC_CELL_WIDTH));
    index = dc_cell_index(place);
    cell.value = s->values[index];
    cell.bad = s->bad[index];
    return cell;
}

static dc_cell unary(dc_code op, dc_cell a)
{
    if (a.bad)
        return a;
    switch (op) {
    case DC_OP_NEGATE:
        return dc_good(-a.value);
    case DC_OP_NOT:
        return dc_good(1 - a.value);
    case DC_OP_ABS: /* of -0.0 too */
        return dc_good(a.value <= 0 ? 0 - a.value : a.value);
    default:
        return a.value < 0 ? dc_no_value() : dc_good(dc_root(a.value));
    }
}

static int is_false(dc_cell a) { return !a.bad && a.value == 0; }
static int is_true(dc_cell a) { return !a.bad && a.value != 0; }

static dc_cell both(dc_cell a, dc_cell b)
{
    if (is_false(a) || is_false(b))
        return dc_truth(0);
    return a.bad || b.bad ? dc_no_value() : dc_truth(1);
}

static dc_cell either(dc_cell a, dc_cell b)
{
    if (is_true(a) || is_true(b))
        return dc_truth(1);
    return a.bad || b.bad ? dc_no_value() : dc_truth(0);
}

static dc_cell inverse(dc_cell a)
{
    a.value = 1 - a.value;
    return a;
}

static dc_cell binary(dc_code op, dc_cell a, dc_cell b)
{
    dc_real x = a.value, y = b.value;

    switch (op) {
    case DC_OP_AND:
        return both(a, b);
    case DC_OP_AND_NOT:
        return both(a, inverse(b));
    case DC_OP_OR:
        return either(a, b);
    case DC_OP_OR_NOT:
        return either(a, inverse(b));
    default:
        break;
    }
    if (a.bad || b.bad)
        return dc_no_value();
    switch (op) {
    case DC_OP_LESS:
        return dc_truth(x < y);
    case DC_OP_LESS_EQUAL:
        return dc_truth(x <= y);
    case DC_OP_GREATER:
        return dc_truth(x > y);
    case DC_OP_GREATER_EQUAL:
        return dc_truth(x >= y);
    case DC_OP_EQUAL:
        return dc_truth(x == y);
    case DC_OP_NOT_EQUAL:
        return dc_truth(x != y);
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
        if (y == 0)
            return dc_no_value();
        x = x / y;
        break;
    case DC_OP_MIN:
        x = dc_smaller(x, y);
        break;
    default:
        x = dc_larger(x, y);
        break;
    }
    return dc_finite(x) ? dc_good(x) : dc_no_value();
}

dc_cell dc_evaluate(const dc_sequence *s, size_t at)
{
    size_t step = at + 1, end = step + dc_size_at(s, at);
    dc_cell *saved = s->saved;
    dc_cell now = dc_no_value();

    while (step < end) {
        dc_code op = dc_code_at(s, step), place = dc_code_at(s, step + 1);
        step += 2;
        if (op >= DC_OP_ADD) {
            if (place == DC_NONE) {
                saved--;
                now = binary(op, *saved, now);
            } else {
                now = binary(op, now, dc_cell_at(s, dc_size(place)));
            }
            continue;
        }
        if (op == DC_OP_SAVE_AND_TAKE || op == DC_OP_SAVE) {
            *saved = now;
            saved++;
        }
        if (op == DC_OP_TAKE || op == DC_OP_SAVE_AND_TAKE) {
            now = dc_cell_at(s, dc_size(place));
        } else if (op == DC_OP_IN_STATE) {
            now = dc_truth(dc_code_at(s, step + dc_size(s->state)) != 0);
            step += dc_size(place);
        } else if (op != DC_OP_SAVE) {
            now = unary(op, now);
        }
    }
    return now;
}

int dc_holds(const dc_sequence *s, size_t entry)
{
    dc_code at = dc_code_at(s, entry);
    return at != DC_NONE && is_true(dc_evaluate(s, dc_size(at)));
}
