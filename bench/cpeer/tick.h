/* The five steps of a tick (docs/semantics.md): sequencer/execute/interpret.py by hand in C99. */

#ifndef TICK_H
#define TICK_H

#include "logic.h"

static void report(const Logic *l, int64_t kind, int64_t about, int64_t detail)
{
    int64_t *row = l->events + 3 * ++l->events[0];
    row[0] = kind;
    row[1] = about;
    row[2] = detail;
}

static void command(const Logic *l, int64_t at, int64_t count)
{
    for (int64_t i = 0; i < count; i++, at += COMMAND_WIDTH) {
        int64_t kind = l->code[at], flag = l->code[at + 1];
        if (kind != COMMAND_SET && kind != COMMAND_CLEAR) {
            l->queue[++l->queue[0]] = at;
            continue;
        }
        double *place = l->memory + l->code[HEAD_M_FLAGS] + CELL_WIDTH * flag;
        double value = kind == COMMAND_SET ? 1.0 : 0.0;
        if (*place != value) {
            *place = value;
            report(l, kind == COMMAND_SET ? EVENT_SET : EVENT_CLEARED, flag, NONE);
        }
    }
}

static void sample(const Logic *l, const double *values, const uint8_t *fresh)
{
    const int64_t *row = l->code + l->code[HEAD_INPUTS_AT];
    for (int64_t i = 0; i < l->code[HEAD_INPUTS]; i++, row += INPUT_WIDTH) {
        if (!fresh[i])
            continue;
        double *cell = l->memory + row[0], value = values[i];
        if (finite_(value)) {
            l->memory[l->code[HEAD_M_HEARD] + i] = l->memory[CLOCK];
            cell[0] = row[1] != 0 ? (value != 0.0 ? 1.0 : 0.0) : value;
            cell[1] = 0.0;
        } else {
            cell[0] = 0.0;
            cell[1] = 1.0;
        }
    }
}

static void estimate_all(const Logic *l, const uint8_t *fresh)
{
    const int64_t *row = l->code + l->code[HEAD_ESTIMATES_AT];
    for (int64_t i = 0; i < l->code[HEAD_ESTIMATES]; i++, row += ESTIMATE_WIDTH) {
        int64_t gate = row[ESTIMATE_GATE];
        if (gate != NONE && !fresh[gate])
            continue;
        Cell found = estimate(l, row);
        double *cell = l->memory + row[ESTIMATE_PLACE];
        cell[0] = found.bad ? 0.0 : found.value;
        cell[1] = found.bad ? 1.0 : 0.0;
    }
}

static inline const int64_t *exit_row(const Logic *l, int64_t way)
{
    return l->code + l->code[HEAD_EXITS_AT] + way * EXIT_WIDTH;
}

static int64_t count_exits(const Logic *l, const uint8_t *fresh, const int64_t *state)
{
    int64_t fires = NONE;
    const int64_t *ways = l->code + state[STATE_EXITS];
    for (int64_t i = 0; i < state[STATE_EXIT_COUNT]; i++) {
        const int64_t *row = exit_row(l, ways[i]);
        double *hold = l->memory + l->code[HEAD_M_HOLDS] + ways[i];
        int64_t gate = row[EXIT_FRESH];
        if (gate != NONE && !fresh[gate])
            continue;
        bool yes = holds(l, row[EXIT_CONDITION]);
        if (gate != NONE && cell_at(l, row[EXIT_FRESH_PLACE]).bad)
            yes = false;
        if (!yes) {
            *hold = 0.0;
            continue;
        }
        double needed = (double)row[EXIT_NEEDED];
        if (*hold < needed)
            *hold += 1.0;
        if (fires == NONE && *hold == needed)
            fires = ways[i];
    }
    return fires;
}

static bool among(const int64_t *list, int64_t count, int64_t wanted)
{
    for (int64_t i = 0; i < count; i++)
        if (list[i] == wanted)
            return true;
    return false;
}

