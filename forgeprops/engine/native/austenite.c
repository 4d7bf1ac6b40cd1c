/* The austenite at the start of cooling: what the furnace left sets its carbon, its temperatures and the rates of its reactions. */

INLINE double astm_of(const Physics *p, double diameter_um) {
  return 2.0 * 1.4426950408889634 * log_of(1000.0 / (root_of(p->grains_per_mm2) * diameter_um));
}

/* Carbon of the austenite while it is `share` of the steel, wt% (`austenite.austenite_carbon`). */
INLINE double austenite_carbon(const Physics *p, double share, double carbon) {
  if (carbon >= p->eutectoid_carbon) return carbon;
  if (share * (p->eutectoid_carbon - p->ferrite_carbon) <= carbon - p->ferrite_carbon) return p->eutectoid_carbon;
  return max_of(carbon, (carbon - (1.0 - share) * p->ferrite_carbon) / share);
}

/* Rate, 1/s, at which ferrite left by the furnace grows back (`austenite.ferrite_return_per_s`). */
INLINE double ferrite_return(const Physics *p, double t_c, double share) {
  return power_of(max_of(1.0 - share, 0.0), 4.0 / 3.0) / (p->formation_s * exp_of(p->formation_q_k / max_of(t_c + 273.15, 500.0)));
}

/* Molybdenum in pearlite's factor (`kinetics.mo_term`). */
INLINE double mo_term(const Physics *p, double mo) { return p->mo_scale * mo * mo / (mo * mo + p->mo_half * p->mo_half); }

/* Change of the logarithm of a factor of which the composition makes `share` when its own logarithm changes by `d`. */
INLINE double factor_moved(double share, double d) { return log_of(1.0 + share * (exp_of(d) - 1.0)); }

/* Give structure `i` of lane `l` its austenite.  Where the furnace made only part of the steel austenite, islands stand for grains,
   carbides that are left start pearlite, and the ferrite that is left grows back without a nucleus. */
static void set_austenite(const Input *in, const Case *c, Steels *k, vec *s, int n, int i, int l, double share, double undissolved,
                          double grain_um, double t_c) {
  const Physics *p = in->physics;
  const Kinetics *kin = in->kinetics;
  const double bound = undissolved * min_of(p->alloy_in_carbide * (p->c_per_cr * c->cr + p->c_per_mo * c->mo), 0.5 * c->carbon);
  const double carbon = min_of(austenite_carbon(p, share, c->carbon - bound), 1.1);
  const double solved = 1.0 - p->alloy_in_carbide * undissolved, d_cr = c->cr * solved - c->cr, mo = c->mo * solved;
  const double d_c = min_of(carbon, max_of(p->kinetic_carbon, c->carbon)) - c->carbon;
  const double island = grain_um * power_of(max_of(share, 1e-3), 1.0 / 3.0), rich = bound / p->carbide_spacing_carbon;
  const double sites = 1.0 / (island * island * island)
                       + rich * rich / (p->carbide_spacing_um * p->carbide_spacing_um * p->carbide_spacing_um);
  const double ln_2 = 0.6931471805599453, grain = astm_of(p, island) * ln_2, site = astm_of(p, power_of(sites, -1.0 / 3.0)) * ln_2;
  const double d_f = kin->ferrite_c * d_c + kin->ferrite_cr * d_cr + kin->ferrite_mo * (mo - c->mo);
  const double d_p = kin->pearlite_c * d_c + kin->pearlite_cr * d_cr + kin->pearlite_mo * (mo_term(p, mo) - mo_term(p, c->mo));
  const double ln_f = kin->grain_ferrite * grain - c->ln_f - factor_moved(c->alloy_f, d_f);
  const double ln_p = kin->grain_pearlite * site - c->ln_p - factor_moved(c->alloy_p, d_p);
  const double ln_b = kin->grain_bainite * grain - c->ln_b - kin->bainite_c * d_c - kin->bainite_cr * d_cr
                      - kin->bainite_mo * (mo - c->mo);
  const double ae3 = max_of(c->ae3 - p->ae3_slope * (carbon - c->carbon), c->ae1);
  double k_f = exp_of(ln_f);
  if (share < 1.0) { /* the equation's rate at a given undercooling made equal to the growth of old ferrite there */
    const double at = ae3 - p->return_undercooling, cube = p->return_undercooling * p->return_undercooling * p->return_undercooling;
    k_f += ferrite_return(p, at, share) / cube * exp_of(kin->q_ferrite / (p->gas_cal * (at + 273.15)));
  }
  for (int r = 0; r < STEPPED; r++) s[r * n + i][l] = 0.0;
  s[AUSTENITE * n + i][l] = share;
  s[T_MIN * n + i][l] = t_c;
  /* a finer grain lowers Ms, as if so much undercooling had already been used up without martensite */
  s[UNDERCOOLING * n + i][l] = -c->ms_grain * (1.0 / root_of(island) - 1.0 / root_of(p->reference_grain_um));
  k->law_of[i][l] = -1.0;
  k->austenite_0[i][l] = share;
  k->carbon_0[i][l] = carbon;
  k->ae3[i][l] = ae3;
  k->k_f[i][l] = k_f;
  k->k_p[i][l] = exp_of(ln_p);
  k->k_b[i][l] = exp_of(ln_b);
  const double *ms = in->start + k->start_at[l];
  double most = -1e9;
  for (int64_t j = (int64_t)(carbon / p->table_carbon * (double)(in->carbon_points - 1)); j < in->carbon_points; j++)
    most = max_of(most, ms[j]);
  k->ms_most[i][l] = min_of(most, p->highest_ms_c);
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
