"""The guards in front of every page: host, token, origin, pace, headers, sizes, errors."""

from __future__ import annotations

import http.client
import io
from pathlib import Path

import httpx
import pytest
from running_desk import RunningDesk, running

from sideoats.desk.guard import POLICY, Pace
from sideoats.desk.visit import Visit

HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "permissions-policy": "geolocation=(self), camera=(self), microphone=(), payment=(), usb=()",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}


@pytest.mark.parametrize("path", ["/help", "/", "/no-such-page", "/phone-in/sorghum-aphid", "/static/none.css"])
def test_every_answer_carries_the_headers(desk: RunningDesk, path: str) -> None:
    with desk.launched() as client:
        got = client.get(path).headers
    told = {name: got.get(name) for name in HEADERS}
    if path.startswith("/static"):
        told["cache-control"] = "no-store"
    assert told == HEADERS
    assert "server" not in got
    assert "strict-transport-security" not in got


def test_policy_allows_nothing_inline_and_nothing_from_elsewhere() -> None:
    assert "unsafe" not in POLICY and "http" not in POLICY and "*" not in POLICY and "data:" not in POLICY
    assert "frame-ancestors 'none'" in POLICY and "object-src 'none'" in POLICY and "base-uri 'none'" in POLICY


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1.evil.example:{port}", "localhost:1", ""]
)
def test_another_host_name_is_not_answered(desk: RunningDesk, host: str) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", desk.settings.port)
    connection.putrequest("GET", "/help", skip_host=True)
    connection.putheader("Host", host.format(port=desk.settings.port))
    connection.endheaders()
    assert connection.getresponse().status == 421
    connection.close()


def test_two_host_headers_are_not_answered(desk: RunningDesk) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", desk.settings.port)
    connection.putrequest("GET", "/help", skip_host=True)
    for _ in range(2):
        connection.putheader("Host", f"127.0.0.1:{desk.settings.port}")
    connection.endheaders()
    assert connection.getresponse().status in (400, 421)
    connection.close()


def test_localhost_is_the_same_desk(desk: RunningDesk) -> None:
    with httpx.Client() as client:
        assert client.get(f"http://localhost:{desk.settings.port}/help").status_code == 200


def test_the_launch_token_opens_the_desk_once_it_is_right(desk: RunningDesk) -> None:
    with desk.client() as client:
        assert client.get("/places").status_code == 401
        assert client.get("/places", params={"token": "wrong"}).status_code == 403
        assert client.get("/places").status_code == 401
        answer = client.get("/places", params={"token": desk.settings.token, "kind": "field"})
        assert answer.status_code == 303 and answer.headers["location"] == "/places?kind=field"
        cookie = answer.headers["set-cookie"].lower()
        assert "httponly" in cookie and "samesite=lax" in cookie and "path=/" in cookie
        assert client.get("/places").status_code == 200


def test_the_launch_does_not_send_anyone_elsewhere(desk: RunningDesk) -> None:
    with desk.client() as client:
        answer = client.get(f"{desk.base}//evil.example/x", params={"token": desk.settings.token})
    assert answer.headers["location"] == "/evil.example/x"


def test_an_office_knows_no_token(office: RunningDesk) -> None:
    with office.client() as client:
        answer = client.get("/places", params={"token": office.settings.token})
    assert answer.status_code == 303 and answer.headers["location"].startswith("/sign-in?next=")


@pytest.mark.parametrize(
    ("headers", "allowed"),
    [
        ({"Origin": "{base}", "Sec-Fetch-Site": "same-origin"}, True),
        ({"Origin": "{base}"}, True),
        ({"Sec-Fetch-Site": "same-origin"}, True),
        ({}, False),
        ({"Origin": "https://evil.example"}, False),
        ({"Origin": "null"}, False),
        ({"Origin": "https://evil.example", "Sec-Fetch-Site": "same-origin"}, False),
        ({"Origin": "{base}", "Sec-Fetch-Site": "cross-site"}, False),
        ({"Sec-Fetch-Site": "cross-site"}, False),
        ({"Sec-Fetch-Site": "same-site"}, False),
        ({"Sec-Fetch-Site": "none"}, False),
        ({"Origin": "{base}.evil.example"}, False),
    ],
)
def test_changes_come_from_the_desks_own_pages_only(desk: RunningDesk, headers: dict[str, str], allowed: bool) -> None:
    with desk.launched() as client:
        for name in ("Origin", "Sec-Fetch-Site"):
            del client.headers[name]
        sent = {k: v.format(base=desk.base) for k, v in headers.items()}
        answer = client.post("/phone-in/sorghum-aphid", data={"stage": "boot"}, headers=sent)
    assert (answer.status_code != 403) is allowed
    assert allowed or "nothing was done" in answer.text


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE", "CONNECT"])
def test_other_methods_are_refused(desk: RunningDesk, method: str) -> None:
    with desk.launched() as client:
        assert client.request(method, "/places").status_code in (400, 403, 405)


