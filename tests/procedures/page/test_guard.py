"""Attempts to get in, over the wire."""

from __future__ import annotations

import hashlib
import http.client
import json
import socket
import ssl
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest

from daq.clock import ManualClock, SystemClock
from daq.log.entry import Kind
from daq.log.reader import LogReader
from procedures.page.certificate import make_certificate
from procedures.page.doorway import LET_GO, PAIRED
from procedures.page.guard import ACTIONS_PER_S, BURST_S, MAX_BODY, Bucket

if TYPE_CHECKING:
    from tests.procedures.page.conftest import Rig

Answer = tuple[int, Mapping[str, str], str]
Asks = Callable[..., Answer]
GOOD = {"content-type": "application/json"}


def ask(
    rig: Rig,
    method: str,
    path: str,
    *,
    body: object = None,
    headers: Mapping[str, str] | None = None,
    origin: str | None = "its own",
) -> Answer:
    where = urlsplit(rig.page.url)
    if where.scheme == "https":
        context = ssl.create_default_context()
        context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
        connection: http.client.HTTPConnection = http.client.HTTPSConnection(
            where.netloc, timeout=5, context=context
        )
    else:
        connection = http.client.HTTPConnection(where.netloc, timeout=5)
    sent = dict(GOOD) if method == "POST" else {}
    if origin is not None and method == "POST":
        sent["origin"] = rig.page.url.rstrip("/") if origin == "its own" else origin
    sent.update(headers or {})
    try:
        connection.request(method, path, json.dumps(body) if body is not None else None, sent)
        answer = connection.getresponse()
        return answer.status, dict(answer.getheaders()), answer.read().decode("utf-8", "replace")
    finally:
        connection.close()


WISH = {"id": "q1", "do": "yes"}


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "localhost.evil.example", ""]
)
def test_a_name_that_is_not_the_page_s_is_turned_away(rig: Rig, host: str) -> None:
    """A DNS name that somebody points here (rebinding) does not open the page."""
    for path in ("/", "/site.json", "/events", "/runs.json"):
        assert ask(rig, "GET", path, headers={"host": host})[0] in (400, 421)


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "https://127.0.0.1", "http://127.0.0.1:1", None]
)
def test_another_site_s_page_cannot_act(rig: Rig, origin: str | None) -> None:
    assert ask(rig, "POST", "/act", body=WISH, origin=origin)[0] == 403


def test_another_site_s_page_cannot_read_by_cross_origin_requests(rig: Rig) -> None:
    status, headers, _ = ask(rig, "GET", "/site.json", headers={"origin": "http://evil.example"})
    assert status == 403
    assert "access-control-allow-origin" not in headers


def test_a_browser_that_says_cross_site_is_believed(rig: Rig) -> None:
    assert ask(rig, "POST", "/act", body=WISH, headers={"sec-fetch-site": "cross-site"})[0] == 403


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", ""])
def test_a_foreign_form_cannot_act(rig: Rig, kind: str) -> None:
    """The three types that a page may send elsewhere without asking first (Fetch standard)."""
    assert ask(rig, "POST", "/act", body=WISH, headers={"content-type": kind})[0] == 415


def test_a_long_body_is_refused_unread(rig: Rig) -> None:
    assert ask(rig, "POST", "/act", body={"text": "x" * MAX_BODY})[0] == 413


@pytest.mark.parametrize("body", ["[1]", "{", "\x00"])
def test_what_is_no_json_object_is_refused(rig: Rig, body: str) -> None:
    connection = http.client.HTTPConnection(urlsplit(rig.page.url).netloc, timeout=5)
    connection.request("POST", "/act", body, {**GOOD, "origin": rig.page.url.rstrip("/")})
    assert connection.getresponse().status == 400
    connection.close()


def test_actions_come_at_a_bearable_rate(rig: Rig) -> None:
    found = [ask(rig, "POST", "/act", body=WISH)[0] for _ in range(20)]
    assert found[0] == 409
    assert 429 in found


def test_a_websocket_is_refused_whatever_its_origin(rig: Rig) -> None:
    where = urlsplit(rig.page.url)
    for origin in (rig.page.url.rstrip("/"), "http://evil.example"):
        with socket.create_connection((where.hostname or "", where.port or 0), timeout=5) as line:
            line.sendall(
                f"GET /events HTTP/1.1\r\nHost: {where.netloc}\r\nOrigin: {origin}\r\n"
                "Connection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\n"
                "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n".encode()
            )
            assert b" 101 " not in line.recv(200)


