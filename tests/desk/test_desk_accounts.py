"""Accounts, passwords, sessions, signing in, and the audit in the ledger's chain."""

from __future__ import annotations

import os
import stat
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from running_desk import PASSWORD, RunningDesk, make_office, running

from sideoats.desk.accounts import Accounts, Person, check_password
from sideoats.desk.pages.sign_in import inside
from sideoats.desk.settings import Limits, Settings
from sideoats.errors import InputError


@pytest.fixture
def accounts(tmp_path: Path) -> Accounts:
    return Accounts(tmp_path / "accounts.sqlite")


def test_the_file_is_for_its_owner_only_and_holds_no_secret(accounts: Accounts, tmp_path: Path) -> None:
    accounts.add("ada", PASSWORD, "adviser")
    key = accounts.begin(Person("ada", "adviser"))
    accounts.close()
    path = tmp_path / "accounts.sqlite"
    assert stat.S_IMODE(os.stat(path).st_mode) == 0o600
    data = b"".join(p.read_bytes() for p in tmp_path.glob("accounts.sqlite*"))
    assert PASSWORD.encode() not in data and key.encode() not in data
    assert b"$argon2id$" in data


@pytest.mark.parametrize(
    ("password", "why"),
    [
        ("short", "too short"), ("a" * 401, "too long"), ("aaaaaaaaaaaaaaaa", "tried first"),
        ("password1234", "tried first"), ("Sunshine2026!", "tried first"), ("123456789012", "tried first"),
        ("ada likes 12 oats", "holds the name"),
    ],
)  # fmt: skip
def test_poor_passwords_are_refused(password: str, why: str) -> None:
    with pytest.raises(InputError, match=why):
        check_password(password, "ada")


def test_any_long_password_will_do() -> None:
    check_password("four plain words here", "ada")
    check_password("é" * 6 + "日本語 трава 草", "ada")
    check_password("x y z 1 " * 50, "ada")


def test_right_wrong_and_unknown(accounts: Accounts, monkeypatch: pytest.MonkeyPatch) -> None:
    accounts.add("ada", PASSWORD, "adviser")
    assert accounts.check("ada", PASSWORD) == Person("ada", "adviser")
    assert accounts.check("ada", PASSWORD + "x") is None
    asked: list[str] = []
    from sideoats.desk import accounts as module

    hasher = module._hasher()

    class Counting:
        def verify(self, hashed: str, password: str) -> bool:
            asked.append(hashed)
            return bool(hasher.verify(hashed, password))

        def hash(self, password: str) -> str:
            return str(hasher.hash(password))

    monkeypatch.setattr(module, "_hasher", Counting)
    assert accounts.check("nobody", PASSWORD) is None
    assert len(asked) == 1 and asked[0].startswith("$argon2id$")  # an unknown name costs as much work as a known one


@pytest.mark.parametrize("name", ["", "A", "a", "has space", "../x", "é", "a" * 41, "-x", "a\n"])
def test_strange_names_are_refused(accounts: Accounts, name: str) -> None:
    with pytest.raises(InputError):
        accounts.add(name, PASSWORD, "scout")


def test_names_are_taken_once_and_roles_are_known(accounts: Accounts) -> None:
    accounts.add("ada", PASSWORD, "adviser")
    with pytest.raises(InputError, match="taken"):
        accounts.add("ada", PASSWORD, "scout")
    with pytest.raises(InputError, match="not a role"):
        accounts.add("bob", PASSWORD, "king")


def test_the_last_adviser_stays(accounts: Accounts) -> None:
    accounts.add("ada", PASSWORD, "adviser")
    accounts.add("sam", PASSWORD, "scout")
    for change in ({"closed": True}, {"role": "reader"}):
        with pytest.raises(InputError, match="last adviser"):
            accounts.change("ada", **change)  # type: ignore[arg-type]
    accounts.change("sam", role="adviser")
    accounts.change("ada", closed=True)
    assert accounts.check("ada", PASSWORD) is None


def test_any_change_ends_every_session(accounts: Accounts) -> None:
    sam = accounts.add("sam", PASSWORD, "scout")
    for change in ({"role": "reader"}, {"password": "a wholly new long phrase"}, {"closed": True}):
        key = accounts.begin(sam)
        assert accounts.who(key) is not None
        accounts.change("sam", **change)  # type: ignore[arg-type]
        assert accounts.who(key) is None
        accounts.change("sam", closed=False)


