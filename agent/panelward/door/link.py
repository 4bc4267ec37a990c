"""The link in a message: it answers its one alarm, once, for a day. Opening it answers nothing."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from panelward.door.alarm import MOST_COURSE, alarm_page, answer_alarm
from panelward.door.state import Door
from panelward.errors import EnvironmentFault, PanelwardError, RequestRefused
from panelward.journal import door_key
from panelward.records import links


async def show_link(request: Request) -> Response:
    """The alarm with its answers."""
    door: Door = request.app.state.door
    await door.plan()
    try:
        alarm_id, _ = await _meant(request)
    except PanelwardError as refused:
        return _spent(request, refused)
    return await alarm_page(request, alarm_id, link=f"/a/{request.path_params['token']}")


async def answer_link(request: Request) -> Response:
    """Seen, or meant to be so: without a login, of this alarm alone."""
    try:
        alarm_id, sequence = await _meant(request)
    except PanelwardError as refused:
        return _spent(request, refused)
    return await answer_alarm(request, alarm_id, request.path_params["what"], back="/", link_sequence=sequence)


async def _meant(request: Request) -> tuple[str, int]:
    """(alarm, sequence) of a link that holds now. RequestRefused with the reason, EnvironmentFault where nobody can tell."""
    door: Door = request.app.state.door
    key = door_key.read(door.options.journal)
    if not door.links.take(request.client.host if request.client else "?"):
        raise EnvironmentFault(door.t(request, "login.slow"))
    alarm_id, sequence = links.read(key, request.path_params["token"], door.real_s())
    steps = await door.book.ask(lambda journal: journal.last_transitions(MOST_COURSE, alarm_id=alarm_id))
    if (why := links.spent(steps, sequence)) is not None:
        raise RequestRefused(why)
    return alarm_id, sequence


def _spent(request: Request, refused: PanelwardError) -> Response:
    door: Door = request.app.state.door
    status = 503 if isinstance(refused, EnvironmentFault) else 410
    return door.said(request, door.t(request, "link.title"), door.t(request, "link.spent", why=str(refused)), status=status)