static void change(const Logic *l, const int64_t *state, int64_t way)
{
    const int64_t *row = exit_row(l, way), *ways = l->code + state[STATE_EXITS];
    double *hold = l->memory + l->code[HEAD_M_HOLDS];
    int64_t to = row[EXIT_TO];
    report(l, EVENT_TOOK, way, NONE);
    for (int64_t i = 0; i < state[STATE_EXIT_COUNT]; i++) {
        const int64_t *other = exit_row(l, ways[i]);
        if (other[EXIT_COMMON] == 0 || l->code[other[EXIT_LISTS] + to] == 0)
            hold[ways[i]] = 0.0;
    }
    hold[way] = 0.0;
    command(l, state[STATE_LEAVE], state[STATE_LEAVE_COUNT]);
    command(l, row[EXIT_ACTIONS], row[EXIT_ACTION_COUNT]);
    const int64_t *next = l->code + l->code[HEAD_STATES_AT] + to * STATE_WIDTH;
    for (int64_t i = 0; i < next[STATE_LOOP_COUNT]; i++) {
        int64_t loop = l->code[next[STATE_LOOPS] + i];
        if (!among(l->code + state[STATE_LOOPS], state[STATE_LOOP_COUNT], loop)) {
            int64_t row_at = l->code[HEAD_LOOPS_AT] + loop * LOOP_WIDTH;
            double *registers = l->memory + l->code[row_at + LOOP_REGISTERS];
            registers[0] = registers[1] = 0.0;
        }
    }
    l->memory[STATE] = (double)to;
    l->memory[l->code[HEAD_M_CELLS]] = 0.0;
    l->memory[ENTERED] = l->memory[CLOCK];
    report(l, EVENT_ENTERED, to, NONE);
    command(l, next[STATE_ENTRY], next[STATE_ENTRY_COUNT]);
}

static int64_t blocking(const Logic *l, const int64_t *row)
{
    for (int64_t i = 0; i < row[PULSE_INHIBIT_COUNT]; i++) {
        int64_t inhibit = l->code[row[PULSE_INHIBITS] + i];
        Cell found = evaluate(l, l->code[l->code[HEAD_INHIBITS_AT] + inhibit]);
        if (found.bad ? row[PULSE_PARACHUTE] == 0 : found.value != 0.0)
            return inhibit;
    }
    return NONE;
}

static inline const int64_t *pulse_row(const Logic *l, int64_t head, int64_t index)
{
    return l->code + l->code[head] + index * PULSE_WIDTH;
}

static void fire(const Logic *l, int64_t pulse)
{
    const int64_t *row = pulse_row(l, HEAD_PULSES_AT, pulse);
    double *until = l->memory + l->code[HEAD_M_UNTIL] + pulse;
    if (*until != 0.0) {
        report(l, EVENT_IGNORED, pulse, NONE);
        return;
    }
    int64_t inhibit = blocking(l, row);
    if (inhibit != NONE) {
        report(l, EVENT_BLOCKED, pulse, inhibit);
        return;
    }
    *until = l->memory[CLOCK] + (double)row[PULSE_TICKS];
    report(l, EVENT_FIRED, pulse, NONE);
}

static void move(const Logic *l, int64_t servo, int64_t number)
{
    int64_t inhibit = blocking(l, pulse_row(l, HEAD_SERVOS_AT, servo));
    if (inhibit != NONE) {
        report(l, EVENT_MOVE_BLOCKED, servo, inhibit);
        return;
    }
    l->memory[l->code[HEAD_M_DEMAND] + servo] = l->numbers[number];
    report(l, EVENT_MOVED, servo, number);
}

static bool moved_later(const Logic *l, int64_t i, int64_t servo)
{
    for (int64_t j = i + 1; j <= l->queue[0]; j++)
        if (l->code[l->queue[j]] == COMMAND_MOVE && l->code[l->queue[j] + 1] == servo)
            return true;
    return false;
}

