"""What the page's server refuses: other pages, other hosts, no token, paths out of the folder."""

from __future__ import annotations

import contextlib
import http.client
import os
import signal
import socket
import subprocess
import time

import pytest
from page_window import Page


@pytest.fixture
def asked(served):
    return served.ask


SHOT = {"ball": "strong-solid", "pattern": "medium-42", "speed_mph": 18.0, "rev_rpm": 350.0,
        "rotation_deg": 45.0, "tilt_deg": 15.0, "laydown_board": 20.0, "target_board": 14.0}


def test_a_request_of_the_page_itself_is_served(asked):
    assert asked("/api/quick", SHOT)[0] == 200
    assert asked("/")[0] == 200


@pytest.mark.parametrize("host", ["localhost:{port}", "lane.example:{port}", "127.0.0.1",
                                  "127.0.0.1:{port}.lane.example", "[::1]:{port}"])
def test_a_foreign_host_is_refused(served, host):
    status, _, text = served.ask("/api/start", headers={"Host": host.format(port=served.port)})
    assert status == 403 and "answers at" in text


@pytest.mark.parametrize("origin", ["http://lane.example", "null", "http://127.0.0.1:1",
                                    "https://127.0.0.1:{port}"])
def test_a_foreign_origin_is_refused(served, origin):
    origin = origin.format(port=served.port)
    assert served.ask("/api/quick", SHOT, headers={"Origin": origin})[0] == 403
    assert served.ask("/api/start", headers={"Origin": origin})[0] == 403


def test_a_sender_without_origin_cannot_write(asked):
    body = {"name": "a.oil", "text": ""}
    assert asked("/api/file/write", body, headers={"Origin": None})[0] == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_what_a_browser_says_of_another_site_is_heeded(asked, site):
    assert asked("/", headers={"Sec-Fetch-Site": site})[0] == 403


@pytest.mark.parametrize("cookie", [None, "", "lanesim-{port}=guess", "other={token}",
                                    "lanesim-{port}="])
def test_without_the_token_nothing_is_served(served, cookie):
    if cookie is not None:
        cookie = cookie.format(port=served.port, token=served.token)
    for path in ("/", "/static/main.js", "/api/start", "/api/news"):
        status, _, text = served.ask(path, headers={"Cookie": cookie})
        assert status == 403 and served.token not in text, path
    assert served.ask("/api/quick", SHOT, headers={"Cookie": cookie})[0] == 403


def test_the_first_address_gives_the_cookie_and_hides_the_token(served):
    status, headers, text = served.ask(f"/?token={served.token}", headers={"Cookie": None})
    assert status == 303 and headers["location"] == "/" and text == ""
    assert "HttpOnly" in headers["set-cookie"] and "SameSite=Strict" in headers["set-cookie"]
    assert served.ask("/?token=guess", headers={"Cookie": None})[0] == 403
    assert served.ask(f"/api/start?token={served.token}", headers={"Cookie": None})[0] == 403
    assert served.ask(f"/?token={served.token}&token=x", headers={"Cookie": None})[0] == 403


@pytest.mark.parametrize("path", ["/static/../server.py", "/static/%2e%2e/server.py",
                                  "/static/..%2fserver.py", "/static/%2fetc%2fpasswd", "/static/",
                                  "/static/page.html%00.js", "//etc/passwd", "/../../etc/passwd"])
def test_no_path_leads_out_of_the_pages_own_files(served, path):
    link = http.client.HTTPConnection("127.0.0.1", served.port, timeout=30)
    link.putrequest("GET", path, skip_host=True)
    link.putheader("Host", f"127.0.0.1:{served.port}")
    link.putheader("Cookie", served.cookie)
    link.endheaders()
    found = link.getresponse()
    assert found.status in {400, 404}
    assert b"root:" not in found.read()


@pytest.mark.parametrize("name", [
    "../outside.toml", "/etc/hosts.toml", "sub/in.toml", "..\\a.toml", ".hidden.toml", "a\0.toml",
    "a.toml/../b.toml", "plain.txt", "", "x" * 100 + ".toml", ".lanesim-page/former/a.toml.1",
    "con..toml"])
def test_no_file_name_leads_out_of_the_folder(served, name):
    for path, body in (("/api/file/read", {"name": name}),
                       ("/api/file/write", {"name": name, "text": "a = 1", "over": True})):
        status, _, text = served.ask(path, body)
        assert status == 422 and "file" in text, (path, text)
    assert not list(served.folder.parent.glob("outside*"))


def test_a_link_out_of_the_folder_is_not_followed(served):
    secret = served.folder.parent / "secret.toml"
    secret.write_text("[known]\nweight_lb = 15\n")
    link = served.folder / "link.toml"
    link.symlink_to(secret)
    try:
        status, _, text = served.ask("/api/file/read", {"name": "link.toml"})
        assert status == 422 and "known" not in text
        assert served.ask("/api/file/write", {"name": "link.toml", "text": "[a]\n", "over": True}
                          )[0] == 422
        assert secret.read_text().startswith("[known]")
        assert "link.toml" not in served.ask("/api/start")[2]
        assert served.ask("/api/quick", SHOT | {"ball": "link.toml:known"})[0] == 422
    finally:
        link.unlink()


