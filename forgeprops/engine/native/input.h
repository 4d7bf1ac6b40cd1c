/* What the engine is fed and what it hands back.  The fields are those of the NumPy records in `packing`, in the same
   order; `forgeprops_fields` lets Python compare the names. */
#ifndef INPUT_H
#define INPUT_H
#include <stdint.h>

#define MAX_ZONES 5
#define MAX_POINTS 84    /* of all zones; arrays of so many vectors do not fall on the same cache lines */
#define MAX_SQUARE 1668  /* sum of the squares of the points of each zone */

enum { FURNACE, AIR, REST, STROKE, SPRAY, SPRAY_ON_DIE, COOL, JET, BATH }; /* kinds of step */

/* Marks of a zone. */
enum { M_FURNACE, M_DIE, M_WATER_ON, M_WATER_OFF, M_T800, M_T500, M_RATE700, M_REBOUND, M_SCALE, M_LOW, MARKS };

/* Rows of the state of a structure; those up to STEPPED change in every step. */
enum {
  AUSTENITE, FERRITE, PEARLITE, BAINITE, MARTENSITE, LOG_V_FP, LOG_V_B, J_MARTENSITE, J_BAINITE, CARBON_M,
  UNDERCOOLING, T_MIN, LOG_V_700, PASSED_700, STEPPED,
  AUSTENITE_0 = STEPPED, K_F, K_P, K_B, CARBON_0, AE3, J_OLD, ROWS
};

/* Rows of the furnace state of a point. */
enum { SHARE, UNDISSOLVED, GRAIN, HEAT_ROWS };

#define CASE_FIELDS(X) \
  X(carbon) X(cr) X(mo) X(ae1) X(ae3) X(ac1) X(ac3) X(bainite_limit) X(ln_f) X(ln_p) X(ln_b) X(alloy_f) X(alloy_p) X(grain_m) X(grain_ln_k) \
  X(grain_q) X(grain_ln_k_low) X(grain_q_low) X(pin_low) X(pin_high) X(alloyed) X(temper_q_k) X(ms_grain) X(furnace_c) \
  X(furnace_emissivity) X(start_c) X(air_c) X(emissivity) X(view_factor) X(air_factor) X(spray_factor) \
  X(scale_factor) X(furnace_convection) X(coil_s) X(die_factor) X(die_c) X(work_k) X(scale_left) X(start_grain_um) X(start_austenite) \
  X(start_scale_um) X(first_finish_c) X(first_grain_um) X(ln_carbide_speed)

#define ZONE_FIELDS(X) X(mass_kg) X(front_m2) X(back_m2) X(side_m2) X(conduction_m) X(link_m) X(one_structure)

#define KINETIC_FIELDS(X) \
  X(q_ferrite) X(q_pearlite) X(q_bainite) X(grain_ferrite) X(grain_pearlite) X(grain_bainite) X(ferrite_c) X(pearlite_c) \
  X(bainite_c) X(ferrite_cr) X(pearlite_cr) X(bainite_cr) X(ferrite_mo) X(pearlite_mo) X(bainite_mo) X(bainite_tail)

/* Numbers of the formula rooms; the engine has none of its own. */
#define PHYSICS_FIELDS(X) \
  X(cp_a0) X(cp_a1) X(cp_a2) X(cp_a3) X(cp_f0) X(cp_f1) X(cp_f2) X(cp_f3) X(cp_f_hold_c) X(k_0) X(k_slope) X(k_least) \
  X(k_alloyed_most) X(k_austenite_slope) X(k_austenite_from_c) X(heat_fp) X(heat_b) X(heat_m) X(stefan_boltzmann) \
  X(jet_w_m2k) X(resting_contact) X(die_effusivity_2) X(scale_k) X(scale_q_k) \
  X(eutectoid_carbon) X(ferrite_carbon) X(three_phase_c) X(formation_s) X(formation_q_k) X(dissolution_s) \
  X(dissolution_q_k) X(alloy_in_carbide) X(c_per_cr) X(c_per_mo) X(carbide_spacing_um) X(carbide_spacing_carbon) \
  X(grains_per_mm2) X(reference_grain_um) X(ae3_slope) X(acm_slope) X(gas_cal) X(mo_half) X(mo_scale) X(kinetic_carbon) X(return_undercooling) \
  X(table_carbon) X(least_rate) X(rate_of_c) X(rate_window_c) X(reheated_c) X(highest_ms_c) X(spray_base) X(spray_film) X(spray_film_fall) \
  X(spray_boiling) X(spray_boiling_k) X(spray_wetting) X(boiling_from_k) X(water_weakening) X(water_reference_c) \
  X(single_phase_factor) X(single_phase_power) X(water_cp) X(water_hfg) X(wetting_flux) X(scale_conductivity)

