/* What the loader needs to know of a library: which sources it was compiled from, by which compiler, and which
   instruction level this processor runs. */
#if defined(__x86_64__)
#include <cpuid.h>
#endif

const char *forgeprops_source_hash(void) { return SOURCE_HASH; }
const char *forgeprops_compiled_by(void) { return COMPILED_BY; }

#if defined(__x86_64__)
static int has(unsigned value, unsigned bits) { return (value & bits) == bits; }

/* Registers that the operating system saves: 0x06 SSE and AVX, 0xe6 AVX-512 too. */
static unsigned saved_registers(void) {
  unsigned low, high;
  __asm__ volatile("xgetbv" : "=a"(low), "=d"(high) : "c"(0));
  return low;
}

/* Level 2, 3 or 4 of the x86-64 psABI, table "Micro-Architecture Levels"; 1 below them. */
int forgeprops_cpu_level(void) {
  unsigned a, b, c, d, b7 = 0, c81 = 0;
  if (!__get_cpuid(1, &a, &b, &c, &d)) return 1;
  const unsigned features = c;
  if (__get_cpuid_count(7, 0, &a, &b, &c, &d)) b7 = b;
  if (__get_cpuid(0x80000001, &a, &b, &c, &d)) c81 = c;
  if (!has(features, bit_SSE3 | bit_SSSE3 | bit_SSE41 | bit_SSE42 | bit_POPCNT | bit_CMPXCHG16B)) return 1;
  if (!has(features, bit_AVX | bit_F16C | bit_FMA | bit_MOVBE | bit_OSXSAVE)) return 2;
  if (!has(b7, bit_AVX2 | bit_BMI | bit_BMI2) || !has(c81, bit_ABM) || !has(saved_registers(), 0x06)) return 2;
  if (!has(b7, bit_AVX512F | bit_AVX512BW | bit_AVX512CD | bit_AVX512DQ | bit_AVX512VL)) return 3;
  return has(saved_registers(), 0xe6) ? 4 : 3;
}
#else
int forgeprops_cpu_level(void) { return 1; }
#endif