@pytest.mark.parametrize(("key", "spec"), [
    ("ball", "/etc/passwd.toml"), ("ball", "../x.toml:a"), ("pattern", "/etc/hostname"),
    ("pattern", "../../patterns/medium-42.oil"), ("pattern", "pyproject"), ("fitted", "../f.toml"),
])
def test_no_shot_reads_a_file_elsewhere(asked, key, spec):
    status, _, text = asked("/api/quick", SHOT | {key: spec})
    assert status == 422, text


EVENT = """name = "away"
player = "{player}"
[[round]]
name = "one"
pattern = "{pattern}"
games = 3
[[ball]]
ball = "{ball}"
"""


@pytest.mark.parametrize("part", [{"player": "/etc/passwd"}, {"player": "../me.toml"},
                                  {"pattern": "/etc/hostname"}, {"pattern": "sub/a.oil"},
                                  {"ball": "../balls.toml:a"}, {"ball": "~/balls.toml"}])
def test_an_event_cannot_name_a_file_elsewhere(asked, part):
    text = EVENT.format(**({"player": "me.toml", "pattern": "medium-42", "ball": "strong-solid"}
                           | part))
    status, _, said = asked("/api/file/write", {"name": "away.toml", "text": text})
    assert status == 422 and "same folder" in said


def sent_in_pieces(served, headers, pieces):
    """What the server says to a body that comes in pieces; it may close the line before the end."""
    with socket.create_connection(("127.0.0.1", served.port), timeout=60) as link:
        link.sendall((f"POST /api/file/write HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\n"
                      f"Origin: {served.base}\r\nCookie: {served.cookie}\r\n"
                      f"Content-Type: application/json\r\n{headers}\r\n\r\n").encode())
        with contextlib.suppress(OSError):
            for piece in pieces:
                link.sendall(piece)
        return link.recv(300).decode()


def test_what_is_too_large_is_refused(served):
    assert " 413 " in sent_in_pieces(served, "Content-Length: 3100000", [])
    assert " 400 " in sent_in_pieces(served, "Content-Length: -1", [])
    part = b"10000\r\n" + b"y" * 0x10000 + b"\r\n"
    said = sent_in_pieces(served, "Transfer-Encoding: chunked", [part] * 47)
    assert " 413 " in said


def test_only_json_is_taken(served):
    kinds = ("application/x-www-form-urlencoded", "text/plain", "multipart/form-data")
    for kind in kinds:
        assert served.ask("/api/quick", SHOT, headers={"Content-Type": kind})[0] == 415
    assert served.ask("/api/quick", raw=b"{")[0] == 422
    status, _, text = served.ask("/api/quick", SHOT | {"wind": 3})
    assert status == 422 and "wind" in text
    status, _, text = served.ask("/api/quick", SHOT | {"speed_mph": "fast"})
    assert status == 422 and "speed_mph" in text
    assert served.ask("/api/quick", raw=b"[" * 100_000)[0] == 422


def test_every_answer_carries_the_strict_policy(served):
    for path in ("/", "/static/main.js", "/api/start", "/nowhere"):
        _, headers, _ = served.ask(path)
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cache-control"] == "no-store"
        assert "access-control-allow-origin" not in {name.lower() for name in headers}


def test_it_listens_on_this_machine_only(served):
    others = {a[4][0] for a in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
              if not a[4][0].startswith("127.")}
    if not others:
        pytest.skip("this machine has no address but 127.0.0.1")
    for address in others:
        with pytest.raises(OSError), socket.create_connection((address, served.port), timeout=2):
            pass


@pytest.mark.skipif(os.name == "nt", reason="no Ctrl-C to another process there")
def test_ctrl_c_ends_it_at_once_with_windows_open(tmp_path):
    page = Page(tmp_path / "folder")
    with socket.create_connection(("127.0.0.1", page.port), timeout=30) as link:
        link.sendall((f"GET /api/news HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\n"
                      f"Cookie: {page.cookie}\r\n\r\n").encode())
        assert b"200" in link.recv(200)
        start = time.monotonic()
        page.stop(signal.SIGINT)
        assert time.monotonic() - start < 8


def test_a_taken_port_is_said_in_one_line(served, tmp_path):
    import sys

    done = subprocess.run([sys.executable, "-m", "lanesim.cli", "page", str(tmp_path / "f"),
                           "--no-browser", "--port", str(served.port)],
                          capture_output=True, text=True, timeout=60, cwd=tmp_path)
    assert done.returncode == 2 and done.stderr.count("\n") == 1
    assert str(served.port) in done.stderr
