"""User name, password and certificates of a broker: they are in files, named in [broker], and never in a schedule."""

from __future__ import annotations

import os
import socket
import ssl
import stat
from pathlib import Path

from panelward.errors import EnvironmentFault
from panelward.records import Broker


def why_unreachable(error: Exception) -> str:
    """Why a connection could not be made, and what to look at."""
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate is not accepted ({error.verify_message}): check ca_file in [broker]"
    if isinstance(error, ssl.SSLError):
        return f"TLS failed ({error.reason}): check tls and the port in [broker]"
    if isinstance(error, socket.gaierror):
        return "its name is not known: check host in [broker]"
    if isinstance(error, TimeoutError):
        return "no answer in time"
    return getattr(error, "strerror", None) or str(error)


def certificate_wanted(broker: Broker) -> str:
    """What a connection that TLS let through and the broker then closed may mean (TLS 1.3 refuses a client that late)."""
    if not broker.tls:
        return ""
    if broker.cert_file:
        return f": it may not know the authority of cert_file ({broker.cert_file}) in [broker]"
    return ": it may want a certificate of this client: cert_file and key_file in [broker]"


def login(broker: Broker) -> tuple[str, str | None] | None:
    """User name and password; EnvironmentFault where the file can't be read, or others can."""
    if broker.username is None:
        return None
    if broker.password_file is None:
        return broker.username, None
    path = Path(broker.password_file)
    try:
        mode = path.stat().st_mode
        password = path.read_text(encoding="utf-8").rstrip("\r\n")
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "not a text"
        raise EnvironmentFault(f"{path}: password_file of [broker] can't be read: {why}") from None
    if mode & (stat.S_IRWXG | stat.S_IRWXO) and path.stat().st_uid == os.getuid():
        raise EnvironmentFault(f"{path}: others may read this password: chmod 600 {path}")
    return broker.username, password


def tls(broker: Broker) -> ssl.SSLContext | None:
    """The settings for TLS, None where none is asked for; EnvironmentFault where a file can't be used."""
    if not broker.tls:
        return None
    try:
        context = ssl.create_default_context(cafile=broker.ca_file)
        if broker.cert_file:
            context.load_cert_chain(broker.cert_file, broker.key_file)
    except (OSError, ssl.SSLError) as error:
        files = ", ".join(f for f in (broker.ca_file, broker.cert_file, broker.key_file) if f)
        raise EnvironmentFault(f"{files}: can't be used for TLS: {getattr(error, 'strerror', None) or error}") from None
    return context
