/* The furnace: radiation and gas heat the head, austenite forms, carbides dissolve, grains and scale grow. */

/* A head as it leaves the furnace. */
typedef struct {
  double t[MAX_POINTS], heat[HEAT_ROWS][MAX_POINTS], tempering[MAX_POINTS], scale_um[MAX_ZONES], energy[3];
  int64_t steps;
} Charge;

typedef struct {
  Heat heat;
  vec dissolving[MAX_POINTS], grain[MAX_POINTS], tempering[MAX_POINTS], speed[MAX_POINTS], aim[MAX_POINTS], scale_2[MAX_ZONES]; /* speed: of heating in the last try, °C/s; aim: see `austenite_after` */
  vec duration, elapsed, step, taken, energy[3];
  vec ac1, ac3, per_span, per_three_phase, eutectoid_root, steel_root, carbon, carbide_speed;
  vec grain_ln_k, grain_q, grain_ln_k_low, grain_q_low, pin_low, per_pin, temper_q, gas_c, gas_4, emissivity, convection, scale, ramp, begin, coil[MAX_ZONES];
  mask alive, coiled;
  int64_t of[LANES], next, count;
  const int64_t *cases; /* the queue */
  int busy;
} Furnace;

#define ALL_AUSTENITE (1.0 - 1e-6) /* counts as the whole: nothing of the first-heat structure is left to temper or to transform */

#define SLOPE_C 0.5 /* over which the growth of that share with temperature is taken, °C */
#define GAUSS 0.28867513459481287 /* sqrt(3)/6 */

/* Share of austenite that a long hold would give (`austenite.austenite_equilibrium`). */
INLINE vec austenite_equilibrium(const Physics *p, const Furnace *k, vec t) {
  vec over = t - k->ac1, u = over * k->per_span;
  vec s = lesser(over * k->per_three_phase, all(1.0));
  vec pearlite_gone = s * s * (3.0 - 2.0 * s);
  vec boundary = k->eutectoid_root + (k->steel_root - k->eutectoid_root) * u;
  vec lever = (k->steel_root * k->steel_root - p->ferrite_carbon + 1e-9) / (boundary * boundary - p->ferrite_carbon + 1e-9);
  vec share = pearlite_gone * (k->carbon >= p->eutectoid_carbon ? all(1.0) : lesser(lever, all(1.0)));
  share = u >= 1.0 ? all(1.0) : share;
  return t > k->ac1 ? share : all(0.0);
}

/* Rate of grain^m (`austenite.grain_growth_rate`). */
INLINE vec grain_growth(const Furnace *k, vec t) {
  vec per_kelvin = 1.0 / greater(t + 273.15, all(300.0));
  vec free = exponential(lesser(k->grain_ln_k - k->grain_q * per_kelvin, k->grain_ln_k_low - k->grain_q_low * per_kelvin));
  vec u = clamp((t - k->pin_low) * k->per_pin, 0.0, 1.0);
  vec s = u * u * (3.0 - 2.0 * u), s2 = s * s, s4 = s2 * s2;
  return free * s4 * s4 * s2;
}

/* Heat that the surfaces give to the furnace, W, taken off `power`. */
INLINE void furnace_losses(const Layout *L, const Input *in, Furnace *k, const vec *t, vec *power, vec *taken, int renew) {
  (void)in;
  *taken = all(0.0);
  for (int z = 0; z < L->zones; z++) {
    const int sides[2] = {L->first[z], L->first[z] + L->count[z] - 1};
    for (int s = 0; s < 2; s++) {
      vec a = t[sides[s]] + 273.15, a2 = a * a, a4 = a2 * a2, area = s == 0 ? k->heat.front[z] : k->heat.back[z];
      vec q = area * (k->emissivity * (a4 - k->gas_4) + k->convection * (t[sides[s]] - k->gas_c));
      power[sides[s]] -= q;
      *taken -= q;
      if (renew) *(s == 0 ? &k->heat.slope_front[z] : &k->heat.slope_back[z]) =
          area * (4.0 * k->emissivity * a2 * a + k->convection);
    }
  }
}