static void carry_out(const Logic *l)
{
    double *commanded = l->memory + l->code[HEAD_M_COMMANDED];
    double *until = l->memory + l->code[HEAD_M_UNTIL];
    for (int64_t pulse = 0; pulse < l->code[HEAD_PULSES]; pulse++)
        commanded[pulse] = 0.0;
    for (int64_t i = 1; i <= l->queue[0]; i++) {
        const int64_t *row = l->code + l->queue[i];
        int64_t about = row[1];
        if (row[0] == COMMAND_MOVE) {
            if (!moved_later(l, i, about))
                move(l, about, row[2]);
        } else if (row[0] == COMMAND_CUT) {
            commanded[about] = 0.0;
            if (until[about] != 0.0) {
                until[about] = 0.0;
                report(l, EVENT_CUT, about, NONE);
            }
        } else if (commanded[about] == 0.0) {
            commanded[about] = 1.0;
            fire(l, about);
        }
    }
}

static void follow(const Logic *l, int64_t loop)
{
    const double *asked = l->memory + l->code[HEAD_M_ASKED] + 3 * loop;
    if (asked[2] == 0.0)
        return;
    const int64_t *row = l->code + l->code[HEAD_LOOPS_AT] + loop * LOOP_WIDTH;
    for (int64_t i = 0; i < 2; i++) {
        int64_t servo = row[LOOP_FIRST_SERVO + i];
        bool z = (row[LOOP_FIRST_IS_Z] != 0) == (i == 0);
        if (blocking(l, pulse_row(l, HEAD_SERVOS_AT, servo)) == NONE)
            l->memory[l->code[HEAD_M_DEMAND] + servo] = z ? asked[1] : asked[0];
    }
}

static void act_on_outputs(const Logic *l)
{
    int64_t now = (int64_t)l->memory[STATE];
    const int64_t *state = l->code + l->code[HEAD_STATES_AT] + now * STATE_WIDTH;
    const int64_t *loops = l->code + state[STATE_LOOPS];
    double *until = l->memory + l->code[HEAD_M_UNTIL];
    int64_t pulses = l->code[HEAD_PULSES];
    for (int64_t i = 0; i < state[STATE_LOOP_COUNT]; i++)
        ask_loop(l, loops[i]);
    for (int64_t pulse = 0; pulse < pulses; pulse++)
        if (until[pulse] > 0.0 && until[pulse] <= l->memory[CLOCK]) {
            until[pulse] = 0.0;
            report(l, EVENT_ENDED, pulse, NONE);
        }
    for (int64_t pulse = 0; pulse < pulses; pulse++)
        if (until[pulse] != 0.0) {
            int64_t blocked = blocking(l, pulse_row(l, HEAD_PULSES_AT, pulse));
            if (blocked != NONE) {
                until[pulse] = 0.0;
                report(l, EVENT_CUT, pulse, blocked);
            }
        }
    for (int64_t i = 0; i < state[STATE_LOOP_COUNT]; i++)
        follow(l, loops[i]);
    if (l->queue[0] > 0)
        carry_out(l);
}

static void tick(const Logic *l, int64_t clock, const double *values, const uint8_t *fresh)
{
    double *m = l->memory;
    l->queue[0] = l->events[0] = 0;
    m[CLOCK] = (double)clock;
    const int64_t *state = l->code + l->code[HEAD_STATES_AT] + (int64_t)m[STATE] * STATE_WIDTH;
    if (m[STARTED] == 0.0) {
        m[STARTED] = 1.0;
        m[ENTERED] = (double)clock;
        report(l, EVENT_ENTERED, (int64_t)m[STATE], NONE);
        command(l, state[STATE_ENTRY], state[STATE_ENTRY_COUNT]);
    }
    m[l->code[HEAD_M_CELLS]] = ((double)clock - m[ENTERED]) / (double)l->code[HEAD_RATE_HZ];
    sample(l, values, fresh);
    estimate_all(l, fresh);
    int64_t way = count_exits(l, fresh, state);
    if (way != NONE)
        change(l, state, way);
    act_on_outputs(l);
}

#endif
