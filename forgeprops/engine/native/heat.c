/* Heat in the metal: capacities, conduction inside each zone, bridges between zones, and the linear system of a step.

   One spectral element a zone (Gauss-Lobatto points, see `section.py`).  The step is the two-stage Rosenbrock method ROS2
   (Verwer, Spee, Blom & Hundsdorfer, SIAM J. Sci. Comput. 20 (1999) 1456; from memory): second order for any matrix in
   place of the Jacobian, L-stable with gamma = 1 - 1/sqrt(2).  The matrix holds conduction, the slopes of the surface losses
   and the bridges; the heat of ferrite, pearlite and bainite is explicit. */
#define GAMMA 0.29289321881345254
/* The second-order part of a step, 0.5 h (k1 + k2), is (1/2 - gamma) h^2 T'': the mean temperature of a step lies h^2 T''/12 below the mean of its
   ends. */
#define MEAN_OF_BEND (1.0 / (12.0 * (0.5 - GAMMA)))

typedef struct {
  vec mass[MAX_ZONES], front[MAX_ZONES], back[MAX_ZONES], conducts[MAX_ZONES], link[MAX_ZONES], alloyed;
  vec t[MAX_POINTS], austenite[MAX_POINTS];              /* °C, share */
  vec slope_front[MAX_ZONES], slope_back[MAX_ZONES];     /* of the losses, W/K */
  vec best[MAX_ZONES], bridge[MAX_ZONES], mean[MAX_ZONES], zone_k[MAX_ZONES];
  vec shape[MAX_POINTS], pull[MAX_ZONES], chain_0[MAX_ZONES], chain_1[MAX_ZONES];
  vec factor[MAX_SQUARE];
  vec side[MAX_ZONES], slope_side[MAX_POINTS];
} Heat;

/* Heat capacity of a mixture of austenite with its products, J/(kg K). */
INLINE vec heat_capacity(const Physics *p, vec t, vec austenite) {
  vec k = t + 273.15, inverse = 1.0 / k;
  vec of_austenite = p->cp_a0 + p->cp_a1 * k + p->cp_a2 * (k * k) + p->cp_a3 * (inverse * inverse);
  vec held = lesser(t, all(p->cp_f_hold_c));
  vec of_products = p->cp_f0 + held * (p->cp_f1 + held * (p->cp_f2 + held * p->cp_f3));
  return of_products + austenite * (of_austenite - of_products);
}

/* Sensible heat of the same between two temperatures, J/kg: the integral of its heat capacity. */
INLINE vec sensible_heat(const Physics *p, vec from, vec to, vec austenite) {
  vec a = from + 273.15, b = to + 273.15, rise = to - from, below = lesser(to, all(p->cp_f_hold_c)) - lesser(from, all(p->cp_f_hold_c));
  vec of_austenite = rise * (p->cp_a0 + p->cp_a1 * 0.5 * (a + b) + p->cp_a2 * (1.0 / 3.0) * (a * a + a * b + b * b) + p->cp_a3 / (a * b));
  vec c = lesser(from, all(p->cp_f_hold_c)), d = lesser(to, all(p->cp_f_hold_c)), sum = c + d, squares = c * c + d * d;
  vec held = p->cp_f0 + p->cp_f_hold_c * (p->cp_f1 + p->cp_f_hold_c * (p->cp_f2 + p->cp_f_hold_c * p->cp_f3));
  vec of_products = below * (p->cp_f0 + p->cp_f1 * 0.5 * sum + p->cp_f2 * (1.0 / 3.0) * (squares + c * d) + p->cp_f3 * 0.25 * sum * squares)
                    + (rise - below) * held;
  return of_products + austenite * (of_austenite - of_products);
}

/* Conductivity of the same, W/(m K). */
INLINE vec conductivity(const Physics *p, vec t, vec alloyed, vec austenite) {
  vec plain = greater(p->k_0 - p->k_slope * t, all(p->k_least));
  vec products = plain + alloyed * (lesser(plain, all(p->k_alloyed_most)) - plain);
  return products + austenite * (p->k_least - p->k_austenite_slope * greater(p->k_austenite_from_c - t, all(0.0)) - products);
}