static int furnace_fill(const Layout *L, const Input *in, Furnace *k, int l) {
  if (k->next >= k->count) {
    k->of[l] = -1;
    k->alive[l] = 0;
    k->duration[l] = 1.0;
    k->elapsed[l] = 0.0;
    k->step[l] = 1e-3;
    return 0;
  }
  const int64_t c = k->cases[k->next++];
  const Case *p = case_of(in, c);
  k->of[l] = c;
  k->alive[l] = -1;
  heat_fill(L, in, &k->heat, l, c);
  const double grain = power_of(p->start_grain_um, p->grain_m);
  for (int i = 0; i < L->points; i++) {
    k->heat.t[i][l] = p->start_c;
    k->heat.austenite[i][l] = p->start_austenite;
    k->grain[i][l] = grain;
    k->dissolving[i][l] = k->tempering[i][l] = k->speed[i][l] = 0.0;
  }
  for (int z = 0; z < L->zones; z++) k->scale_2[z][l] = p->start_scale_um * p->start_scale_um;
  for (int e = 0; e < 3; e++) k->energy[e][l] = 0.0;
  const Step *first = in->steps + c * in->steps_n;
  k->duration[l] = first->kind == FURNACE ? first->duration_s : 0.0;
  k->elapsed[l] = k->taken[l] = 0.0;
  k->step[l] = FIRST_STEP_S[FURNACE];
  k->ac1[l] = p->ac1;
  k->ac3[l] = p->ac3;
  const double span = max_of(p->ac3 - p->ac1, 1.0);
  k->per_span[l] = 1.0 / span;
  k->per_three_phase[l] = 1.0 / min_of(in->physics->three_phase_c, 0.5 * span);
  k->carbon[l] = p->carbon;
  k->eutectoid_root[l] = root_of(in->physics->eutectoid_carbon);
  k->steel_root[l] = root_of(max_of(p->carbon, in->physics->ferrite_carbon));
  k->carbide_speed[l] = exp_of(p->ln_carbide_speed);
  k->grain_ln_k[l] = p->grain_ln_k;
  k->grain_q[l] = p->grain_q;
  k->grain_ln_k_low[l] = p->grain_ln_k_low;
  k->grain_q_low[l] = p->grain_q_low;
  k->pin_low[l] = p->pin_low;
  k->per_pin[l] = 1.0 / (p->pin_high - p->pin_low);
  k->temper_q[l] = p->temper_q_k;
  k->gas_c[l] = p->furnace_c;
  const double gas = p->furnace_c + 273.15;
  k->gas_4[l] = gas * gas * gas * gas;
  k->emissivity[l] = p->furnace_emissivity * in->physics->stefan_boltzmann;
  k->convection[l] = p->furnace_convection;
  k->scale[l] = p->scale_factor * in->physics->scale_k;
  k->coiled[l] = -(p->coil_s > 0.0);
  k->ramp[l] = max_of(p->coil_s, 1e-3);
  k->begin[l] = p->start_c;
  for (int z = 0; z < L->zones; z++) k->coil[z][l] = p->coil_c[z];
  return 1;
}

static void furnace_out(const Layout *L, const Input *in, Furnace *k, int l, Charge *out) {
  const double none = 1.0 - case_of(in, k->of[l])->start_austenite;
  for (int i = 0; i < L->points; i++) {
    out->t[i] = k->heat.t[i][l];
    out->heat[SHARE][i] = k->heat.austenite[i][l];
    out->heat[UNDISSOLVED][i] = none * exp_of(-k->carbide_speed[l] * k->dissolving[i][l]);
    out->heat[GRAIN][i] = k->grain[i][l];
    out->tempering[i] = k->tempering[i][l];
  }
  for (int z = 0; z < L->zones; z++) out->scale_um[z] = root_of(k->scale_2[z][l]);
  for (int e = 0; e < 3; e++) out->energy[e] = k->energy[e][l];
  out->steps = (int64_t)k->taken[l];
}

/* A coil or torch brings every zone along a straight rise to its temperature and holds it there: heat, W, added to `power`, and what it
   takes of it, added to `taken`.  Its pull on the metal fades in `COIL_S`. */