/* Step control, °C; see `march.py`. */
#define CONTROL_FIELDS(X) \
  X(error) X(stride) X(stride_water) X(stride_idle) X(debt) X(furnace_error) X(furnace_debt) X(furnace_stride) X(furnace_stride_ac) X(furnace_finer) X(finer) X(stop_c) \
  X(step_limit)

#define DOUBLE(name) double name;
typedef struct { CASE_FIELDS(DOUBLE) double ln_strain_f[MAX_ZONES], ln_strain_b[MAX_ZONES], coil_c[MAX_ZONES]; } Case;
typedef struct { ZONE_FIELDS(DOUBLE) } Zone;
typedef struct { KINETIC_FIELDS(DOUBLE) } Kinetics;
typedef struct { PHYSICS_FIELDS(DOUBLE) } Physics;
typedef struct { CONTROL_FIELDS(DOUBLE) } Control;
/* A piece of the route: a share of every zone meets a fluid, a spray by its flux or a bath by its table; `air` is a table of convection
   for this piece counted from 1, 0 for that of the case; what a zone is wrapped in conducts `cover`, 0 for nothing. */
typedef struct { int64_t kind, medium, air; double duration_s, contact, flux, fluid_c, share[MAX_ZONES], cover[MAX_ZONES]; } Step;

typedef struct {
  int64_t cases_n, case_bytes, zones, steps_n, carbon_points, convection_points, extent_points, contact_points, medium_points, trace_points;
  const int64_t *points; /* a zone */
  const char *cases; /* records of `case_bytes` that begin with a Case */
  const Zone *heads;
  const int64_t *head_of;
  const Step *steps;
  const double *convection; /* W/(m² K), [table][zone][temperature], every 50 °C from 0 */
  const int64_t *convection_of;
  const double *media; /* loss to a bath, W/m², [table][temperature of the surface, every 10 °C from 0] */
  const double *start; /* Ms (°C), rate of the martensite law (1/K) and a hardness the engine does not read, [steel][3][carbon] */
  const int64_t *start_of;
  const Kinetics *kinetics;
  const Physics *physics;
  const Control *control;
  const int64_t *extent, *inverse; /* pairs of floats, [law][cell]: S on even steps of sqrt(X), sqrt(X) on even steps of S */
  const double *top;               /* S(1) of both laws */
  const double *contact;           /* conductance of a die over that of its surface, on even steps of x/(1 + x); see `physics.contact_table` */
  const double *weight, *stiff, *slope;
} Input;

typedef struct {
  double *state;       /* [case][ROWS][structure] */
  double *first_state; /* the same for the first heat */
  double *heat;        /* [case][HEAT_ROWS][point] */
  double *marks;       /* [case][zone][MARKS] */
  double *energy;      /* [case][3]: taken from the surroundings, stored as sensible heat, given by transformation, J */
  int64_t *steps;      /* [case]; negative where the step limit was met */
  int64_t *first_of;   /* [case]: 1 where the first heat was marched too */
  double **trace;      /* [case], rows of 1 + 2 zones (+ points); NULL for none */
  int64_t *trace_rows; /* [case] */
} Output;
#endif
