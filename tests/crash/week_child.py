"""A stored week that is killed or starved. Usage: WEEK_PAUSE=SECONDS-A-BLOCK week_child.py ENGINE LEDGER STORE

Prints how many places are up to date, then "done"; a refusal is printed as one line and ends with status 2.
"""

from __future__ import annotations

import os
import sys
import time
from typing import Any

import sideoats.week.stored_run as stored_run
from sideoats.demo.district import TODAY
from sideoats.errors import SideoatsError
from sideoats.week import blocks
from sideoats.week.engines import engine_named
from sideoats.week.stored_run import encode_block

PLACES_A_BLOCK = 4
QUESTIONS = ["sorghum-aphid", "wean-date", "hay-nitrate", "wheat-planting"]


def slowed(common: Any, block: Any) -> Any:
    """`encode_block` of a machine that is slow enough to be killed in the middle."""
    time.sleep(float(os.environ["WEEK_PAUSE"]))
    return encode_block(common, block)


def main() -> None:
    """Run the week over the ledger into the store."""
    engine, ledger, store = sys.argv[1:4]
    blocks.blocks.__defaults__ = (PLACES_A_BLOCK,)
    stored_run.encode_block = slowed

    def tell(done: int, total: int) -> None:
        sys.stdout.write(f"{done}\n")
        sys.stdout.flush()

    try:
        stored_run.run_stored(
            ledger, TODAY, store, engine=engine_named(engine, workers=2), questions=QUESTIONS, draws=100, progress=tell
        )
    except SideoatsError as error:
        sys.stderr.write(f"refused: {error}\n")
        sys.exit(2)
    print("done", flush=True)


if __name__ == "__main__":
    main()
