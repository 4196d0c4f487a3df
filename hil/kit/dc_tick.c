/* One tick: inputs, estimates, exits, a change of state, outputs (docs/semantics.md). */

#include "dc_core.h"

static void report(dc_sequence *s, uint8_t kind, dc_code about, dc_code detail)
{
    dc_event *event;
    size_t at;

    if (s->waiting == s->room) {
        s->lost++;
        return;
    }
    at = s->first + s->waiting;
    if (at >= s->room)
        at -= s->room;
    s->waiting++;
    event = s->events + at;
    event->clock = s->clock;
    event->about = about;
    event->detail = detail;
    event->kind = kind;
}

static size_t flag_cell(const dc_sequence *s, size_t flag)
{
    return dc_cell_index(dc_size_at(s, DC_HEAD_M_FLAGS)) + flag;
}

/* Flags change at once, everything else waits in the queue. */
static void command(dc_sequence *s, size_t entry)
{
    size_t at = dc_size_at(s, entry), count = dc_size_at(s, entry + 1), i;

    for (i = 0; i < count; i++, at += DC_COMMAND_WIDTH) {
        dc_code kind = dc_code_at(s, at), flag = dc_code_at(s, at + 1);
        dc_real *value, wanted;
        if (kind != DC_COMMAND_SET && kind != DC_COMMAND_CLEAR) {
            s->queue[s->queued] = at;
            s->queued++;
            continue;
        }
        value = s->values + flag_cell(s, dc_size(flag));
        wanted = kind == DC_COMMAND_SET ? DC_REAL(1.0) : DC_REAL(0.0);
        if (*value != wanted) {
            *value = wanted;
            report(s, kind == DC_COMMAND_SET ? DC_EVENT_SET : DC_EVENT_CLEARED, flag, DC_NONE);
        }
    }
}

/* Step 1: a refreshed value replaces the last one; one that is no number is bad. */
static void sample(dc_sequence *s, const dc_real *values, const uint8_t *fresh)
{
    size_t row = dc_size_at(s, DC_HEAD_INPUTS_AT), count = dc_size_at(s, DC_HEAD_INPUTS), i;

    for (i = 0; i < count; i++, row += DC_INPUT_WIDTH) {
        size_t cell = dc_cell_index(dc_size_at(s, row));
        dc_real value;
        if (!fresh[i])
            continue;
        value = values[i];
        s->bad[cell] = (uint8_t)!dc_finite(value);
        if (s->bad[cell]) {
            s->values[cell] = 0;
            continue;
        }
        if (dc_code_at(s, row + 1) != 0)
            value = value != 0 ? DC_REAL(1.0) : DC_REAL(0.0);
        s->heard[i] = s->clock;
        s->values[cell] = value;
    }
}

static void keep(dc_sequence *s, size_t cell, const dc_cell *found)
{
    s->values[cell] = found->bad ? DC_REAL(0.0) : found->value;
    s->bad[cell] = found->bad;
}

/* Step 2: every estimate in its order; a gated one only if its input was refreshed. */
static void estimate(dc_sequence *s, const uint8_t *fresh)
{
    size_t row = dc_size_at(s, DC_HEAD_ESTIMATES_AT), count = dc_size_at(s, DC_HEAD_ESTIMATES), i;
    dc_cell found;

    for (i = 0; i < count; i++, row += DC_ESTIMATE_WIDTH) {
        dc_code gate = dc_code_at(s, row + DC_ESTIMATE_GATE);
        if (gate != DC_NONE && !fresh[gate])
            continue;
        dc_estimate(s, row, &found);
        keep(s, dc_cell_index(dc_size_at(s, row + DC_ESTIMATE_PLACE)), &found);
    }
}

static size_t state_row(const dc_sequence *s, dc_code state)
{
    return dc_size_at(s, DC_HEAD_STATES_AT) + dc_size(state) * DC_STATE_WIDTH;
}

static size_t exit_row(const dc_sequence *s, size_t way)
{
    return dc_size_at(s, DC_HEAD_EXITS_AT) + way * DC_EXIT_WIDTH;
}