def test_sessions_end_by_themselves(accounts: Accounts, monkeypatch: pytest.MonkeyPatch) -> None:
    sam = accounts.add("sam", PASSWORD, "scout")
    key, start = accounts.begin(sam), time.time()
    monkeypatch.setattr(time, "time", lambda: start + 11 * 3600)
    assert accounts.who(key) == sam
    monkeypatch.setattr(time, "time", lambda: start + 22 * 3600)
    assert accounts.who(key) == sam  # used in between
    monkeypatch.setattr(time, "time", lambda: start + 35 * 3600)
    assert accounts.who(key) is None  # idle for twelve hours
    monkeypatch.setattr(time, "time", lambda: start)
    assert accounts.who(key) is None  # and stays so
    key = accounts.begin(sam)
    for day in range(13):
        for part in (0, 8 * 3600, 16 * 3600):
            monkeypatch.setattr(time, "time", lambda day=day, part=part: start + day * 86400 + part)
            assert accounts.who(key) is not None
    monkeypatch.setattr(time, "time", lambda: start + 14 * 86400 + 1)
    assert accounts.who(key) is None


def test_one_ends_ones_own_sessions_only(accounts: Accounts) -> None:
    sam, sue = accounts.add("sam", PASSWORD, "scout"), accounts.add("sue", PASSWORD, "scout")
    key, other = accounts.begin(sam, "phone"), accounts.begin(sue, "desk")
    listed = accounts.sessions("sam")
    assert [s.device for s in listed] == ["phone"] and listed[0].short not in key
    assert not accounts.end_by_name("sam", accounts.sessions("sue")[0].short)
    assert accounts.end_by_name("sam", listed[0].short)
    assert accounts.who(key) is None and accounts.who(other) is not None


def test_signing_in_and_out(office: RunningDesk) -> None:
    with office.client() as client:
        form = {"name": "Ada ", "password": PASSWORD, "next": "/places?kind=bin"}
        answer = client.post("/sign-in", data=form)
        assert answer.status_code == 303 and answer.headers["location"] == "/places?kind=bin"
        first = answer.cookies
        again = client.post("/sign-in", data=form)
        assert dict(first) != dict(again.cookies)  # a new key at every sign-in
        key = next(iter(again.cookies.values()))
        assert client.get("/people").status_code == 200
        assert client.post("/session/end").headers["location"] == "/sign-in"
        name = f"sideoats-{office.settings.port}"
        replayed = client.get("/people", headers={"Cookie": f"{name}={key}"})
        assert replayed.status_code == 303 and replayed.headers["location"].startswith("/sign-in")


def test_wrong_name_and_wrong_password_read_alike(office: RunningDesk) -> None:
    with office.client() as client:
        one = client.post("/sign-in", data={"name": "rita", "password": "not the password"})
        two = client.post("/sign-in", data={"name": "rosa", "password": "not the password"})
    assert one.status_code == two.status_code == 401
    assert one.text.replace("rita", "") == two.text.replace("rosa", "")


def test_guessing_is_stopped(demo_ledger: Path, tmp_path: Path) -> None:
    make_office(Settings(data=tmp_path / "data"))
    with (
        running(tmp_path, demo_ledger, office=True, limits=Limits(sign_ins_a_quarter=3)) as found,
        found.client() as client,
    ):
        for _ in range(3):
            assert client.post("/sign-in", data={"name": "ada", "password": "wrong"}).status_code == 401
        answer = client.post("/sign-in", data={"name": "ada", "password": PASSWORD})
        assert answer.status_code == 429 and answer.headers["retry-after"] == "900"


def test_another_password(office: RunningDesk) -> None:
    office.desk.accounts.add("pat", PASSWORD, "scout")
    with office.signed_in("pat") as client:
        assert client.post("/session/password", data={"old": "no", "new": "six grey geese fly"}).status_code == 422
        assert client.post("/session/password", data={"old": PASSWORD, "new": "short"}).status_code == 422
        done = client.post("/session/password", data={"old": PASSWORD, "new": "six grey geese fly"})
        assert done.status_code == 303
        assert client.get("/places").status_code == 303  # signed out everywhere
    assert office.desk.accounts.check("pat", "six grey geese fly") is not None


