"""Who gets to the pages: this computer's user, by a word that nobody else can read."""

import http.client
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from estimator.pages import serving
from estimator.pages.listening import HOST
from estimator.shop import new_shop

posix = pytest.mark.skipif(os.name == "nt", reason="modes of files are those of POSIX")
OPEN_TO_ALL = {"Voila": {"ip": "0.0.0.0", "token": "", "auto_token": False,
                         "tornado_settings": {"allow_remote_access": True}},
               "IdentityProvider": {"token": ""}, "PasswordIdentityProvider": {"token": ""},
               "ServerApp": {"ip": "0.0.0.0", "token": "", "allow_origin": "*"}}


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    """The pages, in the home of somebody whose own Jupyter is told to let everybody in."""
    home = tmp_path_factory.mktemp("home")
    settings = home / "settings"
    settings.mkdir()
    for name in ("voila", "jupyter_config", "jupyter_server_config"):
        (settings / f"{name}.json").write_text(json.dumps(OPEN_TO_ALL), encoding="utf-8")
        (settings / f"{name}.py").write_text(
            "".join(f"c.{of}.{name} = {value!r}\n" for of, values in OPEN_TO_ALL.items()
                    for name, value in values.items()), encoding="utf-8")
    with pytest.MonkeyPatch.context() as patched:
        for name in ("JUPYTER_CONFIG_DIR", "JUPYTER_CONFIG_PATH", "JUPYTER_DATA_DIR"):
            patched.setenv(name, str(settings))
        patched.setenv("JUPYTER_ALLOW_INSECURE_WRITES", "1")
        # A proxy is for other computers.
        patched.setenv("http_proxy", "http://127.0.0.1:9")
        with serving.running(new_shop(home / "shop")) as found:
            yield found


def asked(server, path, word=False, method="GET", **headers):
    """Code, headers and body of an answer; underscores in headers' names stand for dashes."""
    if word:
        path += f"?token={server.token}"
    connection = http.client.HTTPConnection(server.address.removeprefix("http://"), timeout=60)
    try:
        connection.request(method, path, headers={
            name.replace("_", "-"): said for name, said in headers.items()})
        answer = connection.getresponse()
        return answer.status, dict(answer.getheaders()), answer.read()
    finally:
        connection.close()


def test_settings_of_a_persons_own_jupyter_do_not_open_the_pages(server):
    """Whatever they say: the word is asked for, and only this computer is listened to."""
    psutil = pytest.importorskip("psutil")
    code, headers, _ = asked(server, f"/voila/render/{serving.FIRST}")
    assert (code, headers["Location"][:6]) == (302, "/login")
    assert asked(server, "/voila/tree", word=True)[0] == 200
    heard = {one.laddr.ip for one in psutil.Process(server.process.pid).net_connections()
             if one.status == psutil.CONN_LISTEN}
    assert heard == {HOST}


def test_a_name_that_was_made_to_lead_here_is_refused(server):
    """DNS rebinding: a page of another site reaches this computer under its own name."""
    port = server.address.rpartition(":")[2]
    for name in (f"evil.example:{port}", "192.0.2.1", f"{HOST}.evil.example", "[2001:db8::1]"):
        assert asked(server, "/voila/tree", word=True, Host=name)[0] == 403
    for name in (f"{HOST}:{port}", f"localhost:{port}", f"[::1]:{port}"):
        assert asked(server, "/voila/tree", word=True, Host=name)[0] == 200


def test_a_page_of_another_site_gets_no_channel_to_a_kernel(server):
    """Not even in the browser of somebody who was let in: Origin says where the call is from."""
    _, headers, body = asked(server, "/voila/render/start.ipynb", word=True)
    kernel = re.search(rb"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", body)[0].decode()
    channel = f"/api/kernels/{kernel}/channels"
    dial = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec_WebSocket_Version": "13",
            "Sec_WebSocket_Key": "AAAAAAAAAAAAAAAAAAAAAA=="}
    assert asked(server, channel, **dial, Origin=server.address)[0] == 403
    assert {"HttpOnly", "SameSite=Strict"} <= set(headers["Set-Cookie"].split("; "))
    own = dial | {"Cookie": headers["Set-Cookie"].split(";")[0]}
    for origin in ("http://evil.example", f"http://{HOST}:1", "null", f"{server.address}.evil"):
        assert asked(server, channel, **own, Origin=origin)[0] == 403
    assert asked(server, channel, **own, Origin=server.address)[0] == 101


