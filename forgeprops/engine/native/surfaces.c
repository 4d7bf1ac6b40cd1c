/* What the surfaces of a cooling head lose: air and radiation, dies, water, a jet. */
#define CONVECTION_STEP_C 50.0 /* of the tables of convection */
#define MEDIUM_STEP_C 10.0     /* of the tables of baths */
#define WET_POINTS 161         /* a wet surface is tabulated on so many metal temperatures above the fluid's, */
#define WET_ROOM 168           /* whole vectors of them, */
#define WET_STEP_C 8.0         /* so far apart */

typedef struct {
  vec air_c, air_4, air_factor, emissivity, die_c, die_factor, fluid_c, contact, cover[MAX_ZONES];
  mask convection_at[MAX_ZONES], wet_at[MAX_ZONES]; /* where the tables of a lane begin */
  mask stroke, on_die, jet, wet_front[MAX_ZONES], wet_back[MAX_ZONES];
  double wet[LANES][MAX_ZONES][WET_ROOM];
} Surfaces;

/* Conductances of the dies at the front and the back at this time since the contact began, W/(m² K). */
typedef struct { vec front, back; int touched; } Dies;

/* Conductance to a die that warms behind its surface (`die_contact.die_contact_w_m2k`). */
INLINE vec die_conductance(const Input *in, vec contact, vec time_s) {
  const int nodes = (int)in->contact_points;
  vec x = contact * root(time_s / in->physics->die_effusivity_2);
  return contact * interpolate(in->contact, all_i(0), x / (1.0 + x) * (nodes - 1), nodes);
}

INLINE Dies dies_at(const Input *in, const Surfaces *k, vec time_s) {
  Dies d = {all(0.0), all(0.0), any(k->on_die)};
  if (!d.touched) return d;
  d.front = k->die_factor * die_conductance(in, k->contact, time_s);
  d.back = k->die_factor * die_conductance(in, k->stroke ? k->contact : all(in->physics->resting_contact), time_s);
  return d;
}

/* Heat lost to the room, W/m², and its slope, W/(m² K). */
INLINE void dry_loss(const Input *in, const Surfaces *k, int z, vec t, vec *q, vec *slope) {
  vec air = k->air_factor * interpolate(in->convection, k->convection_at[z], t * (1.0 / CONVECTION_STEP_C),
                                        (int)in->convection_points);
  vec a = t + 273.15, a2 = a * a;
  vec a4 = a2 * a2; /* a statement of its own: no heat at the temperature of the air */
  *q = k->emissivity * (a4 - k->air_4) + air * (t - k->air_c);
  *slope = 4.0 * k->emissivity * a2 * a + air;
}

INLINE void surface_loss(const Input *in, const Surfaces *k, const Dies *dies, int z, int front, vec t, vec *q, vec *slope) {
  dry_loss(in, k, z, t, q, slope);
  mask covered = k->cover[z] > 0.0, wet = front ? k->wet_front[z] : k->wet_back[z];
  if (any(covered)) {
    *q = covered ? k->cover[z] * (t - k->air_c) : *q;
    *slope = covered ? k->cover[z] : *slope;
  }
  if (any(wet)) {
    vec p = clamp((t - k->fluid_c) * (1.0 / WET_STEP_C), 0.0, WET_POINTS - 1.0);
    mask i = k->wet_at[z] + whole(lesser(p, all(WET_POINTS - 2.0)));
    vec low = gather(&k->wet[0][0][0], i), rise = gather(&k->wet[0][0][1], i) - low;
    *q = wet ? low + (p - real(i - k->wet_at[z])) * rise : *q;
    *slope = wet ? rise * (1.0 / WET_STEP_C) : *slope;
  }
  if (front && any(k->jet)) {
    const double jet = in->physics->jet_w_m2k;
    *q = k->jet ? jet * (t - k->fluid_c) : *q;
    *slope = k->jet ? all(jet) : *slope;
  }
  if (dies->touched) {
    mask m = front ? k->stroke : k->on_die;
    vec h = front ? dies->front : dies->back;
    *q = m ? h * (t - k->die_c) : *q;
    *slope = m ? h : *slope;
  }
}

