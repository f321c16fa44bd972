"""Sources of what the sentences and cautions of a row quote, beside those of what was reckoned with."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from sideoats.facts import Facts

Sources = list[dict[str, str]]
# behind the cautions that every answer on nitrate, and on prussic acid, carries
NITRATE = ("signs", "at_risk", "drying_loss", "grind_and_mix", "nitrate_basis")
PRUSSIC = ("prussic.signs", "prussic.no_field_test", "prussic.hay", "prussic.sampling", "prussic.heights",
           "prussic.frost_waits", "prussic.new_shoots", "prussic.rain_wait")  # fmt: skip


def with_quoted(facts: Facts, quoted: Callable[[int], Iterable[str]]) -> Callable[[int], Sources]:
    """Row -> sources: every fact read so far for all rows alike, then those that this row's text quotes.

    Sentences are made late and only for rows that are shown, so that what they read would be cited nowhere.

    Parameters
    ----------
    facts : the reader of this answer, when everything has been reckoned
    quoted : row -> ids of the room's facts without "forage/"; one that ends in a dot means all that begin with it
    """
    base = facts.cited()
    held = {source["id"] for source in base}

    def of(row: int) -> Sources:
        more = []
        for name in quoted(row):
            whole = f"forage/{name}"
            more += [i for i in facts.by_id if i.startswith(whole)] if whole.endswith(".") else [whole]
        return base + [facts.by_id[i].source() for i in dict.fromkeys(more) if i not in held]

    return of
