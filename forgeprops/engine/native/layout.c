/* How points and structures of the zones lie in the flat arrays. */
#include "input.h"
#include "vector.h"

typedef struct {
  int zones, points, structures;
  int count[MAX_ZONES];     /* points of a zone */
  int first[MAX_ZONES];     /* its first point */
  int square[MAX_ZONES];    /* where its matrices begin */
  int structure[MAX_ZONES]; /* its first structure */
  int lumped[MAX_ZONES];    /* one structure stands for all its points */
  int sides;                /* some zone loses heat along its side (end-quench bar) */
} Layout;

/* A head with the points of `packing.POINTS`: known when compiled, so that its small loops unroll. */
static const Layout HEAD = {5, 25, 21, {6, 8, 5, 3, 3}, {0, 6, 14, 19, 22}, {0, 36, 100, 125, 134}, {0, 6, 14, 19, 20},
                            {0, 0, 0, 1, 1}, 0};

static Layout layout_of(const Input *in) {
  Layout L = {0};
  int square = 0;
  L.zones = (int)in->zones;
  for (int z = 0; z < L.zones; z++) {
    L.count[z] = (int)in->points[z];
    L.first[z] = L.points;
    L.square[z] = square;
    L.structure[z] = L.structures;
    L.lumped[z] = in->heads[z].one_structure > 0.0;
    L.points += L.count[z];
    square += L.count[z] * L.count[z];
    L.structures += L.lumped[z] ? 1 : L.count[z];
  }
  for (int64_t c = 0; c < in->cases_n; c++)
    for (int z = 0; z < L.zones; z++) L.sides |= in->heads[in->head_of[c] * L.zones + z].side_m2 > 0.0;
  return L;
}

static int same_layout(const Layout *a, const Layout *b) {
  if (a->zones != b->zones || a->sides != b->sides) return 0;
  for (int z = 0; z < a->zones; z++)
    if (a->count[z] != b->count[z] || a->lumped[z] != b->lumped[z]) return 0;
  return 1;
}

INLINE int structures_of(const Layout *L, int z) { return L->lumped[z] ? 1 : L->count[z]; }
/* Structure of point j of zone z. */
INLINE int structure_at(const Layout *L, int z, int j) { return L->structure[z] + (L->lumped[z] ? 0 : j); }

static const Case *case_of(const Input *in, int64_t c) { return (const Case *)(in->cases + c * in->case_bytes); }

/* A route goes stage by stage, all cases through one before the next: what a stage has no need of is left out for all lanes. */
enum { BEFORE_WATER, IN_WATER, AFTER_WATER, STAGES };

/* Stage that a piece of a route of this kind belongs to, or to a later one if the water has begun. */
INLINE int own_stage(int64_t kind) {
  return kind == COOL ? AFTER_WATER : kind == SPRAY || kind == SPRAY_ON_DIE || kind == BATH ? IN_WATER : BEFORE_WATER;
}

/* First try of a step in a piece of the route of each kind, s: about as long as is accepted there. */
static const double FIRST_STEP_S[] = {[FURNACE] = 5.0, [AIR] = 1.0, [REST] = 0.01, [STROKE] = 0.006, [SPRAY] = 0.02,
                                      [SPRAY_ON_DIE] = 0.01, [COOL] = 0.03, [JET] = 0.02, [BATH] = 0.02};
