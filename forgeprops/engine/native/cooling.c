/* Cooling: from the furnace door to the room, heat and structure together.  Eight cases side by side, each with its own step and in its own
   piece of the route. */

/* A case, or the forging's own cooling of that case from the first heat; limits on its steps so many times the usual.  `phase` is the piece of its
   route that comes next, `same` the job that goes the same way up to the water. */
typedef struct { int64_t of, same; int first_heat, phase, over; double ln_p, finer; } Job;


typedef struct {
  Heat heat;
  Steels steel;
  Surfaces surface;
  vec latent[MAX_POINTS], rise[MAX_POINTS]; /* heat of ferrite, pearlite and bainite in the last step, W, and its rate, W/s */
  vec gone[MAX_POINTS];                     /* share of austenite that went in it, 1/s */
  vec tempering_0[MAX_POINTS];              /* integral of the first-heat structure in the furnace, s */
  vec state[STEPPED * MAX_POINTS];
  Stretch stretch; /* what the step just tried makes of it */
  vec duration, elapsed, step, last, finer, time, taken, energy[3], marks[MAX_ZONES][MARKS], scale_um[MAX_ZONES];
  mask alive, settled, cooling, rising, quiet; /* rising: some zone became warmer in the last step; quiet: nothing more is noted */
  Job *job[LANES];
  int64_t lane_of[LANES]; /* case whose trace is written; -1 for none */
  Job *jobs;
  double *kept; /* [job][kept_n]: lanes between two stages */
  int64_t next, count, kept_n;
  int busy, stage;
} Cooling;

/* What a step is made of, beside the temperatures. */
typedef struct {
  vec plain[MAX_POINTS], per_plain[MAX_POINTS], capacity[MAX_POINTS], extra[MAX_POINTS], k1[MAX_POINTS], k2[MAX_POINTS], change[MAX_POINTS];
  vec assumed[MAX_POINTS], latent[MAX_POINTS], late[MAX_POINTS], debt[MAX_POINTS];
} Try;

/* Value of `x` at structure `r` of zone `z`: at its point, or the mean of the zone that has one structure for all. */
INLINE vec structure_mean(const Layout *L, const Input *in, int z, int r, const vec *x) {
  return L->lumped[z] ? zone_mean(L, in, z, x) : x[L->first[z] + r];
}

/* Martensite releases three times the metal's own heat per kelvin: as an explicit source it would be unstable.  Where the step just tried, without it,
   ends below the onset, its heat is taken as linear in the end of the step: what grows with the fall becomes heat capacity, `extra`, the rest power,
   part of what is assumed.  The line touches the law, heat (1 - exp(-alpha fall)), midway between that fall and the one of a point that keeps all
   the heat to itself.  Returns the zones in which some forms, one bit each. */
INLINE int martensite_capacity(const Layout *L, const Input *in, Cooling *k, Try *w, vec h, vec *power) {
  const vec *s = k->state, per_h = 1.0 / h;
  const int n = L->structures;
  int found = 0;
  for (int z = 0; z < L->zones; z++)
    for (int r = 0; r < structures_of(L, z); r++) {
      const int i = L->structure[z] + r, from = L->first[z] + (L->lumped[z] ? 0 : r), to = L->lumped[z] ? from + L->count[z] : from + 1;
      vec left = s[AUSTENITE * n + i], under_0 = s[UNDERCOOLING * n + i], t = structure_mean(L, in, z, r, k->heat.t),
          end = t + h * structure_mean(L, in, z, r, w->k1);
      mask m = (end < k->steel.ms_most[i] - under_0) & (left > 1e-4) & ~k->settled;
      if (!any(m)) continue;
      martensite_now(in, &k->steel, i, s[FERRITE * n + i]);
      vec alpha = k->steel.alpha[i], onset = k->steel.ms[i] - under_0, fall = onset - end, own = all(0.0), mass = all(0.0);
      m &= fall > 0.0;
      if (!any(m)) continue;
      for (int p = from; p < to; p++) {
        own += w->plain[p];
        mass += k->heat.mass[z] * in->weight[p];
      }
      vec heat = in->physics->heat_m * mass * left, at = fall * (0.5 + 0.5 * own / (own + alpha * heat)), rest = heat * exponential(-alpha * at);
      vec per_k = m ? alpha * rest : all(0.0), source = m ? (heat - rest + per_k * (onset - t - at)) * per_h : all(0.0);
      for (int p = from; p < to; p++) {
        const double share = L->lumped[z] ? in->weight[p] : 1.0;
        w->extra[p] = per_k * share;
        w->capacity[p] = w->plain[p] + w->extra[p];
        w->assumed[p] += source * share;
        power[p] += source * share;
      }
      found |= 1 << z;
    }
  return found;
}