def test_a_body_larger_than_the_page_takes_is_refused_before_it_is_read(desk: RunningDesk) -> None:
    with desk.launched() as client:
        answer = client.post("/phone-in/sorghum-aphid", data={"stage": "x" * 1_200_000})
        assert answer.status_code == 413

        def endless() -> object:
            for _ in range(4_000):
                yield b"stage=" + b"y" * 1024 + b"&"

        streamed = client.post(
            "/phone-in/sorghum-aphid", content=endless(), headers={"Content-Type": "application/x-www-form-urlencoded"}
        )
        assert streamed.status_code == 413
        said = client.post("/send/entry", content=b"[" * 4_000_000, headers={"Content-Type": "application/json"})
        assert said.status_code == 413


def test_a_form_of_too_many_fields_or_of_another_kind_is_refused(desk: RunningDesk) -> None:
    with desk.launched() as client:
        many = client.post("/phone-in/sorghum-aphid", data={f"f{i}": "1" for i in range(3_000)})
        assert many.status_code == 400
        kind = client.post("/phone-in/sorghum-aphid", content=b"{}", headers={"Content-Type": "application/json"})
        assert kind.status_code == 415
        deep = client.post("/send/entry", content=b"[" * 200_000, headers={"Content-Type": "application/json"})
        assert deep.status_code in (400, 422)
        nan = client.post("/send/entry", content=b'{"id": NaN}', headers={"Content-Type": "application/json"})
        assert nan.status_code == 400
        files = [("file", (f"{i}.csv", io.BytesIO(b"a,b\n1,2\n"), "text/csv")) for i in range(100)]
        assert client.post("/files", files=files).status_code == 400


@pytest.mark.parametrize(
    "path",
    [
        "/static/../state.py", "/static/..%2fstate.py", "/static/%2e%2e/%2e%2e/state.py", "/static//etc/passwd",
        "/static/vendor/../../accounts.py", "/entry/..%2f..%2fetc%2fpasswd", "/files/..%2f..%2faccounts.sqlite",
        "/call/..%2fx/y", "/places/..%2f..%2f", "/fact/../../../etc/passwd", "/enter/../../etc/passwd",
    ],
)  # fmt: skip
def test_no_path_leads_out(desk: RunningDesk, path: str) -> None:
    with desk.launched() as client:
        cookie = "; ".join(f"{k}={v}" for k, v in client.cookies.items())
    connection = http.client.HTTPConnection("127.0.0.1", desk.settings.port)
    connection.putrequest("GET", path, skip_host=True)
    connection.putheader("Host", f"127.0.0.1:{desk.settings.port}")
    connection.putheader("Cookie", cookie)
    connection.endheaders()
    answer = connection.getresponse()
    text = answer.read()
    connection.close()
    assert answer.status in (400, 404, 405)
    assert b"root:" not in text and b"import " not in text


def test_an_error_of_ours_shows_a_number_and_no_trace(
    demo_ledger: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(self: Visit) -> object:
        raise ZeroDivisionError("secret detail")

    with running(tmp_path, demo_ledger) as found, found.launched() as client:
        monkeypatch.setattr(Visit, "on", property(broken))
        answer = client.get("/places")
        assert answer.status_code == 500
        assert "incident" in answer.text
        assert "secret detail" not in answer.text and "Traceback" not in answer.text
        assert answer.headers["content-security-policy"] == POLICY
        sent = client.get("/places", headers={"Accept": "application/json"})
        assert sent.status_code == 500 and "incident" in sent.json()["line"]
    assert "secret detail" in caplog.text


def test_pace_refills_and_forgets(desk: RunningDesk) -> None:
    pace = Pace(lambda *_: None, desk.desk)  # type: ignore[arg-type]
    most = desk.settings.limits.requests_a_minute
    assert all(pace.admit("a", 0.0) for _ in range(most))
    assert not pace.admit("a", 0.0)
    assert pace.admit("b", 0.0)
    assert pace.admit("a", 60.0 / most + 0.001)
    assert not pace.admit("a", 60.0 / most + 0.001)
    for i in range(10_050):
        pace.admit(f"other {i}", 1.0)
    assert len(pace.buckets) == 10_000


def test_too_many_requests_are_slowed_not_served(demo_ledger: Path, tmp_path: Path) -> None:
    from sideoats.desk.settings import Limits

    with running(tmp_path, demo_ledger, limits=Limits(requests_a_minute=5)) as found, found.client() as client:
        answers = [client.get("/help") for _ in range(8)]
        assert [a.status_code for a in answers[:5]] == [200] * 5
        assert answers[-1].status_code == 429 and answers[-1].headers["retry-after"] == "60"
        assert client.get("/static/desk.css").status_code == 200
