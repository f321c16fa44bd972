"""A PostgreSQL server of our own for the tests: in a temporary folder, on a unix socket, without a network."""

from __future__ import annotations

import itertools
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path

import psycopg

_FOLDERS = [*sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True), Path("/usr/local/pgsql/bin")]
_COUNT = itertools.count(1)


def programs() -> Path | None:
    """The folder with initdb and postgres, or None."""
    on_path = shutil.which("initdb")
    for folder in [*([Path(on_path).resolve().parent] if on_path else []), *_FOLDERS]:
        if (folder / "initdb").exists() and (folder / "postgres").exists():
            return folder
    return None


def missing() -> str:
    """Why no server can be started here, or ""."""
    if programs() is None:
        return "the PostgreSQL programs initdb and postgres are not installed"
    if os.geteuid() == 0 and _user() is None:
        return "PostgreSQL refuses to run as root and there is no user postgres"
    return ""


def _user() -> str | None:
    try:
        return pwd.getpwnam("postgres").pw_name
    except KeyError:
        return None


def _alive(pid: str) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in ("Z", "X")
    except OSError:
        return False


class Server:
    """A running server; `stop` removes it with its data."""

    def __init__(self) -> None:
        found = programs()
        assert found is not None
        self.bin = found
        self.folder = Path(tempfile.mkdtemp(prefix="sideoats-pg-", dir="/tmp"))
        self.folder.chmod(0o755)
        self.owner: dict[str, object] = {}
        if os.geteuid() == 0:
            entry = pwd.getpwnam("postgres")
            os.chown(self.folder, entry.pw_uid, entry.pw_gid)
            self.owner = {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}
        done = subprocess.run(
            [
                str(self.bin / "initdb"), "--pgdata", str(self.folder / "data"), "--username=postgres", "--auth=trust",
                "--encoding=UTF8", "--locale=C", "--no-sync",
            ],
            cwd=self.folder, capture_output=True, text=True, **self.owner,
        )  # fmt: skip
        if done.returncode:
            raise RuntimeError(f"initdb: {done.stderr}{done.stdout}")
        self.start()

    def start(self) -> None:
        """Start (again) and wait until it answers."""
        self.log = (self.folder / "log").open("ab")
        self.process = subprocess.Popen(
            [
                str(self.bin / "postgres"), "-D", str(self.folder / "data"), "-k", str(self.folder),
                "-c", "listen_addresses=", "-c", "max_connections=60", "-c", "shared_buffers=64MB",
            ],
            cwd=self.folder, stdout=self.log, stderr=self.log, **self.owner,
        )  # fmt: skip
        while self.process.poll() is None:  # however long recovery takes on a busy machine; a test's own limit ends it
            try:
                self.execute("SELECT 1")
                return
            except psycopg.OperationalError:
                time.sleep(0.05)
        said = (self.folder / "log").read_text()[-2000:]
        self.stop()
        raise RuntimeError(f"the server did not start: {said}")

    def execute(self, statement: str) -> None:
        """One statement as the server's owner."""
        with psycopg.connect(host=str(self.folder), user="postgres", dbname="postgres", autocommit=True) as connection:
            connection.execute(statement)

    def kill(self) -> None:
        """kill -9 of the server and the processes it started; data stay as they are."""
        self.process.send_signal(signal.SIGSTOP)  # so that it starts no more of them meanwhile
        children = subprocess.run(
            ["ps", "-o", "pid=", "--ppid", str(self.process.pid)], capture_output=True, text=True
        ).stdout.split()
        for child in children:
            try:
                os.kill(int(child), signal.SIGKILL)
            except ProcessLookupError:
                continue
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        while any(_alive(child) for child in children):  # their shared memory would keep the next start from succeeding
            time.sleep(0.01)
        self.log.close()
        (self.folder / "data" / "postmaster.pid").unlink(missing_ok=True)

    def database(self) -> str:
        """URL of a new, empty database."""
        name = f"ledger_{os.getpid()}_{next(_COUNT)}"
        self.execute(f"CREATE DATABASE {name}")
        return f"postgresql://postgres@/{name}?host={self.folder}"

    def stop(self) -> None:
        """Stop and remove."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGQUIT)  # writing everything out first can take a busy disk minutes
            self.process.wait(timeout=30)
        self.log.close()
        shutil.rmtree(self.folder, ignore_errors=True)