@pytest.mark.parametrize(
    "path",
    ["/../server.py", "/static/../../server.py", "/%2e%2e/app.py", "/page.key", "//etc/passwd"],
)
def test_only_the_page_s_own_files_can_be_asked_for(rig: Rig, path: str) -> None:
    assert ask(rig, "GET", path)[0] == 404


def test_every_answer_forbids_foreign_scripts_and_frames(rig: Rig) -> None:
    for path in ("/", "/main.js", "/site.json", "/nothing"):
        _, headers, _ = ask(rig, "GET", path)
        policy = headers["content-security-policy"]
        assert "script-src 'self'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"


def test_the_page_itself_holds_no_inline_script_or_style(rig: Rig) -> None:
    _, _, text = ask(rig, "GET", "/")
    assert '<script type="module" src="main.js"></script>' in text
    assert text.count("<script") == 1
    assert " style=" not in text
    assert " onclick=" not in text
    assert "http" not in text.replace("http-equiv", ""), "nothing comes from elsewhere"


def test_without_pairing_a_screen_on_the_network_looks_and_cannot_act(lan_rig: Rig) -> None:
    status, _, text = ask(lan_rig, "GET", "/site.json")
    assert status == 200
    assert json.loads(text)["may_act"] is False
    assert ask(lan_rig, "POST", "/act", body=WISH)[0] == 401
    assert (
        ask(lan_rig, "POST", "/act", body=WISH, headers={"cookie": "__Host-trimbench=x"})[0] == 401
    )


def test_the_token_pairs_one_screen_once(lan_rig: Rig) -> None:
    token = lan_rig.page.pairing_url.partition("#pair=")[2]
    assert ask(lan_rig, "POST", "/pair", body={"token": token[:-1] + "!"})[0] == 401
    status, headers, _ = ask(lan_rig, "POST", "/pair", body={"token": token})
    assert status == 200
    cookie = headers["set-cookie"]
    for attribute in ("HttpOnly", "Secure", "SameSite=strict", "Path=/"):
        assert attribute.lower() in cookie.lower()
    assert "domain" not in cookie.lower()
    mine = {"cookie": cookie.partition(";")[0]}
    assert ask(lan_rig, "POST", "/act", body=WISH, headers=mine)[0] == 409, "it may act"
    assert ask(lan_rig, "POST", "/pair", body={"token": token})[0] == 401, "replayed"


def paired(rig: Rig) -> dict[str, str]:
    """Pair a screen as the code at the terminal says; return the header that it sends then."""
    token = rig.page.pairing_url.partition("#pair=")[2]
    status, headers, _ = ask(rig, "POST", "/pair", body={"token": token})
    assert status == 200
    return {"cookie": headers["set-cookie"].partition(";")[0]}


def let_go(rig: Rig) -> None:
    """Press the pairing key where a line is asked for."""
    old = rig.page.pairing_url
    rig.type("p\n")
    clock = SystemClock()
    while rig.page.pairing_url in (old, rig.page.url):
        clock.sleep(0.005)


def test_a_lost_screen_s_cookie_and_token_are_worth_nothing(lan_rig: Rig) -> None:
    lan_rig.start(lambda bench: bench.confirm("a", "Is it so?"))
    old_token = lan_rig.page.pairing_url.partition("#pair=")[2]
    old = paired(lan_rig)
    let_go(lan_rig)
    wish = {"id": "q1", "do": "yes"}
    assert ask(lan_rig, "POST", "/act", body=wish, headers=old)[0] == 401
    assert json.loads(ask(lan_rig, "GET", "/site.json", headers=old)[2])["may_act"] is False
    assert ask(lan_rig, "POST", "/pair", body={"token": old_token}, headers=old)[0] == 401
    new = paired(lan_rig)
    both = {"cookie": f"{old['cookie']}; {new['cookie']}x"}
    assert ask(lan_rig, "POST", "/act", body=wish, headers=both)[0] == 401
    assert ask(lan_rig, "POST", "/act", body=wish, headers=new)[0] == 200
    assert lan_rig.finish() is True


def test_a_code_that_was_never_scanned_is_worth_nothing_after_the_next(lan_rig: Rig) -> None:
    lan_rig.start(lambda bench: bench.confirm("a", "Is it so?"))
    unused = lan_rig.page.pairing_url.partition("#pair=")[2]
    let_go(lan_rig)
    assert ask(lan_rig, "POST", "/pair", body={"token": unused})[0] == 401
    paired(lan_rig)


