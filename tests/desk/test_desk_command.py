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
        with httpx.Client(follow_redirects=True, timeout=60) as client:  # it listens before it tells
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


def test_the_address_is_the_same_at_every_start_and_its_token_is_its_owner_s(tmp_path: Path) -> None:
    from sideoats.desk.settings import Settings

    first, second = (Settings(data=tmp_path).kept_token() for _ in range(2))
    assert first == second and len(first) >= 32
    assert (tmp_path / "launch").stat().st_mode & 0o077 == 0
    (tmp_path / "launch").write_text("cut", encoding="ascii")
    assert len(Settings(data=tmp_path).kept_token()) == len(first)


@pytest.mark.skipif(sys.platform == "win32", reason="no terminals of this kind")
def test_by_itself_at_a_terminal_it_opens_the_desk(tmp_path: Path) -> None:
    import pty

    opened = tmp_path / "opened"
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\necho "$1" > {opened}\n', encoding="utf-8")
    browser.chmod(0o755)
    own = {"XDG_DATA_HOME": str(tmp_path), "BROWSER": str(browser), "PATH": f"{tmp_path}:{os.environ['PATH']}"}
    (tmp_path / "xdg-open").symlink_to(browser)
    ours, theirs = pty.openpty()
    words = [sys.executable, "-m", "sideoats"]
    with subprocess.Popen(words, stdin=theirs, stdout=theirs, stderr=theirs, env={**os.environ, **own}) as served:
        os.close(theirs)
        read = b""
        while b"Ctrl-C" not in read and served.poll() is None:
            read += os.read(ours, 4096)
        text = read.decode()
        if "cannot be used" in text:
            pytest.skip("the usual port is taken on this machine")
        address = re.search(r"http://127\.0\.0\.1:8712/\?token=[\w-]{32}", text)
        assert address, text
        with httpx.Client(follow_redirects=True, timeout=60) as client:  # answered, not refused, as soon as it is told
            assert "Nothing on file" in client.get(address[0]).text
        served.send_signal(signal.SIGINT)
    os.close(ours)
    assert opened.read_text(encoding="utf-8").strip() == address[0]