/* Decomposition over the step just tried; heat of ferrite, pearlite and bainite, W, into `latent`, what martensite gave beyond the heat
   capacity set aside for it, J, into `late`. */
INLINE void cooling_structure(const Layout *L, const Input *in, Cooling *k, Try *w, vec h) {
  const Physics *p = in->physics;
  Stretch *stretch = &k->stretch;
  vec per_h = 1.0 / h, aside[MAX_ZONES];
  for (int z = 0; z < L->zones; z++) {
    const int n = L->count[z], f = L->first[z];
    aside[z] = all(0.0);
    vec rate[MAX_POINTS];
    for (int j = 0; j < n; j++) {
      const int i = f + j;
      rate[i] = -3600.0 * (w->change[i] * per_h * w->capacity[i] - w->assumed[i]) * w->per_plain[i];
      if (L->lumped[z]) aside[z] += w->extra[i] * w->change[i];
    }
    for (int r = 0; r < structures_of(L, z); r++) { /* a zone with one structure is so even that the mean stands for all its points */
      const int i = L->structure[z] + r;
      vec start = structure_mean(L, in, z, r, k->heat.t), change = structure_mean(L, in, z, r, w->change);
      stretch->start[i] = start;
      stretch->mean[i] = start + 0.5 * change;
      stretch->end[i] = start + change;
      stretch->rate[i] = structure_mean(L, in, z, r, rate);
    }
  }
  decompose(L, in, &k->steel, k->state, stretch, h);
  for (int z = 0; z < L->zones; z++)
    for (int j = 0; j < L->count[z]; j++) {
      const int i = L->first[z] + j, r = structure_at(L, z, j);
      vec mass = k->heat.mass[z] * in->weight[i];
      w->latent[i] = ((stretch->ferrite[r] + stretch->pearlite[r]) * p->heat_fp + stretch->bainite[r] * p->heat_b) * mass * per_h;
      vec set_aside = L->lumped[z] ? aside[z] * in->weight[i] : w->extra[i] * w->change[i];
      w->late[i] = stretch->martensite[r] * p->heat_m * mass + set_aside;
    }
}

/* Send the heat that came otherwise than assumed once more through the factorised matrix: `debt`, K by each point's own heat, becomes the
   change of temperature it makes.  Returns what of it the surfaces give off, J. */
INLINE vec spread_debt(const Layout *L, const Input *in, const Cooling *k, Try *w, vec gamma_h) {
  vec heat[MAX_POINTS], spread[MAX_POINTS];
  for (int i = 0; i < L->points; i++) heat[i] = w->debt[i] * w->plain[i];
  solve(L, in, &k->heat, gamma_h, heat, spread);
  /* heat set aside for martensite is not there for it: the point's own heat alone takes it */
  for (int i = 0; i < L->points; i++) w->debt[i] = spread[i] * (w->capacity[i] * w->per_plain[i]);
  return gamma_h * sloped(L, &k->heat, spread);
}

/* Note what a cooling zone passes: 800, 700 and 500 °C, its low and, unless all is `quiet`, what it re-heats after it.  `rate`: how fast it would
   cool without heat of transformation, °C/s. */
