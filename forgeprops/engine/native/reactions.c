/* Austenite decomposes: ferrite, pearlite and bainite by rate equations, martensite by its law, and what is hard tempers.

   The state is rows of structures, `s[row * n + i]`.  What a step would make of it, `decompose`, and making it, `transform`, are apart: a lane's step
   may be rejected.  Reaction by reaction over all structures: their chains of look-ups are independent, so that waiting times overlap. */

typedef struct {
  vec austenite_0[MAX_POINTS], k_f[MAX_POINTS], k_p[MAX_POINTS], k_b[MAX_POINTS], carbon_0[MAX_POINTS], ae3[MAX_POINTS];
  vec ms_most[MAX_POINTS]; /* no martensite above it, whatever carbon the austenite gains, °C */
  vec law_of[MAX_POINTS], carbon[MAX_POINTS], ms[MAX_POINTS], alpha[MAX_POINTS]; /* see `martensite_now` */
  vec ae1, bainite_limit, temper_q;
  mask start_at; /* where the start tables of a lane's steel begin */
} Steels;

/* What one step does to every structure. */
typedef struct {
  vec start[MAX_POINTS], mean[MAX_POINTS], end[MAX_POINTS], rate[MAX_POINTS]; /* °C, °C, °C, imposed cooling in °C/h */
  vec ferrite[MAX_POINTS], pearlite[MAX_POINTS], bainite[MAX_POINTS], martensite[MAX_POINTS], carbon_m[MAX_POINTS]; /* formed; its carbon */
  vec left[MAX_POINTS], under[MAX_POINTS]; /* austenite and the fall below Ms at its end */
  int busy[MAX_POINTS];                    /* structures in which some lane changes */
} Stretch;

static const double IDLE_RATE = 1e-7;   /* a reaction slower than this, 1/s, is left out: a share of 1e-6 in an hour */
static const double NONE_LEFT = 1e-5;   /* austenite that is left alone */
static const double PUT_RIGHT_C = 5.0;  /* more than putting the heat right changes a temperature, °C */

/* Carbon of the remaining austenite, wt% (`decomposition.carbon_of_austenite`). */
INLINE vec carbon_left(const Physics *p, vec carbon_0, vec austenite_0, vec ferrite) {
  vec left = austenite_0 - ferrite;
  vec c = (carbon_0 * austenite_0 - p->ferrite_carbon * ferrite) / greater(left, all(1e-6));
  return left <= 1e-6 ? all(p->table_carbon) : lesser(greater(c, carbon_0), all(p->table_carbon));
}

/* Ms (°C) and rate of the martensite law (1/K) of austenite with that carbon. */
INLINE void martensite_law(const Input *in, mask at, vec carbon, vec *ms, vec *alpha) {
  const int nodes = (int)in->carbon_points;
  vec position = carbon * ((nodes - 1) / in->physics->table_carbon);
  *ms = interpolate(in->start, at, position, nodes);
  *alpha = interpolate(in->start, at + nodes, position, nodes);
}

/* Carbon, Ms and rate of the law of structure `i` with that much ferrite, looked up where ferrite has changed (`law_of`). */
INLINE void martensite_now(const Input *in, Steels *k, int i, vec ferrite) {
  if (!any(k->law_of[i] != ferrite)) return;
  k->law_of[i] = ferrite;
  k->carbon[i] = carbon_left(in->physics, k->carbon_0[i], k->austenite_0[i], ferrite);
  martensite_law(in, k->start_at, k->carbon[i], &k->ms[i], &k->alpha[i]);
}

/* S(X) of a rate equation, by the tables of `kinetics.extent_tables`. */
INLINE vec extent_of(const Input *in, int law, vec x, vec *steep) {
  const int cells = (int)in->extent_points - 1;
  vec position = root(clamp(x, 0.0, 1.0)) * cells, low, high;
  mask i = whole(lesser(position, all(cells - 1.0)));
  gather_pair(in->extent + law * cells, i, &low, &high);
  *steep = position * (high - low); /* 2 X dS/dX */
  return low + (position - real(i)) * (high - low);
}

/* Cell of the table in which S lies, or one near it, by the inverse table. */
INLINE mask extent_cell(const Input *in, int law, vec s) {
  const int cells = (int)in->extent_points - 1;
  vec position = clamp(s, 0.0, in->top[law]) * (cells / in->top[law]), low, high;
  mask j = whole(lesser(position, all(cells - 1.0)));
  gather_pair(in->inverse + law * cells, j, &low, &high);
  return whole(lesser((low + (position - real(j)) * (high - low)) * cells, all(cells - 1.0)));
}

