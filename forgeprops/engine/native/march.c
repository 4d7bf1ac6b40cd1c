/* The lanes: cases enter from a queue, go through the pieces of their route, and leave their outcome. */

static double lane_mean(const Layout *L, const Input *in, const Heat *k, int z, int l) {
  double mean = 0.0;
  for (int j = 0; j < L->count[z]; j++) mean += in->weight[L->first[z] + j] * k->t[L->first[z] + j][l];
  return mean;
}

/* The stroke: plastic work heats, scale breaks off, and strain that stays in the austenite speeds what starts at its boundaries. */
static void strike(const Layout *L, const Input *in, Cooling *k, int l, const Case *c) {
  for (int z = 0; z < L->zones; z++) {
    k->marks[z][M_DIE][l] = lane_mean(L, in, &k->heat, z, l);
    k->scale_um[z][l] *= c->scale_left;
    for (int j = 0; j < L->count[z]; j++) k->heat.t[L->first[z] + j][l] += c->work_k;
    for (int r = 0; r < structures_of(L, z); r++) {
      k->steel.k_f[L->structure[z] + r][l] *= exp_of(c->ln_strain_f[z]);
      k->steel.k_b[L->structure[z] + r][l] *= exp_of(c->ln_strain_b[z]);
    }
  }
}

/* Let lane `l` enter the next piece of its route that takes time; 0 when the route is over. */
static int enter(const Layout *L, const Input *in, Cooling *k, int l) {
  static const Step in_air = {.kind = COOL, .duration_s = 1e5};
  const Job *job = &k->job[l];
  const Case *c = case_of(in, job->of);
  for (;;) {
    if (++k->phase[l] >= (job->first_heat ? 1 : in->steps_n)) return 0;
    const Step *s = job->first_heat ? &in_air : in->steps + job->of * in->steps_n + k->phase[l];
    if (s->kind == FURNACE) continue;
    if (s->kind == STROKE) strike(L, in, k, l, c);
    if (s->duration_s <= 0.0) continue;
    const int bath = s->kind == BATH, water = bath || s->kind == SPRAY || s->kind == SPRAY_ON_DIE;
    const int64_t air = s->air ? s->air - 1 : in->convection_of[job->of];
    k->surface.fluid_c[l] = s->fluid_c;
    for (int z = 0; z < L->zones; z++) {
      const int wet = water && s->share[z] > 0.0 && (bath || s->flux > 0.0);
      k->surface.convection_at[z][l] = (air * L->zones + z) * in->convection_points;
      /* the forging of the first heat cools in the same surroundings */
      k->surface.cover[z][l] = (job->first_heat ? in->steps + (job->of + 1) * in->steps_n - 1 : s)->cover[z];
      if (water && k->marks[z][M_WATER_ON][l] < -0.5) k->marks[z][M_WATER_ON][l] = lane_mean(L, in, &k->heat, z, l);
      if (wet) wet_table(in, &k->surface, c, s, l, z, k->scale_um[z][l]);
      k->surface.wet_front[z][l] = -wet;
      k->surface.wet_back[z][l] = -(wet && bath);
    }
    k->surface.stroke[l] = -(s->kind == STROKE);
    k->surface.on_die[l] = -(s->kind == STROKE || s->kind == REST || s->kind == SPRAY_ON_DIE);
    k->surface.jet[l] = -(s->kind == JET);
    k->surface.contact[l] = s->contact;
    k->cooling[l] = -(s->kind == COOL);
    k->duration[l] = s->duration_s;
    k->elapsed[l] = 0.0;
    k->step[l] = s->kind == COOL ? 0.2 : 0.05;
    return 1;
  }
}

/* Leave the piece of the route that lane `l` is in. */
static void leave(const Layout *L, const Input *in, Cooling *k, int l) {
  const Job *job = &k->job[l];
  const int64_t kind = job->first_heat ? COOL : in->steps[job->of * in->steps_n + k->phase[l]].kind;
  if (kind == SPRAY || kind == SPRAY_ON_DIE || kind == BATH)
    for (int z = 0; z < L->zones; z++) k->marks[z][M_WATER_OFF][l] = lane_mean(L, in, &k->heat, z, l);
}

