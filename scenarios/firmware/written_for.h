/* SHA-256 of the flight.sequence.toml that this firmware was written for, as `drycount` tells it.
   The host refuses a firmware that was written for another. After a change of the file: read what
   changed, change the firmware, fly all scenarios against the model, and only then write the
   new one here. It is no matter for a build script, which would say yes to any change. */

#ifndef WRITTEN_FOR_H
#define WRITTEN_FOR_H

#define WRITTEN_FOR \
    0x41, 0x9f, 0xfc, 0x92, 0x95, 0xcd, 0x90, 0x4b, 0x19, 0x31, 0x4c, 0x9f, 0xa2, 0x4f, 0x3f, 0x0b, \
    0xb5, 0x79, 0xd4, 0x84, 0x8f, 0x84, 0xdc, 0x52, 0x73, 0xbe, 0x61, 0x75, 0x62, 0x3a, 0xaa, 0xb2

#endif