/* Step 3: update the counters of all exits of the state; the exit that fires, or DC_NONE. */
static dc_code count_exits(dc_sequence *s, const uint8_t *fresh)
{
    size_t state = state_row(s, s->state), ways = dc_size_at(s, state + DC_STATE_EXITS), i;
    size_t count = dc_size_at(s, state + DC_STATE_EXIT_COUNT);
    dc_code fires = DC_NONE;

    for (i = 0; i < count; i++) {
        dc_code way = dc_code_at(s, ways + i);
        size_t row = exit_row(s, dc_size(way));
        dc_code gate = dc_code_at(s, row + DC_EXIT_FRESH);
        dc_count *hold = s->holds + way, needed = (dc_count)dc_code_at(s, row + DC_EXIT_NEEDED);
        int yes;
        if (gate != DC_NONE && !fresh[gate])
            continue;
        yes = dc_holds(s, row + DC_EXIT_CONDITION);
        if (gate != DC_NONE && dc_is_bad(s, dc_size_at(s, row + DC_EXIT_FRESH_PLACE)))
            yes = 0;
        if (!yes) {
            *hold = 0;
            continue;
        }
        if (*hold < needed)
            *hold = (dc_count)(*hold + 1u);
        if (fires == DC_NONE && *hold == needed)
            fires = way;
    }
    return fires;
}

static int runs(const dc_sequence *s, size_t state, dc_code loop)
{
    size_t loops = dc_size_at(s, state + DC_STATE_LOOPS), i;
    size_t count = dc_size_at(s, state + DC_STATE_LOOP_COUNT);

    for (i = 0; i < count; i++)
        if (dc_code_at(s, loops + i) == loop)
            return 1;
    return 0;
}

/* Step 4: leave, do, enter. */
static void change(dc_sequence *s, dc_code way)
{
    size_t row = exit_row(s, dc_size(way)), old = state_row(s, s->state), next, at, count, i;
    dc_code to = dc_code_at(s, row + DC_EXIT_TO);

    report(s, DC_EVENT_TOOK, way, DC_NONE);
    at = dc_size_at(s, old + DC_STATE_EXITS);
    count = dc_size_at(s, old + DC_STATE_EXIT_COUNT);
    for (i = 0; i < count; i++) {
        size_t other = dc_size_at(s, at + i), other_row = exit_row(s, other);
        size_t lists = dc_size_at(s, other_row + DC_EXIT_LISTS);
        /* a common exit's counter lives on where the new state lists it */
        if (dc_code_at(s, other_row + DC_EXIT_COMMON) == 0 ||
            dc_code_at(s, lists + dc_size(to)) == 0)
            s->holds[other] = 0;
    }
    s->holds[way] = 0;
    command(s, old + DC_STATE_LEAVE);
    command(s, row + DC_EXIT_ACTIONS);
    next = state_row(s, to);
    at = dc_size_at(s, next + DC_STATE_LOOPS);
    count = dc_size_at(s, next + DC_STATE_LOOP_COUNT);
    for (i = 0; i < count; i++) {
        dc_code loop = dc_code_at(s, at + i);
        if (!runs(s, old, loop)) {
            s->loops[loop].i_y = 0;
            s->loops[loop].i_z = 0;
        }
    }
    s->state = to;
    s->values[0] = 0; /* time in state */
    s->entered = s->clock;
    report(s, DC_EVENT_ENTERED, to, DC_NONE);
    command(s, next + DC_STATE_ENTRY);
}

/* The first inhibit in place of the function at `row`, or DC_NONE. One that cannot be told counts
   as in place, for a parachute as removed. */
static dc_code blocking(const dc_sequence *s, size_t row)
{
    size_t at = dc_size_at(s, row + DC_PULSE_INHIBITS), i;
    size_t count = dc_size_at(s, row + DC_PULSE_INHIBIT_COUNT);
    dc_cell found;

    for (i = 0; i < count; i++) {
        dc_code inhibit = dc_code_at(s, at + i);
        size_t entry = dc_size_at(s, DC_HEAD_INHIBITS_AT) + dc_size(inhibit);
        dc_evaluate(s, dc_size_at(s, entry), &found);
        if (found.bad ? dc_code_at(s, row + DC_PULSE_PARACHUTE) == 0 : found.value != 0)
            return inhibit;
    }
    return DC_NONE;
}