/* Heat that the surfaces give off, W, taken off `power`; with `renew` also how it grows. */
INLINE void cooling_losses(const Layout *L, const Input *in, Heat *heat, const Surfaces *k, const Dies *dies, const vec *t,
                           vec *power, vec *taken, int renew) {
  vec q, slope;
  *taken = all(0.0);
  for (int z = 0; z < L->zones; z++) {
    const int first = L->first[z], last = first + L->count[z] - 1;
    surface_loss(in, k, dies, z, 1, t[first], &q, &slope);
    power[first] -= q * heat->front[z];
    *taken -= q * heat->front[z];
    if (renew) heat->slope_front[z] = slope * heat->front[z];
    surface_loss(in, k, dies, z, 0, t[last], &q, &slope);
    power[last] -= q * heat->back[z];
    *taken -= q * heat->back[z];
    if (renew) heat->slope_back[z] = slope * heat->back[z];
    if (!L->sides) continue;
    for (int i = first; i <= last; i++) {
      vec area = heat->side[z] * in->weight[i];
      surface_loss(in, k, dies, z, 0, t[i], &q, &slope);
      power[i] -= q * area;
      *taken -= q * area;
      if (renew) heat->slope_side[i] = slope * area;
    }
  }
}

/* Heat that the linear part of the losses adds to that of the stages: sum of slope times `rate`, W. */
INLINE vec sloped(const Layout *L, const Heat *k, const vec *rate) {
  vec sum = all(0.0);
  for (int z = 0; z < L->zones; z++) {
    const int first = L->first[z], last = first + L->count[z] - 1;
    sum += k->slope_front[z] * rate[first] + k->slope_back[z] * rate[last];
    if (L->sides)
      for (int i = first; i <= last; i++) sum += k->slope_side[i] * rate[i];
  }
  return sum;
}

static void surface_fill(const Input *in, const Case *c, Surfaces *k, int l, int64_t table, int zones) {
  const double air = c->air_c + 273.15;
  k->air_c[l] = c->air_c;
  k->air_4[l] = air * air * air * air;
  k->air_factor[l] = c->air_factor;
  k->emissivity[l] = c->emissivity * c->view_factor * in->physics->stefan_boltzmann;
  k->die_c[l] = c->die_c;
  k->die_factor[l] = c->die_factor;
  for (int z = 0; z < zones; z++) {
    k->convection_at[z][l] = (table * zones + z) * in->convection_points;
    k->wet_at[z][l] = (l * MAX_ZONES + z) * WET_ROOM;
  }
}

/* ---- the table of a wet surface, made once a spray or bath and zone ---- */

/* Wendelstorf's law, W/(m² K) (`spray_law.spray_w_m2k`). */
INLINE vec boiling_law(const Physics *p, double flux, double wetting, vec superheat) {
  vec film = p->spray_film * flux * (1.0 - flux * superheat / p->spray_film_fall);
  vec e = exponential(superheat * (2.0 / p->spray_boiling_k)); /* 1 - tanh(x) = 2/(exp(2 x) + 1) */
  return p->spray_base + wetting * (film + p->spray_boiling * superheat * superheat * (2.0 / (e + 1.0)));
}

INLINE vec spray_law(const Physics *p, double flux, double water_c, vec superheat) {
  const double e = exp_of(2.0 * flux / p->spray_wetting), wetting = 1.0 - 2.0 / (e + 1.0);
  const double warm = (1.0 - p->water_weakening * water_c) / (1.0 - p->water_weakening * p->water_reference_c);
  const double single = min_of(p->single_phase_factor * power_of(flux, p->single_phase_power), flux * p->water_cp);
  const double low = min_of(boiling_law(p, flux, wetting, all(p->boiling_from_k))[0], single);
  vec h = boiling_law(p, flux, wetting, greater(superheat, all(0.5 * p->boiling_from_k)));
  vec x = greater(2.0 * superheat / p->boiling_from_k - 1.0, all(0.0)), share = x * x * (3.0 - 2.0 * x);
  h = superheat < p->boiling_from_k ? share * h + (1.0 - share) * low : h;
  return lesser(h, all(p->spray_base)) + greater(h - p->spray_base, all(0.0)) * warm;
}

