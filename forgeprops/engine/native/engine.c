/* The engine: heads through their routes, heat and structure together.  One translation unit; see `march.py` for its Python face. */
#include <stdint.h>
#include <stdlib.h>
#ifdef _WIN32
#include <malloc.h>
#endif

#include "input.h"
#include "vector.h"

#include "layout.c"
#include "heat.c"
#include "trace.c"
#include "furnace.c"
#include "share.c"
#include "reactions.c"
#include "austenite.c"
#include "surfaces.c"
#include "cooling.c"
#include "march.c"
#include "curve.c"
#include "checks.c"

#define EXPORT __attribute__((visibility("default")))

/* Names of the fields of the records, for Python to compare with its own. */
#define NAME(name) #name " "
EXPORT const char *forgeprops_fields(void) {
  return CASE_FIELDS(NAME) "/ " ZONE_FIELDS(NAME) "/ " KINETIC_FIELDS(NAME) "/ " PHYSICS_FIELDS(NAME) "/ " CONTROL_FIELDS(NAME);
}

static void *room(size_t bytes) {
  const size_t rounded = (bytes + 63) / 64 * 64;
#ifdef _WIN32
  void *p = _aligned_malloc(rounded, 64);
#else
  void *p = aligned_alloc(64, rounded);
#endif
  if (p) __builtin_memset(p, 0, bytes);
  return p;
}

static void give_back(void *p) {
#ifdef _WIN32
  _aligned_free(p);
#else
  free(p);
#endif
}

/* The two kernels, for the usual head with its loops unrolled and for any other layout. */
#define KERNELS(name, layout)                                                                                             \
  static WIDE void heat_##name(const Layout *L, const Input *in, Furnace *k, const int64_t *cases, int64_t count,         \
                               double finer, Charge *charges, Trace *traces) {                                            \
    (void)L;                                                                                                              \
    heat_all(layout, in, k, cases, count, finer, charges, traces);                                                        \
  }                                                                                                                       \
  static WIDE void cool_##name(const Layout *L, const Input *in, Cooling *k, const Charge *charges, Output *out,          \
                               Trace *traces) {                                                                           \
    (void)L;                                                                                                              \
    cool_all(layout, in, k, charges, out, traces);                                                                        \
  }
KERNELS(head, &HEAD)
KERNELS(other, L)

#define WHOLE 0.9995 /* a head of so much austenite at every point counts as fully austenitic */

static double least_share(const Layout *L, const Charge *charge) {
  double least = 1.0;
  for (int i = 0; i < L->points; i++) least = min_of(least, charge->heat[SHARE][i]);
  return least;
}

static double most_share(const Layout *L, const Charge *charge) {
  double most = 0.0;
  for (int i = 0; i < L->points; i++) most = max_of(most, charge->heat[SHARE][i]);
  return most;
}

/* Steels that transform alike side by side: what no lane needs is left out. */
static int by_hardenability(const void *a, const void *b) {
  const Job *p = a, *q = b;
  if (p->ln_p != q->ln_p) return p->ln_p < q->ln_p ? -1 : 1;
  return p->of != q->of ? (p->of < q->of ? -1 : 1) : p->first_heat - q->first_heat;
}

