"""The button that fetches: off until the district names a source, then one run in the background, told line by line."""

from __future__ import annotations

import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from running_desk import RunningDesk

CSV = "issued_at,place,date,element,value,unit\n2026-09-14T05:00-05:00,marrow-north,2026-09-15,low,51,degF\n"


class Answers(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        self.send_response(200)
        self.send_header("Content-Length", str(len(CSV)))
        self.end_headers()
        self.wfile.write(CSV.encode())

    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture
def address():
    server = ThreadingHTTPServer(("127.0.0.1", 0), Answers)
    threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}/f.csv"
    server.shutdown()
    server.server_close()


def test_the_button_is_there_once_a_source_is_named(desk: RunningDesk, address: str) -> None:
    district = Path(desk.desk.ledger.address).parent / "district.toml"
    before = district.read_text() if district.exists() else None
    try:
        with desk.launched() as client:
            assert "Fetch now" not in client.get("/files").text
            assert client.post("/fetch").status_code == 303  # nothing to fetch, nothing done
            district.write_text(f"""[fetch]
contact = "office@example.org"
hosts = ["127.0.0.1"]
[[fetch.source]]
name = "desk days"
kind = "file"
address = "{address}"
format = "forecast-csv"
""")
            assert "Fetch now" in client.get("/files").text
            assert client.post("/fetch").headers["location"] == "/files"
            while "Being fetched" in (text := client.get("/files").text):  # pytest's own limit ends it
                time.sleep(0.05)
            assert "desk days: 1 new entry, 0 rows set aside" in text
            lows = [d.get("low") for e in desk.desk.ledger.history(kind="forecast") for d in e.body["days"]]
            assert lows[-1] == 51 or 51 in lows
            district.write_text("[fetch]\nspeed = 3\n")
            page = client.get("/files")
            assert page.status_code == 200 and "&#39;speed&#39; is not known" in page.text
            assert client.post("/fetch").status_code == 422
    finally:
        if before is None:
            district.unlink(missing_ok=True)
        else:
            district.write_text(before)
