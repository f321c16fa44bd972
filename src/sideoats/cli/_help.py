"""The help of commands in the reader's language, as far as that has words for it (`sideoats.words.texts`)."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterable

import click

from sideoats.cli._shared import reader_asked
from sideoats.errors import SideoatsError
from sideoats.words import Reader
from sideoats.words.texts import translated


class Help(click.HelpFormatter):
    """What click writes of a command, with its English texts put into the reader's language."""

    def __init__(self, context: click.Context) -> None:
        super().__init__(width=context.terminal_width, max_width=context.max_content_width)
        self._context = context
        try:
            self._reader = reader_asked(sys.argv[1:])
        except SideoatsError:  # a language without words is refused by whatever is asked next
            self._reader = Reader()

    def _said(self, text: str) -> str:
        return "\n\n".join(translated(" ".join(each.split()), self._reader) for each in text.split("\n\n"))

    def write_usage(self, prog: str, args: str = "", prefix: str | None = None) -> None:
        super().write_usage(prog, args, self._said(prefix or "Usage:") + " ")

    def write_heading(self, heading: str) -> None:
        super().write_heading(self._said(heading))

    def write_text(self, text: str) -> None:
        super().write_text(self._said(text))

    def write_dl(self, rows: Iterable[tuple[str, str]], col_max: int = 30, col_spacing: int = 2) -> None:
        super().write_dl([(name, self._explained(name, text)) for name, text in rows], col_max, col_spacing)

    def _explained(self, name: str, text: str) -> str:
        """An option's text, then what is taken if it is left out; or a command's, cut to a line as click cuts it."""
        group = self._context.command
        named = group.get_command(self._context, name) if isinstance(group, click.Group) else None
        if named is not None:
            first = (named.help or "").strip().split("\n\n")[0]
            return textwrap.shorten(self._said(first).rstrip("."), max(len(text), 45), placeholder="...")
        text, sign, usual = text.partition("  [")
        usual = "; ".join(self._said(part) for part in usual.removesuffix("]").split("; "))
        return self._said(text) + (f"  [{usual}]" if sign else "")