#define COIL_S 1.0
INLINE void coil_heat(const Layout *L, const Input *in, const Furnace *k, const vec *t, const vec *capacity, vec time_s, vec *power,
                      vec *taken) {
  vec done = lesser(time_s / k->ramp, all(1.0));
  for (int z = 0; z < L->zones; z++) {
    vec rise = k->coil[z] - k->begin, aim = k->begin + done * rise, rate = time_s < k->ramp ? rise / k->ramp : all(0.0);
    for (int i = L->first[z]; i < L->first[z] + L->count[z]; i++) {
      vec q = k->coiled ? capacity[i] * (rate + (aim - t[i]) * (1.0 / COIL_S)) : all(0.0);
      power[i] += q;
      *taken += q;
    }
  }
  (void)in;
}

/* Share of austenite after a step in which its aim moves evenly from `aim` to `aim_1`; `by_aim` is what it follows of the aim's last change. */
INLINE vec austenite_after(const Physics *p, vec aim, vec aim_1, vec per_kelvin, vec before, vec h, vec *by_aim) {
  vec hr = h * exponential(-p->formation_q_k * per_kelvin) * (1.0 / p->formation_s), left = exponential(-hr);
  *by_aim = hr < 1e-3 ? 0.5 * hr : 1.0 - (1.0 - left) / hr;
  vec after = greater(aim + (before - aim) * left + (aim_1 - aim) * *by_aim, before);
  return after > ALL_AUSTENITE ? all(1.0) : after;
}

/* The heat that forming austenite takes in a step at this `speed`, five times the metal's own heat per kelvin: what grows with the temperature
   becomes heat capacity, `extra`, J/K, the rest power, `assumed`, W.  As an explicit source it would swing.  Returns the
   zones in which some forms, one bit each. */
INLINE int austenite_capacity(const Layout *L, const Input *in, const Furnace *k, vec h, const vec *speed, vec *extra, vec *assumed) {
  const Physics *p = in->physics;
  const vec per_h = 1.0 / h;
  int found = 0;
  for (int z = 0; z < L->zones; z++)
    for (int j = 0; j < L->count[z]; j++) {
      const int i = L->first[z] + j;
      vec rise = h * speed[i], t = k->heat.t[i], end = t + rise, a = k->heat.austenite[i], by_aim;
      extra[i] = assumed[i] = all(0.0);
      if (!any((greater(t, end) > k->ac1) & (a < 1.0))) continue;
      vec aim_1 = austenite_equilibrium(p, k, end), steep = (austenite_equilibrium(p, k, end + SLOPE_C) - aim_1) * (1.0 / SLOPE_C);
      vec formed = austenite_after(p, k->aim[i], aim_1, 1.0 / greater(t + 0.5 * rise + 273.15, all(300.0)), a, h, &by_aim) - a;
      vec heat = p->heat_fp * k->heat.mass[z] * in->weight[i];
      extra[i] = formed > 0.0 ? heat * steep * by_aim : all(0.0);
      assumed[i] = (extra[i] * rise - heat * formed) * per_h;
      found |= 1 << z;
    }
  return found;
}

/* Mean of exp(-q/T) over a step in which T rises evenly by `rise`, over its value in the middle. */
INLINE vec along(vec q, vec per_kelvin, vec rise) {
  vec a = q * per_kelvin * per_kelvin * (0.5 * rise), a2 = lesser(a * a, all(9.0));
  return 1.0 + a2 * (1.0 / 6.0) * (1.0 + a2 * (1.0 / 20.0));
}

