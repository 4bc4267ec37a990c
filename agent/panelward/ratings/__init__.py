"""Pure functions over published tables: what devices and conductors can bear. Each number has its source beside it.

thermal      heat of one or two bodies, and the time to open
devices      the types of protective devices: gates, what is printed about them, their published set (members)
specimens    what the fitted device may do: the whole set at once; earliest, likely, latest
conductor    sizes, resistance, short-circuit withstand
ampacity     what a conductor may carry in its place, by every rule named
drop         voltage drop, loads solved as they behave
fault        a short at the far end
selectivity  branch and feeder
bank         how long it lasts
curves       the lines of a coordination diagram: what a device may do, what the conductor bears
colours      the trade's colour code of blade fuses
"""

from panelward.ratings.ampacity import (
    DEFAULT_RULES,
    RULES,
    Ampacity,
    corrected_ampacity_a,
    steady_c,
    time_constant_s,
    weakest,
)
from panelward.ratings.bank import autonomy_days, peukert_exponent, peukert_hours, peukert_rated_hours, storage_days
from panelward.ratings.conductor import (
    area_mm2,
    awg_area_mm2,
    greatest_ohm_per_m,
    resistance_ohm_per_m,
    sae_area_mm2,
    withstand_a2s,
)
from panelward.ratings.devices import (
    FAMILIES,
    GATES,
    MAGNETIC,
    Device,
    Family,
    Gate,
    Member,
    cold_factor,
    device,
    family,
    set_names,
    warm_factor,
)
from panelward.ratings.drop import Loop, Solved, circular_mils, drop_by_circular_mils_v, loop_ohm, solve
from panelward.ratings.fault import FarShort, far_fault_a, far_short, source_limited_a
from panelward.ratings.fitting import (
    Size,
    fitting_ratings_a,
    greatest_standard_a,
    stall,
    standard_ratings_a,
    standard_sizes,
)
from panelward.ratings.relaid import Relaid, most_watts, relaid
from panelward.ratings.selectivity import selectivity
from panelward.ratings.specimens import Specimens, opening_times_s
from panelward.ratings.thermal import Body, heat, iec_60255_149_time_s, time_to_open_s, warm

__all__ = [
    "DEFAULT_RULES",
    "FAMILIES",
    "GATES",
    "MAGNETIC",
    "RULES",
    "Ampacity",
    "Body",
    "Device",
    "Family",
    "FarShort",
    "Gate",
    "Loop",
    "Member",
    "Relaid",
    "Size",
    "Solved",
    "Specimens",
    "area_mm2",
    "autonomy_days",
    "awg_area_mm2",
    "circular_mils",
    "cold_factor",
    "corrected_ampacity_a",
    "device",
    "drop_by_circular_mils_v",
    "family",
    "far_fault_a",
    "far_short",
    "fitting_ratings_a",
    "greatest_ohm_per_m",
    "greatest_standard_a",
    "heat",
    "iec_60255_149_time_s",
    "loop_ohm",
    "most_watts",
    "opening_times_s",
    "peukert_exponent",
    "peukert_hours",
    "peukert_rated_hours",
    "relaid",
    "resistance_ohm_per_m",
    "sae_area_mm2",
    "selectivity",
    "set_names",
    "solve",
    "source_limited_a",
    "stall",
    "standard_ratings_a",
    "standard_sizes",
    "steady_c",
    "storage_days",
    "time_constant_s",
    "time_to_open_s",
    "warm",
    "warm_factor",
    "weakest",
    "withstand_a2s",
]  # fmt: skip
