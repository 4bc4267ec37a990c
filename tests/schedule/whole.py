"""A schedule that uses every key, each on a line of its own. All values are invented."""

from __future__ import annotations

WHOLE = """\
[vehicle]
name = "Survey van"
id = "survey-van"
timezone = "Europe/Oslo"
spares = ["D14"]
unheard_after = "30min"
sign_of_life_to = "https://owner.example/sign"
panel = "odd-left"
door_at = "http://panel.local:8460"
[vehicle.fitter]
name = "Fjord Panels"
phone = "+44 1632 960123"
[vehicle.rules]
dc = ["33 CFR 183.425"]
ac = ["IEC 60364-5-52"]

[broker]
host = "127.0.0.1"
port = 8883
username = "panelward"
password_file = "/etc/panelward/broker.password"
tls = true
ca_file = "/etc/panelward/ca.crt"
cert_file = "/etc/panelward/van.crt"
key_file = "/etc/panelward/van.key"

[[monitor]]
name = "dc-panel"
dialect = "plain"
topic = "van/dc/{circuit}/{quantity}"
expect_every_s = 2
[monitor.will]
topic = "van/dc/state"
gone = "lost"
here = "ready"
[monitor.sense]
volts_at = "after-device"
reports = "mean"
resolution_a = 0.02
publishes = "on-change"
full_scale_a = 50

[[monitor]]
name = "ac-panel"
dialect = "json"
topic = "van/ac/{circuit}"
[monitor.fields.volts]
pointer = "/u"
[monitor.fields.amps]
pointer = "/i"
scale = 0.001
[monitor.fields.watts]
pointer = "/p"
[monitor.fields.closed]
pointer = "/on"
[monitor.fields.celsius]
pointer = "/t"
[monitor.fields.commanded]
pointer = "/want"
[monitor.fields.time]
pointer = "/at"

[[monitor]]
name = "rear-panel"
dialect = "senml"
topic = "van/rear"
record_name = "urn:dev:{circuit}:{quantity}"

[supply.house]
kind = "dc"
nominal_v = 12.8
cutoff_v = 11.6
cutoff_delay_s = 10
restore_v = 12.9
meter = "SH"
meter_sign = "charge-positive"
presence = "always"
[supply.house.battery]
chemistry = "lfp"
capacity_ah = 200
usable = 0.85
[supply.house.fault_a]
min = 900
max = 3000

[supply.inverter]
kind = "ac"
nominal_v = 230
frequency_hz = 50
fed_by = "D9"

[feeder.rear]
supply = "house"
behind = ["disconnect"]
diversity = 0.7
[feeder.rear.conductor]
sae = "2"
[feeder.rear.protection]
kind = "bolt-fuse"
rating_a = 60
breaking_a = 6000
[feeder.rear.protection.exemption]
rule = "33 CFR 183.455(c)"
edition = "2024"
why = "starter circuit"

[[probe]]
id = "T1"
where = "load:D1"
monitor = "dc-panel"

[[circuit]]
id = "SH"
label = "Bank meter"
monitor = "dc-panel"
supply = "house"
role = "meter"

[[circuit]]
id = "D1"
label = "Sample freezer"
monitor = "dc-panel"
supply = "house"
behind = []
role = "load"
# a charger has a source: sun, engine or shore (tested in tests/watch/test_doing.py)
feed = "always-on"
always_on_reason = "samples spoil above -15 °C"
importance = "property"
carries_messages = false
hands = "fitter"
[circuit.protection]
kind = "blade-fuse"
type = "C"
rating_a = 15
as_found_a = 15
as_left_a = 15
way_max_a = 20
rated_v = 32
breaking_a = 3500
[circuit.conductor]
area_mm2 = 6.0
length_m = 4.5
insulation_c = 105
bundled = 3
ambient_c = 40
thermal_insulation_m = 0
return = "wire"
[circuit.sense]
resolution_a = 0.01
[circuit.load]
kind = "compressor"
behaves = "constant-power"
maker_fuse_a = 15
always_draws_w = 1.4
longest_run = "3h"
daily_wh = 700
hours = ["06:00-22:00"]
[circuit.load.standby_w]
max = 3.0
[[circuit.load.levels]]
name = "compressor"
watts = 52
tolerance = 0.25
[circuit.load.levels.surge]
times = 3.0
seconds = 1.0
[circuit.load.duty]
low = 0.15
high = 0.65
window_h = 6

[[circuit]]
id = "D5"
label = "Mast lights"
monitor = "rear-panel"
feeder = "rear"
feed = "switched"
[circuit.protection]
kind = "breaker-c"
rating_a = 10
rated_v = 60
breaking_a = 5000
[[circuit.conductor]]
awg = "12"
[[circuit.conductor]]
awg = "1/0"
[[circuit.load]]
kind = "light"
[[circuit.load]]
kind = "fan"
behaves = "fan"
inline_fuse_a = 5

[[circuit]]
id = "D9"
label = "Inverter"
monitor = "dc-panel"
supply = "house"
behind = ["isolator"]
feed = "switched"
[circuit.protection]
kind = "bolt-fuse"
rating_a = 125
breaking_a = 5000

[[circuit]]
id = "A1"
label = "Bench outlet"
monitor = "ac-panel"
supply = "inverter"
feed = "switched"
[circuit.protection]
kind = "breaker-b"
rating_a = 10
"""


def line_of(text: str, part: str) -> int:
    """The number of the one line that holds this part."""
    assert text.count(part) == 1, f"{part!r} stands {text.count(part)} times"
    return text[: text.index(part)].count("\n") + 1


def swapped(old: str, new: str, text: str = WHOLE) -> tuple[str, int]:
    """The text with one part replaced, and the line where the new part begins."""
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
    return text.replace(old, new), text[: text.index(old)].count("\n") + 1