INLINE void mark(const Physics *p, vec *marks, mask good, mask quiet, vec old, vec new, vec time, vec h, vec rate) {
  vec per_k = h / (old - new);
  mask passed = good & (old >= 800.0) & (new < 800.0) & (marks[M_T800] < 0.0);
  marks[M_T800] = passed ? time + (old - 800.0) * per_k : marks[M_T800];
  passed = good & (old >= 500.0) & (new < 500.0) & (marks[M_T500] < 0.0);
  marks[M_T500] = passed ? time + (old - 500.0) * per_k : marks[M_T500];
  /* mean of `rate` over what of a window round 700 °C the step passes for the first time */
  const double top = p->rate_of_c + 0.5 * p->rate_window_c, bottom = top - p->rate_window_c;
  vec share = (clamp(marks[M_LOW], bottom, top) - clamp(new, bottom, top)) * (1.0 / p->rate_window_c);
  passed = good & (share > 0.0) & ((old >= p->rate_of_c) | (marks[M_RATE700] > 0.0));
  marks[M_RATE700] += passed ? share * rate : all(0.0);
  marks[M_LOW] = good ? lesser(marks[M_LOW], new) : marks[M_LOW];
  marks[M_REBOUND] = good & ~quiet ? greater(marks[M_REBOUND], new - marks[M_LOW]) : marks[M_REBOUND];
}

#define NO_TIME 1e-6    /* s; so short a step is always accepted, and so short a piece of a route is none */
#define LATENT_MOST 3.0 /* heat of transformation is not assumed to grow more than so many times from one step to the next */
#define CARRIED 0.7     /* of the change of that heat from step to step: the whole would swing in slow cooling */

