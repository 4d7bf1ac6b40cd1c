/* Cases that go through the same furnace, or the same way up to the water: marched there once. */
#define FURNACE_FIELDS(X) \
  X(carbon) X(ac1) X(ac3) X(grain_m) X(grain_ln_k) X(grain_q) X(grain_ln_k_low) X(grain_q_low) X(pin_low) X(pin_high) X(alloyed) \
  X(temper_q_k) X(furnace_c) X(furnace_emissivity) X(start_c) X(start_grain_um) X(start_austenite) X(start_scale_um) \
  X(scale_factor) X(furnace_convection) X(coil_s) X(ln_carbide_speed) X(coil_c[0]) X(coil_c[1]) X(coil_c[2]) X(coil_c[3]) X(coil_c[4])

static uint64_t mixed(uint64_t hash, double x) {
  uint64_t bits;
  __builtin_memcpy(&bits, &x, sizeof bits);
  return (hash ^ bits) * 0x100000001b3ULL ^ (hash >> 29);
}

static uint64_t furnace_hash(const Input *in, const int64_t *first, int64_t c) {
  (void)first;
  const Case *p = case_of(in, c);
  uint64_t hash = mixed(0xcbf29ce484222325ULL, (double)in->head_of[c]);
  hash = mixed(hash, in->steps[c * in->steps_n].duration_s);
#define MIX(name) hash = mixed(hash, p->name);
  FURNACE_FIELDS(MIX)
#undef MIX
  return hash;
}

static int same_furnace(const Input *in, const int64_t *first, int64_t a, int64_t b) {
  (void)first;
  const Case *p = case_of(in, a), *q = case_of(in, b);
  const Step *s = in->steps + a * in->steps_n, *t = in->steps + b * in->steps_n;
  int same = in->head_of[a] == in->head_of[b] && s->kind == t->kind && s->duration_s == t->duration_s;
#define COMPARE(name) same = same && p->name == q->name;
  FURNACE_FIELDS(COMPARE)
#undef COMPARE
  return same;
}

/* Pieces of the route of a case that come before the water or, without any, before it cools in the air. */
static int64_t before_water(const Input *in, int64_t c) {
  int64_t i = 0;
  while (i < in->steps_n && own_stage(in->steps[c * in->steps_n + i].kind) == BEFORE_WATER) i++;
  return i;
}

/* What a case is made of up to the water: its furnace, which is `first`, and the rest but for the factor on the spray. */
static uint64_t way_hash(const Input *in, const int64_t *first, int64_t c) {
  Case p = *case_of(in, c);
  const double *numbers = (const double *)&p;
  uint64_t hash = mixed(0xcbf29ce484222325ULL, (double)first[c]);
  p.spray_factor = 0.0;
  for (size_t i = 0; i < sizeof p / sizeof *numbers; i++) hash = mixed(hash, numbers[i]);
  for (int64_t i = 0; i < before_water(in, c); i++) hash = mixed(hash, in->steps[c * in->steps_n + i].duration_s);
  return hash;
}

static int same_way(const Input *in, const int64_t *first, int64_t a, int64_t b) {
  const int64_t n = before_water(in, a);
  if (first[a] != first[b] || in->convection_of[a] != in->convection_of[b] || in->start_of[a] != in->start_of[b] || n != before_water(in, b) || n == in->steps_n)
    return 0;
  Case p = *case_of(in, a), q = *case_of(in, b);
  p.spray_factor = q.spray_factor = 0.0;
  return !__builtin_memcmp(&p, &q, sizeof p)
         && !__builtin_memcmp(in->steps + a * in->steps_n, in->steps + b * in->steps_n, (size_t)n * sizeof(Step));
}

/* First case of those that are the same to each; `table` has room for `size` entries, a power of two above twice the cases. */
static void share(const Input *in, uint64_t (*hash_of)(const Input *, const int64_t *, int64_t),
                  int (*same)(const Input *, const int64_t *, int64_t, int64_t), const int64_t *known, int64_t *first, int64_t *table,
                  uint64_t size) {
  for (uint64_t i = 0; i < size; i++) table[i] = -1;
  for (int64_t c = 0; c < in->cases_n; c++) {
    const uint64_t hash = hash_of(in, known, c);
    uint64_t at = (hash ^ hash >> 32) & (size - 1);
    while (table[at] >= 0 && !same(in, known, table[at], c)) at = (at + 1) & (size - 1);
    if (table[at] < 0) table[at] = c;
    first[c] = table[at];
  }
}

/* Give a case what the furnace made of another that shares it. */
static void take_over(const Layout *L, const Input *in, const Charge *from, Charge *to, const Trace *trace_from, Trace *trace_to) {
  *to = *from;
  if (!trace_from || !trace_from->used) return;
  const size_t bytes = (size_t)(trace_from->used * trace_width(L, in)) * sizeof(double);
  trace_to->rows = malloc(bytes);
  if (!trace_to->rows) return;
  __builtin_memcpy(trace_to->rows, trace_from->rows, bytes);
  trace_to->used = trace_to->room = trace_from->used;
}
