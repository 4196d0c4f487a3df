/* All that the kit's logic remembers, for a test that holds it against another executor. */

#ifndef KIT_MEMORY_H
#define KIT_MEMORY_H

#include "dc_core.h"

/* Everything remembered, each at its place of the layout: DC_HEAD_SIZE numbers. */
void kit_memory(const dc_sequence *s, double *image);

#endif