/* X from S, its exact inverse: the inverse table only finds the cell. */
INLINE vec inverse_extent(const Input *in, int law, vec s, mask i, vec *steep) {
  const int cells = (int)in->extent_points - 1;
  const int64_t *forward = in->extent + law * cells;
  const double top = in->top[law];
  vec wanted = clamp(s, 0.0, top * (1.0 - 1e-12)), low, high;
  gather_pair(forward, i, &low, &high);
  for (;;) {
    mask up = (high < wanted) & (i < cells - 1), down = (low > wanted) & (i > 0);
    if (!any(up | down)) break;
    i = i - up + down; /* true is -1 */
    gather_pair(forward, i, &low, &high);
  }
  vec position_x = real(i) + (wanted - low) / (high - low), x = position_x * (1.0 / cells);
  *steep = position_x * (high - low);
  return s >= top ? all(1.0) : x * x;
}

/* Largest share of ferrite that austenite of this carbon can give: the lever rule (`kinetics.ferrite_cap`).  A step across Ae1,
   where the cap is largest, takes the cap of Ae1. */
INLINE vec ferrite_cap(const Physics *p, vec t, mask across, vec ae1, vec ae3, vec carbon) {
  vec at_ae1 = (ae3 - ae1) * (1.0 / p->ae3_slope);
  vec richer = t >= ae1 ? (ae3 - t) * (1.0 / p->ae3_slope) : at_ae1 - (ae1 - t) * (1.0 / p->acm_slope);
  richer = across ? at_ae1 : richer;
  return richer > 0.0 ? richer / (carbon + richer - p->ferrite_carbon) : all(0.0);
}

/* Softening goes with J^p, p about 1/14: it is J^p that mixes by shares where fresh metal joins, so J by their power 14. */
INLINE vec joined(vec share) {
  vec two = share * share, four = two * two;
  return four * four * four * two;
}

INLINE vec share_of(vec before, vec after) { return after > 0.0 ? before / greater(after, all(1e-300)) : all(1.0); }

/* Part of a step's tempering integral that counts for a constituent that grows evenly in it, from `share` of what it is at its end: dJ/dt = e -
   14 J M'/M.  `kept` is the `joined` of that share. */
INLINE vec tempered_part(vec share, vec kept) {
  vec fresh = 1.0 - share;
  vec part = (1.0 - share * kept) / (15.0 * greater(fresh, all(1e-3)));
  return fresh < 1e-3 ? 1.0 - 7.0 * fresh : part;
}

/* Integral of exp(-theta/T) over a step along a straight temperature curve, s.  With T = Tm + d the exponent is -theta/Tm + a s - b s^2, s from
   -1 to 1: the value in the middle times sinh(a)/a, less b times the mean of s^2 weighed by exp(a s). */
INLINE vec tempering_integral(vec temper_q, vec per_kelvin, vec half_rise, vec dt) {
  vec a = temper_q * per_kelvin * per_kelvin * half_rise, a2 = lesser(a * a, all(100.0)), b = a * half_rise * per_kelvin;
  vec series = 1.0 + a2 * (1.0 / 110.0) * (1.0 + a2 * (1.0 / 156.0));
  series = 1.0 + a2 * (1.0 / 42.0) * (1.0 + a2 * (1.0 / 72.0) * series);
  series = 1.0 + a2 * (1.0 / 6.0) * (1.0 + a2 * (1.0 / 20.0) * series);
  vec bend = lesser(b * (1.0 / 3.0 + a2 * (2.0 / 45.0)) / (1.0 + 0.04 * a2), all(0.5));
  return dt * exponential(-temper_q * per_kelvin) * series * (1.0 - bend);
}

/* Tempering integral of a constituent that grew evenly in the step, in which `integral` is what it would take whole. */
INLINE void temper(vec *taken, vec before, vec after, vec integral) {
  if (!any(after > 0.0)) return;
  vec share = share_of(before, after), kept = joined(share), part = integral * tempered_part(share, kept);
  *taken = *taken * kept + (after > 0.0 ? part : all(0.0));
}