def test_what_is_done_stands_in_the_ledgers_chain(office: RunningDesk) -> None:
    with office.client() as client:
        client.post("/sign-in", data={"name": "ada", "password": "wrong"})
        client.post("/sign-in", data={"name": "ada", "password": PASSWORD})
        client.post("/people", data={"name": "wes", "password": "tall oats in a row", "role": "reader"})
        client.post("/people/wes", data={"role": "scout"})
        page = client.get("/audit").text
    entries = list(office.desk.ledger.history(kind="audit"))
    said = [e.body["what"] for e in entries][-4:]
    assert said == ["sign-in refused", "signed in", "account made", "account changed"]
    assert entries[-4].body["address"] == "127.0.0.1"
    assert "tall oats" not in str(entries) and "tall oats" not in page
    assert office.desk.ledger.check().ok
    with office.signed_in("sam") as scout:
        assert scout.get(f"/entry/{entries[-1].id}").status_code == 404


def test_audit_entries_do_not_make_the_week_old(office: RunningDesk) -> None:
    head = office.desk.evidence_head()
    office.desk.audit(Person("ada", "adviser"), "looked")
    assert office.desk.evidence_head() == head


def test_one_persons_desk_has_no_accounts(desk: RunningDesk) -> None:
    with desk.launched() as client:
        for path in ("/people", "/audit", "/sign-in"):
            assert client.get(path).status_code == 404
        assert client.get("/session").status_code == 200


@given(st.text(max_size=80))
def test_no_one_is_sent_elsewhere_after_signing_in(target: str) -> None:
    found = inside(target)
    assert found == "/" or (found == target and found.startswith("/") and not found.startswith(("//", "/\\")))


@pytest.mark.parametrize(
    "target",
    ["https://evil.example", "//evil.example", "/\\evil.example", "javascript:alert(1)", "/x\r\nSet-Cookie: a=b", ""],
)
def test_known_tricks_lead_home(target: str) -> None:
    assert inside(target) == "/"


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"host": "0.0.0.0"}, "can be reached from other machines"),
        ({"host": "::"}, "can be reached from other machines"),
        ({"host": "desk.example"}, "can be reached from other machines"),
        ({"host": "0.0.0.0", "office": True}, "has no TLS"),
        ({"zone": "Mars/Olympus"}, "time zone"),
        ({"certificate": Path("/none.pem")}, "cannot be read"),
    ],
)
def test_an_unsafe_desk_does_not_start(changes: dict[str, object], why: str) -> None:
    with pytest.raises(InputError, match=why):
        Settings(**changes).check()  # type: ignore[arg-type]


def test_an_office_must_know_its_name(tmp_path: Path) -> None:
    for name in ("c.pem", "k.pem"):
        (tmp_path / name).write_text("x")
    common = {"host": "0.0.0.0", "office": True, "certificate": tmp_path / "c.pem", "key": tmp_path / "k.pem"}
    with pytest.raises(InputError, match="own name"):
        Settings(**common).check()  # type: ignore[arg-type]
    settings = Settings(**common, names=("desk.example.org",), port=443)  # type: ignore[arg-type]
    settings.check()
    assert settings.hosts() == {"desk.example.org", "desk.example.org:443"}


def make_certificate(folder: Path) -> None:
    """A certificate of our own for this machine, good for an hour."""
    from datetime import UTC, datetime, timedelta

    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "localhost")])
    now = datetime.now(UTC)
    made = x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key())
    made = made.serial_number(x509.random_serial_number()).not_valid_before(now - timedelta(minutes=5))
    signed = made.not_valid_after(now + timedelta(hours=1)).sign(key, hashes.SHA256())
    pem = serialization.Encoding.PEM
    plain = key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    (folder / "c.pem").write_bytes(signed.public_bytes(pem))
    (folder / "k.pem").write_bytes(plain)


def test_a_certificate_makes_cookies_and_transport_strict(tmp_path: Path) -> None:
    from sideoats.desk.guard import cookie_name
    from sideoats.desk.serving import address

    make_certificate(tmp_path)
    make_office(Settings(data=tmp_path / "data"))
    tls = {"office": True, "certificate": tmp_path / "c.pem", "key": tmp_path / "k.pem"}
    with running(tmp_path, tls=True, **tls) as found:
        import httpx

        with httpx.Client(base_url=found.base, verify=False, headers={"Origin": found.base}) as client:
            answer = client.post("/sign-in", data={"name": "ada", "password": PASSWORD})
            assert answer.status_code == 303
            cookie = answer.headers["set-cookie"]
            assert cookie.startswith("__Host-sideoats=") and "Secure" in cookie and "Domain" not in cookie
            assert answer.headers["strict-transport-security"] == "max-age=31536000"
            client.headers["Origin"] = found.base.replace("https", "http")
            assert client.post("/session/end").status_code == 403
        assert cookie_name(found.desk) == "__Host-sideoats"
        assert address(found.settings).startswith("https://127.0.0.1:")
