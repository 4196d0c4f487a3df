/* The numbers of the logic. */

#ifndef DC_REAL_H
#define DC_REAL_H

#include <float.h>
#include <stddef.h>
#include <stdint.h>

#ifdef __FAST_MATH__
#error "the logic tells numbers from what is none: build it without -ffast-math"
#endif
#if defined(FLT_EVAL_METHOD) && FLT_EVAL_METHOD != 0
#error "sums must be rounded to their own type: on a PC build with -msse2 -mfpmath=sse"
#endif
#if defined(__clang__)
#pragma STDC FP_CONTRACT OFF
#endif

/* DC_SINGLE: numbers in single precision. Without it they are IEEE 754 double precision. */
#ifdef DC_SINGLE
typedef float dc_real;
#define DC_REAL(x) x##f
#else
typedef double dc_real;
#define DC_REAL(x) x
#if DBL_MANT_DIG != 53
#error "double is single precision here: build with -DDC_SINGLE"
#endif
#endif

#endif
