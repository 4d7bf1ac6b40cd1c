/* Eight cases side by side: one number of each in a vector.  Every operation is exact IEEE arithmetic in a fixed order
   (no contraction, no library function), so that all instruction levels give the same digits. */
#ifndef VECTOR_H
#define VECTOR_H
#if !defined(__clang__)
#error "The engine is written with the vector extensions of clang; set CC to clang or leave it unset."
#endif
#include <stdint.h>

#define LANES 8
#define INLINE static inline __attribute__((always_inline))
/* Lets the compiler use the widest registers of the instruction level. */
#define WIDE __attribute__((min_vector_width(512)))

/* Loops whose ends are known when compiled: those over the zones and points of the usual head. */
#define UNROLL _Pragma("clang loop unroll(full)")
#pragma clang diagnostic ignored "-Wpass-failed" /* nor can they be for any other head */

typedef double vec __attribute__((ext_vector_type(LANES)));
typedef __typeof__((vec)(0.0) < (vec)(0.0)) mask; /* -1 where true, 0 where false; also plain integers */
typedef float floats __attribute__((ext_vector_type(2 * LANES)));

/* Numbers of the lanes. */
static const vec IN_ORDER = {0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0};

INLINE vec all(double x) { return (vec)(x); }
INLINE mask all_i(int64_t x) { return (mask)(x); }
INLINE int any(mask m) { return __builtin_reduce_or(m) != 0; }
/* One bit a lane, the first lane lowest. */
INLINE unsigned bits(mask m) {
  typedef _Bool truths __attribute__((ext_vector_type(LANES)));
  truths t = __builtin_convertvector(m, truths);
  unsigned char b;
  __builtin_memcpy(&b, &t, 1);
  return b;
}
INLINE vec greater(vec a, vec b) { return a > b ? a : b; }
INLINE vec lesser(vec a, vec b) { return a < b ? a : b; }
INLINE vec clamp(vec a, double low, double high) { return lesser(greater(a, all(low)), all(high)); }
INLINE vec size(vec a) { return __builtin_elementwise_abs(a); }
INLINE vec root(vec a) { return __builtin_elementwise_sqrt(a); }
/* The whole part of a number not below 0, and a whole number as a real one; both below 2^51. */
#if defined(__AVX2__) && !defined(__AVX512DQ__) /* which has no instruction for it: by the bits of 1.5 * 2^52 and so much more */
INLINE mask whole(vec a) { return (mask)(__builtin_elementwise_floor(a) + 6755399441055744.0) - 0x4338000000000000LL; }
INLINE vec real(mask a) { return (vec)(a + 0x4338000000000000LL) - 6755399441055744.0; }
#else
INLINE mask whole(vec a) { return __builtin_convertvector(a, mask); }
INLINE vec real(mask a) { return __builtin_convertvector(a, vec); }
#endif

INLINE vec gather(const double *table, mask at) {
  vec r;
  for (int l = 0; l < LANES; l++) r[l] = table[at[l]];
  return r;
}

/* Two neighbouring nodes of a table that holds them as pairs of floats: one load a lane instead of two. */
INLINE void gather_pair(const int64_t *pairs, mask at, vec *low, vec *high) {
  mask words;
  for (int l = 0; l < LANES; l++) words[l] = pairs[at[l]];
  floats f = (floats)words;
  *low = __builtin_convertvector(f.even, vec);
  *high = __builtin_convertvector(f.odd, vec);
}

/* Linear interpolation at `position` counted in nodes from `at`; the last cell is carried on. */
INLINE vec interpolate(const double *table, mask at, vec position, int nodes) {
  vec p = clamp(position, 0.0, nodes - 1.0);
  mask i = whole(lesser(p, all(nodes - 2.0)));
  vec a = gather(table, at + i), b = gather(table + 1, at + i);
  return a + (p - real(i)) * (b - a);
}

/* exp(x) to 1e-14: x = n ln 2 + r, Taylor series of r (|r| <= 0.35), its terms summed in pairs so that they do not wait for each
   other. */
INLINE vec exponential(vec x) {
  x = clamp(x, -700.0, 700.0);
  vec shifted = x * 1.4426950408889634 + 6755399441055744.0;
  vec n = shifted - 6755399441055744.0;
  vec r = (x - n * 6.93147180369123816490e-01) - n * 1.90821492927058770002e-10, r2 = r * r, r4 = r2 * r2;
  vec a = (1.0 + r) + r2 * (0.5 + r * (1.0 / 6.0));
  vec b = (1.0 / 24.0 + r * (1.0 / 120.0)) + r2 * (1.0 / 720.0 + r * (1.0 / 5040.0));
  vec c = (1.0 / 40320.0 + r * (1.0 / 362880.0)) + r2 * (1.0 / 3628800.0 + r * (1.0 / 39916800.0));
  mask power = ((mask)shifted << 52) + 0x3ff0000000000000LL;
  return (a + r4 * (b + r4 * c)) * (vec)power;
}

/* ln x to 1e-15 for x > 0: x = 2^e m, ln m = 2 artanh((m - 1)/(m + 1)). */
INLINE vec logarithm(vec x) {
  mask bits = (mask)x;
  mask e = (bits - 0x3fe6a09e667f3bcdLL) >> 52;
  vec m = (vec)(bits - (e << 52));
  vec s = (m - 1.0) / (m + 1.0), z = s * s;
  vec p = all(2.0 / 19.0);
  p = p * z + 2.0 / 17.0;
  p = p * z + 2.0 / 15.0;
  p = p * z + 2.0 / 13.0;
  p = p * z + 2.0 / 11.0;
  p = p * z + 2.0 / 9.0;
  p = p * z + 2.0 / 7.0;
  p = p * z + 2.0 / 5.0;
  p = p * z + 2.0 / 3.0;
  p = p * z + 2.0;
  return p * s + real(e) * 0.6931471805599453;
}

INLINE vec power(vec x, double y) { return x > 0.0 ? exponential(y * logarithm(x)) : all(0.0); }

/* The same for one number. */
INLINE double exp_of(double x) { return exponential(all(x))[0]; }
INLINE double power_of(double x, double y) { return power(all(x), y)[0]; }
INLINE double root_of(double x) { return __builtin_sqrt(x); }
INLINE double max_of(double a, double b) { return a > b ? a : b; }
INLINE double min_of(double a, double b) { return a < b ? a : b; }
#endif
