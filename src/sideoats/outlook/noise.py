"""Random numbers that a name stands for: the same seed and names give the same numbers, whoever else is answered.

The names are hashed to 128 bits by BLAKE2b, each with its length before it, so that no two lists of names are spelled
alike. Of a million places in twenty streams the chance that any two share their numbers is under 1e-24; by the 32 bits
of a checksum about one pair of 100,000 places did.
"""

from __future__ import annotations

from hashlib import blake2b

import numpy as np

_BYTES = 16  # all that numpy's SeedSequence holds in its pool


def seed_words(seed: int, *names: str) -> np.ndarray[tuple[int], np.dtype[np.uint32]]:
    """(4,) the words that seed and names are hashed to, the same on every machine."""
    spelled = "".join([f"{int(seed)};", *[f"{len(name)}:{name}" for name in names]])
    digest = blake2b(spelled.encode("utf-8", "surrogatepass"), digest_size=_BYTES).digest()
    return np.frombuffer(digest, dtype="<u4").astype(np.uint32)


def generator(seed: int, *names: str) -> np.random.Generator:
    """A generator of its own for this seed and these names, in their order."""
    return np.random.Generator(np.random.SFC64(np.random.SeedSequence(seed_words(seed, *names))))
