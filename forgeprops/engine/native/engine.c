/* One translation unit: the engine's parts are included here. */
double forgeprops_mean(const double *values, int count) {
  double sum = 0.0;
  for (int i = 0; i < count; i++) sum += values[i];
  return sum / count;
}