static size_t pulse_row(const dc_sequence *s, size_t pulse)
{
    return dc_size_at(s, DC_HEAD_PULSES_AT) + pulse * DC_PULSE_WIDTH;
}

static size_t servo_row(const dc_sequence *s, size_t servo)
{
    return dc_size_at(s, DC_HEAD_SERVOS_AT) + servo * DC_SERVO_WIDTH;
}

static void fire(dc_sequence *s, dc_code pulse)
{
    size_t row = pulse_row(s, dc_size(pulse));
    uint32_t ticks = (uint32_t)dc_code_at(s, row + DC_PULSE_TICKS);
    dc_code inhibit;

    if (s->until[pulse] != 0) {
        report(s, DC_EVENT_IGNORED, pulse, DC_NONE);
        return;
    }
    inhibit = blocking(s, row);
    if (inhibit != DC_NONE) {
        report(s, DC_EVENT_BLOCKED, pulse, inhibit);
        return;
    }
    s->until[pulse] = s->clock + ticks;
    report(s, DC_EVENT_FIRED, pulse, DC_NONE);
}

static void move(dc_sequence *s, dc_code servo, dc_code number)
{
    dc_code inhibit = blocking(s, servo_row(s, dc_size(servo)));

    if (inhibit != DC_NONE) {
        report(s, DC_EVENT_MOVE_BLOCKED, servo, inhibit);
        return;
    }
    s->demands[servo] = dc_number_at(s, dc_size(number));
    report(s, DC_EVENT_MOVED, servo, dc_code_at(s, s->tables->positions + dc_size(number)));
}

static void cut(dc_sequence *s, dc_code pulse, dc_code inhibit)
{
    s->until[pulse] = 0;
    report(s, DC_EVENT_CUT, pulse, inhibit);
}

static int moved_later(const dc_sequence *s, size_t i, dc_code servo)
{
    for (i++; i < s->queued; i++)
        if (dc_code_at(s, s->queue[i]) == DC_COMMAND_MOVE &&
            dc_code_at(s, s->queue[i] + 1) == servo)
            return 1;
    return 0;
}

/* The queued commands in their order; of several moves of one servo only the last. */
static void carry_out(dc_sequence *s)
{
    size_t pulses = dc_size_at(s, DC_HEAD_PULSES), i;

    for (i = 0; i < pulses; i++)
        s->commanded[i] = 0;
    for (i = 0; i < s->queued; i++) {
        size_t row = s->queue[i];
        dc_code kind = dc_code_at(s, row), about = dc_code_at(s, row + 1);
        if (kind == DC_COMMAND_MOVE) {
            if (!moved_later(s, i, about))
                move(s, about, dc_code_at(s, row + 2));
        } else if (kind == DC_COMMAND_CUT) {
            s->commanded[about] = 0;
            if (s->until[about] != 0)
                cut(s, about, DC_NONE);
        } else if (!s->commanded[about]) {
            s->commanded[about] = 1;
            fire(s, about);
        }
    }
}

/* Servos take a loop's demands of this tick unless an inhibit holds them. */
static void follow(dc_sequence *s, size_t loop)
{
    const dc_loop *memory = s->loops + loop;
    size_t row = dc_size_at(s, DC_HEAD_LOOPS_AT) + loop * DC_LOOP_WIDTH;
    int z = dc_code_at(s, row + DC_LOOP_FIRST_IS_Z) != 0;
    uint8_t i;

    if (!memory->asked)
        return;
    for (i = 0; i < 2; i++, z = !z) {
        size_t servo = dc_size_at(s, row + DC_LOOP_FIRST_SERVO + i);
        if (blocking(s, servo_row(s, servo)) == DC_NONE)
            s->demands[servo] = z ? memory->z : memory->y;
    }
}

