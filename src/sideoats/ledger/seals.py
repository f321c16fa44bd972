"""Sealing the bodies of a farm's entries, and opening them again.

A body is sealed with AES-256 in Galois/Counter Mode (NIST SP 800-38D, November 2007) under a key of the farm, with a
random nonce of 96 bits. The sealed text is base64 of nonce, ciphertext and tag. The ids of ledger, entry and seal are
authenticated with it, so that a sealed body opens in its own entry only. SP 800-38D section 8.3 allows 2**32 random
nonces a key; a ledger of one farm stays far below.
"""

from __future__ import annotations

import base64
import binascii
import os
import threading
import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence, Set
from contextlib import suppress
from typing import TYPE_CHECKING

from sqlalchemy.engine import Connection

from sideoats.errors import LedgerDamaged, LedgerError
from sideoats.ledger import queries
from sideoats.ledger.canon import Row
from sideoats.ledger.entry import Entry
from sideoats.ledger.keys import KeyStore

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

_KEY_BITS = 256
_NONCE_BYTES = 12
FORGOTTEN = "forgotten"


class Seals:
    """Seals and opens the bodies of one ledger; holds the keys that it has read. Safe to share between threads."""

    def __init__(self, ledger_id: str, keys: str | None) -> None:
        self.ledger_id = ledger_id
        self.store = KeyStore(keys) if keys else None
        self._ciphers: dict[str, AESGCM] = {}
        self._new: dict[str, str] = {}
        self._destroyed: set[str] = set()
        self._lock = threading.Lock()

    def mint(self) -> str:
        """A new seal; its key is kept by `keep`. Raises LedgerError where there is no place for keys."""
        self.require_store()
        from cryptography.hazmat.primitives.ciphers.aead import AESGCM

        seal, key = uuid.uuid4().hex, AESGCM.generate_key(_KEY_BITS)
        self._ciphers[seal] = AESGCM(key)
        self._new[seal] = base64.b64encode(key).decode()
        return seal

    def require_store(self) -> KeyStore:
        """The store. Raises LedgerError where its place has not been said."""
        if self.store is None:
            raise LedgerError(
                "no place for the keys of sealed farms; set SIDEOATS_KEYS to a file or to a database of its own"
            )
        return self.store

    def keep(self) -> None:
        """Put new keys on disk. To be called before anything sealed with them is stored."""
        if self._new:
            self.require_store().add(self._new)
            self._new = {}

    def discard(self) -> None:
        """Forget new keys that were not kept: the entries sealed with them are not stored either."""
        for seal in self._new:
            self._ciphers.pop(seal, None)
        self._new = {}

    def seal(self, seal: str, entry_id: str, text: str) -> str:
        """`text` sealed. Raises LedgerError where the key is not there."""
        cipher = self._ciphers.get(seal)
        if cipher is None:
            self._read([seal], {})
            cipher = self._ciphers.get(seal)
        if cipher is None:
            raise LedgerError(f"the farm is sealed and its key is not in {self.shown()}; nothing was stored")
        nonce = os.urandom(_NONCE_BYTES)
        sealed = cipher.encrypt(nonce, text.encode(), self._about(entry_id, seal))
        return base64.b64encode(nonce + sealed).decode()

    def shown(self) -> str:
        """Where keys are looked for, for messages."""
        from sideoats.ledger import engine as engines

        return engines.shown(self.store.address) if self.store else "SIDEOATS_KEYS, which is not set"

    def texts(self, connection: Connection, rows: Sequence[Row]) -> list[str | None]:
        """The body of each row as JSON text; None where it is withheld.

        Withheld is everything of a farm that was forgotten, whatever keys may still lie about, and what is sealed
        with a key that is not here. Raises LedgerDamaged where a key does not open what is sealed with it.
        """
        gone = queries.forgotten(connection, FORGOTTEN)
        sealed = {row.seal for row in rows if row.seal}
        if not sealed and not gone:
            return [row.body for row in rows]
        self._ready(connection, sealed, gone)
        withheld = frozenset(gone)
        return [self._text(row, withheld) for row in rows]

    def entries(self, connection: Connection, rows: Sequence[Row]) -> list[Entry]:
        """The rows as the entries that callers see."""
        return [queries.entry(row, text) for row, text in zip(rows, self.texts(connection, rows), strict=True)]

    def _ready(self, connection: Connection, sealed: Set[str], gone: Sequence[str]) -> None:
        """Read the keys that are missing in memory, and drop those of forgotten farms here and in the store."""
        dead = queries.seals_of(connection, gone) if gone else {}
        if sealed - self._ciphers.keys() - dead.keys():
            self._read(sealed, dead)
        if dead.keys() - self._destroyed:
            with suppress(LedgerError):  # a store that we may only read: withheld all the same, and `check` tells
                self.destroy(dead)

    def _read(self, wanted: Iterable[str], dead: Mapping[str, str]) -> None:
        if self.store is None:
            return
        from cryptography.hazmat.primitives.ciphers.aead import AESGCM

        with self._lock:
            found = self.store.all()
            for seal in wanted:
                if seal in found and seal not in dead and seal not in self._ciphers:
                    self._ciphers[seal] = AESGCM(base64.b64decode(found[seal]))

    def _text(self, row: Row, gone: Set[str]) -> str | None:
        if row.farm in gone and row.kind != FORGOTTEN:
            return None
        if not row.seal:
            return row.body
        cipher = self._ciphers.get(row.seal)
        return None if cipher is None else self._opened(row, cipher)

    def _opened(self, row: Row, cipher: AESGCM) -> str:
        from cryptography.exceptions import InvalidTag

        try:
            raw = base64.b64decode(row.body, validate=True)
            plain = cipher.decrypt(raw[:_NONCE_BYTES], raw[_NONCE_BYTES:], self._about(row.id, row.seal))
            return plain.decode()
        except (InvalidTag, ValueError, binascii.Error):
            raise LedgerDamaged(f"entry {row.seq} ({row.id}) is sealed, and its key does not open it") from None

    def _about(self, entry_id: str, seal: str) -> bytes:
        return f"{self.ledger_id}\n{entry_id}\n{seal}".encode()

    def finish(self, connection: Connection) -> Callable[[], int]:
        """What destroys, once the transaction has ended, every key of forgotten farms that is still in the store."""
        dead = queries.seals_of(connection, queries.forgotten(connection, FORGOTTEN))
        return lambda: self.destroy(dead)

    def destroy(self, dead: Mapping[str, str]) -> int:
        """Destroy keys in memory and in the store; how many were in the store."""
        with self._lock:
            for seal in dead:
                self._ciphers.pop(seal, None)
            self._destroyed.update(dead)
        return self.store.destroy(dead) if self.store and dead else 0