INLINE vec zone_mean(const Layout *L, const Input *in, int z, const vec *t) {
  vec mean = all(0.0);
  UNROLL
  for (int j = 0; j < L->count[z]; j++) mean += in->weight[L->first[z] + j] * t[L->first[z] + j];
  return mean;
}

/* Heat capacities, J/K, and the power, W, that conduction brings to every point; with `renew` also what the matrix of the
   step is made of. */
INLINE void conduct(const Layout *L, const Input *in, Heat *k, const vec *t, vec *capacity, vec *power, int renew) {
  const Physics *p = in->physics;
  UNROLL
  for (int z = 0; z < L->zones; z++) {
    const int n = L->count[z], f = L->first[z];
    const double *slope = in->slope + L->square[z], *weight = in->weight + f;
    vec mean = all(0.0), share = all(0.0), best = all(0.0), flow[MAX_POINTS];
    UNROLL
    for (int j = 0; j < n; j++) {
      vec a = k->austenite[f + j], gradient = all(0.0);
      mean += weight[j] * t[f + j];
      share += weight[j] * a;
      capacity[f + j] = k->mass[z] * weight[j] * heat_capacity(p, t[f + j], a);
      UNROLL
      for (int q = 0; q < n; q++) gradient += slope[j * n + q] * t[f + q];
      vec own = k->conducts[z] * conductivity(p, t[f + j], k->alloyed, a);
      best = greater(best, own); /* the implicit step is stable with the best conducting point's */
      flow[j] = weight[j] * own * gradient;
    }
    UNROLL
    for (int j = 0; j < n; j++) {
      vec sum = all(0.0);
      UNROLL
      for (int q = 0; q < n; q++) sum -= slope[q * n + j] * flow[q];
      power[f + j] = sum;
    }
    k->mean[z] = mean;
    if (renew) {
      k->best[z] = best;
      k->zone_k[z] = conductivity(p, mean, k->alloyed, share);
    }
  }
  /* bridges carry heat from mean to mean */
  UNROLL
  for (int z = 0; z < L->zones - 1; z++) {
    if (renew) k->bridge[z] = k->link[z] * 0.5 * (k->zone_k[z] + k->zone_k[z + 1]);
    vec flow = k->bridge[z] * (k->mean[z] - k->mean[z + 1]);
    UNROLL
    for (int j = 0; j < L->count[z]; j++) power[L->first[z] + j] -= flow * in->weight[L->first[z] + j];
    UNROLL
    for (int j = 0; j < L->count[z + 1]; j++) power[L->first[z + 1] + j] += flow * in->weight[L->first[z + 1] + j];
  }
}

/* Prepare (C + gamma h A) x = b in these zones, one bit each.  Every zone's own matrix is symmetric and, but for a boiling surface, positive definite:
   L D L^T without pivoting.  Such a surface loses more as it cools: its slope is below 0 and counts as far as it takes half of what the matrix has
   there; a step too long for that is rejected by its error.  A bridge acts on the means of two zones alone, so its effect is a multiple of
   `shape` = (own matrix)^-1 weight in each; what multiple follows from a chain of one number a zone. */
