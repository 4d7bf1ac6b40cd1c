/* Structure along a temperature curve that is given, not computed: the reactions of the march at one point of the steel. */
static const Layout POINT = {1, 1, 1, {1}, {0}, {0}, {0}, {0}, 0};

/* Decompose along the curve, fully austenitic at its start, in steps of at most 1 °C and 1/50 of an interval at level temperature.
   `history` takes the shares of ferrite, pearlite, bainite, martensite and austenite at the points of the curve, `state` the end. */
static WIDE void follow(const Input *in, Steels *k, vec *s, int64_t n, const double *time_s, const double *t_c, double grain_um,
                        double *state, double *history) {
  const Case *c = case_of(in, 0);
  Stretch w;
  steel_fill(in, c, k, 0, in->start_of[0]);
  set_austenite(in, c, k, s, 1, 0, 1, 0, all(1.0), all(0.0), all(grain_um), all(t_c[0]));
  for (int64_t j = 0; j < n; j++) {
    if (j > 0) {
      const double dt = time_s[j] - time_s[j - 1], from = t_c[j - 1], rise = t_c[j] - from, moved = rise < 0.0 ? -rise : rise;
      const int steps = (int)max_of(moved, moved < 1.0 ? 50.0 : 1.0) + 1;
      for (int i = 0; i < steps; i++) {
        w.start[0] = all(from + rise * i / steps);
        w.mean[0] = all(from + rise * (i + 0.5) / steps);
        w.end[0] = all(from + rise * (i + 1.0) / steps);
        w.rate[0] = all(-3600.0 * rise / dt);
        decompose(&POINT, in, k, s, &w, all(dt / steps));
        transform(&POINT, in, k, s, &w, all(dt / steps), all_i(-1));
      }
    }
    for (int r = 0; r < 4; r++) history[5 * j + r] = s[FERRITE + r][0];
    history[5 * j + 4] = s[AUSTENITE][0];
  }
  structure_out(k, s, 1, 0, 0, state);
}