/* One try of a step in every lane; accepted lanes move on. */
INLINE void cooling_step(const Layout *L, const Input *in, Cooling *k, Try *w, Trace *traces) {
  const Control *control = in->control;
  const double stride = k->stage == IN_WATER ? control->stride_water : control->stride;
  Heat *heat = &k->heat;
  const int n = L->structures;
  vec h = this_step(k->step, k->duration - k->elapsed), gamma_h = GAMMA * h, apart = 0.5 * (k->last + h), taken, taken_2;
  vec power[MAX_POINTS], capacity_2[MAX_POINTS], t2[MAX_POINTS], more[MAX_POINTS];
  Dies dies = dies_at(in, &k->surface, k->elapsed);
  for (int z = 0; z < L->zones; z++)
    for (int j = 0; j < L->count[z]; j++) { /* austenite in the middle of the step */
      const int r = structure_at(L, z, j);
      vec now = k->state[AUSTENITE * n + r];
      heat->austenite[L->first[z] + j] = greater(now - 0.5 * h * k->gone[r], 0.5 * now);
    }
  conduct(L, in, heat, heat->t, w->plain, power, 1);
  cooling_losses(L, in, heat, &k->surface, &dies, heat->t, power, &taken, 1);
  if (traces) trace_start(L, in, heat, traces, k->lane_of);
  for (int i = 0; i < L->points; i++) {
    w->capacity[i] = w->plain[i];
    w->per_plain[i] = 1.0 / w->plain[i];
    w->extra[i] = all(0.0);
    w->assumed[i] = lesser(greater(k->latent[i] + CARRIED * apart * k->rise[i], all(0.0)), LATENT_MOST * k->latent[i]);
    power[i] += w->assumed[i];
  }
  factorise(L, in, heat, w->capacity, gamma_h, -1);
  solve(L, in, heat, gamma_h, power, w->k1);
  const int forming = martensite_capacity(L, in, k, w, h, power);
  if (forming) {
    factorise(L, in, heat, w->capacity, gamma_h, forming);
    solve(L, in, heat, gamma_h, power, w->k1);
  }
  for (int i = 0; i < L->points; i++) t2[i] = heat->t[i] + h * w->k1[i];
  dies = dies_at(in, &k->surface, k->elapsed + h);
  conduct(L, in, heat, t2, capacity_2, power, 0);
  cooling_losses(L, in, heat, &k->surface, &dies, t2, power, &taken_2, 0);
  for (int i = 0; i < L->points; i++) capacity_2[i] += w->extra[i];
  second_stage(L, w->capacity, capacity_2, w->assumed, w->k1, power, more);
  solve(L, in, heat, gamma_h, power, w->k2);
  vec error = all(0.0), largest = all(0.0), off = all(0.0);
  const vec *s = k->state;
  for (int z = 0; z < L->zones; z++)
    for (int j = 0; j < L->count[z]; j++) {
      const int i = L->first[z] + j, r = structure_at(L, z, j);
      w->change[i] = h * (1.5 * w->k1[i] + 0.5 * w->k2[i]);
      mask cold = k->settled | (heat->t[i] < 150.0);
      mask idle = k->settled | (s[AUSTENITE * n + r] < 1e-3) | (heat->t[i] + w->change[i] > k->steel.ae3[r]);
      error = greater(error, size(0.5 * h * (w->k1[i] + w->k2[i])) * (cold ? all(0.25) : all(1.0)));
      largest = greater(largest, size(w->change[i]) * (idle ? all(1.0 / control->stride_idle) : all(1.0 / stride)));
    }
  error /= k->finer * control->error;
  largest /= k->finer;
  mask good = k->alive & (((error <= 1.0) & (largest <= 1.3)) | (h <= NO_TIME)), live = good & ~k->settled;
  vec lost = all(0.0), per_h = 1.0 / h, per_apart = 1.0 / apart;
  if (any(live)) cooling_structure(L, in, k, w, h);
  for (int i = 0; i < L->points; i++) {
    w->latent[i] = live ? w->latent[i] : all(0.0);
    w->late[i] = live ? w->late[i] : all(0.0);
    /* heat that came otherwise than the step had assumed */
    w->debt[i] = ((w->latent[i] - w->assumed[i]) * h + w->late[i]) * w->per_plain[i];
    off = greater(off, size(w->debt[i]));
  }
  off /= k->finer * control->debt;
  error = good ? greater(error, off) : error;
  good &= (off <= 1.5) | (h <= NO_TIME);
  live &= good;
  for (int r = 0; r < n; r++) {
    vec gone = live ? (s[AUSTENITE * n + r] - k->stretch.left[r]) * per_h : all(0.0);
    k->gone[r] = good ? gone : k->gone[r];
  }
  if (any(live)) transform(L, in, &k->steel, k->state, &k->stretch, h, live);
  if (any(off > 0.0)) lost = spread_debt(L, in, k, w, gamma_h);
  vec stored;
  store_rest(L, in, heat, h, w->change, w->plain, w->extra, w->k1, w->k2, more, w->debt, &stored);
  for (int i = 0; i < L->points; i++) power[i] = w->k1[i] + w->k2[i];
  /* the method's own quadrature of the boundary heat */
  vec got = 0.5 * h * (taken + taken_2) - 0.5 * gamma_h * h * sloped(L, heat, power) - lost, given = all(0.0);
  mask rising = {0};
  for (int z = 0; z < L->zones; z++) {
    vec new = all(0.0), moved = all(0.0), leaves = all(0.0);
    for (int j = 0; j < L->count[z]; j++) {
      const int i = L->first[z] + j;
      vec gain = w->change[i] + w->debt[i];
      stored += (capacity_2[i] - w->extra[i]) * w->debt[i];
      vec released = h * w->latent[i] + w->late[i] - w->extra[i] * w->change[i];
      given += released;
      leaves += released - w->plain[i] * gain;
      heat->t[i] += good ? gain : all(0.0);
      vec rise = k->latent[i] > 0.0 ? (w->latent[i] - k->latent[i]) * per_apart : all(0.0);
      k->rise[i] = good ? rise : k->rise[i];
      k->latent[i] = good ? w->latent[i] : k->latent[i];
      new += in->weight[i] * heat->t[i];
      moved += in->weight[i] * gain;
    }
    rising |= moved > 0.0;
    mark(in->physics, k->marks[z], good, k->quiet, new - moved, new, k->time, h,
         leaves / (h * heat->mass[z] * heat_capacity(in->physics, all(in->physics->rate_of_c), all(1.0))));
  }
  k->energy[0] += good ? got : all(0.0);
  k->energy[1] += good ? stored : all(0.0);
  k->energy[2] += good ? given : all(0.0);
  k->time += good ? h : all(0.0);
  k->elapsed += good ? h : all(0.0);
  k->last = good ? h : k->last;
  k->rising = good ? rising : k->rising;
  k->taken += k->alive ? all(1.0) : all(0.0);
  k->step = next_step(h, good, error, largest);
  if (traces) trace_note(L, in, heat, traces, k->lane_of, good, k->time);
}