INLINE void factorise(const Layout *L, const Input *in, Heat *k, const vec *capacity, vec gamma_h, int zones) {
  const vec most = -0.5 / gamma_h;
  UNROLL
  for (int z = 0; z < L->zones; z++) {
    if (!(zones >> z & 1)) continue;
    const int n = L->count[z], f = L->first[z];
    const double *stiff = in->stiff + L->square[z], *weight = in->weight + f;
    vec *m = k->factor + L->square[z], *shape = k->shape + f, g = gamma_h * k->best[z], total = all(0.0);
    UNROLL
    for (int i = 0; i < n; i++) {
      UNROLL
      for (int j = i; j < n; j++) m[i * n + j] = g * stiff[i * n + j];
      m[i * n + i] += capacity[f + i];
      if (!L->sides) continue;
      k->slope_side[f + i] = greater(k->slope_side[f + i], most * m[i * n + i]);
      m[i * n + i] += gamma_h * k->slope_side[f + i];
    }
    k->slope_front[z] = greater(k->slope_front[z], most * m[0]);
    m[0] += gamma_h * k->slope_front[z];
    k->slope_back[z] = greater(k->slope_back[z], most * m[n * n - 1]);
    m[n * n - 1] += gamma_h * k->slope_back[z];
    UNROLL
    for (int c = 0; c < n; c++) {
      vec pivot = 1.0 / m[c * n + c];
      m[c * n + c] = pivot;
      UNROLL
      for (int i = c + 1; i < n; i++) {
        vec share = m[c * n + i] * pivot;
        m[i * n + c] = share;
        UNROLL
        for (int j = i; j < n; j++) m[i * n + j] -= share * m[c * n + j];
      }
    }
    UNROLL
    for (int i = 0; i < n; i++) {
      vec sum = all(weight[i]);
      UNROLL
      for (int j = 0; j < i; j++) sum -= m[i * n + j] * shape[j];
      shape[i] = sum;
    }
    UNROLL
    for (int i = n - 1; i >= 0; i--) {
      vec sum = shape[i] * m[i * n + i];
      UNROLL
      for (int j = i + 1; j < n; j++) sum -= m[j * n + i] * shape[j];
      shape[i] = sum;
      total += weight[i] * shape[i];
    }
    k->pull[z] = gamma_h * total;
  }
  /* (1 + pull_z (g_z-1 + g_z)) m_z - pull_z g_z-1 m_z-1 - pull_z g_z m_z+1 = own mean */
  UNROLL
  for (int z = 0; z < L->zones; z++) {
    vec left = z > 0 ? k->bridge[z - 1] : all(0.0), right = z < L->zones - 1 ? k->bridge[z] : all(0.0);
    vec diagonal = 1.0 + k->pull[z] * (left + right);
    if (z > 0) diagonal -= k->pull[z] * left * k->chain_1[z - 1];
    k->chain_0[z] = 1.0 / diagonal;
    k->chain_1[z] = k->pull[z] * right * k->chain_0[z];
  }
}

/* Solve the prepared system; `x` may be `b`. */
INLINE void solve(const Layout *L, const Input *in, const Heat *k, vec gamma_h, const vec *b, vec *x) {
  vec mean[MAX_ZONES];
  UNROLL
  for (int z = 0; z < L->zones; z++) {
    const int n = L->count[z], f = L->first[z];
    const vec *m = k->factor + L->square[z];
    vec sum_mean = all(0.0);
    UNROLL
    for (int i = 0; i < n; i++) {
      vec sum = b[f + i];
      UNROLL
      for (int j = 0; j < i; j++) sum -= m[i * n + j] * x[f + j];
      x[f + i] = sum;
    }
    UNROLL
    for (int i = n - 1; i >= 0; i--) {
      vec sum = x[f + i] * m[i * n + i];
      UNROLL
      for (int j = i + 1; j < n; j++) sum -= m[j * n + i] * x[f + j];
      x[f + i] = sum;
      sum_mean += in->weight[f + i] * x[f + i];
    }
    if (z > 0) sum_mean += k->pull[z] * k->bridge[z - 1] * mean[z - 1];
    mean[z] = sum_mean * k->chain_0[z];
  }
  UNROLL
  for (int z = L->zones - 2; z >= 0; z--) mean[z] += k->chain_1[z] * mean[z + 1];
  UNROLL
  for (int z = 0; z < L->zones; z++) {
    vec flow = all(0.0);
    if (z > 0) flow += k->bridge[z - 1] * (mean[z] - mean[z - 1]);
    if (z < L->zones - 1) flow += k->bridge[z] * (mean[z] - mean[z + 1]);
    flow *= gamma_h;
    UNROLL
    for (int j = 0; j < L->count[z]; j++) x[L->first[z] + j] -= flow * k->shape[L->first[z] + j];
  }
}