def test_the_word_is_long_and_new_and_nowhere_to_be_read(server):
    """Not among what programs were called with, nor in the log, nor is the log for everybody."""
    psutil = pytest.importorskip("psutil")
    assert re.fullmatch("[0-9a-f]{64}", server.token)
    for path in ("/nothing", "/voila/render/none.ipynb", "/api/kernels/none"):
        assert asked(server, path, word=True)[0] == 404
    words = [word for one in psutil.process_iter() for word in _words(one)]
    assert not any(server.token in word for word in words)
    log = server.log.read_text(encoding="utf-8")
    assert "GET /nothing?token=…" in log
    assert server.token not in log
    if os.name != "nt":
        assert server.log.stat().st_mode & 0o077 == 0


def _words(process):
    import psutil
    try:
        return process.cmdline()
    except psutil.Error:
        return []


def test_a_page_may_load_and_reach_this_server_only(server):
    """Said to the browser: what came to stand on a page could send nothing anywhere."""
    rules = dict(rule.split(" ", 1) for rule in asked(server, "/voila/tree", word=True)[1][
        "Content-Security-Policy"].split("; "))
    assert rules["default-src"] == rules["base-uri"] == rules["form-action"] == "'self'"
    named = {word for rule in rules.values() for word in rule.split()} - {
        "'self'", "'none'", "'unsafe-inline'", "'unsafe-eval'", "data:", "blob:"}
    port = server.address.rpartition(":")[2]
    assert named == {f"ws://{HOST}:{port}", f"ws://localhost:{port}"}


def test_charts_are_drawn_by_the_programs_own_settings(tmp_path):
    """Not by a file of the user's, which could have words typeset by another program."""
    said = Path(serving._environment(None, "", tmp_path)["MATPLOTLIBRC"])
    assert "site-packages" in said.parts
    assert said.is_file()


def test_without_a_word_nothing_is_served(tmp_path):
    """A short one will not do either."""
    for word in ({}, {"JUPYTER_TOKEN": "short"}):
        env = {name: said for name, said in os.environ.items() if name != "JUPYTER_TOKEN"} | word
        done = subprocess.run([sys.executable, "-m", "estimator.pages.listening", "0",
                               str(tmp_path)], capture_output=True, text=True, env=env)
        assert done.returncode == 1
        assert "missing or short" in done.stderr


@posix
def test_the_browser_is_called_without_the_word(tmp_path, monkeypatch):
    """It gets a file that only this user can read, that leads to the page, and that then goes."""
    monkeypatch.setattr(serving, "_LISTED", True)
    opened = []
    monkeypatch.setattr(serving.webbrowser, "open", opened.append)
    shop = tmp_path / "my shöp"
    shop.mkdir()
    elsewhere = tmp_path / "elsewhere"
    elsewhere.write_text("kept")
    (shop / serving.LEADS).symlink_to(elsewhere)
    with serving._shown("http://127.0.0.1:1/?token=w&a=b", shop):
        (address,) = opened
        assert address == (shop / serving.LEADS).as_uri()
        leads = shop / serving.LEADS
        assert leads.stat().st_mode & 0o777 == 0o600
        assert 'url=http://127.0.0.1:1/?token=w&amp;a=b"' in leads.read_text()
    assert list(shop.iterdir()) == []
    assert elsewhere.read_text() == "kept"
    with serving._shown("http://127.0.0.1:1/", None):
        leads = Path(opened[1].removeprefix("file://"))
        assert leads.parent.stat().st_mode & 0o777 == 0o700
    assert not leads.exists()
