"""Nobody speaks to the desk who has not its secret, under another name, or from another page."""

import pytest

from planner.desk.guard import POLICY, Secret
from planner.desk.serving import _reached, is_loopback


def test_the_address_opens_the_desk_once_and_leaves_a_strict_cookie(served):
    answer = served.ask("GET", f"/enter?key={served.key}", cookie=False, origin=False)
    assert answer.status == 303
    assert answer.headers["location"] == "/"
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert served.key not in answer.headers["location"]


@pytest.mark.parametrize("path", ["/", "/own/desk.js", "/w/abcdefghijklmnopqrst", "/nothing"])
@pytest.mark.parametrize("key", [None, "wrong", ""])
def test_without_the_secret_nothing_is_told(served, path, key):
    more = {} if key is None else {"Cookie": f"castingvote-desk-{served.port}={key}"}
    answer = served.ask("GET", path, cookie=False, **more)
    assert answer.status == 403
    assert b"castingvote desk printed" in answer.body


@pytest.mark.parametrize("key", ["", "wrong", "%00", "x" * 5000])
def test_a_wrong_key_opens_nothing(served, key):
    answer = served.ask("GET", f"/enter?key={key}", cookie=False, origin=False)
    assert answer.status == 403
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize("host", ["evil.example", "evil.example:80", "127.0.0.1", "127.0.0.1:1", "[::1]:80", ""])
def test_another_name_for_this_machine_is_refused(served, host):
    assert served.ask("GET", "/", Host=host).status in (400, 421)
    assert served.ask("POST", "/new", Host=host, Origin=f"http://{host}").status in (400, 421)


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1", "http://127.0.0.1:1", ""])
def test_a_foreign_page_changes_and_reads_nothing(served, origin):
    assert served.ask("POST", "/new", Origin=origin).status == 403
    assert served.ask("GET", "/", Origin=origin).status == 403


def test_what_changes_anything_states_its_origin(served):
    assert served.ask("POST", "/new", origin=False).status == 403
    assert served.ask("POST", "/new").status == 200


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_a_browser_that_says_where_a_request_comes_from_is_believed(served, site):
    assert served.ask("GET", "/", Sec_Fetch_Site=site).status == 403


def test_every_answer_carries_the_policy_and_no_leave_for_others(served):
    for path in ("/", "/own/desk.css", "/nothing"):
        headers = served.ask("GET", path).headers
        assert headers["content-security-policy"] == POLICY
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cache-control"] == "no-store"
        assert not [name for name in headers if name.lower().startswith("access-control")]
    assert served.ask("OPTIONS", "/new").status == 405


@pytest.mark.parametrize(
    "path",
    [
        "/own/../server.py",
        "/own/%2e%2e%2fserver.py",
        "/own/..%5cserver.py",
        "/own//etc/passwd",
        "/own/start.html",
        "/own/desk.html",
        "/w/..",
        "/w/%2e%2e/save",
        "/w/../../../../etc/passwd",
        "/w/aaaaaaaaaaaaaaaaaaaa/save",
        "/w/%00/save",
    ],
)
def test_no_path_leads_to_the_file_system(served, path):
    assert served.ask("GET", path).status == 404


def test_the_entrance_leads_nowhere_else(served):
    for to in ("//evil.example", "http://evil.example", "../x", "a/b"):
        answer = served.ask("GET", f"/enter?key={served.key}&to={to}", cookie=False, origin=False)
        assert answer.headers["location"] == "/"


@pytest.mark.parametrize("body", [b"\xff", b"[1]", b"{", b"7", b'{"question": ' + b"[" * 100_000])
def test_a_body_that_is_no_question_is_refused(served, twelve, body):
    here = served.bring(twelve)
    assert served.ask("POST", f"{here}/count", body).status == 400


def test_a_link_in_a_message_opens_the_desk_too(served):
    answer = served.ask("GET", f"/enter?key={served.key}", cookie=False, origin=False, Sec_Fetch_Site="cross-site")
    assert answer.status == 200
    assert "samesite=strict" in answer.headers["set-cookie"].lower()
    assert b'content="0;url=/"' in answer.body
    wrong = served.ask("GET", "/enter?key=wrong", cookie=False, origin=False, Sec_Fetch_Site="cross-site")
    assert wrong.status == 403


def test_the_address_that_a_browser_is_started_with_opens_once():
    secret = Secret(80, frozenset())
    ticket = secret.ticket()
    assert not secret.opens(ticket)
    assert [secret.admits(key) for key in (ticket, ticket, secret.key, secret.key, "")] == [
        True,
        False,
        True,
        True,
        False,
    ]


def test_only_this_machine_counts_as_this_machine():
    assert all(map(is_loopback, ["127.0.0.1", "127.1.2.3", "::1", "localhost"]))
    assert not any(map(is_loopback, ["0.0.0.0", "::", "192.168.1.2", "localhost.evil.example", ""]))


def test_the_address_that_is_shown_can_be_reached():
    assert [_reached(host) for host in ("127.0.0.1", "::1", "localhost")] == ["127.0.0.1", "::1", "localhost"]
    assert _reached("0.0.0.0") not in ("", "0.0.0.0")
    assert _reached("::") not in ("", "::")


def test_a_shared_desk_answers_under_addresses_and_not_under_names():
    shared = Secret(80, frozenset({"0.0.0.0:80"}), any_address=True)
    assert shared.knows("192.168.1.2:80")
    assert shared.knows("[fe80::1]:80")
    assert not shared.knows("evil.example:80")
    assert not shared.knows("192.168.1.2:81")
