"""Running the desk with uvicorn."""

from __future__ import annotations

import contextlib
import logging
import socket
from collections.abc import Callable
from typing import Any

from sideoats.desk.patience import HEADER_SECONDS, patient
from sideoats.desk.settings import Settings
from sideoats.errors import InputError


def serve(settings: Settings, announce: Callable[[str], None]) -> None:
    """Serve until stopped. `announce` gets the address to open once the port is held.

    Raises
    ------
    InputError : unsafe settings, an office without accounts, or a port that is taken
    LedgerError : the ledger does not open
    """
    import uvicorn

    settings.check()
    if settings.office:
        _require_accounts(settings)
    listening = _bind(settings)
    from sideoats.desk.app import make_app

    app = make_app(settings)
    logging.getLogger("sideoats.desk").addHandler(logging.StreamHandler())
    config = config_of(app, settings)
    announce(address(settings))
    with contextlib.suppress(KeyboardInterrupt):  # uvicorn has shut down in order and passes the signal on
        uvicorn.Server(config).run(sockets=[listening])


def config_of(app: Any, settings: Settings, header_seconds: float = HEADER_SECONDS) -> Any:
    """How uvicorn serves the desk."""
    import uvicorn

    return uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        limit_concurrency=400,
        timeout_keep_alive=15,
        ssl_certfile=settings.certificate,
        ssl_keyfile=settings.key,
        lifespan="on",
        h11_max_incomplete_event_size=32_768,
        http=patient(header_seconds),
        ws="none",
    )


def address(settings: Settings) -> str:
    """What to type into a browser."""
    host = settings.names[0] if settings.names else settings.host
    scheme = "https" if settings.tls else "http"
    shown = f"[{host}]" if ":" in host else host
    token = "" if settings.office else f"?token={settings.token}"
    return f"{scheme}://{shown}:{settings.port}/{token}"


def _bind(settings: Settings) -> socket.socket:
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    listening = socket.socket(family)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((settings.host.strip("[]"), settings.port))
    except OSError as error:
        listening.close()
        raise InputError(
            f"port {settings.port} at {settings.host} cannot be used ({error.strerror})",
            todo="give another with --port",
        ) from None
    listening.listen(2048)  # before the address is told: who opens it at once waits a moment instead of being refused
    return listening


def _require_accounts(settings: Settings) -> None:
    from sideoats.desk.accounts import Accounts

    accounts = Accounts(settings.folder() / "accounts.sqlite")
    try:
        if not any(is_open and p.role == "adviser" for p, is_open in accounts.people()):
            raise InputError(
                "the office has no adviser's account",
                todo="make one with: sideoats desk --add-account NAME --role adviser",
            )
    finally:
        accounts.close()


def add_first_account(settings: Settings, name: str, password: str, role: str) -> None:
    """Make an account from the command line. Raises InputError for a bad name or password."""
    from sideoats.desk.accounts import Accounts

    accounts = Accounts(settings.folder() / "accounts.sqlite")
    try:
        accounts.add(name.lower(), password, role)
    finally:
        accounts.close()