/* Right side of the second stage; `power` holds the power at the end of the first and becomes the right side.  `more` takes what the right side
   leaves out because it counts the capacity of the first stage, W. */
INLINE void second_stage(const Layout *L, const vec *capacity, const vec *capacity_2, const vec *latent, const vec *k1, vec *power, vec *more) {
  UNROLL
  for (int i = 0; i < L->points; i++) {
    vec whole = power[i] + latent[i], counted = capacity[i] / capacity_2[i] * whole;
    power[i] = counted - 2.0 * capacity[i] * k1[i];
    more[i] = whole - counted;
  }
}

/* Add to `debt`, K, in every zone what the two stages bring beyond what its changes of temperature store: both stages count the capacity, `plain` and
   the `extra` that stands for transformation, as constant; `more` is what the second left out.  `stored` takes the heat of the changes, J. */
INLINE void store_rest(const Layout *L, const Input *in, const Heat *k, vec h, const vec *change, const vec *plain, const vec *extra,
                       const vec *k1, const vec *k2, const vec *more, vec *debt, vec *stored) {
  *stored = all(0.0);
  for (int z = 0; z < L->zones; z++) {
    vec owed = all(0.0), own = all(0.0);
    for (int j = 0; j < L->count[z]; j++) {
      const int i = L->first[z] + j;
      vec brought = 0.5 * h * (more[i] + (plain[i] + extra[i]) * (3.0 * k1[i] + k2[i]));
      vec heat = k->mass[z] * in->weight[i] * sensible_heat(in->physics, k->t[i], k->t[i] + change[i], k->austenite[i]);
      owed += brought - heat - extra[i] * change[i];
      own += plain[i];
      *stored += heat;
    }
    owed /= own;
    for (int j = 0; j < L->count[z]; j++) debt[L->first[z] + j] += owed;
  }
}

/* Length of the next try after an accepted or a rejected step of length `h`: the larger of the error and of the change of
   temperature, both over what is allowed, decides. */
INLINE vec next_step(vec h, mask accepted, vec error, vec change) {
  vec grow = lesser(lesser(all(3.0), 0.85 / root(greater(error, all(0.08)))), 1.1 / greater(change, all(0.3)));
  vec shrink = greater(all(0.2), lesser(lesser(all(0.8), 0.85 / root(greater(error, all(1e-9)))),
                                        0.9 / greater(change, all(1e-9))));
  return h * (accepted ? grow : shrink);
}

/* Length of this try: two even steps to the end of a piece instead of one and a sliver. */
INLINE vec this_step(vec step, vec remaining) {
  vec h = lesser(step, remaining);
  return ((h > 0.5 * remaining) & (h < remaining)) ? 0.5 * remaining : h;
}

static void heat_fill(const Layout *L, const Input *in, Heat *k, int l, int64_t c) {
  const Zone *zone = in->heads + in->head_of[c] * L->zones;
  UNROLL
  for (int z = 0; z < L->zones; z++) {
    k->mass[z][l] = zone[z].mass_kg;
    k->front[z][l] = zone[z].front_m2;
    k->back[z][l] = zone[z].back_m2;
    k->side[z][l] = zone[z].side_m2;
    k->conducts[z][l] = zone[z].conduction_m;
    k->link[z][l] = z < L->zones - 1 ? zone[z].link_m : 0.0;
  }
  k->alloyed[l] = case_of(in, c)->alloyed;
}

/* Numbers that lanes without a case work on. */
static void heat_idle(const Layout *L, Heat *k) {
  UNROLL
  for (int i = 0; i < L->points; i++) k->t[i] = all(20.0);
  UNROLL
  for (int z = 0; z < L->zones; z++) k->mass[z] = k->conducts[z] = all(1.0);
}