/* Outcome of lane `l`; what cools on to the room finishes its martensite there. */
static void hand_over(const Layout *L, const Input *in, Cooling *k, int l, Output *out, const Charge *charge) {
  const Job *job = &k->job[l];
  const int n = L->structures;
  const int64_t c = job->of;
  vec *s = k->state[k->current], air = all(case_of(in, c)->air_c);
  mask mine = {0};
  mine[l] = -1;
  double *state = (job->first_heat ? out->first_state : out->state) + c * ROWS * n;
  for (int z = 0; z < L->zones; z++)
    for (int r = 0; r < structures_of(L, z); r++) {
      const int i = L->structure[z] + r;
      const double t = L->lumped[z] ? lane_mean(L, in, &k->heat, z, l) : k->heat.t[L->first[z] + r][l];
      if (t > air[l] && s[T_MIN * n + i][l] > air[l]) form_martensite(in, &k->steel, s, n, i, mine, air);
      structure_out(&k->steel, s, n, i, l, state);
      state[J_OLD * n + i] = k->tempering_0[i][l];
    }
  const int64_t taken = (int64_t)k->taken[l] * (k->taken[l] >= in->control->step_limit ? -1 : 1);
  if (job->first_heat) {
    out->first_of[c] = 1;
    if (taken < 0) out->steps[c] = taken;
    return;
  }
  for (int z = 0; z < L->zones; z++)
    for (int m = 0; m < MARKS; m++) out->marks[(c * L->zones + z) * MARKS + m] = k->marks[z][m][l];
  for (int e = 0; e < 3; e++) out->energy[c * 3 + e] = charge->energy[e] + k->energy[e][l];
  for (int r = 0; r < HEAT_ROWS; r++)
    for (int i = 0; i < L->points; i++) out->heat[(c * HEAT_ROWS + r) * L->points + i] = charge->heat[r][i];
  out->steps[c] = charge->steps >= in->control->step_limit ? -charge->steps : taken < 0 ? taken : charge->steps + taken;
}

/* Fill lane `l` with the next case of the queue; 0 when there is none. */
static int cooling_fill(const Layout *L, const Input *in, Cooling *k, int l, const Charge *charges, Output *out, int traced) {
  while (k->next < k->count) {
    k->job[l] = k->jobs[k->next++];
    const Job *job = &k->job[l];
    const int64_t c = job->of;
    const Case *p = case_of(in, c);
    const Charge *charge = charges + c;
    const double grain_first = p->first_grain_um;
    k->alive[l] = -1;
    k->lane_of[l] = traced && !job->first_heat ? c : -1;
    heat_fill(L, in, &k->heat, l, c);
    steel_fill(in, p, &k->steel, l, in->start_of[c]);
    for (int i = 0; i < L->points; i++) {
      k->heat.t[i][l] = job->first_heat ? p->first_finish_c : charge->t[i];
      k->latent[i][l] = k->rise[i][l] = 0.0;
    }
    for (int z = 0; z < L->zones; z++) {
      for (int r = 0; r < structures_of(L, z); r++) {
        const int i = L->structure[z] + r, at = L->first[z] + r;
        if (job->first_heat)
          set_austenite(in, p, &k->steel, k->state[k->current], L->structures, i, l, 1.0, 0.0, grain_first, p->first_finish_c);
        else
          set_austenite(in, p, &k->steel, k->state[k->current], L->structures, i, l, charge->heat[SHARE][at],
                        charge->heat[UNDISSOLVED][at], power_of(charge->heat[GRAIN][at], 1.0 / p->grain_m), charge->t[at]);
        k->tempering_0[i][l] = job->first_heat ? 0.0 : charge->tempering[at];
        k->gone[i][l] = 0.0;
      }
      for (int m = 0; m < MARKS; m++) k->marks[z][m][l] = -1.0;
      k->scale_um[z][l] = job->first_heat ? 0.0 : charge->scale_um[z];
      k->marks[z][M_RATE700][l] = k->marks[z][M_REBOUND][l] = 0.0;
      k->marks[z][M_LOW][l] = 1e9;
      k->marks[z][M_FURNACE][l] = lane_mean(L, in, &k->heat, z, l);
      k->marks[z][M_SCALE][l] = k->scale_um[z][l];
    }
    for (int e = 0; e < 3; e++) k->energy[e][l] = 0.0;
    surface_fill(in, p, &k->surface, l, in->convection_of[c], L->zones);
    k->settled[l] = 0;
    k->finer[l] = job->finer;
    k->taken[l] = k->last[l] = 0.0;
    k->time[l] = job->first_heat || in->steps[c * in->steps_n].kind != FURNACE ? 0.0 : in->steps[c * in->steps_n].duration_s;
    k->phase[l] = -1;
    if (enter(L, in, k, l)) return 1;
    hand_over(L, in, k, l, out, charge);
  }
  k->alive[l] = k->cooling[l] = k->surface.on_die[l] = k->surface.stroke[l] = k->surface.jet[l] = 0;
  for (int z = 0; z < L->zones; z++) {
    k->surface.wet_front[z][l] = k->surface.wet_back[z][l] = 0;
    k->surface.cover[z][l] = 0.0;
  }
  k->lane_of[l] = -1;
  k->duration[l] = 1e9;
  k->finer[l] = 1.0;
  k->elapsed[l] = 0.0;
  k->step[l] = 1e-3;
  return 0;
}

