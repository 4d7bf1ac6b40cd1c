/* Moment against curvature of a bored round bar on a flow curve; the formulas stand in `hosel/bending_moment.py`.  N, mm, MPa.  Eight sections
   side by side. */
#define SECTION_FIELDS 8
#define HARDENING_TERMS 10

typedef struct {
  vec outside, bore, youngs, yield_mpa, starts, hardening, power, terms[HARDENING_TERMS];
} Sections;

/* asin of 0..1: an eighth of the angle by the series of its tangent. */
INLINE vec arc_sine(vec sine, vec cosine) {
  vec t = sine / (1.0 + cosine);
  t = t / (1.0 + root(1.0 + t * t));
  t = t / (1.0 + root(1.0 + t * t));
  vec z = t * t, p = all(1.0 / 21.0);
  p = 1.0 / 19.0 - p * z;
  p = 1.0 / 17.0 - p * z;
  p = 1.0 / 15.0 - p * z;
  p = 1.0 / 13.0 - p * z;
  p = 1.0 / 11.0 - p * z;
  p = 1.0 / 9.0 - p * z;
  p = 1.0 / 7.0 - p * z;
  p = 1.0 / 5.0 - p * z;
  p = 1.0 / 3.0 - p * z;
  return 8.0 * t * (1.0 - p * z);
}

/* Moment of a solid disc at curvature k, and its slope. */
INLINE void disc_moment(const Sections *c, vec radius, vec k, vec *moment, vec *slope) {
  vec cube = radius * radius * radius, reach = c->yield_mpa / (c->youngs * k * radius), sine = lesser(reach, all(1.0));
  vec cosine = root((1.0 - sine) * (1.0 + sine));
  vec core = 0.5 * arc_sine(sine, cosine) - 0.5 * sine * cosine * (1.0 - 2.0 * sine * sine); /* p/2 - sin(4p)/8 */
  /* below yield the closed form is continued by the elastic line */
  *moment = c->yield_mpa * cube * (core / sine + (4.0 / 3.0) * cosine * cosine * cosine) / greater(reach, all(1.0));
  *slope = c->youngs * cube * radius * core;
  vec left = 1.0 - c->starts / (k * radius);
  mask hardens = (left > 0.0) & (c->hardening > 0.0);
  if (!any(hardens)) return;
  vec safe = hardens ? left : all(1.0), value = all(0.0), change = all(0.0);
  /* the integral of (t - u)^m t sqrt(1 - t^2) from u to 1: with 1 - t = (1 - u)(1 - s) it is s^m (1 - s)^1/2 times a polynomial,
     so each power is an Euler beta function */
  for (int j = HARDENING_TERMS - 1; j >= 0; j--) {
    value = value * safe + c->terms[j];
    change = change * safe + (c->power + 1.5 + j) * c->terms[j];
  }
  vec factor = 4.0 * c->hardening * cube * root(safe) * exponential(c->power * logarithm(safe * k * radius));
  *moment += hardens ? factor * safe * value : all(0.0);
  *slope += hardens ? factor * (c->power * safe * value + (1.0 - safe) * change) / k : all(0.0);
}

INLINE void tube_moment(const Sections *c, vec k, vec *moment, vec *slope) {
  vec hole, hole_slope;
  mask bored = c->bore > 0.0;
  disc_moment(c, 0.5 * c->outside, k, moment, slope);
  disc_moment(c, bored ? 0.5 * c->bore : all(1.0), k, &hole, &hole_slope);
  *moment -= bored ? hole : all(0.0);
  *slope -= bored ? hole_slope : all(0.0);
}

/* Section `row` of `cases` into lane `l`; the last field is the first term of the hardening integral, B(m + 1, 3/2). */
INLINE void section_fill(Sections *c, int l, const double *row, const double *shape) {
  c->outside[l] = row[0];
  c->bore[l] = row[1];
  c->youngs[l] = row[2];
  c->yield_mpa[l] = row[3];
  c->starts[l] = row[4];
  c->hardening[l] = row[5];
  c->power[l] = row[6];
  double term = row[7];
  for (int j = 0; j < HARDENING_TERMS; j++) {
    c->terms[j][l] = shape[j] * term;
    term *= (j + 1.5) / (row[6] + j + 2.5); /* B(a, b + 1) = B(a, b) b/(a + b) */
  }
}

/* Moments and slopes of `n` sections at their curvatures. */
static WIDE void moments(int64_t n, const double *cases, const double *shape, const double *curvature, double *moment, double *slope) {
  Sections c;
  for (int64_t first = 0; first < n; first += LANES) {
    vec k, m, s;
    for (int l = 0; l < LANES; l++) {
      const int64_t i = first + l < n ? first + l : n - 1;
      section_fill(&c, l, cases + i * SECTION_FIELDS, shape);
      k[l] = curvature[i];
    }
    tube_moment(&c, k, &m, &s);
    for (int l = 0; l < LANES && first + l < n; l++) {
      moment[first + l] = m[l];
      slope[first + l] = s[l];
    }
  }
}

/* Curvature that carries `target` and the slope there: Newton between brackets; 6 to 9 steps are needed from far, 2 to 4 from the
   neighbour's curvature. */
INLINE vec curvature_of(const Sections *c, vec target, vec start, vec *slope) {
  vec big = c->outside * c->outside, small = c->bore * c->bore;
  /* elastic: plastic flow only softens */
  vec low = target / (c->youngs * (3.14159265358979323846 / 64.0) * (big * big - small * small)), high = all(1e300);
  vec k = greater(start, low);
  mask open = all_i(-1);
  for (int step = 0; step < 60 && any(open); step++) {
    vec value, rise;
    tube_moment(c, k, &value, &rise);
    *slope = open ? rise : *slope;
    vec miss = value - target, next = k - miss / rise;
    low = miss < 0.0 ? k : low;
    high = miss > 0.0 ? k : high;
    /* the curve bends both ways (plateau, then hardening): a step out of the bracket is replaced by its middle */
    mask outside = (miss != 0.0) & ((next <= low) | (next >= high));
    next = outside ? (high < 1e300 ? 0.5 * (low + high) : 2.0 * low) : next;
    /* the error after a Newton step is of the order of the step squared */
    mask close = size(next - k) <= 1e-9 * k;
    k = open ? next : k;
    open &= ~close;
  }
  return k;
}

/* Curvatures of rows of `wide` sections; neighbours in a row are alike and start from each other. */
static WIDE void curvatures(int64_t rows, int64_t wide, const double *cases, const double *shape, const double *moment,
                            const double *start, double *curvature) {
  Sections c;
  for (int64_t first = 0; first < rows; first += LANES) {
    vec guess, target, slope = all(1.0);
    int64_t at[LANES];
    for (int l = 0; l < LANES; l++) {
      at[l] = first + l < rows ? first + l : rows - 1;
      guess[l] = start[at[l]];
    }
    for (int64_t i = 0; i < wide; i++) {
      for (int l = 0; l < LANES; l++) {
        const int64_t j = at[l] * wide + i;
        section_fill(&c, l, cases + j * SECTION_FIELDS, shape);
        if (i > 0) guess[l] += (moment[j] - moment[j - 1]) / slope[l]; /* along the slope to the next moment */
        target[l] = moment[j];
      }
      guess = curvature_of(&c, target, guess, &slope);
      for (int l = 0; l < LANES; l++) curvature[at[l] * wide + i] = guess[l];
    }
  }
}