def test_a_request_that_a_lost_screen_began_before_does_not_act_after(lan_rig: Rig) -> None:
    """Its head comes while it may act, its body when it may no more."""
    lan_rig.start(lambda bench: bench.confirm("a", "Is it so?"))
    old = paired(lan_rig)
    where = urlsplit(lan_rig.page.url)
    body = json.dumps(WISH).encode()
    context = ssl.create_default_context()
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    with (
        socket.create_connection((where.hostname or "", where.port or 0), timeout=5) as plain,
        context.wrap_socket(plain) as line,
    ):
        line.sendall(
            f"POST /act HTTP/1.1\r\nHost: {where.netloc}\r\nOrigin: https://{where.netloc}\r\n"
            f"Cookie: {old['cookie']}\r\nContent-Type: application/json\r\n"
            f"Content-Length: {len(body)}\r\n\r\n".encode()
        )
        line.sendall(body[:5])
        assert ask(lan_rig, "GET", "/site.json")[0] == 200, "the head has been seen"
        let_go(lan_rig)
        line.sendall(body[5:])
        assert b" 401 " in line.recv(200)


def test_that_a_screen_was_let_go_and_another_came_is_in_the_log(lan_rig: Rig) -> None:
    lan_rig.start(lambda bench: bench.confirm("a", "Is it so?"))
    paired(lan_rig)
    let_go(lan_rig)
    paired(lan_rig)
    lan_rig.type("y\n")
    lan_rig.finish()
    with LogReader(lan_rig.station.log_path) as reader:
        events = [e.body["event"] for e in reader.entries(kind=Kind.EVENT)]
    assert events == [LET_GO, PAIRED]
    assert "The screen that was paired can no longer act." in lan_rig.said


def test_the_token_is_never_in_an_address_that_is_sent(lan_rig: Rig) -> None:
    """A fragment stays in the browser (RFC 3986, 3.5): no log and no referrer can hold it."""
    before, _, fragment = lan_rig.page.pairing_url.partition("#")
    assert before == lan_rig.page.url
    assert fragment.startswith("pair=")


def test_plain_http_gets_nothing_from_a_page_for_the_network(lan_rig: Rig) -> None:
    where = urlsplit(lan_rig.page.url)
    connection = http.client.HTTPConnection(where.netloc, timeout=5)
    connection.request("GET", "/site.json")
    with pytest.raises((http.client.HTTPException, OSError)):
        connection.getresponse()
    connection.close()


def test_the_private_key_is_not_left_on_the_disk(lan_rig: Rig) -> None:
    """A program that is killed cleans nothing up."""
    made = lan_rig.page._certificate
    assert made is not None
    assert made.certificate.exists()
    assert not made.key.exists()


def test_a_certificate_names_its_address_and_lasts_two_days(
    tmp_path: Path, manual_clock: ManualClock
) -> None:
    """RFC 5280: 4.2.1.6 for the address, 4.1.2.5 for the times; read back by cryptography."""
    from cryptography import x509

    made = make_certificate(tmp_path, "192.0.2.7", manual_clock)
    assert made.key.stat().st_mode & 0o077 == 0
    read = x509.load_pem_x509_certificate(made.certificate.read_bytes())
    names = read.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert [str(one) for one in names.get_values_for_type(x509.IPAddress)] == ["192.0.2.7"]
    now = datetime.fromtimestamp(manual_clock.utc_ns() / 1e9, tz=UTC)
    assert read.not_valid_before_utc < now < read.not_valid_after_utc
    assert (read.not_valid_after_utc - now).days <= 2


def test_the_certificate_is_the_one_that_the_terminal_names(lan_rig: Rig) -> None:
    """Against what OpenSSL receives over the wire, by the ssl module and hashlib."""
    where = urlsplit(lan_rig.page.url)
    pem = ssl.get_server_certificate((where.hostname or "", where.port or 0))
    digest = hashlib.sha256(ssl.PEM_cert_to_DER_cert(pem)).hexdigest().upper()
    assert lan_rig.page.fingerprint.replace(":", "") == digest


def test_a_bucket_refills_with_time(manual_clock: ManualClock) -> None:
    bucket = Bucket(manual_clock, ACTIONS_PER_S)
    burst = int(ACTIONS_PER_S * BURST_S)
    assert [bucket.allows("a") for _ in range(burst + 1)] == [True] * burst + [False]
    assert bucket.allows("b"), "another address has its own"
    manual_clock.sleep(1.0 / ACTIONS_PER_S)
    assert bucket.allows("a")
    assert not bucket.allows("a")


def test_a_bucket_forgets_addresses_rather_than_grow(manual_clock: ManualClock) -> None:
    bucket = Bucket(manual_clock, 1.0)
    for number in range(2000):
        bucket.allows(str(number))
    assert len(bucket._level) <= 512
