"""desk: the web page, for one person on this machine or for an office."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import click

from sideoats.cli._shared import Day, echo, ledger_location, reader_of, told

_FILE = click.Path(path_type=Path, dir_okay=False)


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", type=click.IntRange(1, 65535), default=8712, show_default=True, help="Port to listen on.")
@click.option("--on", type=Day(), default=None, help="The day that pages speak of; today if left out.")
@click.option("--draws", type=click.IntRange(20, 100_000), default=500, show_default=True, help="Futures to draw.")
@click.option(
    "--zone", default="", metavar="NAME", help="Time zone such as America/Chicago; this machine's if left out."
)
@click.option("--office", is_flag=True, help="Accounts and roles, for several people.")
@click.option("--name", "names", multiple=True, help="Host name by which an office's desk is reached; may be repeated.")
@click.option("--certificate", type=_FILE, default=None, help="TLS certificate chain (PEM).")
@click.option("--key", type=_FILE, default=None, help="TLS private key (PEM).")
@click.option("--data", type=click.Path(path_type=Path, file_okay=False), default=None, help="Folder for accounts.")
@click.option(
    "--add-account", metavar="NAME", default=None, help="Make an account (the password is asked for), then end."
)
@click.option("--role", type=click.Choice(["adviser", "scout", "reader"]), default="adviser", show_default=True)
@click.option("--browser/--no-browser", default=False, help="Open a browser.")
@click.pass_context
def command(
    ctx: click.Context,
    host: str,
    port: int,
    on: date | None,
    draws: int,
    zone: str,
    office: bool,
    names: tuple[str, ...],
    certificate: Path | None,
    key: Path | None,
    data: Path | None,
    add_account: str | None,
    role: str,
    browser: bool,
) -> None:
    """Serve the desk: this week, phone-in, field entry, places, weather, markets, trials."""
    from sideoats.desk.serving import add_first_account, serve
    from sideoats.desk.settings import Settings

    settings = Settings(
        ledger=ledger_location(ctx),
        host=host,
        port=port,
        office=office or add_account is not None,
        names=names,
        certificate=certificate,
        key=key,
        data=data,
        day=on,
        zone=zone,
        draws=draws,
        reader=reader_of(ctx),
    )
    if add_account is not None:
        password = click.prompt(told("desk.password"), hide_input=True, confirmation_prompt=True)
        add_first_account(settings, add_account, password, role)
        echo("desk.account", name=add_account, role=role)
        return

    if not office:
        settings = replace(settings, token=settings.kept_token())

    def announce(address: str) -> None:
        echo("desk.at", address=address)
        echo("desk.end")
        if browser:
            click.launch(address)

    serve(settings, announce)
