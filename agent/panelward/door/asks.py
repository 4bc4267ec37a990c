"""A change is asked of the running daemon, over MQTT, by a connection that lives as long as its answer."""

from __future__ import annotations

import asyncio
import os
from typing import Any

from panelward.errors import EnvironmentFault
from panelward.records import Schedule

ANSWER_S = 10.0
AT_ONCE = 4  # requests on their way together: a phone that taps ten times does not make ten connections


class Asks:
    """Puts requests. Refusals are answers; only what can't be asked at all is raised."""

    def __init__(self) -> None:
        self._gate = asyncio.Semaphore(AT_ONCE)

    async def ask(self, schedule: Schedule, kind: str, body: dict[str, Any]) -> dict[str, Any]:
        """The daemon's answer: `done`, `why`, `state`. EnvironmentFault where none comes."""
        async with self._gate:
            return await asyncio.to_thread(_ask, schedule, kind, body)


def _ask(schedule: Schedule, kind: str, body: dict[str, Any]) -> dict[str, Any]:
    from panelward.link import request

    if schedule.broker is None:
        raise EnvironmentFault("the schedule names no [broker]: the watch can't be asked")
    ask_id = f"door-{os.getpid()}-{os.urandom(4).hex()}"
    topic = f"panelward/{schedule.vehicle.id}/request/{kind}"
    answer = request(schedule.broker, topic, body | {"id": ask_id}, timeout_s=ANSWER_S, client_id=f"panelward-{ask_id}")
    if answer is None:
        raise EnvironmentFault("the watch does not answer: is it running?")
    return answer