/* Step 5: loops of the state, pulses, then the queued commands. */
static void act(dc_sequence *s)
{
    size_t state = state_row(s, s->state), loops = dc_size_at(s, state + DC_STATE_LOOPS), i;
    size_t running = dc_size_at(s, state + DC_STATE_LOOP_COUNT);
    size_t pulses = dc_size_at(s, DC_HEAD_PULSES);

    for (i = 0; i < running; i++)
        dc_ask_loop(s, dc_size_at(s, loops + i));
    for (i = 0; i < pulses; i++)
        if (s->until[i] != 0 && s->until[i] <= s->clock) {
            s->until[i] = 0;
            report(s, DC_EVENT_ENDED, (dc_code)i, DC_NONE);
        }
    for (i = 0; i < pulses; i++)
        if (s->until[i] != 0) {
            dc_code inhibit = blocking(s, pulse_row(s, i));
            if (inhibit != DC_NONE)
                cut(s, (dc_code)i, inhibit);
        }
    for (i = 0; i < running; i++)
        follow(s, dc_size_at(s, loops + i));
    if (s->queued > 0)
        carry_out(s);
}

void dc_tick(dc_sequence *s, uint32_t clock, const dc_real *values, const uint8_t *fresh)
{
    dc_code way;

    s->queued = 0;
    s->clock = clock;
    if (!s->started) {
        s->started = 1;
        s->entered = clock;
        report(s, DC_EVENT_ENTERED, s->state, DC_NONE);
        command(s, state_row(s, s->state) + DC_STATE_ENTRY);
    }
    s->values[0] = (dc_real)(clock - s->entered) / (dc_real)dc_code_at(s, DC_HEAD_RATE_HZ);
    sample(s, values, fresh);
    estimate(s, fresh);
    way = count_exits(s, fresh);
    if (way != DC_NONE)
        change(s, way);
    act(s);
}

static uint8_t flag_at_boot(const dc_sequence *s, size_t flag, const uint8_t *retained)
{
    dc_code declared = dc_code_at(s, s->tables->flags + flag);

    if (retained != NULL && (declared & DC_FLAG_RETAINED) != 0)
        return (uint8_t)(retained[flag] != 0);
    return (uint8_t)((declared & DC_FLAG_INITIAL) != 0);
}

void dc_boot(dc_sequence *s, const uint8_t *retained)
{
    size_t count, row, i;
    dc_cell cell;

    s->state = dc_code_at(s, DC_HEAD_START);
    s->clock = 0;
    s->entered = 0;
    s->started = 0;
    s->queued = 0;
    s->first = 0;
    s->waiting = 0;
    s->lost = 0;
    s->values[0] = 0;
    s->bad[0] = 0;
    count = dc_size_at(s, DC_HEAD_INPUTS);
    for (i = 0; i < count; i++) {
        s->heard[i] = 0;
        s->values[1 + i] = 0; /* they come after time in state */
        s->bad[1 + i] = 1;
    }
    row = dc_size_at(s, DC_HEAD_ESTIMATES_AT);
    count = dc_size_at(s, DC_HEAD_ESTIMATES);
    for (i = 0; i < count; i++, row += DC_ESTIMATE_WIDTH) {
        dc_start_estimate(s, row, &cell);
        keep(s, dc_cell_index(dc_size_at(s, row + DC_ESTIMATE_PLACE)), &cell);
    }
    count = dc_size_at(s, DC_HEAD_FLAGS);
    for (i = 0; i < count; i++) {
        dc_truth(&cell, flag_at_boot(s, i, retained));
        keep(s, flag_cell(s, i), &cell);
    }
    count = dc_size_at(s, DC_HEAD_EXITS);
    for (i = 0; i < count; i++)
        s->holds[i] = 0;
    count = dc_size_at(s, DC_HEAD_LOOPS);
    for (i = 0; i < count; i++) {
        s->loops[i].i_y = 0;
        s->loops[i].i_z = 0;
        s->loops[i].asked = 0;
    }
    count = dc_size_at(s, DC_HEAD_PULSES);
    for (i = 0; i < count; i++)
        s->until[i] = 0;
    count = dc_size_at(s, DC_HEAD_SERVOS);
    for (i = 0; i < count; i++)
        s->demands[i] = dc_number_at(s, s->tables->starts + i);
}
