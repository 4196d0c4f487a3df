/* SHA-256 of the flight.sequence.toml that this firmware was written for, as `drycount` tells it.
   The host refuses a firmware that was written for another. After a change of the file: read what
   changed, change the firmware, fly all scenarios against the model, and only then write the
   new one here. It is no matter for a build script, which would say yes to any change. */

#ifndef WRITTEN_FOR_H
#define WRITTEN_FOR_H

#define WRITTEN_FOR \
    0xe5, 0xd4, 0xe5, 0xe8, 0xf1, 0x18, 0xb3, 0xbd, 0xae, 0x6f, 0x0f, 0x86, 0x17, 0x4a, 0x97, 0x11, \
    0x3a, 0x94, 0x82, 0x61, 0x4a, 0xfa, 0x14, 0x26, 0xd5, 0x2a, 0xa7, 0x8b, 0xc6, 0x2c, 0xba, 0x1d

#endif
