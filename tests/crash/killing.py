"""Starting a child, killing it at a chosen moment, and reading what it had been told until then."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from pathlib import Path

CHILD = Path(__file__).parent / "child.py"


class Child:
    """A running child.py; lines that it said are collected as they come."""

    def __init__(self, *arguments: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, str(CHILD), *arguments],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        self.said: list[str] = []
        self._errors: list[str] = []
        self._ready = threading.Event()
        self._threads = [threading.Thread(target=self._listen), threading.Thread(target=self._read_errors)]
        for thread in self._threads:
            thread.start()

    def _listen(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if not line.endswith("\n"):  # killed within the line: it was not said
                break
            if line == "ready\n":
                self._ready.set()
            else:
                self.said.append(line.rstrip("\n"))
        self._ready.set()

    def _read_errors(self) -> None:
        assert self.process.stderr is not None
        self._errors.extend(self.process.stderr)

    def ready(self) -> Child:
        """Wait until the child has opened the ledger."""
        assert self._ready.wait(120)
        return self

    def go(self) -> None:
        """Release a child that waits for a line."""
        assert self.process.stdin is not None
        self.process.stdin.write("\n")
        self.process.stdin.flush()

    def kill(self, after: float) -> list[str]:
        """kill -9 after so many seconds; what was said until then."""
        time.sleep(after)
        self.process.kill()
        return self._end()

    def kill_after(self, lines: int) -> list[str]:
        """kill -9 once the child has said so many lines."""
        while len(self.said) < lines and self.process.poll() is None:
            time.sleep(0.005)
        return self.kill(0.0)

    def finish(self) -> list[str]:
        """Let the child come to its end; what it said. Fails where it ended badly."""
        self.process.wait(300)
        said = self._end()
        assert self.process.returncode == 0, "".join(self._errors)
        return said

    def _end(self) -> list[str]:
        self.process.wait(60)
        for thread in self._threads:
            thread.join()
        for pipe in (self.process.stdin, self.process.stdout, self.process.stderr):
            if pipe is not None:
                pipe.close()
        return self.said