/* Loss of a clean wet surface, W/m², on its temperatures above the fluid's. */
static void clean_table(const Input *in, const Step *s, double flux, double *clean) {
  if (s->kind == BATH) {
    const double *table = in->media + s->medium * in->medium_points;
    for (int i = 0; i < WET_POINTS; i++) {
      const double at = min_of(max_of((s->fluid_c + WET_STEP_C * i) / MEDIUM_STEP_C, 0.0), in->medium_points - 1.0);
      const int j = (int)min_of(at, in->medium_points - 2.0);
      clean[i] = table[j] + (at - j) * (table[j + 1] - table[j]);
    }
    return;
  }
  for (int i = 0; i < WET_POINTS; i += LANES) {
    vec superheat = WET_STEP_C * (IN_ORDER + i), q = spray_law(in->physics, flux, s->fluid_c, superheat) * superheat;
    __builtin_memcpy(clean + i, &q, sizeof q);
  }
}

/* Loss of a wet surface, W/m², on metal temperatures above the fluid's.  The scale stands in series and its wet side is cooler
   than the metal, so that boiling takes hold at a higher metal temperature.  Walking down the wet side's temperature s gives the
   metal's s + q(s) R; where that folds back the head stays on the hot branch as long as it lasts, then falls to the cold one. */
static void wet_table(const Input *in, Surfaces *k, const Case *c, const Step *s, int l, int z, double scale_um) {
  const Physics *p = in->physics;
  const int bath = s->kind == BATH;
  const double flux = s->flux * s->share[z], resistance = scale_um * 1e-6 / p->scale_conductivity,
               share = bath ? s->share[z] : 1.0 - exp_of(-flux / p->wetting_flux), factor = bath ? 1.0 : c->spray_factor,
               limit = bath ? 1e12 : flux * (p->water_cp * (100.0 - s->fluid_c) + p->water_hfg);
  double clean[WET_ROOM], table[WET_ROOM];
  clean_table(in, s, flux, clean);
  int node = WET_POINTS - 1;
  double q_before = clean[node], metal_before = WET_STEP_C * node + q_before * resistance;
  for (int i = WET_POINTS - 2; node >= 0 && i >= 0; i--) {
    const double q = clean[i], metal = WET_STEP_C * i + q * resistance;
    if (metal >= metal_before) continue; /* it folds back */
    const double rise = (q_before - q) / (metal_before - metal);
    for (; node >= 0 && WET_STEP_C * node >= metal; node--) table[node] = q + (WET_STEP_C * node - metal) * rise;
    metal_before = metal;
    q_before = q;
  }
  for (; node >= 0; node--) table[node] = 0.0;
  for (int i = WET_POINTS; i < WET_ROOM; i++) table[i] = 0.0;
  /* dry and wet shares side by side, the wet one never above full evaporation on top of the dry loss */
  for (int i = 0; i < WET_POINTS; i += LANES) {
    vec t = s->fluid_c + WET_STEP_C * (IN_ORDER + i), wet;
    __builtin_memcpy(&wet, table + i, sizeof wet);
    vec a = t + 273.15, a4 = a * a * a * a; /* a statement of its own: no heat at the temperature of the air */
    vec h = c->air_factor * interpolate(in->convection, all_i(k->convection_at[z][l]), t * (1.0 / CONVECTION_STEP_C), (int)in->convection_points);
    vec dry = k->emissivity[l] * (a4 - k->air_4[l]) + h * (t - c->air_c);
    vec loss = (1.0 - share) * dry + share * lesser(factor * wet, limit + greater(dry, all(0.0)));
    __builtin_memcpy(k->wet[l][z] + i, &loss, sizeof loss);
  }
}