/* Martensite of a fall to `t_end` of the structures in `m`. */
INLINE void form_martensite(const Input *in, Steels *k, Stretch *w, int i, mask m, vec t_end, vec ferrite) {
  vec left = w->left[i], under_0 = w->under[i];
  m &= (left > NONE_LEFT) & (t_end < k->ms_most[i] - under_0);
  if (!any(m)) return;
  martensite_now(in, k, i, ferrite);
  vec under = k->ms[i] - t_end;
  m &= under > under_0;
  if (!any(m)) return;
  vec formed = m ? left * (1.0 - exponential(-k->alpha[i] * (under - under_0))) : all(0.0);
  w->under[i] = m ? under : under_0;
  w->martensite[i] += formed;
  w->carbon_m[i] += formed * k->carbon[i];
  w->left[i] = left - formed;
}

/* Put the step's martensite into the state of the lanes `m`; see `temper`. */
INLINE void put_martensite(vec *s, int n, const Stretch *w, int i, mask m, vec integral) {
  vec before = s[MARTENSITE * n + i], after = before + (m ? w->martensite[i] : all(0.0));
  temper(&s[J_MARTENSITE * n + i], before, after, integral);
  s[MARTENSITE * n + i] = after;
  s[CARBON_M * n + i] += m ? w->carbon_m[i] : all(0.0);
  s[UNDERCOOLING * n + i] = m ? w->under[i] : s[UNDERCOOLING * n + i];
  s[AUSTENITE * n + i] = m ? w->left[i] : s[AUSTENITE * n + i];
}

/* A step in which nothing has formed yet. */
INLINE void begin_stretch(const vec *s, int n, Stretch *w, int i) {
  w->ferrite[i] = w->pearlite[i] = w->bainite[i] = w->martensite[i] = w->carbon_m[i] = all(0.0);
  w->left[i] = s[AUSTENITE * n + i];
  w->under[i] = s[UNDERCOOLING * n + i];
}

/* Rates into the sums from which the hardness of ferrite with pearlite and of bainite follows.  The rate at 700 °C is the mean over a window of
   temperature around it, so that it does not jump where the water comes just there. */
INLINE void note_rate(const Physics *p, vec *s, int n, int i, mask m, vec fp, vec bainite, vec start, vec end, vec reheated, vec rate) {
  const double top = p->rate_of_c + 0.5 * p->rate_window_c, bottom = top - p->rate_window_c;
  vec share = (clamp(start, bottom, top) - clamp(end, bottom, top)) * (1.0 / p->rate_window_c);
  mask above = m & (start >= top), passing = m & (share > 0.0), rated = passing | (m & (fp + bainite > 0.0));
  if (any(above)) {
    s[LOG_V_700 * n + i] = above ? all(0.0) : s[LOG_V_700 * n + i];
    s[PASSED_700 * n + i] = above ? all(0.0) : s[PASSED_700 * n + i];
  }
  if (!any(rated)) return;
  vec log_v = logarithm(greater(rate, all(p->least_rate))) * 0.43429448190325182;
  share = passing ? share : all(0.0);
  vec sum = s[LOG_V_700 * n + i] + share * log_v, passed = s[PASSED_700 * n + i] + share;
  s[LOG_V_700 * n + i] = sum;
  s[PASSED_700 * n + i] = passed;
  vec at_700 = passed > 0.0 ? sum / (passed > 0.0 ? passed : all(1.0)) : log_v;
  /* what the water undercooled and the body re-heats goes by the rate at 700 °C */
  log_v += lesser(greater(reheated, all(0.0)) * (1.0 / p->reheated_c), all(1.0)) * greater(at_700 - log_v, all(0.0));
  s[LOG_V_FP * n + i] += rated ? fp * log_v : all(0.0);
  s[LOG_V_B * n + i] += rated ? bainite * log_v : all(0.0);
}

/* In which lanes a reaction runs in every structure, one bit each (also as words of eight structures), and its rate times the time. */
typedef struct {
  union { unsigned char runs[MAX_POINTS + 4]; uint64_t eight[(MAX_POINTS + 4) / LANES]; };
  vec k_dt[MAX_POINTS];
} Reaction;

/* One reaction over a step in every structure: of its `most`, or of all that is `left`, `formed` becomes more.  `gone` takes the share that goes and
   `by_most` its derivative by `most`.  Few lanes react at a time: those that do are first put side by side.  Look-up by look-up, so that their
   waiting times overlap. */
