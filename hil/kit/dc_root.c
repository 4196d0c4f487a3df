/* A correctly rounded square root, digit by digit in whole numbers: the same on every machine.

   The significand m of x = m * 2^e, e even, is followed by as many zero bits as give its root
   one bit more than a number holds. The root of a number never lies half-way between two
   neighbours, so that bit alone tells which of them is nearer. */

#include "dc_core.h"

#ifdef DC_SINGLE
typedef uint32_t dc_bits;
#define DC_SIGNIFICAND 24
#define DC_BIAS 127
#else
typedef uint64_t dc_bits;
#define DC_SIGNIFICAND 53
#define DC_BIAS 1023
#endif

typedef union {
    dc_real real;
    dc_bits bits;
} dc_pattern;

dc_real dc_root(dc_real x)
{
    const dc_bits hidden = (dc_bits)1 << (DC_SIGNIFICAND - 1);
    dc_pattern pattern;
    dc_bits significand, left = 0, root = 0;
    int16_t exponent, pairs, i;

    if (!(x > 0))
        return x;
    pattern.real = x;
    exponent = (int16_t)(pattern.bits >> (DC_SIGNIFICAND - 1));
    significand = pattern.bits & (hidden - 1);
    if (exponent == 0) {
        exponent = 1;
        while (significand < hidden) {
            significand <<= 1;
            exponent = (int16_t)(exponent - 1);
        }
    } else {
        significand |= hidden;
    }
    /* now x = significand * 2^(exponent - bias - (bits of the significand - 1)); make what is to
       be halved even, and the bits of the significand come in whole pairs */
    exponent = (int16_t)(exponent - DC_BIAS);
    if ((exponent & 1) != 0)
        significand <<= 1;
    exponent = (int16_t)((exponent - (exponent & 1)) / 2);
#if DC_SIGNIFICAND % 2 == 0
    significand <<= 1;
    pairs = (DC_SIGNIFICAND + 2) / 2;
#else
    pairs = (DC_SIGNIFICAND + 1) / 2;
#endif
    for (i = 1; i <= DC_SIGNIFICAND + 1; i++) {
        dc_bits digits = 0, trial;
        if (i <= pairs)
            digits = (significand >> (2 * (pairs - i))) & 3;
        left = (left << 2) | digits;
        trial = (root << 2) | 1;
        root <<= 1;
        if (left >= trial) {
            left -= trial;
            root |= 1;
        }
    }
    root = (root + 1) >> 1;
    /* rounding up never reaches the next power of two: the root of the largest significand is
       more than half a step below it */
    pattern.bits = ((dc_bits)(exponent + DC_BIAS) << (DC_SIGNIFICAND - 1)) | (root & (hidden - 1));
    return pattern.real;
}