/* March every case of `in`; 0, or 1 when there was no memory. */
EXPORT int forgeprops_march(const Input *in, Output *out) {
  const Layout layout = layout_of(in);
  const int usual = same_layout(&layout, &HEAD);
  const int64_t n = in->cases_n;
  Furnace *furnace = room(sizeof *furnace);
  Cooling *cooling = room(sizeof *cooling);
  Charge *charges = room((size_t)n * sizeof *charges);
  Job *jobs = room((size_t)(2 * n) * sizeof *jobs);
  uint64_t size = 4;
  while (size < 2 * (uint64_t)n) size *= 2;
  int64_t *queue = room((size_t)n * sizeof *queue), *first = room((size_t)n * sizeof *first), *table = room(size * sizeof *table);
  Trace *traces = out->trace ? room((size_t)n * sizeof *traces) : NULL;
  int failed = !furnace || !cooling || !charges || !jobs || !queue || !first || !table || (out->trace && !traces);
  if (!failed) {
    int64_t own = 0, partly = 0;
    share(in, furnace_hash, same_furnace, NULL, first, table, size);
    for (int64_t c = 0; c < n; c++)
      if (first[c] == c) queue[own++] = c;
    (usual ? heat_head : heat_other)(&layout, in, furnace, queue, own, 1.0, charges, traces);
    for (int64_t c = 0; c < n; c++)
      if (first[c] == c && least_share(&layout, &charges[c]) < WHOLE && most_share(&layout, &charges[c]) > 0.0) {
        queue[partly++] = c;
        if (traces) traces[c].used = 0;
      }
    if (partly) (usual ? heat_head : heat_other)(&layout, in, furnace, queue, partly, in->control->furnace_finer, charges, traces);
    for (int64_t c = 0; c < n; c++)
      if (first[c] != c)
        take_over(&layout, in, &charges[first[c]], &charges[c], traces ? traces + first[c] : NULL, traces ? traces + c : NULL);
    int64_t count = 0;
    for (int64_t c = 0; c < n; c++) {
      const double ln_p = case_of(in, c)->ln_p;
      const int whole = least_share(&layout, &charges[c]) >= WHOLE;
      jobs[count++] = (Job){.of = c, .ln_p = ln_p, .finer = whole ? 1.0 : in->control->finer};
      if (!whole) jobs[count++] = (Job){.of = c, .first_heat = 1, .ln_p = ln_p, .finer = 1.0}; /* some of the first-heat structure is left */
    }
    qsort(jobs, (size_t)count, sizeof *jobs, by_hardenability);
    cooling->jobs = jobs;
    cooling->count = count;
    cooling->kept_n = keep_lane(&layout, cooling, 0, NULL, 0);
    /* `queue` and `first` have done their work: which job is the case's, and which case goes the same way up to the water */
    share(in, way_hash, same_way, first, queue, table, size);
    for (int64_t j = 0; j < count; j++)
      if (!jobs[j].first_heat) first[jobs[j].of] = j;
    for (int64_t j = 0; j < count; j++) jobs[j].same = traces || jobs[j].first_heat ? j : first[queue[jobs[j].of]];
    cooling->kept = room((size_t)(count * cooling->kept_n) * sizeof(double));
    failed = !cooling->kept;
    if (!failed) (usual ? cool_head : cool_other)(&layout, in, cooling, charges, out, traces);
    give_back(cooling->kept);
  }
  for (int64_t c = 0; traces && c < n; c++) {
    out->trace[c] = traces[c].rows;
    out->trace_rows[c] = traces[c].used;
  }
  give_back(furnace);
  give_back(cooling);
  give_back(charges);
  give_back(jobs);
  give_back(queue);
  give_back(first);
  give_back(table);
  give_back(traces);
  return failed;
}

/* Structure of the first case of `in` along a given curve; see `follow`. */
EXPORT int forgeprops_follow(const Input *in, int64_t n, const double *time_s, const double *t_c, double grain_um, double *state,
                             double *history) {
  Steels *k = room(sizeof *k);
  vec *s = room(STEPPED * sizeof *s);
  if (k && s) follow(in, k, s, n, time_s, t_c, grain_um, state, history);
  const int failed = !k || !s;
  give_back(k);
  give_back(s);
  return failed;
}

EXPORT void forgeprops_check(int64_t which, const Input *in, int64_t n, const double *const *arguments, int64_t count, double *out) {
  check((int)which, in, n, arguments, (int)count, out);
}

EXPORT int forgeprops_stretch(const Input *in, double *state, double middle_c, double end_c, double dt, double rate, double *gone) {
  Steels *k = room(sizeof *k);
  vec *s = room(STEPPED * sizeof *s);
  if (k && s) stretch(in, k, s, state, middle_c, end_c, dt, rate, gone);
  const int failed = !k || !s;
  give_back(k);
  give_back(s);
  return failed;
}

/* State of the austenite of the first case of `in` at the start of cooling. */
EXPORT int forgeprops_austenite(const Input *in, double share, double undissolved, double grain_um, double t_c, double *state) {
  Steels *k = room(sizeof *k);
  vec *s = room(STEPPED * sizeof *s);
  if (k && s) {
    steel_fill(in, case_of(in, 0), k, 0, in->start_of[0]);
    set_austenite(in, case_of(in, 0), k, s, 1, 0, 1, 0, all(share), all(undissolved), all(grain_um), all(t_c));
    structure_out(k, s, 1, 0, 0, state);
  }
  const int failed = !k || !s;
  give_back(k);
  give_back(s);
  return failed;
}

/* Table of a sprayed surface of the first case of `in`, face, and the temperatures above the water's that it stands on. */
EXPORT int forgeprops_wet_table(const Input *in, double flux, double scale_um, double *superheat, double *table) {
  Surfaces *k = room(sizeof *k);
  if (k) {
    Step s = in->steps[0];
    s.flux = flux;
    s.share[0] = 1.0;
    surface_fill(in, case_of(in, 0), k, 0, in->convection_of[0], 1);
    wet_table(in, k, case_of(in, 0), &s, 0, 0, scale_um);
    for (int i = 0; i < WET_POINTS; i++) superheat[i] = WET_STEP_C * i, table[i] = k->wet[0][0][i];
  }
  const int failed = !k;
  give_back(k);
  return failed;
}

EXPORT void forgeprops_free(double *rows) { free(rows); }
