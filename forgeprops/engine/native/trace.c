/* Temperatures at the accepted steps of the cases, in memory that grows. */
#include <stdlib.h>

typedef struct {
  double *rows;
  int64_t used, room;
} Trace;

static int64_t trace_width(const Layout *L, const Input *in) { return 1 + 2 * L->zones + (in->trace_points ? L->points : 0); }

static void trace_row(const Layout *L, const Input *in, const Heat *k, Trace *trace, int l, double time_s) {
  const int64_t width = trace_width(L, in);
  if (trace->used == trace->room) {
    const int64_t room = trace->room ? 2 * trace->room : 256;
    double *rows = realloc(trace->rows, (size_t)(room * width) * sizeof(double));
    if (!rows) return; /* the trace ends early; the march goes on */
    trace->rows = rows;
    trace->room = room;
  }
  double *row = trace->rows + trace->used++ * width;
  *row++ = time_s;
  for (int z = 0; z < L->zones; z++) {
    double mean = 0.0;
    for (int j = 0; j < L->count[z]; j++) mean += in->weight[L->first[z] + j] * k->t[L->first[z] + j][l];
    *row++ = mean;
  }
  for (int z = 0; z < L->zones; z++) *row++ = k->t[L->first[z]][l];
  if (in->trace_points)
    for (int i = 0; i < L->points; i++) *row++ = k->t[i][l];
}

/* First row of the cases in the lanes (`of`, -1 for none) that have none yet. */
static void trace_start(const Layout *L, const Input *in, const Heat *k, Trace *traces, const int64_t *of) {
  for (int l = 0; l < LANES; l++)
    if (of[l] >= 0 && traces[of[l]].used == 0) trace_row(L, in, k, traces + of[l], l, 0.0);
}

static void trace_note(const Layout *L, const Input *in, const Heat *k, Trace *traces, const int64_t *of, mask good, vec time_s) {
  for (int l = 0; l < LANES; l++)
    if (good[l] && of[l] >= 0) trace_row(L, in, k, traces + of[l], l, time_s[l]);
}
