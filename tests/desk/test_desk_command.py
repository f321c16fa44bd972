"""The command: what it refuses, accounts from the command line, an address that opens; and its page in the docs."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from sideoats.cli.desk import command
from sideoats.desk.links import _MENU, _OFFICE

ROOT = Path(__file__).parents[2]


def run(*words: str, told: str = "", folder: Path) -> subprocess.CompletedProcess[str]:
    base = [sys.executable, "-m", "sideoats", "--ledger", str(folder / "ledger.sqlite"), "desk", "--data", str(folder)]
    return subprocess.run([*base, *words], input=told, capture_output=True, text=True, timeout=120)


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("--host", "0.0.0.0"), "can be reached from other machines"),
        (("--office", "--host", "0.0.0.0"), "has no TLS"),
        (("--office",), "no adviser's account"),
        (("--zone", "Nowhere/At_All"), "is not known"),
        (("--port", "0"), "port"),
        (("--on", "soon"), "not a calendar date"),
    ],
)
def test_an_unsafe_or_impossible_desk_does_not_start(tmp_path: Path, words: tuple[str, ...], why: str) -> None:
    done = run(*words, folder=tmp_path)
    assert done.returncode == 2 and why in done.stderr
    assert done.stderr.count("\n") == 1 and "Traceback" not in done.stderr


def test_a_port_that_is_taken_is_named(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        done = run("--port", str(taken.getsockname()[1]), folder=tmp_path)
    assert done.returncode == 2 and "cannot be used" in done.stderr and "--port" in done.stderr


def test_accounts_are_made_from_the_command_line(tmp_path: Path) -> None:
    from sideoats.desk.accounts import Accounts

    phrase = "oats under a blue moon"
    done = run("--add-account", "ada", told=f"{phrase}\n{phrase}\n", folder=tmp_path)
    assert done.returncode == 0 and "Account ada (adviser) is made" in done.stdout and phrase not in done.stdout
    poor = run("--add-account", "bob", "--role", "scout", told="short\nshort\n", folder=tmp_path)
    assert poor.returncode == 2 and "too short" in poor.stderr
    accounts = Accounts(tmp_path / "accounts.sqlite")
    assert accounts.check("ada", phrase) is not None and [p.name for p, _ in accounts.people()] == ["ada"]
    accounts.close()


def test_the_printed_address_opens_the_desk_and_it_stops_when_told(tmp_path: Path) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    words = [sys.executable, "-m", "sideoats", "--ledger", str(tmp_path / "l.sqlite"), "desk", "--data", str(tmp_path),
             "--port", str(port)]  # fmt: skip
    with subprocess.Popen(
        words, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"}
    ) as served:
        assert served.stdout is not None
        address = served.stdout.readline().split()[-1]
        assert re.fullmatch(rf"http://127\.0\.0\.1:{port}/\?token=[\w-]{{32}}", address)
        transport = httpx.HTTPTransport(retries=20)
        with httpx.Client(follow_redirects=True, transport=transport, timeout=60) as client:
            assert "Nothing on file" in client.get(address).text
        served.send_signal(signal.SIGINT)
        assert served.wait(timeout=60) == 0


def test_every_page_and_option_is_in_the_docs() -> None:
    text = (ROOT / "docs" / "desk.md").read_text(encoding="utf-8")
    for link in (*_MENU, *_OFFICE):
        assert re.search(rf"^### .*{link.word}", text, re.M), link.word
    for option in command.params:
        assert any(f"`{name}`" in text for name in option.opts), option.opts
    for picture in re.findall(r"\]\((screens/\S+)\)", text):
        assert (ROOT / "docs" / picture).stat().st_size < 60_000
