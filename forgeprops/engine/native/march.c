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

/* What becomes of a lane at the end of a piece of its route. */
enum { ENDS, GOES_ON, WAITS };

/* Let lane `l` enter the next piece of its route that takes time. */
static int enter(const Layout *L, const Input *in, Cooling *k, int l) {
  static const Step in_air = {.kind = COOL, .duration_s = 1e5};
  Job *job = k->job[l];
  const Case *c = case_of(in, job->of);
  for (;; job->phase++) {
    if (job->phase >= (job->first_heat ? 1 : in->steps_n)) return ENDS;
    const Step *s = job->first_heat ? &in_air : in->steps + job->of * in->steps_n + job->phase;
    if (s->kind == FURNACE) continue;
    if (own_stage(s->kind) > k->stage) return WAITS;
    if (s->kind == STROKE) strike(L, in, k, l, c);
    if (s->duration_s <= NO_TIME) continue;
    const int bath = s->kind == BATH, water = own_stage(s->kind) == IN_WATER;
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
    k->step[l] = FIRST_STEP_S[s->kind];
    return GOES_ON;
  }
}

/* Leave the piece of the route that lane `l` is in. */
static void leave(const Layout *L, const Input *in, Cooling *k, int l) {
  Job *job = k->job[l];
  if (!job->first_heat && own_stage(in->steps[job->of * in->steps_n + job->phase].kind) == IN_WATER)
    for (int z = 0; z < L->zones; z++) k->marks[z][M_WATER_OFF][l] = lane_mean(L, in, &k->heat, z, l);
  job->phase++;
}

