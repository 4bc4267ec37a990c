"""A lost feed and an opened device: what proves that a circuit which shows nothing is dead and does not rest."""

from __future__ import annotations

from collections.abc import Iterator
from math import floor

from panelward.schedule.detect.limits import (
    DRIFT_A,
    FAR_OVER,
    FINE_A,
    IDLE_NEEDED,
    IDLE_VISITS,
    LOW,
    LOW_READINGS,
    MUST_OPEN,
    STEADY_S,
    TELL_PERIODS,
    TELL_S,
    ZERO_ERROR_STEPS,
)
from panelward.schedule.detect.look import FLOOR_STEPS, Look, Sight

LOST_FEED = "lost feed"
OPENED = "device opened"
PLACES = {"after-device": "after the device", "after-switch": "after the switch", "load": "at the load", "bus": "at the bus"}
WRITE_FLOOR = "Write always_draws_w, measured, if its load draws something whenever it has a feed"


def sights(look: Look) -> Iterator[Sight]:
    yield lost_feed(look)
    if look.circuit.protection is not None or look.circuit.role != "meter":
        yield _opened(look)


def lost_feed(look: Look) -> Sight:
    circuit = look.circuit
    if circuit.role != "load":
        return look.no(LOST_FEED, f"a {circuit.role}: no current is an honest reading of it")
    if not look.always_on:
        return _switched(look)
    alone = look.supply.presence == "comes-and-goes"
    if alone and not look.peers:
        return look.no(
            LOST_FEED, f"its supply {look.supply.id} comes and goes, and nothing else on it shows whether it is there"
        )
    if look.floor_w:
        if not look.floor_told:
            return look.sight(
                LOST_FEED, "unreliable", look.tell_s,
                f"its floor of {look.floor_a:.3g} A is below three steps of {look.step_a:g} A: its loss may be missed",
                finer(look),
            )  # fmt: skip
        if look.floor_hidden:
            return look.sight(LOST_FEED, "together", look.tell_s, hidden(look), finer(look))
        why = f"its floor of {look.floor_a:.3g} A against three steps of {look.step_a:g} A"
        if alone:
            why = f"{why}; only while another circuit of {look.supply.id}, which comes and goes, draws"
        quicker = f"A period of at most {TELL_S / TELL_PERIODS:g} s tells it within {TELL_S:g} s."
        return look.sight(
            LOST_FEED, "together" if alone else "yes", look.tell_s, why, quicker if look.tell_s > TELL_S else None
        )
    return _by_volts(look, LOST_FEED)


def hidden(look: Look) -> str:
    """Why its floor proves nothing at first."""
    return (
        f"only once its channel is known, by a start from rest, by its switch's report or by a rest above "
        f"{look.zero_error_a:.3g} A: its zero error and drift may come to that, and hide a floor of {look.floor_a:.3g} A"
    )


def finer(look: Look) -> str:
    """The sensing that tells its floor, and what stands in where there is none."""
    if look.floor_told:  # hidden by its zero error only
        half_a = look.floor_a / 2.0
        least_a = half_a / (ZERO_ERROR_STEPS + 1.0)
        if least_a > FINE_A:  # coarser ones are reckoned with a zero and a drift of their own
            least_a = max(FINE_A, (half_a - DRIFT_A) / ZERO_ERROR_STEPS)
    else:
        least_a = look.floor_a / FLOOR_STEPS
    least_ma = floor(least_a * 1000 + 1e-9)
    step = f"of at most {least_ma / 1000:g} A" if least_ma else "far below 0.001 A"
    return f"Use a sensor with steps {step}. Else leave always_draws_w out and sense volts after the device."


def _switched(look: Look) -> Sight:
    why = "switched: no draw may be its switch"
    on_feeder = [c for c in look.peers if c.feeder == look.circuit.feeder] if look.feeder else []
    if look.feeder and (len(on_feeder) >= 2 or any(c.feed == "always-on" for c in on_feeder)):
        stops = "one with a floor or three that run by themselves (a quick monitor: any three) among them"
        why = f"{why}. Told only if all of feeder {look.feeder.id} stops at once, {stops}"
        return look.sight(LOST_FEED, "together", None, why)
    if any(c.feed == "always-on" for c in look.peers):
        why = f"{why}. Told only if all of supply {look.supply.id} stops at once, one with a floor among them"
        return look.sight(LOST_FEED, "together", None, why)
    return look.no(LOST_FEED, why)


