"""What is still printed in English to a reader of another language, most seen first.

python -m tools.untranslated [LANGUAGE]

Texts that stand in English where they arise (see `sideoats.words.texts`): help of fields, refusals, help of commands,
names of quantities. A text built of parts is listed with its slots in braces, as its key in the catalogue has them.
"""

from __future__ import annotations

import ast
import inspect
import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

import click

from sideoats.cli import group
from sideoats.ledger import evidence_kinds
from sideoats.question import every
from sideoats.schema import Field
from sideoats.words.texts import keys_of

SOURCES = Path(__file__).parent.parent / "src" / "sideoats"
ERRORS = ("InputError", "UnitError", "QuestionError", "LedgerError", "SideoatsError")
_EVERYWHERE = ("schema.py", "units.py", "question.py", "asking.py", "crops.py", "listed.py", "document.py")


def helps() -> Counter[str]:
    """Help of every field, its parts apart, by how many questions and kinds of evidence show it."""
    found: Counter[str] = Counter()

    def walk(fields: Iterable[Field]) -> None:
        for field in fields:
            found.update(part for part in field.help.split("; ") if part)
            walk(field.fields)

    for question in every():
        walk(question.inputs)
    for kind in evidence_kinds().values():
        walk(kind.fields.values())
    return found


def template(node: ast.expr) -> str:
    """The text of a literal with ``{}`` for what is put in; "" of what is no literal."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(str(v.value) if isinstance(v, ast.Constant) else "{}" for v in node.values)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        return template(node.left) + template(node.right) if template(node.left) and template(node.right) else ""
    return ""


def _texts_in(node: ast.expr) -> Iterator[str]:
    """The literals that an argument can be, whichever way it is chosen."""
    if isinstance(node, ast.IfExp):
        yield from _texts_in(node.body)
        yield from _texts_in(node.orelse)
    elif text := template(node):
        yield text


def refusals() -> Counter[str]:
    """What errors say, from their places in the source; those of every question count most."""
    found: Counter[str] = Counter()
    for path in sorted(SOURCES.rglob("*.py")):
        weight = 50 if path.name in _EVERYWHERE else 10 if "questions" in path.parts else 1
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", getattr(node.func, "attr", "")) in ERRORS:
                for given in (*node.args[:1], *(k.value for k in node.keywords if k.arg in ("expected", "todo"))):
                    for text in _texts_in(given):
                        if any(c.isalpha() for c in text.replace("{}", "")):
                            found[text] += weight
    return found


def commands() -> Counter[str]:
    """Help of every command and its options, paragraph by paragraph."""
    found: Counter[str] = Counter()
    context = click.Context(group)
    for command in (group, *filter(None, (group.get_command(context, name) for name in group.list_commands(context)))):
        for paragraph in inspect.cleandoc(command.help or "").split("\n\n"):
            found[" ".join(paragraph.split())] += 1
        for param in command.params:
            if isinstance(param, click.Option) and param.help:
                found[" ".join(param.help.split())] += 1
    return found


def quantities() -> Counter[str]:
    """Names of quantities, from the keys of ``quantities`` and of what is added to them, in words."""
    found: Counter[str] = Counter()
    for path in sorted(SOURCES.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Dict) and node.keys and all(isinstance(v, ast.Tuple) for v in node.values):
                names = [k.value for k in node.keys if isinstance(k, ast.Constant) and isinstance(k.value, str)]
                pairs = [v for v in node.values if isinstance(v, ast.Tuple) and len(v.elts) == 2]
                if len(pairs) == len(node.values) and all("_" in n or n.isalpha() for n in names):
                    found.update(name.replace("_", " ") for name in names)
    return found


KINDS = {"help": helps, "refusals": refusals, "commands": commands, "quantities": quantities}


def lacking(kind: str, language: str) -> list[tuple[str, int]]:
    """Texts of a kind that a language has no words for, most seen first."""
    keys = keys_of(language)
    return [(text, seen) for text, seen in KINDS[kind]().most_common() if " ".join(text.split()) not in keys]


def main() -> None:
    """Print each kind's texts that lack words."""
    language = sys.argv[1] if len(sys.argv) > 1 else "es"
    for kind in KINDS:
        found = lacking(kind, language)
        print(f"# {kind}: {len(found)} of {len(KINDS[kind]())} without words in {language}")
        for text, seen in found:
            print(f"{seen}\t{text}")


if __name__ == "__main__":
    main()