/* Outcome of lane `l`; what cools on to the room finishes its martensite there. */
static void hand_over(const Layout *L, const Input *in, Cooling *k, int l, Output *out, const Charge *charge) {
  Job *job = k->job[l];
  job->over = 1;
  const int n = L->structures;
  const int64_t c = job->of;
  vec *s = k->state, air = all(case_of(in, c)->air_c);
  mask mine = {0};
  mine[l] = -1;
  double *state = (job->first_heat ? out->first_state : out->state) + c * ROWS * n;
  for (int z = 0; z < L->zones; z++)
    for (int r = 0; r < structures_of(L, z); r++) {
      const int i = L->structure[z] + r;
      const double t = L->lumped[z] ? lane_mean(L, in, &k->heat, z, l) : k->heat.t[L->first[z] + r][l];
      if (t > air[l] && s[T_MIN * n + i][l] > air[l]) {
        begin_stretch(s, n, &k->stretch, i);
        form_martensite(in, &k->steel, &k->stretch, i, mine, air, s[FERRITE * n + i]);
        put_martensite(s, n, &k->stretch, i, mine, all(0.0));
      }
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

/* Numbers of a lane from one stage to the next: copied to `kept`, or from it with `back`; how many they are. */
static int64_t keep_lane(const Layout *L, Cooling *k, int l, double *kept, int back) {
  Steels *steel = &k->steel;
  const int n = L->structures;
  const struct { vec *rows; int count; } all_of[] = {
    {k->heat.t, L->points}, {k->latent, L->points}, {k->rise, L->points}, {k->gone, n}, {k->tempering_0, n},
    {k->state, STEPPED * n}, {steel->austenite_0, n}, {steel->k_f, n}, {steel->k_p, n}, {steel->k_b, n},
    {steel->carbon_0, n}, {steel->ae3, n}, {steel->ms_most, n}, {k->scale_um, L->zones}, {k->marks[0], L->zones * MARKS},
    {&k->last, 1}, {&k->time, 1}, {&k->taken, 1}, {k->energy, 3},
  };
  int64_t at = 0;
  for (size_t a = 0; a < sizeof all_of / sizeof *all_of; a++) {
    double *lane = (double *)all_of[a].rows + l;
    for (int i = 0; i < all_of[a].count; i++, at++)
      if (kept && back) lane[i * LANES] = kept[at];
      else if (kept) kept[at] = lane[i * LANES];
  }
  for (int i = 0; back && i < n; i++) steel->law_of[i][l] = -1.0;
  return at;
}

/* Put a job at the start of its route into lane `l`. */
static void start_lane(const Layout *L, const Input *in, Cooling *k, int l, const Charge *charge) {
  const Job *job = k->job[l];
  const Case *p = case_of(in, job->of);
  for (int i = 0; i < L->points; i++) {
    k->heat.t[i][l] = job->first_heat ? p->first_finish_c : charge->t[i];
    k->latent[i][l] = k->rise[i][l] = 0.0;
  }
  int point[MAX_POINTS]; /* first one of every structure */
  for (int z = 0; z < L->zones; z++)
    for (int r = 0; r < structures_of(L, z); r++) point[L->structure[z] + r] = L->first[z] + r;
  for (int from = 0; from < L->structures; from += LANES) {
    const int count = from + LANES < L->structures ? LANES : L->structures - from;
    vec share = all(1.0), undissolved = all(0.0), grain = all(p->first_grain_um), t = all(p->first_finish_c);
    for (int j = 0; j < count && !job->first_heat; j++) {
      const int at = point[from + j];
      share[j] = charge->heat[SHARE][at];
      undissolved[j] = charge->heat[UNDISSOLVED][at];
      grain[j] = charge->heat[GRAIN][at];
      t[j] = charge->t[at];
    }
    if (!job->first_heat) grain = power(grain, 1.0 / p->grain_m);
    set_austenite(in, p, &k->steel, k->state, L->structures, from, count, l, share, undissolved, grain, t);
    for (int j = 0; j < count; j++) {
      k->tempering_0[from + j][l] = job->first_heat ? 0.0 : charge->tempering[point[from + j]];
      k->gone[from + j][l] = 0.0;
    }
  }
  for (int z = 0; z < L->zones; z++) {
    for (int m = 0; m < MARKS; m++) k->marks[z][m][l] = -1.0;
    k->scale_um[z][l] = job->first_heat ? 0.0 : charge->scale_um[z];
    k->marks[z][M_RATE700][l] = k->marks[z][M_REBOUND][l] = 0.0;
    k->marks[z][M_LOW][l] = 1e9;
    k->marks[z][M_FURNACE][l] = lane_mean(L, in, &k->heat, z, l);
    k->marks[z][M_SCALE][l] = k->scale_um[z][l];
  }
  for (int e = 0; e < 3; e++) k->energy[e][l] = 0.0;
  k->taken[l] = k->last[l] = 0.0;
  const Step *first = in->steps + job->of * in->steps_n;
  k->time[l] = job->first_heat || first->kind != FURNACE ? 0.0 : first->duration_s;
}

/* Fill lane `l` with the next job of the queue that has something to do in this stage; 0 when there is none. */
static int cooling_fill(const Layout *L, const Input *in, Cooling *k, int l, const Charge *charges, Output *out, int traced) {
  while (k->next < k->count) {
    Job *job = k->job[l] = k->jobs + k->next++;
    double *kept = k->kept + (job - k->jobs) * k->kept_n;
    const int64_t c = job->of;
    const Case *p = case_of(in, c);
    if (job->over || (k->stage == BEFORE_WATER && job->same != job - k->jobs)) continue;
    k->alive[l] = -1;
    k->settled[l] = k->quiet[l] = 0;
    k->finer[l] = job->finer;
    k->lane_of[l] = traced && !job->first_heat ? c : -1;
    heat_fill(L, in, &k->heat, l, c);
    steel_fill(in, p, &k->steel, l, in->start_of[c]);
    surface_fill(in, p, &k->surface, l, in->convection_of[c], L->zones);
    if (k->stage == BEFORE_WATER)
      start_lane(L, in, k, l, charges + c);
    else
      keep_lane(L, k, l, kept, 1);
    const int next = enter(L, in, k, l);
    if (next == GOES_ON) return 1;
    if (next == WAITS) keep_lane(L, k, l, kept, 0);
    else hand_over(L, in, k, l, out, charges + c);
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
  const vec *s = k->state;
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
  k->quiet |= k->settled & k->cooling & ~k->rising & (mean < 500.0);
  mask cold = hottest < in->control->stop_c;
  return done | (k->cooling & (traced ? cold : cold | k->quiet));
}

/* Cool every job as far as the stage goes. */
INLINE void cool_stage(const Layout *L, const Input *in, Cooling *k, const Charge *charges, Output *out, Trace *traces) {
  Try tried, *w = &tried;
  k->next = k->busy = 0;
  heat_idle(L, &k->heat);
  for (int l = 0; l < LANES; l++) k->busy += cooling_fill(L, in, k, l, charges, out, traces != 0);
  while (k->busy > 0) {
    cooling_step(L, in, k, w, traces);
    mask ended = over(L, in, k, traces != 0);
    if (!any(ended)) continue;
    for (int l = 0; l < LANES; l++) {
      if (!ended[l]) continue;
      const int cooled = k->cooling[l] || k->taken[l] >= in->control->step_limit;
      leave(L, in, k, l);
      const int next = cooled ? ENDS : enter(L, in, k, l);
      if (next == GOES_ON) continue;
      if (next == WAITS) keep_lane(L, k, l, k->kept + (k->job[l] - k->jobs) * k->kept_n, 0);
      else hand_over(L, in, k, l, out, charges + k->job[l]->of);
      k->busy -= !cooling_fill(L, in, k, l, charges, out, traces != 0);
    }
  }
}

/* Cool every job. */
INLINE void cool_all(const Layout *L, const Input *in, Cooling *k, const Charge *charges, Output *out, Trace *traces) {
  for (k->stage = 0; k->stage < STAGES; k->stage++) {
    cool_stage(L, in, k, charges, out, traces);
    for (int64_t j = 0; k->stage == BEFORE_WATER && j < k->count; j++) {
      const int64_t same = k->jobs[j].same;
      if (same == j) continue;
      if (k->jobs[same].over) { /* it met the step limit */
        out->steps[k->jobs[j].of] = out->steps[k->jobs[same].of];
        k->jobs[j].over = 1;
        continue;
      }
      __builtin_memcpy(k->kept + j * k->kept_n, k->kept + same * k->kept_n, (size_t)k->kept_n * sizeof(double));
      k->jobs[j].phase = k->jobs[same].phase;
    }
  }
}
