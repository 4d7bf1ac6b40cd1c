/* Formulas one by one on arrays, for the tests that hold them against their Python twins. */

enum {
  CHECK_EXP, CHECK_LOG, CHECK_CAPACITY, CHECK_CONDUCTIVITY, CHECK_EXTENT, CHECK_INVERSE, CHECK_CAP, CHECK_CARBON_LEFT,
  CHECK_MARTENSITE, CHECK_EQUILIBRIUM, CHECK_GRAIN, CHECK_AUSTENITE_CARBON, CHECK_RETURN, CHECK_SPRAY, CHECK_DIE,
  CHECK_TEMPERING, CHECK_TEMPERED_PART, CHECK_SENSIBLE
};

/* Value `l` of formula `which` for the arguments a[0], a[1], ... */
INLINE vec check_one(int which, const Input *in, const vec *a) {
  const Physics *p = in->physics;
  vec unused, ms, alpha;
  switch (which) {
    case CHECK_EXP: return exponential(a[0]);
    case CHECK_LOG: return logarithm(a[0]);
    case CHECK_CAPACITY: return heat_capacity(p, a[0], a[1]);
    case CHECK_CONDUCTIVITY: return conductivity(p, a[0], a[1], a[2]);
    case CHECK_EXTENT: return a[1][0] > 0.0 ? extent_of(in, 1, a[0], &unused) : extent_of(in, 0, a[0], &unused);
    case CHECK_INVERSE: return a[1][0] > 0.0 ? inverse_extent(in, 1, a[0], extent_cell(in, 1, a[0]), &unused) : inverse_extent(in, 0, a[0], extent_cell(in, 0, a[0]), &unused);
    case CHECK_CAP: return ferrite_cap(p, a[0], all_i(0), a[1], a[2], a[3]);
    case CHECK_CARBON_LEFT: return carbon_left(p, a[0], a[1], a[2]);
    case CHECK_MARTENSITE: /* share of austenite of carbon a[0] that a fall from a[1] to a[2] turns */
      martensite_law(in, all_i(0), a[0], &ms, &alpha);
      return 1.0 - exponential(-alpha * (greater(ms - a[2], all(0.0)) - greater(ms - a[1], all(0.0))));
    case CHECK_DIE: return die_conductance(in, a[0], a[1]);
    case CHECK_TEMPERING: /* Q/R, middle in K, half the rise, duration */
      return tempering_integral(a[0], 1.0 / a[1], a[2], a[3]);
    case CHECK_TEMPERED_PART: return a[1] > 0.0 ? tempered_part(share_of(a[0], a[1]), joined(share_of(a[0], a[1]))) : all(0.0);
    case CHECK_AUSTENITE_CARBON: return austenite_carbon(p, a[0], a[1]);
    case CHECK_RETURN: return ferrite_return(p, a[0], a[1]);
    case CHECK_SENSIBLE: return sensible_heat(p, a[0], a[1], a[2]);
    default: break;
  }
  vec r;
  for (int l = 0; l < LANES; l++) {
    if (which == CHECK_SPRAY) r[l] = spray_law(p, a[0][l], a[1][l], all(a[2][l]))[0];
  }
  if (which == CHECK_EQUILIBRIUM || which == CHECK_GRAIN) {
    Furnace k;
    vec span = greater(a[2] - a[1], all(1.0));
    k.ac1 = a[1], k.per_span = 1.0 / span, k.per_three_phase = 1.0 / lesser(all(p->three_phase_c), 0.5 * span), k.carbon = a[3];
    k.eutectoid_root = root(all(p->eutectoid_carbon)), k.steel_root = root(greater(a[3], all(p->ferrite_carbon)));
    if (which == CHECK_EQUILIBRIUM) return austenite_equilibrium(p, &k, a[0]);
    k.grain_ln_k = a[1], k.grain_q = a[2], k.grain_ln_k_low = a[3], k.grain_q_low = a[4], k.pin_low = a[5], k.per_pin = 1.0 / (a[6] - a[5]);
    return grain_growth(&k, a[0]);
  }
  return r;
}

static WIDE void check(int which, const Input *in, int64_t n, const double *const *arguments, int count, double *out) {
  for (int64_t first = 0; first < n; first += LANES) {
    vec a[8] = {0};
    for (int i = 0; i < count; i++)
      for (int l = 0; l < LANES; l++) a[i][l] = arguments[i][first + l < n ? first + l : n - 1];
    const vec r = check_one(which, in, a);
    for (int l = 0; l < LANES && first + l < n; l++) out[first + l] = r[l];
  }
}

/* Advance one structure (a row of ROWS) by `dt` seconds to `end_c` past `middle_c`; what formed into `gone`. */
static WIDE void stretch(const Input *in, Steels *k, vec *s, double *state, double middle_c, double end_c, double dt, double rate,
                         double *gone) {
  Stretch w;
  const Case *c = case_of(in, 0);
  steel_fill(in, c, k, 0, in->start_of[0]);
  for (int row = 0; row < STEPPED; row++) s[row] = all(state[row]);
  k->austenite_0[0] = all(state[AUSTENITE_0]), k->carbon_0[0] = all(state[CARBON_0]), k->ae3[0] = all(state[AE3]);
  k->k_f[0] = all(state[K_F]), k->k_p[0] = all(state[K_P]), k->k_b[0] = all(state[K_B]);
  k->law_of[0] = all(-1.0), k->ms_most[0] = all(in->physics->highest_ms_c);
  w.start[0] = all(2.0 * middle_c - end_c), w.mean[0] = all(middle_c), w.end[0] = all(end_c), w.rate[0] = all(rate);
  decompose(&POINT, in, k, s, &w, all(dt));
  transform(&POINT, in, k, s, &w, all(dt), all_i(-1));
  structure_out(k, s, 1, 0, 0, state);
  gone[0] = w.ferrite[0][0] + w.pearlite[0][0], gone[1] = w.bainite[0][0], gone[2] = w.martensite[0][0];
}
