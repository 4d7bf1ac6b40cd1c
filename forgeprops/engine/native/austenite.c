/* The austenite at the start of cooling: what the furnace left sets its carbon, its temperatures and the rates of its reactions. */

INLINE vec astm_of(const Physics *p, vec diameter_um) {
  return 2.0 * 1.4426950408889634 * logarithm(1000.0 / (root_of(p->grains_per_mm2) * diameter_um));
}

/* Carbon of the austenite while it is `share` of the steel, wt% (`austenite.austenite_carbon`). */
INLINE vec austenite_carbon(const Physics *p, vec share, vec carbon) {
  vec left = greater(carbon, (carbon - (1.0 - share) * p->ferrite_carbon) / (share > 0.0 ? share : all(1.0)));
  left = share * (p->eutectoid_carbon - p->ferrite_carbon) <= carbon - p->ferrite_carbon ? all(p->eutectoid_carbon) : left;
  return carbon >= p->eutectoid_carbon ? carbon : left;
}

/* Rate, 1/s, at which ferrite left by the furnace grows back (`austenite.ferrite_return_per_s`). */
INLINE vec ferrite_return(const Physics *p, vec t_c, vec share) {
  return power(1.0 - share, 4.0 / 3.0) / (p->formation_s * exponential(p->formation_q_k / greater(t_c + 273.15, all(500.0))));
}

/* Molybdenum in pearlite's factor (`kinetics.mo_term`). */
INLINE vec mo_term(const Physics *p, vec mo) { return p->mo_scale * mo * mo / (mo * mo + p->mo_half * p->mo_half); }

/* Change of the logarithm of a factor of which the composition makes `share` when its own logarithm changes by `d`. */
INLINE vec factor_moved(double share, vec d) { return logarithm(1.0 + share * (exponential(d) - 1.0)); }

/* Give `count` structures of lane `l`, from `i` on, their austenite, a structure in each lane of the arguments.  Where the furnace made only part of
   the steel austenite, islands stand for grains, carbides that are left start pearlite, and the ferrite that is left grows back without a nucleus. */
static WIDE void set_austenite(const Input *in, const Case *c, Steels *k, vec *s, int n, int i, int count, int l, vec share, vec undissolved,
                               vec grain_um, vec t_c) {
  const Physics *p = in->physics;
  const Kinetics *kin = in->kinetics;
  vec bound = undissolved * min_of(p->alloy_in_carbide * (p->c_per_cr * c->cr + p->c_per_mo * c->mo), 0.5 * c->carbon);
  vec carbon = lesser(austenite_carbon(p, share, c->carbon - bound), all(1.1));
  vec solved = 1.0 - p->alloy_in_carbide * undissolved, d_cr = c->cr * solved - c->cr, mo = c->mo * solved;
  vec d_c = lesser(carbon, all(max_of(p->kinetic_carbon, c->carbon))) - c->carbon;
  vec island = grain_um * power(greater(share, all(1e-3)), 1.0 / 3.0), rich = bound / p->carbide_spacing_carbon;
  vec sites = 1.0 / (island * island * island) + rich * rich / (p->carbide_spacing_um * p->carbide_spacing_um * p->carbide_spacing_um);
  const double ln_2 = 0.6931471805599453;
  vec grain = astm_of(p, island) * ln_2, site = astm_of(p, power(sites, -1.0 / 3.0)) * ln_2;
  vec d_f = kin->ferrite_c * d_c + kin->ferrite_cr * d_cr + kin->ferrite_mo * (mo - c->mo);
  vec d_p = kin->pearlite_c * d_c + kin->pearlite_cr * d_cr + kin->pearlite_mo * (mo_term(p, mo) - mo_term(p, all(c->mo)));
  vec ln_f = kin->grain_ferrite * grain - c->ln_f - factor_moved(c->alloy_f, d_f);
  vec ln_p = kin->grain_pearlite * site - c->ln_p - factor_moved(c->alloy_p, d_p);
  vec ln_b = kin->grain_bainite * grain - c->ln_b - kin->bainite_c * d_c - kin->bainite_cr * d_cr - kin->bainite_mo * (mo - c->mo);
  vec ae3 = greater(c->ae3 - p->ae3_slope * (carbon - c->carbon), all(c->ae1)), k_f = exponential(ln_f), k_p = exponential(ln_p), k_b = exponential(ln_b);
  if (any(share < 1.0)) { /* the equation's rate at a given undercooling made equal to the growth of old ferrite there */
    vec at = ae3 - p->return_undercooling;
    const double cube = p->return_undercooling * p->return_undercooling * p->return_undercooling;
    k_f += ferrite_return(p, at, share) / cube * exponential(kin->q_ferrite / (p->gas_cal * (at + 273.15)));
  }
  /* a finer grain lowers Ms, as if so much undercooling had already been used up without martensite */
  vec under = -c->ms_grain * (1.0 / root(island) - 1.0 / root_of(p->reference_grain_um));
  const double *ms = in->start + k->start_at[l];
  double most = -1e9;
  for (int j = 0; j < count; j++, i++) {
    for (int r = 0; r < STEPPED; r++) s[r * n + i][l] = 0.0;
    s[AUSTENITE * n + i][l] = k->austenite_0[i][l] = share[j];
    s[T_MIN * n + i][l] = t_c[j];
    s[UNDERCOOLING * n + i][l] = under[j];
    k->law_of[i][l] = -1.0;
    k->carbon_0[i][l] = carbon[j];
    k->ae3[i][l] = ae3[j];
    k->k_f[i][l] = k_f[j];
    k->k_p[i][l] = k_p[j];
    k->k_b[i][l] = k_b[j];
    const int64_t at = (int64_t)(carbon[j] / p->table_carbon * (double)(in->carbon_points - 1));
    if (j == 0 || carbon[j] != carbon[j - 1]) {
      most = -1e9;
      for (int64_t m = at; m < in->carbon_points; m++) most = max_of(most, ms[m]);
    }
    k->ms_most[i][l] = min_of(most, p->highest_ms_c);
  }
}

/* State of structure `i` of lane `l`. */
static void structure_out(const Steels *k, const vec *s, int n, int i, int l, double *state) {
  for (int row = 0; row < STEPPED; row++) state[row * n + i] = s[row * n + i][l];
  state[AUSTENITE_0 * n + i] = k->austenite_0[i][l];
  state[K_F * n + i] = k->k_f[i][l];
  state[K_P * n + i] = k->k_p[i][l];
  state[K_B * n + i] = k->k_b[i][l];
  state[CARBON_0 * n + i] = k->carbon_0[i][l];
  state[AE3 * n + i] = k->ae3[i][l];
}

static void steel_fill(const Input *in, const Case *c, Steels *k, int l, int64_t steel) {
  k->start_at[l] = steel * 3 * in->carbon_points;
  k->ae1[l] = c->ae1;
  k->bainite_limit[l] = c->bainite_limit;
  k->temper_q[l] = c->temper_q_k;
}