INLINE void react_all(const Input *in, int law, int n, Reaction *r, const vec *formed_by, const vec *left_by, const vec *most_by, vec *gone,
                      vec *by_most) {
  int64_t at[(MAX_POINTS + 1) * LANES];
  mask cell[MAX_POINTS];
  vec formed[MAX_POINTS], most[MAX_POINTS], extent[MAX_POINTS], steep_from[MAX_POINTS], left[MAX_POINTS];
  int count = 0;
  for (int i = n; i % LANES; i++) r->runs[i] = 0;
  for (int i = 0; i < n; i += LANES) /* the bits of a word are numbered as the lanes lie in memory */
    for (uint64_t some = r->eight[i / LANES]; some; some &= some - 1) at[count++] = i * LANES + __builtin_ctzll(some);
  const int groups = (count + LANES - 1) / LANES;
  for (int i = count; i < groups * LANES; i++) at[i] = at[0];
  for (int g = 0; g < groups; g++) {
    mask own;
    __builtin_memcpy(&own, at + g * LANES, sizeof own);
    formed[g] = gather((const double *)formed_by, own);
    left[g] = gather((const double *)left_by, own);
    most[g] = most_by ? gather((const double *)most_by, own) : formed[g] + left[g];
    extent[g] = gather((const double *)r->k_dt, own) + extent_of(in, law, formed[g] / most[g], &steep_from[g]);
  }
  for (int g = 0; g < groups; g++) cell[g] = extent_cell(in, law, extent[g]);
  for (int g = 0; g < groups; g++) {
    vec steep, x = inverse_extent(in, law, extent[g], cell[g], &steep), some = lesser(x * most[g] - formed[g], left[g]);
    /* x - from S'(from)/S'(x) */
    vec by = ((some > 0.0) & (x < 1.0) & (steep > 0.0)) ? x * (1.0 - steep_from[g] / (steep > 0.0 ? steep : all(1.0))) : all(0.0);
    some = greater(some, all(0.0));
    for (int l = 0; l < LANES; l++) { /* what fills up the last group is its first again */
      ((double *)gone)[at[g * LANES + l]] = some[l];
      ((double *)by_most)[at[g * LANES + l]] = by[l];
    }
  }
}

/* Lanes in which bainite or martensite is there, so that it tempers, or may form in this step. */
INLINE mask hard_in(const Steels *k, const vec *s, int n, const Stretch *w, int i) {
  return (s[MARTENSITE * n + i] + s[BAINITE * n + i] > 0.0) | (w->end[i] < greater(k->bainite_limit, k->ms_most[i]));
}

