"""docs/commands.md holds the help of every command as it is printed today.

After a change of a command: ``python tests/unit/test_commands_page.py`` writes the page anew.
"""

from __future__ import annotations

from pathlib import Path

PAGE = Path(__file__).parents[2] / "docs" / "commands.md"
HEAD = """# Commands

Exit status: 0 answered; 1 the ledger does not hold; 2 bad input, one line that says what, where, what was expected and
what to do; 3 a fault of the program. The ledger is `--ledger`, else `SIDEOATS_LEDGER`, else a file in the platform's
data folder. `SIDEOATS_DISTRICT` names the district file, else `district.toml` beside the ledger.

`--language` and `--units` stand before or after the command. Where they are left out, the district file says what is
printed and what the desk shows at first; without it that is English and US customary units. Help stays in English.

```toml
language = "es"     # en or es
units = "metric"    # us or metric
```
"""


def page() -> str:
    """The page from the commands themselves."""
    import click
    from click.testing import CliRunner

    from sideoats.cli import group

    runner = CliRunner(env={"COLUMNS": "100", "TERMINAL_WIDTH": "100"})
    parts = [HEAD]
    for name in ["", *group.list_commands(click.Context(group))]:
        words = [name, "--help"] if name else ["--help"]
        shown = runner.invoke(group, words, prog_name="sideoats", terminal_width=100)
        assert shown.exit_code == 0, shown.output
        title = f"## {name}" if name else "## sideoats"
        parts.append(f"{title}\n\n```\n{shown.output.strip()}\n```\n")
    return "\n".join(parts)


def test_the_page_holds_the_help_of_every_command() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "run: python tests/unit/test_commands_page.py"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