/* Metallurgy of every point over the step just tried, at its mean temperature; `latent` becomes the heat it takes, W. */
INLINE void furnace_structure(const Layout *L, const Input *in, const Furnace *k, const vec *change, const vec *bend, vec h, vec *austenite,
                              vec *dissolving, vec *grain, vec *tempering, vec *latent) {
  const Physics *p = in->physics;
  const vec per_h = 1.0 / h;
  for (int z = 0; z < L->zones; z++)
    for (int j = 0; j < L->count[z]; j++) {
      const int i = L->first[z] + j;
      vec t = k->heat.t[i] + 0.5 * change[i] - MEAN_OF_BEND * bend[i], per_kelvin = 1.0 / greater(t + 273.15, all(300.0)), a = k->heat.austenite[i];
      austenite[i] = a;
      dissolving[i] = k->dissolving[i];
      grain[i] = k->grain[i];
      tempering[i] = k->tempering[i];
      latent[i] = all(0.0);
      mask old = (k->heat.t[i] > 300.0) & (a < 1.0); /* the first-heat structure tempers while some of it is left */
      if (any(old)) tempering[i] += old ? h * exponential(-k->temper_q * per_kelvin) * along(k->temper_q, per_kelvin, change[i]) : all(0.0);
      if (any((greater(k->heat.t[i], k->heat.t[i] + change[i]) > k->ac1) & (a < 1.0))) {
        vec unused;
        austenite[i] = austenite_after(p, k->aim[i], austenite_equilibrium(p, k, k->heat.t[i] + change[i]), per_kelvin, a, h, &unused);
        latent[i] = (a - austenite[i]) * p->heat_fp * k->heat.mass[z] * in->weight[i] * per_h;
      }
      mask some = austenite[i] > 0.0;
      if (!any(some)) continue;
      vec dissolved = exponential(-p->dissolution_q_k * per_kelvin) * (1.0 / p->dissolution_s) * along(all(p->dissolution_q_k), per_kelvin, change[i]);
      dissolving[i] += some ? h * dissolved : all(0.0);
      /* Gauss's two points: growth rises tenfold within a long step */
      vec low = t - GAUSS * change[i], high = t + GAUSS * change[i], growth = grain_growth(k, low) + grain_growth(k, high);
      grain[i] += some ? 0.5 * h * growth : all(0.0);
    }
}

/* Heat the cases of a queue through their furnace step, with limits on a step `finer` times the usual; cases without one leave as they
   start. */
