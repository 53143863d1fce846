"""The commented files that ``pullbook new`` leaves: every key with what it may be, all of them optional and switched off."""

DAY_YAML = """\
# {day}: the day, for {engine}. Everything is optional; take the `#` and the blank behind it away where you know it.
# Numbers are bare, with a decimal point. Put words with a colon in quotes.

# air:                         # in the cell, at the intake; one humidity is enough
#   pressure_kpa: 98.2         # station pressure, never reduced to sea level
#   temperature_c: 21.5
#   humidity_pct: 45           # or dew_point_c, or vapour_pressure_kpa
# correction: SAE J1349        # or SAE J607, ISO 1585, DIN 70020, none
# logs_already_corrected: false   # or the standard's name, or unknown

# zero_mark:                   # piston stop: what the damper reads at the stop, before and after top dead centre
#   stop_before_tdc_deg: 30.0
#   stop_after_tdc_deg: 30.0
#   checked: {date}

# dyno: {{name: "", kind: engine, repeatability_pct: 0.5}}   # kind: engine, roller, hub
# light: {{kind: plain}}         # or dial_back
# vacuum_advance: off          # or on
# listening: none              # or ear, stethoscope, sensor: who listened for knock

# fuel: ""
# oil: ""
# plugs: ""
# mixture: ""
# notes: ""

# limits:                      # the defaults
#   margin_below_knock_deg: 2
#   tolerance_pct: 0.5
#   max_step_deg: 2
"""

ENGINE_YAML = """\
# {engine}: what the engine is. Everything is optional; take the `#` and the blank behind it away where you know it.

# name: ""
# cylinders: 8
# displacement_l: 5.0
# altitude_m: 120              # of the shop
# compression_ratio: 9.5
# fuel: ""
# used_rpm: [2500, 5500]       # the speeds that matter
# damper_diameter_mm: 180
# rotating_inertia_kg_m2: 0.3  # between crank and torque sensor; never an inertia roller's drum

# ignition:
#   kind: mechanical           # or locked, mapped
#   advance_scale: crank       # of the logs; or distributor
#   spark: single              # or wasted, multi
#   stops_deg: [16, 20, 24]    # crank degrees the stops you own allow
#   springs:
#     - {{name: soft pair, start_rpm: 900, all_in_rpm: 2600, at_stop_deg: 20}}
#   breakpoints_rpm: [1000, 2000, 3000, 4000, 5000, 6000]   # of a mapped table

# known_limits: {{max_advance_deg: 38, note: ""}}   # never passed by any advice
"""