/* Lanes whose piece of the route is over: its time is up, or nothing more happens in the air. */
INLINE mask over(const Layout *L, const Input *in, Cooling *k, int traced) {
  const int n = L->structures;
  const vec *s = k->state[k->current];
  mask done = k->alive & ((k->elapsed >= k->duration * (1.0 - 1e-12)) | (k->taken >= in->control->step_limit));
  if (!any(k->cooling)) return done;
  mask busy = {0};
  vec hottest = all(-1e9), mean = all(-1e9);
  for (int z = 0; z < L->zones; z++) {
    for (int j = 0; j < L->count[z]; j++) {
      const int i = L->first[z] + j, r = structure_at(L, z, j);
      hottest = greater(hottest, k->heat.t[i]);
      busy |= (s[AUSTENITE * n + r] > 1e-5) | ((s[MARTENSITE * n + r] + s[BAINITE * n + r] > 1e-6) & (k->heat.t[i] > 150.0));
    }
    mean = greater(mean, zone_mean(L, in, z, k->heat.t));
  }
  k->settled |= k->cooling & ~busy;
  mask cold = traced ? hottest < in->control->stop_c : (hottest < in->control->stop_c) | (k->settled & (mean < 500.0));
  return done | (k->cooling & cold);
}

/* Cool every job. */
INLINE void cool_all(const Layout *L, const Input *in, Cooling *k, const Job *jobs, int64_t count, const Charge *charges, Output *out,
                     Trace *traces) {
  Try tried, *w = &tried;
  k->jobs = jobs;
  k->count = count;
  heat_idle(L, &k->heat);
  for (int l = 0; l < LANES; l++) k->busy += cooling_fill(L, in, k, l, charges, out, traces != 0);
  while (k->busy > 0) {
    cooling_step(L, in, k, w, traces);
    mask ended = over(L, in, k, traces != 0);
    if (!any(ended)) continue;
    for (int l = 0; l < LANES; l++) {
      if (!ended[l]) continue;
      leave(L, in, k, l);
      if (!k->cooling[l] && k->taken[l] < in->control->step_limit && enter(L, in, k, l)) continue;
      hand_over(L, in, k, l, out, charges + k->job[l].of);
      k->busy -= !cooling_fill(L, in, k, l, charges, out, traces != 0);
    }
  }
}