INLINE void heat_all(const Layout *L, const Input *in, Furnace *k, const int64_t *cases, int64_t count, double finer, Charge *charges,
                     Trace *traces) {
  const Physics *p = in->physics;
  const Control *control = in->control;
  const double stride = control->furnace_stride * finer, stride_ac = control->furnace_stride_ac * finer;
  Heat *heat = &k->heat;
  k->cases = cases;
  k->next = 0;
  k->count = count;
  k->busy = 0;
  heat_idle(L, heat);
  for (int l = 0; l < LANES; l++) {
    k->per_span[l] = 1.0;
    k->busy += furnace_fill(L, in, k, l);
  }
  vec plain[MAX_POINTS], extra[MAX_POINTS], assumed[MAX_POINTS], capacity[MAX_POINTS], capacity_2[MAX_POINTS], more[MAX_POINTS], held[MAX_POINTS], power[MAX_POINTS], k1[MAX_POINTS], k2[MAX_POINTS], t2[MAX_POINTS],
      change[MAX_POINTS], bend[MAX_POINTS], debt[MAX_POINTS], latent[MAX_POINTS], austenite[MAX_POINTS], dissolving[MAX_POINTS],
      grain[MAX_POINTS], tempering[MAX_POINTS];
  while (k->busy > 0) {
    mask over = k->alive & ((k->elapsed >= k->duration * (1.0 - 1e-12)) | (k->taken >= control->step_limit));
    if (any(over))
      for (int l = 0; l < LANES; l++)
        while (k->alive[l] && (k->elapsed[l] >= k->duration[l] * (1.0 - 1e-12) || k->taken[l] >= control->step_limit)) {
          furnace_out(L, in, k, l, charges + k->of[l]);
          k->busy -= !furnace_fill(L, in, k, l);
        }
    if (k->busy == 0) break;
    vec h = this_step(k->step, k->duration - k->elapsed), gamma_h = GAMMA * h, per_h = 1.0 / h, taken, taken_2;
    conduct(L, in, heat, heat->t, plain, power, 1);
    furnace_losses(L, in, k, heat->t, power, &taken, 1);
    const int coil = any(k->coiled);
    if (coil) coil_heat(L, in, k, heat->t, plain, k->elapsed, power, &taken);
    if (traces) trace_start(L, in, heat, traces, k->of);
    for (int i = 0; i < L->points; i++)
      k->aim[i] = any((heat->t[i] > k->ac1) & (heat->austenite[i] < 1.0)) ? austenite_equilibrium(p, k, heat->t[i]) : all(0.0);
    /* at the speed of the last try, then at the one that follows from it */
    for (int pass = 0, forming = 0; pass < 2; pass++) {
      forming |= austenite_capacity(L, in, k, h, pass ? k1 : k->speed, extra, assumed);
      if (pass && !forming) break;
      for (int i = 0; i < L->points; i++) held[i] = capacity[i] = plain[i] + extra[i];
      for (int i = 0; coil && i < L->points; i++) held[i] += k->coiled ? plain[i] * gamma_h * (1.0 / COIL_S) : all(0.0);
      factorise(L, in, heat, held, gamma_h, pass ? forming : -1);
      for (int i = 0; i < L->points; i++) k1[i] = power[i] + assumed[i];
      solve(L, in, heat, gamma_h, k1, k1);
    }
    for (int i = 0; i < L->points; i++) t2[i] = heat->t[i] + h * k1[i];
    conduct(L, in, heat, t2, capacity_2, power, 0);
    furnace_losses(L, in, k, t2, power, &taken_2, 0);
    if (coil) coil_heat(L, in, k, t2, capacity_2, k->elapsed + h, power, &taken_2);
    for (int i = 0; i < L->points; i++) capacity_2[i] += extra[i];
    second_stage(L, capacity, capacity_2, assumed, k1, power, more);
    solve(L, in, heat, gamma_h, power, k2);
    vec error = all(0.0), largest = all(0.0), off = all(0.0);
    for (int i = 0; i < L->points; i++) {
      change[i] = h * (1.5 * k1[i] + 0.5 * k2[i]);
      bend[i] = 0.5 * h * (k1[i] + k2[i]);
      error = greater(error, size(bend[i]));
      mask forming = (heat->t[i] + change[i] > k->ac1 - 15.0) & (heat->t[i] < k->ac3 + 15.0) & (heat->austenite[i] < 1.0);
      largest = greater(largest, size(change[i]) * (forming ? all(1.0 / stride_ac) : all(1.0 / stride)));
    }
    furnace_structure(L, in, k, change, bend, h, austenite, dissolving, grain, tempering, latent);
    for (int i = 0; i < L->points; i++) {
      debt[i] = ((latent[i] - assumed[i]) * h + extra[i] * change[i]) / plain[i]; /* heat that came otherwise than the step had assumed */
      off = greater(off, size(debt[i]));
    }
    error = greater(error / control->furnace_error, off / control->furnace_debt) / finer;
    vec stored;
    store_rest(L, in, heat, h, change, plain, extra, k1, k2, more, debt, &stored);
    mask good = k->alive & (((error <= 1.0) & (largest <= 1.3)) | (h <= 1e-6));
    vec lost = all(0.0);
    for (int z = 0; z < L->zones; z++)
      lost += heat->slope_front[z] * (k1[L->first[z]] + k2[L->first[z]])
              + heat->slope_back[z] * (k1[L->first[z] + L->count[z] - 1] + k2[L->first[z] + L->count[z] - 1]);
    for (int i = 0; coil && i < L->points; i++) lost += k->coiled ? plain[i] * (1.0 / COIL_S) * (k1[i] + k2[i]) : all(0.0);
    /* the method's own quadrature of the boundary heat */
    vec got = 0.5 * h * (taken + taken_2) - 0.5 * gamma_h * h * lost, given = all(0.0);
    for (int z = 0; z < L->zones; z++) {
      vec moved = all(0.0);
      for (int j = 0; j < L->count[z]; j++) {
        const int i = L->first[z] + j;
        vec gain = change[i] + debt[i];
        stored += (capacity_2[i] - extra[i]) * debt[i];
        given += h * latent[i];
        heat->t[i] += good ? gain : all(0.0);
        heat->austenite[i] = good ? austenite[i] : heat->austenite[i];
        k->dissolving[i] = good ? dissolving[i] : k->dissolving[i];
        k->grain[i] = good ? grain[i] : k->grain[i];
        k->tempering[i] = good ? tempering[i] : k->tempering[i];
        k->speed[i] = gain * per_h;
        moved += in->weight[i] * gain;
      }
      vec middle = greater(zone_mean(L, in, z, heat->t) - 0.5 * moved + 273.15, all(300.0));
      k->scale_2[z] += good ? h * k->scale * exponential(-p->scale_q_k / middle) : all(0.0);
    }
    k->energy[0] += good ? got : all(0.0);
    k->energy[1] += good ? stored : all(0.0);
    k->energy[2] += good ? given : all(0.0);
    k->elapsed += good ? h : all(0.0);
    k->taken += k->alive ? all(1.0) : all(0.0);
    k->step = next_step(h, good, error, largest);
    if (traces) trace_note(L, in, heat, traces, k->of, good, k->elapsed);
  }
}
