/* The board of an exported sequence, whichever it is: build with -DSEQUENCE=NAME -DDC_NAMES. One
   file of an image includes this; it holds the memory of the logic. */

#ifndef DC_EXPORTED_H
#define DC_EXPORTED_H

#include "dc_link.h"

#define JOINED(name, rest) name##rest
#define OF(name, rest) JOINED(name, rest)
#define TEXT(x) #x
#define HEADER(name) TEXT(name##_tables.h)
#define INCLUDED(name) HEADER(name)
#define WORD(name) TEXT(name)
#define NAME_OF(name) WORD(name)
#include INCLUDED(SEQUENCE)

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

/* All but what the board itself is and does: its name, boots, write and micros. */
static void dc_exported(dc_board *board)
{
    static OF(SEQUENCE, _memory) memory;
    static dc_real values[COUNT(OF(SEQUENCE, _input_names))];
    static uint8_t fresh[COUNT(OF(SEQUENCE, _input_names))];
    static uint8_t retained[COUNT(memory.values)];

    board->build = "exported " NAME_OF(SEQUENCE);
    board->sequence = OF(SEQUENCE, _sha256);
    board->inputs.names = OF(SEQUENCE, _input_names);
    board->inputs.count = COUNT(OF(SEQUENCE, _input_names));
    board->states.names = OF(SEQUENCE, _state_names);
    board->states.count = COUNT(OF(SEQUENCE, _state_names));
    board->functions.names = OF(SEQUENCE, _function_names);
    board->functions.count = COUNT(OF(SEQUENCE, _function_names));
    board->logic = OF(SEQUENCE, _init)(&memory);
    board->values = values;
    board->fresh = fresh;
    board->retained = retained;
}

#endif
