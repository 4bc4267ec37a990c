"""From the models of a faultless document to the frozen records. Fills in what is the default of something else."""

from __future__ import annotations

from panelward.records import (
    QUANTITIES,
    Battery,
    Broker,
    Circuit,
    Duty,
    Exemption,
    Feeder,
    Fitter,
    Level,
    Load,
    Monitor,
    Pointer,
    Probe,
    Protection,
    Schedule,
    Segment,
    Sense,
    Supply,
    Surge,
    Vehicle,
    Will,
)
from panelward.schedule.models import (
    CircuitTable,
    Document,
    LoadTable,
    MonitorTable,
    PointerTable,
    ProtectionTable,
    SenseTable,
    SupplyTable,
)
from panelward.schedule.rules import vehicle_id


def schedule_of(document: Document) -> Schedule:
    """The records of a document in which no fault was found."""
    vehicle = document.vehicle
    monitors = {table.name: _monitor(table) for table in document.monitor}
    supplies = tuple(_supply(name, table) for name, table in document.supply.items())
    kinds = {supply.id: supply.kind for supply in supplies}
    only = next(iter(monitors), None)
    return Schedule(
        vehicle=Vehicle(
            name=vehicle.name,
            id=vehicle.id or vehicle_id(vehicle.name),
            timezone=vehicle.timezone,
            rules_dc=tuple(vehicle.rules.dc) if vehicle.rules else (),
            rules_ac=tuple(vehicle.rules.ac) if vehicle.rules else (),
            spares=tuple(vehicle.spares),
            unheard_after_s=vehicle.unheard_after,
            sign_of_life_to=vehicle.sign_of_life_to,
            fitter=Fitter(**vehicle.fitter.model_dump()) if vehicle.fitter else None,
            panel=vehicle.panel,
            door_at=vehicle.door_at,
        ),
        broker=Broker(**document.broker.model_dump()) if document.broker else None,
        monitors=tuple(monitors.values()),
        supplies=supplies,
        feeders=tuple(
            Feeder(
                id=name,
                supply=f.supply,
                behind=tuple(f.behind),
                protection=_protection(f.protection),
                conductor=tuple(Segment(**segment.model_dump()) for segment in f.conductor),
                diversity=f.diversity,
            )
            for name, f in document.feeder.items()
        ),
        probes=tuple(Probe(id=p.id, where=p.where, monitor=p.monitor or only) for p in document.probe),
        circuits=tuple(_circuit(table, document, kinds, monitors, only) for table in document.circuit),
    )


def _circuit(
    table: CircuitTable,
    document: Document,
    kinds: dict[str, str],
    monitors: dict[str, Monitor],
    only: str | None,
) -> Circuit:
    supply = table.supply or document.feeder[table.feeder or ""].supply
    monitor = table.monitor or only
    return Circuit(
        id=table.id,
        label=table.label,
        monitor=monitor,
        supply=supply,
        sense=_sense(monitors[monitor].sense if monitor else Sense(), table.sense),
        feeder=table.feeder,
        behind=tuple(table.behind),
        role=table.role,
        source=table.source,
        feed=table.feed,
        always_on_reason=table.always_on_reason,
        importance=table.importance or ("property" if table.feed == "always-on" else "comfort"),
        carries_messages=table.carries_messages,
        hands=table.hands or ("licensed" if kinds[supply] == "ac" else "fitter"),
        protection=_protection(table.protection),
        conductor=tuple(Segment(**segment.model_dump()) for segment in table.conductor),
        loads=tuple(_load(load) for load in table.load),
    )


def _monitor(table: MonitorTable) -> Monitor:
    fields = table.fields
    found = [(name, getattr(fields, name)) for name in QUANTITIES] if fields is not None else []
    return Monitor(
        name=table.name,
        dialect=table.dialect,
        topic=table.topic,
        fields=tuple((name, _pointer(where)) for name, where in found if where is not None),
        time_field=_pointer(fields.time) if fields is not None and fields.time is not None else None,
        record_name=table.record_name,
        expect_every_s=table.expect_every_s,
        will=Will(**table.will.model_dump()) if table.will else None,
        sense=_sense(Sense(), table.sense),
    )


def _supply(name: str, table: SupplyTable) -> Supply:
    fault = table.fault_a
    return Supply(
        id=name,
        battery=Battery(**table.battery.model_dump()) if table.battery else None,
        fault_min_a=fault.min if fault else None,
        fault_max_a=fault.max if fault else None,
        protection=_protection(table.protection),
        **table.model_dump(exclude={"battery", "fault_a", "protection"}),
    )


def _load(table: LoadTable) -> Load:
    return Load(
        kind=table.kind,
        behaves=table.behaves,
        maker_fuse_a=table.maker_fuse_a,
        inline_fuse_a=table.inline_fuse_a,
        standby_max_w=table.standby_w.max if table.standby_w else None,
        always_draws_w=table.always_draws_w,
        levels=tuple(
            Level(
                name=level.name,
                watts=level.watts,
                tolerance=level.tolerance,
                surge=Surge(**level.surge.model_dump()) if level.surge else None,
            )
            for level in table.levels
        ),
        duty=Duty(**table.duty.model_dump()) if table.duty else None,
        longest_run_s=table.longest_run,
        daily_wh=table.daily_wh,
        hours=tuple(table.hours or ()),
    )


def _sense(base: Sense, over: SenseTable) -> Sense:
    """Key by key: what `over` says, else what `base` says."""
    return Sense(
        volts_at=over.volts_at or base.volts_at,
        reports=over.reports or base.reports,
        resolution_a=over.resolution_a or base.resolution_a,
        publishes=over.publishes or base.publishes,
        full_scale_a=over.full_scale_a or base.full_scale_a,
    )


def _protection(table: ProtectionTable | None) -> Protection | None:
    if table is None:
        return None
    exemption = Exemption(**table.exemption.model_dump()) if table.exemption else None
    return Protection(**table.model_dump(exclude={"exemption"}), exemption=exemption)


def _pointer(table: PointerTable) -> Pointer:
    return Pointer(pointer=table.pointer, scale=table.scale)
