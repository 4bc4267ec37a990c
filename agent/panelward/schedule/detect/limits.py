"""The watch's own numbers, as far as they decide what can be found and how soon.

This room may not import the watch, so they stand here again. `tests/schedule/test_detect_limits.py` holds each equal
to the watch's: a new number there without one here fails.
"""

from __future__ import annotations

# watch.dead
LOW = 0.5  # of the floor
LOW_READINGS = 3
STEADY_S = 45.0
TELL_S = 60.0
TELL_PERIODS = 3
ZERO_STEPS, ZERO_A = 3.0, 0.03  # without a floor: below the greater of these it shows nothing
MUST_OPEN, FAR_OVER = 1.35, 1.6  # of the rating: what a draw before it says of an opening

# watch.zero: what a channel may read at no current
ZERO_ERROR_STEPS, ZERO_ERROR_A, FINE_A, DRIFT_A = 2.0, 0.02, 0.01, 0.01

# watch.idle
IDLE_NEEDED, IDLE_VISITS = 30, 3
CYCLIC = ("compressor", "detector", "electronics")

# watch.overcurrent
SUSTAINED_S = 10.0
OVER_READINGS, OVER_READINGS_SLOW, SLOW_S = 3, 2, 20.0  # the fewer from this period on
LOOK_AGAIN_S = 12.0  # on-change publishers
SURGE_SLACK = 1.15

# watch.doubt
GAIN = 0.97
COLDEST_C = -20.0
PROVEN = 1.1
DOUBT_FOLD = 5
DOUBT_READINGS = {"mean": 5, "sample": 10}

# watch.drain
OUTSIDE_HOURS_S = 1800.0
BETWEEN_S = 7200.0
DRAIN_STEPS, DRAIN_W = 2.0, 0.5  # above standby by the greater of these
FLOORS = 1.5  # standby is at least this many floors
DRAIN_LOOK_S = 60.0  # on-change publishers

# watch.standby
RISEN_A, RISEN_STEPS, RISEN_OWN_A, RISEN_SHARE = 0.02, 1.4, 0.012, 0.05
RISEN_WARMTH_A = 0.0075  # a zero's, over the warmth that is taken where no probe knows it
RISEN_LARGE_A, RISEN_LARGE_HOURS, RISEN_SMALL_HOURS, RISEN_ANCHOR_HOURS = 0.07, 6, 26, 24
LEFT_ON = ("socket", "charger")

# watch.supply
NEAR = 0.03
PULLED = 0.01
MINUTES_NEAR = 2
WINDOW_MINUTES = 30
HOURS_AHEAD, HOURS_KNEE = 2.0, 3.0

# watch.suspect
STUCK_S, STUCK_STEPS, STUCK_LEAST_STEPS = 600.0, 5.0, 20.0
UNMOVED_A, UNMOVED_STEPS = 0.5, 10.0  # watch.unmoved: a draw whose stop the bank's meter shows
FOLLOWS = ("constant-power", "constant-impedance", "fan")

# watch.swapped
DRAWN_HOURS = 2
ANYTHING = ("socket", "inverter")  # of what hangs on these nobody knows what it would show

# watch.level, watch.retries, watch.glow
LEVEL_GAIN, LEVEL_REST_STEPS, LEVEL_REST_W = 0.03, 2.0, 0.5
STALL, STALL_S, STALL_SURGE = 2.0, 2.0, 1.5
DRY_S, ODD_S, OVER_LEVEL, VISIT_READINGS = 35.0, 600.0, 1.10, 3
TURNS = ("fan", "pump", "motor")
UNKNOWN_LEVELS = ("inverter", "charger", "detector")
RETRY_TRIES = {"fan": 6, "motor": 6, "compressor": 5}
RETRY_PACE_S = {"fan": (2.0, 30.0), "motor": (2.0, 30.0), "compressor": (10.0, 180.0)}
RETRY_STANDS = ("fan", "compressor")
GLOW_APART, GLOW_PHASES, GLOW_PERIOD_S = 2.5, 3, 30.0

# watch.rhythm, watch.duties, watch.runs, watch.balance, watch.cooling, watch.starts
RHYTHM_SEEN, QUARTER_S = 0.9, 900.0
RUN_LEAST_S = 2160.0
BALANCE_S, BALANCE_HALF_DAYS = 43_200.0, 3
HABIT_DAYS = 4.0  # thirds of a day that are learned before it is judged
HABIT_LATE_S = 48 * 3600.0  # two thirds of a day, one of them a night, from when it began to tell
SHORT_RUNS, SHORT_RUN_S, SHORT_SLOWEST_S = 6, 150.0, 30.0
LEAK_PAUSES, LEAK_RUN_S, LEAK_SLOWEST_S = (4, 7), (1.0, 15.0), 10.0
SUMP_STARTS, SUMP_SLOWEST_S = 5, 30.0

# watch.unassigned, watch.drift
UNASSIGNED_BLOCK_S, UNASSIGNED_NIGHT, UNASSIGNED_SIGMAS, UNASSIGNED_LEAST_A = 3600.0, 6, 3.0, 0.03
UNASSIGNED_ZERO_STEPS, UNASSIGNED_ZERO_A, UNASSIGNED_KNOWN_A = 1.0, 0.0115, 0.002
DRIFT_SD = 0.03
DRIFT_UNJUDGED = ("air-heater", "socket", "inverter", "charger")
IDLING_S = 6600.0  # watch.drain