def _by_volts(look: Look, what: str) -> Sight:
    """Without a floor: volts must go behind the device while the bus has them."""
    place = PLACES[look.circuit.sense.volts_at]
    after = f"{WRITE_FLOOR}; else sense volts after the device." if what == LOST_FEED else "Sense volts after the device."
    if what == LOST_FEED and look.cyclic and not look.by_volts:
        return _by_rest(look)
    if look.circuit.sense.volts_at == "bus":
        return look.no(
            what,
            "can't be watched for a lost feed: no floor, volts at the bus stay when it is lost, and how long it rests is up to "
            "people or weather",
            after,
        )
    if not look.witness:
        return look.no(
            what,
            f"no circuit of supply {look.supply.id} shows the volts of the bus, so volts gone {place} prove nothing",
            "Take the volts of one circuit of this supply at the bus.",
        )
    least_a = LOW * look.floor_a or look.zero_a
    if look.on_change and not look.floor_w and look.most_a is not None and look.most_a <= look.zero_a:
        return look.no(
            what,
            f"it draws {look.most_a:.3g} A at the most, and up to {look.zero_a:.3g} A counts as nothing here",
            f"Use a sensor with finer steps than {look.step_a:g} A." if look.zero_a > 0.03 else None,
        )
    mend = f"{WRITE_FLOOR}." if what == LOST_FEED else None
    why = f"volts {place}, if it draws more than {least_a:.3g} A at that moment: at rest it goes unseen"
    if look.volts_come_alone:
        why = f"{why}, and on-change volts may come after the last amps"
        return look.sight(what, "unreliable", look.tell_s, why, mend or "Let it publish always.")
    if look.on_change:
        return look.sight(what, "together", look.tell_s, why, mend)
    return look.sight(what, "yes", steady_s(look), f"volts {place} go while the bus has them, drawing or at rest")


def _by_rest(look: Look) -> Sight:
    """It comes and goes by itself: how long it rests tells, once that is learned."""
    mend = f"{WRITE_FLOOR}; else sense volts after the device."
    if look.circuit.sense.volts_at != "bus":
        mend = "Take the volts of one circuit of this supply at the bus."
    return look.sight(
        LOST_FEED, "together", None,
        f"only once its rests are learned: about {IDLE_NEEDED} in a third of the day, at like warmth, on {IDLE_VISITS} days. "
        "Then told when it rests about twice as long as it usually does, or up to six times where that varies; where it varies "
        "more, it can't be watched for a lost feed",
        mend,
    )  # fmt: skip


def steady_s(look: Look) -> float:
    """Three low readings, and thirty seconds so that a reboot or a dip is over."""
    return max(STEADY_S + look.period_s, (LOW_READINGS - 1) * look.period_s)


def _opened(look: Look) -> Sight:
    circuit = look.circuit
    if circuit.protection is None:
        return look.no(OPENED, "no device is written", "Write its protection.")
    if circuit.role != "load":
        return look.no(OPENED, f"a {circuit.role}: no current is an honest reading of it")
    if circuit.sense.volts_at == "after-device" and look.witness:
        if look.always_on and look.floor_w:
            if not look.floor_told:
                return look.sight(
                    OPENED, "unreliable", look.tell_s, "its floor is below three steps of its sensing", finer(look)
                )
            if look.floor_hidden:
                return look.sight(OPENED, "together", look.tell_s, hidden(look), finer(look))
            if not look.volts_come_alone:
                return look.sight(OPENED, "yes", look.tell_s, "volts after the device go and its floor with them")
        return _by_volts(look, OPENED)
    floored = look.floor_told or not look.always_on
    times = MUST_OPEN if floored else FAR_OVER
    amps = times * circuit.protection.fitted_a
    place = PLACES[circuit.sense.volts_at]
    mend = "Sense volts after the device."
    if circuit.sense.volts_at == "bus":
        blind = f"volts {place} can't show an opened fuse"
    elif circuit.sense.volts_at == "after-device":
        blind = f"volts {place} prove nothing while no circuit shows those of the bus"
        mend = "Take the volts of one circuit of this supply at the bus."
    else:
        blind = f"volts {place} don't tell an opened device from a switch"
    return look.sight(
        OPENED,
        "together",
        look.tell_s if look.on_change else steady_s(look),
        f"only after a draw of {amps:.3g} A ({times:g} times its rating) that readings showed: {blind}, and a short opens it "
        "between two readings",
        mend,
    )