/* What a step of `dt` along a straight temperature curve makes of every structure. */
INLINE void decompose(const Layout *L, const Input *in, Steels *k, const vec *s, Stretch *w, vec dt) {
  const Physics *p = in->physics;
  const int n = L->structures;
  const double q_f = in->kinetics->q_ferrite / p->gas_cal, q_p = in->kinetics->q_pearlite / p->gas_cal,
               q_b = in->kinetics->q_bainite / p->gas_cal;
  vec per_kelvin[MAX_POINTS], *left = w->left, most[MAX_POINTS], by_p[MAX_POINTS], by_b[MAX_POINTS], unused[MAX_POINTS];
  Reaction r;
  for (int i = 0; i < n; i++) {
    per_kelvin[i] = 1.0 / (greater(w->mean[i], all(-100.0)) + 273.15);
    w->busy[i] = any(hard_in(k, s, n, w, i) | (w->end[i] < p->rate_of_c + 0.5 * p->rate_window_c));
    begin_stretch(s, n, w, i);
    by_p[i] = by_b[i] = all(0.0);
    /* half of the fall forms its martensite before the others, half after them */
    form_martensite(in, k, w, i, w->mean[i] < s[T_MIN * n + i], w->mean[i], s[FERRITE * n + i]);
  }
  for (int i = 0; i < n; i++) {
    vec under = k->ae3[i] - w->mean[i], ferrite = s[FERRITE * n + i];
    mask m = (left[i] > NONE_LEFT) & (under > 0.0);
    if (!(r.runs[i] = bits(m))) continue;
    /* a step may have begun a little below Ae1 because putting the heat right took it there */
    mask across = (w->end[i] < k->ae1) & ((w->start[i] > k->ae1) | ((s[T_MIN * n + i] > k->ae1) & (w->start[i] > k->ae1 - PUT_RIGHT_C)));
    most[i] = ferrite_cap(p, w->mean[i], across, k->ae1, k->ae3[i], k->carbon_0[i]) * k->austenite_0[i];
    m &= most[i] > ferrite;
    vec rate = any(m) ? k->k_f[i] * exponential(-q_f * per_kelvin[i]) * under * under * under : all(0.0);
    r.runs[i] = bits(m & (rate > IDLE_RATE));
    r.k_dt[i] = rate * dt;
    w->busy[i] |= r.runs[i];
  }
  react_all(in, 0, n, &r, s + FERRITE * n, left, most, w->ferrite, unused);
  for (int i = 0; i < n; i++) {
    left[i] -= w->ferrite[i];
    vec under = k->ae1 - w->mean[i];
    mask m = (left[i] > NONE_LEFT) & (under > 0.0);
    if (!(r.runs[i] = bits(m))) continue;
    vec rate = k->k_p[i] * exponential(-q_p * per_kelvin[i]) * under * under * under;
    r.runs[i] = bits(m & (rate > IDLE_RATE));
    r.k_dt[i] = rate * dt;
    w->busy[i] |= r.runs[i];
  }
  react_all(in, 0, n, &r, s + PEARLITE * n, left, 0, w->pearlite, by_p);
  for (int i = 0; i < n; i++) {
    left[i] -= w->pearlite[i];
    vec under = k->bainite_limit - w->mean[i];
    mask m = (left[i] > NONE_LEFT) & (under > 0.0);
    if (!(r.runs[i] = bits(m))) continue;
    vec rate = k->k_b[i] * exponential(-q_b * per_kelvin[i]) * under * under;
    r.runs[i] = bits(m & (rate > IDLE_RATE));
    r.k_dt[i] = rate * dt;
    w->busy[i] |= r.runs[i];
  }
  react_all(in, 1, n, &r, s + BAINITE * n, left, 0, w->bainite, by_b);
  for (int i = 0; i < n; i++) {
    if (!w->busy[i]) continue;
    /* each saw what those before it had left: half of what each took from the other is put right, which makes the step second order */
    vec whole = left[i] + w->pearlite[i], ferrite = w->ferrite[i], bainite = w->bainite[i];
    vec pearlite = greater(w->pearlite[i] - 0.5 * by_p[i] * (bainite - ferrite), all(0.0));
    bainite += 0.5 * by_b[i] * (ferrite + w->pearlite[i]);
    vec sum = pearlite + bainite, fits = sum > whole ? whole / greater(sum, all(1e-300)) : all(1.0);
    w->pearlite[i] = pearlite * fits;
    w->bainite[i] = bainite * fits;
    left[i] = greater(whole - w->pearlite[i] - w->bainite[i], all(0.0));
    form_martensite(in, k, w, i, w->end[i] < s[T_MIN * n + i], w->end[i], s[FERRITE * n + i] + ferrite);
  }
}

/* Make of the structures in the lanes `m` what the step makes of them; what is hard tempers meanwhile. */
INLINE void transform(const Layout *L, const Input *in, const Steels *k, vec *s, const Stretch *w, vec dt, mask m) {
  const Physics *p = in->physics;
  const int n = L->structures;
  for (int i = 0; i < n; i++) {
    vec lowest = s[T_MIN * n + i], end = w->end[i];
    s[T_MIN * n + i] = m ? lesser(end, lowest) : lowest;
    if (!w->busy[i]) {
      s[LOG_V_700 * n + i] = m ? all(0.0) : s[LOG_V_700 * n + i];
      s[PASSED_700 * n + i] = m ? all(0.0) : s[PASSED_700 * n + i];
      continue;
    }
    vec bainite_0 = s[BAINITE * n + i], integral = all(0.0);
    vec fp = w->ferrite[i] + w->pearlite[i], bainite = bainite_0 + (m ? w->bainite[i] : all(0.0));
    mask hard = m & hard_in(k, s, n, w, i);
    if (any(hard)) {
      vec per_kelvin = 1.0 / (greater(w->mean[i], all(-100.0)) + 273.15);
      integral = hard ? tempering_integral(k->temper_q, per_kelvin, end - w->mean[i], dt) : all(0.0);
    }
    s[FERRITE * n + i] += m ? w->ferrite[i] : all(0.0);
    s[PEARLITE * n + i] += m ? w->pearlite[i] : all(0.0);
    s[BAINITE * n + i] = bainite;
    temper(&s[J_BAINITE * n + i], bainite_0, bainite, integral);
    put_martensite(s, n, w, i, m, integral);
    note_rate(p, s, n, i, m, fp, w->bainite[i], w->start[i], end, w->mean[i] - lowest, w->rate[i]);
  }
}
