"""What was compared, as plain values for `--json`."""

from __future__ import annotations

from dataclasses import asdict
from math import inf
from typing import Any

from panelward.rehearse.bank import BankAnswer
from panelward.rehearse.beside import Compared, Message, Tally
from panelward.rehearse.openings import Overload
from panelward.rehearse.told import CERTAIN, PERCENTS
from panelward.rehearse.variation import Variation
from panelward.rehearse.varied import Judged, Side


def tally_json(tally: Tally) -> dict[str, Any]:
    return {
        "messages": tally.messages,
        "priorities": dict(tally.priorities),
        "kinds": dict(tally.kinds),
        "openings": dict(tally.opened),
    }


def message_json(message: Message) -> dict[str, Any]:
    """The keys of an alarm object, as far as they go."""
    return {
        "time": message.at_ms / 1000.0,
        "since": message.since_ms / 1000.0,
        "id": message.id,
        "subject": {message.subject: message.subject_id},
        "group": message.group,
        "kind": message.kind,
        "event": message.event,
        "priority": message.priority,
        "message": message.text,
    }


def compared_json(compared: Compared) -> dict[str, Any]:
    return {
        "identical": compared.identical,
        "not_compared": list(compared.untold),
        "before": tally_json(compared.before),
        "after": tally_json(compared.after),
        "same": compared.same,
        "only_before": [message_json(m) for m in compared.only_before],
        "only_after": [message_json(m) for m in compared.only_after],
        "otherwise": [{"before": message_json(a), "after": message_json(b)} for a, b in compared.otherwise],
        "not_listed": dict(compared.more),
    }


def variation_json(variation: Variation) -> dict[str, Any]:
    return {
        "changes": list(variation.changes),
        "licensed": list(variation.licensed),
        "notes": list(variation.notes),
        "warned": [asdict(finding) for finding in variation.warned],
    }


def judged_json(judged: Judged, *, untold: bool = False) -> dict[str, Any]:
    return {
        "title": judged.title,
        "readings": judged.readings,
        "conductor_varied": judged.relaid,
        "taken": judged.as_taken or None,
        "before": _side_json(judged.old, judged),
        "after": _side_json(judged.new, judged) | ({"overloads": None, "overloads_not_listed": None} if untold else {}),
        "brown_outs": [
            {"from": b.from_ms / 1000.0, "to": b.to_ms / 1000.0, "seconds": round(b.seconds, 3), "watts": round(b.watts, 3)}
            for b in judged.brown_outs
        ],
        "brown_outs_not_listed": judged.more_brown_outs,
        "brown_out_s": round(judged.brown_out_s, 3),
        "readings_without_volts": judged.without_volts,
        "readings_not_reckoned": judged.unreckoned,
    }


def _side_json(side: Side, judged: Judged) -> dict[str, Any]:
    losses, found = side.losses, side.openings
    out: dict[str, Any] = {
        "drop_p95_percent": _percent(losses.percentile(CERTAIN)) if judged.relaid else None,
        "drop_most_percent": _percent(losses.most) if judged.relaid and losses.seconds else None,
        "drawing_s": round(losses.seconds, 3),
        "lowest_load_v": None if losses.lowest_v is None or not judged.relaid else round(losses.lowest_v, 4),
        "highest_a": None if found is None else round(found.most_a, 4),
        "starts_above_rating": None if found is None else found.started.count,
        "single_readings_above_rating": None if found is None else found.alone.count,
        "device_a": None if found is None else found.protection.fitted_a,
        "overloads": None,
    }
    if found is not None and found.published:
        out["overloads"] = [_overload_json(each) for each in found.found]
        out["overloads_not_listed"] = found.more
    return out


def _overload_json(each: Overload) -> dict[str, Any]:
    times = {
        f"p{p}_s": "never" if (t := each.after_s(p)) == inf else t for p in PERCENTS
    }  # as time_to_open_s: never or seconds
    return {
        "from": each.from_ms / 1000.0, "to": each.to_ms / 1000.0, "most_a": round(each.most_a, 4), "above_rating": each.over,
        "share_opened": round(each.share, 4), **times,
    }  # fmt: skip


def _percent(share: float | None) -> float | None:
    return None if share is None else round(100.0 * share, 3)


def bank_json(answer: BankAnswer) -> dict[str, Any]:
    found = asdict(answer)
    found["unknown"] = answer.unknown or None
    return found
