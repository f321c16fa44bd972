"""What the parent kills. Each task prints "ready", then one line for everything that it was told is safe.

Usage: child.py TASK ADDRESS [ARGUMENT...]
"""

from __future__ import annotations

import resource
import sys
import uuid
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "ledger"))
import sqlalchemy as sa
from district import note

from sideoats.errors import SideoatsError
from sideoats.ledger import NewEntry, open_ledger
from sideoats.ledger.keys import KeyStore


def say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def sent(seed: str, count: int) -> list[NewEntry]:
    """Entries with ids that the parent can make again."""
    return [note(f"{seed} {i}", id=str(uuid.uuid5(uuid.NAMESPACE_URL, f"{seed} {i}"))) for i in range(count)]


def write(address: str, seed: str, count: str) -> None:
    """One entry a transaction; its id is said when the ledger has acknowledged it."""
    with open_ledger(address) as ledger:
        say("ready")
        for entry in sent(seed, int(count)):
            say(ledger.append([entry])[0].id)


def load(address: str, seed: str, count: str) -> None:
    """All entries in one transaction."""
    entries = sent(seed, int(count))
    with open_ledger(address) as ledger:
        say("ready")
        ledger.append(entries)
        say("done")


def back_up(address: str, target: str) -> None:
    """Backups to one path without end."""
    with open_ledger(address) as ledger:
        say("ready")
        while True:
            ledger.backup(target)
            say("done")


def open_only(address: str) -> None:
    """Opening, which makes or migrates the ledger."""
    import alembic.command  # noqa: F401  the import is not what is to be interrupted
    import sqlalchemy.dialects.sqlite  # noqa: F401

    import sideoats.ledger.store  # noqa: F401

    say("ready")
    sys.stdin.readline()
    with open_ledger(address) as ledger:
        say(str(ledger.head()[0]))


def fill(address: str, limit: str) -> None:
    """One entry a transaction until the ledger refuses; with a limit, no file may grow beyond so many bytes."""
    if int(limit):
        resource.setrlimit(resource.RLIMIT_FSIZE, (int(limit), int(limit)))
    with open_ledger(address) as ledger:
        say("ready")
        for number in range(100_000):
            entry = note("x" * 1900, id=str(uuid.uuid5(uuid.NAMESPACE_URL, f"fill {number}")))
            try:
                say(ledger.append([entry])[0].id)
            except SideoatsError as error:
                say(f"refused: {error}")
                return


def forget(address: str, keys: str, halt: str = "") -> None:
    """Forgetting a client; with `halt`, saying "halted" and going no further once that step is reached."""

    def stay(*_: object) -> None:
        say("halted")
        sys.stdin.readline()

    with open_ledger(address, keys=keys) as ledger:
        ledger.farms()  # every late import is done
        say("ready")
        sys.stdin.readline()
        if halt == "commit":
            sa.event.listen(sa.Engine, "commit", stay)
        elif halt == "keys":
            KeyStore.destroy = stay  # type: ignore[method-assign, assignment]
        say(ledger.forget("two-elms").entry)


TASKS = {"forget": forget, "write": write, "load": load, "back_up": back_up, "open_only": open_only, "fill": fill}

if __name__ == "__main__":
    TASKS[sys.argv[1]](*sys.argv[2:])
