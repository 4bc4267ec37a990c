"""The TOML's tables as pydantic models: each key, its kind and its default. Names are those of the file.

Only what one key must be stands here; what ties keys together stands in `rules`.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from panelward.ratings.ampacity import RULES
from panelward.ratings.conductor import AWG_ALIASES, AWG_SIZES, SAE_CMIL
from panelward.schedule.values import (
    Alias,
    Duration,
    Hours,
    JsonPointer,
    Number,
    OneOf,
    Pattern,
    Scale,
    Text,
    TimeZone,
    Truth,
)

DIALECTS = ("plain", "json", "senml")
BEHIND = ("isolator", "disconnect", "ignition", "user-switch")
LOAD_KINDS = (
    "compressor", "fan", "pump", "heater-element", "air-heater", "motor", "light", "electronics", "charger",
    "inverter", "socket", "detector",
)  # fmt: skip
PROTECTION_KINDS = (
    "blade-fuse", "bolt-fuse", "glass-fuse", "breaker-b", "breaker-c", "breaker-d", "breaker-thermal",
    "breaker-self-resetting", "electronic",
)  # fmt: skip

Positive = Annotated[float, Number(above=0)]
FromZero = Annotated[float, Number(least=0)]
Floor = Annotated[float, Number(above=0, nought="Leave the key out if the load may draw nothing.")]
Volts = Annotated[float, Number(above=0, most=1500)]
Share = Annotated[float, Number(least=0, most=1)]
Usable = Annotated[float, Number(above=0, most=1)]
Port = Annotated[int, Number(least=1, most=65535, whole=True)]
Count = Annotated[int, Number(least=1, most=1000, whole=True)]
Ambient = Annotated[float, Number(least=-60, most=150)]
# 60 is the lowest and 200 the highest column of 33 CFR 183.425 Table 5; silicone and glass go a little beyond.
Insulation = Annotated[float, Number(least=60, most=260)]
Factor = Annotated[float, Scale()]
Flag = Annotated[bool, Truth()]
Line = Annotated[str, Text()]
Label = Annotated[str, Text("a label", most=80)]
Name = Annotated[str, Text("a name", most=80)]
File = Annotated[str, Text("the name of a file", most=1000)]
Host = Annotated[str, Pattern(r"[^\s/@]{1,255}", "the name or address of a host, without spaces or slashes")]
HttpAddress = Annotated[str, Pattern(r"https?://[^\s]{1,500}", "an address that begins with http:// or https://")]
# The page's own address and nothing secret: no user, no query, a short plain path at most.
DoorAddress = Annotated[
    str,
    Pattern(
        r"https?://[^\s/?#@]{1,255}(?:/[A-Za-z0-9._~/-]{0,100})?",
        "the address of the door's page, like http://panel.local:8460, without user, query or fragment",
    ),
]
# At most 15 digits: ITU-T E.164.
Phone = Annotated[
    str,
    Pattern(
        r"(?=(?:[^0-9]*[0-9]){3,15}[^0-9]*$)\+?[0-9(][0-9 ()+-]{1,29}",
        'a telephone number like "+44 1632 960123": 3 to 15 digits, spaces, + - ( )',
    ),
]
VehicleId = Annotated[str, Pattern(r"[a-z0-9-]{1,64}", "small letters a-z, digits and - only")]
Topic = Annotated[str, Text("an MQTT topic", most=65535)]
Pointer = Annotated[str, JsonPointer()]
Span = Annotated[float, Duration()]
DaySpan = Annotated[tuple[int, int], Hours()]
Zone = Annotated[str, TimeZone()]


def _as_list(value: Any) -> Any:
    return [value] if isinstance(value, dict) else value


class Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


RuleOfDc = Annotated[str, OneOf(*(name for name, rule in RULES.items() if "dc" in rule.kinds))]
RuleOfAc = Annotated[str, OneOf(*(name for name, rule in RULES.items() if "ac" in rule.kinds))]


class RulesTable(Table):
    """The ampacity rules named for the vehicle, by kind of supply; the strictest decides."""

    dc: list[RuleOfDc] = Field(default_factory=list)
    ac: list[RuleOfAc] = Field(default_factory=list)


class FitterTable(Table):
    """Who answers for the wiring: rung where a message asks for it."""

    name: Name | None = None
    phone: Phone


class VehicleTable(Table):
    name: Name
    id: VehicleId | None = None
    timezone: Zone = "UTC"
    rules: RulesTable | None = None
    spares: list[Name] = Field(default_factory=list)
    unheard_after: Span | None = None
    sign_of_life_to: HttpAddress | None = None
    fitter: FitterTable | None = None
    panel: Annotated[str, OneOf("one-column", "odd-left")] = "one-column"
    door_at: DoorAddress | None = None


class BrokerTable(Table):
    host: Host
    port: Port = 1883
    username: Line | None = None
    password_file: File | None = None
    tls: Flag = False
    ca_file: File | None = None
    cert_file: File | None = None
    key_file: File | None = None


class SenseTable(Table):
    volts_at: Annotated[str, OneOf("bus", "after-device", "after-switch", "load")] | None = None
    reports: Annotated[str, OneOf("sample", "mean")] | None = None
    resolution_a: Positive | None = None
    publishes: Annotated[str, OneOf("always", "on-change")] | None = None
    full_scale_a: Positive | None = None


class PointerTable(Table):
    pointer: Pointer
    scale: Factor = 1.0


class FieldsTable(Table):
    volts: PointerTable | None = None
    amps: PointerTable | None = None
    watts: PointerTable | None = None
    closed: PointerTable | None = None
    celsius: PointerTable | None = None
    commanded: PointerTable | None = None
    time: PointerTable | None = None


class WillTable(Table):
    topic: Topic
    gone: Line
    here: Line | None = None


class MonitorTable(Table):
    name: Name
    dialect: Annotated[str, OneOf(*DIALECTS)]
    topic: Topic
    fields: FieldsTable | None = None
    record_name: Line | None = None
    expect_every_s: Annotated[float, Number(above=0, most=86400)] = 5.0
    will: WillTable | None = None
    sense: SenseTable = SenseTable()


class BatteryTable(Table):
    chemistry: Annotated[str, OneOf("lfp", "flooded", "agm", "gel")]
    capacity_ah: Positive
    usable: Usable = 1.0


class FaultTable(Table):
    min: Positive | None = None
    max: Positive | None = None

    @model_validator(mode="after")
    def _in_order(self) -> FaultTable:
        if self.min is None and self.max is None:
            raise _between("min, max or both")
        if self.min is not None and self.max is not None and self.min > self.max:
            raise _between("min not above max", f"min {self.min:g}, max {self.max:g}")
        return self


class ExemptionTable(Table):
    rule: Line
    edition: Line
    why: Line


class ProtectionTable(Table):
    kind: Annotated[str, OneOf(*PROTECTION_KINDS)]
    type: Annotated[str, OneOf("C", "E", "F")] | None = None
    rating_a: Positive
    as_found_a: Positive | None = None
    as_left_a: Positive | None = None
    way_max_a: Positive | None = None
    rated_v: Volts | None = None
    breaking_a: Positive | None = None
    exemption: ExemptionTable | None = None


class SupplyTable(Table):
    kind: Annotated[str, OneOf("dc", "ac")]
    nominal_v: Volts
    frequency_hz: Annotated[float, Number(above=0, most=1000)] | None = None
    battery: BatteryTable | None = None
    cutoff_v: Volts | None = None
    cutoff_delay_s: FromZero | None = None
    restore_v: Volts | None = None
    meter: Line | None = None
    meter_sign: Annotated[str, OneOf("discharge-positive", "charge-positive")] = "discharge-positive"
    fault_a: FaultTable | None = None
    protection: ProtectionTable | None = None
    fed_by: Line | None = None
    presence: Annotated[str, OneOf("always", "comes-and-goes")] = "always"


class ProbeTable(Table):
    id: Line
    where: Line
    monitor: Line | None = None


class SegmentTable(Table):
    area_mm2: Positive | None = None
    awg: Annotated[str, Alias(*AWG_SIZES, aliases=AWG_ALIASES)] | None = None
    sae: Annotated[str, Alias(*SAE_CMIL, aliases=AWG_ALIASES)] | None = None
    length_m: Positive | None = None
    insulation_c: Insulation | None = None
    bundled: Count | None = None
    ambient_c: Ambient | None = None
    thermal_insulation_m: FromZero = 0.0
    return_path: Annotated[str, OneOf("wire", "chassis")] = Field(default="wire", alias="return")


class FeederTable(Table):
    supply: Line
    behind: list[Line] = Field(default_factory=list)
    protection: ProtectionTable | None = None
    conductor: Annotated[list[SegmentTable], BeforeValidator(_as_list)] = Field(default_factory=list)
    diversity: Usable = 1.0


class SurgeTable(Table):
    times: Annotated[float, Number(least=1)]
    seconds: Positive


class LevelTable(Table):
    name: Name
    watts: Positive
    tolerance: FromZero = 0.2
    surge: SurgeTable | None = None


class DutyTable(Table):
    low: Share
    high: Share
    window_h: Positive = 6.0

    @model_validator(mode="after")
    def _in_order(self) -> DutyTable:
        if self.low >= self.high:
            raise _between("low below high", f"low {self.low:g}, high {self.high:g}")
        return self


class StandbyTable(Table):
    max: FromZero


class LoadTable(Table):
    kind: Annotated[str, OneOf(*LOAD_KINDS)]
    behaves: Annotated[str, OneOf("constant-power", "constant-current", "constant-impedance", "fan")] = "constant-power"
    maker_fuse_a: Positive | None = None
    inline_fuse_a: Positive | None = None
    standby_w: StandbyTable | None = None
    always_draws_w: Floor | None = None
    levels: list[LevelTable] = Field(default_factory=list)
    duty: DutyTable | None = None
    longest_run: Span | None = None
    daily_wh: Positive | None = None
    hours: list[DaySpan] | None = None


class CircuitTable(Table):
    id: Line
    label: Label
    monitor: Line | None = None
    supply: Line | None = None
    feeder: Line | None = None
    behind: list[Line] = Field(default_factory=list)
    role: Annotated[str, OneOf("load", "charger", "meter")] = "load"
    source: Annotated[str, OneOf("sun", "engine", "shore")] | None = None
    feed: Annotated[str, OneOf("always-on", "switched")] | None = None
    always_on_reason: Line | None = None
    importance: Annotated[str, OneOf("life", "property", "comfort")] | None = None
    carries_messages: Flag = False
    hands: Annotated[str, OneOf("owner", "fitter", "licensed")] | None = None
    protection: ProtectionTable | None = None
    conductor: Annotated[list[SegmentTable], BeforeValidator(_as_list)] = Field(default_factory=list)
    sense: SenseTable = SenseTable()
    load: Annotated[list[LoadTable], BeforeValidator(_as_list)] = Field(default_factory=list)


class Document(Table):
    vehicle: VehicleTable
    broker: BrokerTable | None = None
    monitor: list[MonitorTable] = Field(default_factory=list)
    supply: dict[str, SupplyTable] = Field(default_factory=dict)
    feeder: dict[str, FeederTable] = Field(default_factory=dict)
    probe: list[ProbeTable] = Field(default_factory=list)
    circuit: list[CircuitTable] = Field(default_factory=list)


def _between(wanted: str, found: str = "") -> PydanticCustomError:
    return PydanticCustomError("unfit", "unfit", {"wanted": wanted, "remedy": "", "found": found})
