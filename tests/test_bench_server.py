"""The bench's server: whom it answers, what it refuses, what it writes."""

import http.client
import json
import random
import shutil
import signal
import socket
from concurrent.futures import CancelledError, Future
from pathlib import Path
from urllib.parse import urlencode

import pytest

from gatesim.ground.errors import InputError
from gatesim.scenario import load
from gatesim.view.bench.desk import Desk, Errand, Pools
from gatesim.view.bench.fields import groups
from gatesim.view.bench.patch import differences, plain
from gatesim.view.bench.saving import changed_text, open_file, saved
from tests.benches import running

FOLDER = Path(__file__).parent.parent / "scenarios"
SCENARIOS = sorted(FOLDER.glob("*.toml"))
CHUTE = FOLDER / "2-chute-slat.toml"


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    file = tmp_path_factory.mktemp("rig") / "chute.toml"
    shutil.copy(CHUTE, file)
    with running(file) as bench:
        bench.file = file
        yield bench


def ask(server, method, path, body=None, **headers):
    """Status, headers and text; a header given as None is left out."""
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=60)
    given = {"Host": server.host, "Origin": f"http://{server.host}", "Content-Type": "application/json"}
    given.update({name.replace("_", "-"): value for name, value in headers.items()})
    content = body if body is None or isinstance(body, bytes) else json.dumps(body).encode()
    try:
        connection.putrequest(method, path, skip_host=True)
        for name, value in given.items():
            if value is not None:
                connection.putheader(name, value)
        if content is not None:
            connection.putheader("Content-Length", str(len(content)))
        connection.endheaders(content)
        answer = connection.getresponse()
        return answer.status, dict(answer.getheaders()), answer.read().decode()
    finally:
        connection.close()


@pytest.mark.long
def test_it_listens_on_this_machine_only_and_has_a_key_in_its_address(server):
    assert server.host == f"127.0.0.1:{server.port}"
    assert len(server.path.strip("/")) >= 32
    status, headers, page = ask(server, "GET", server.path, Origin=None)
    assert status == 200
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in page.replace("http-equiv", "")  # no address of another host


@pytest.mark.parametrize(
    ("path", "headers", "status"),
    [
        ("/", {}, 403),
        ("/wrong-key/", {}, 403),
        ("/wrong-key/own/bench.js", {}, 403),
        (None, {"Host": "evil.example"}, 421),
        (None, {"Host": None}, 400),
        (None, {"Origin": "http://evil.example"}, 403),
        (None, {"Origin": "null"}, 403),
    ],
)
def test_another_key_host_or_origin_is_refused(server, path, headers, status):
    assert ask(server, "GET", path or server.path, **headers)[0] == status


def test_what_changes_something_needs_the_pages_own_origin(server):
    assert ask(server, "POST", f"{server.path}save", {"table": {}, "name": None}, Origin=None)[0] == 403


def test_a_body_beyond_the_limit_is_refused(server):
    assert ask(server, "POST", f"{server.path}answers", b"x" * 1_000_001)[0] == 413


def _malformed(number):
    """A request that no page makes: method, path behind the key, body, headers."""
    dice = random.Random(number)
    path = dice.choice(["answers", "save", "rig", "own/../../x", "own/none.js", "nowhere", "%00", "here/x"])
    junk = bytes(dice.randrange(256) for _ in range(dice.randrange(40)))
    bodies = [junk, b"", b"[]", b"{", b'{"table": 1}', b'{"page": 1, "number": "x", "table": []}', b"NaN"]
    bodies += [b"[" * 5000, b'{"starter": "none"}', b'{"table": {}, "name": 3}', b'{"number": 1e999}']
    kind = dice.choice(["application/json", "text/plain", "", "multipart/form-data"])
    return dice.choice(["POST", "PUT", "DELETE", "PATCH"]), path, dice.choice(bodies), {"Content_Type": kind}


@pytest.mark.long
def test_two_thousand_malformed_requests_get_4xx_and_no_traceback(server):
    for number in range(2000):
        method, path, body, headers = _malformed(number)
        status, _, text = ask(server, method, server.path + path, body, **headers)
        assert 400 <= status < 500, (number, method, path, body, status)
        assert "Traceback" not in text
    assert ask(server, "GET", server.path)[0] == 200
    assert server.process.poll() is None


def test_lines_that_are_no_http_do_not_end_it(server):
    for junk in (b"\x00\xff\n\n", b"GET\r\n\r\n", b"GET / HTTP/9.9\r\n\r\n"):
        with socket.create_connection(("127.0.0.1", server.port), timeout=20) as wire:
            wire.sendall(junk)
            assert wire.recv(100).startswith(b"HTTP/1.1 4")
    assert ask(server, "GET", server.path)[0] == 200


def answers(server, table, number, page="a test"):
    status, _, text = ask(
        server, "POST", f"{server.path}answers", {"page": page, "number": number, "table": table}
    )
    return status, [json.loads(line) for line in text.splitlines()]


def test_what_is_refused_is_refused_with_the_command_lines_sentence(server):
    table = plain(load(CHUTE).raw)
    table["gate"]["rearm"] = "5 mm"
    status, told = answers(server, table, 1, "refused")
    text = CHUTE.read_text(encoding="utf-8").replace('rearm = "450 mm"', 'rearm = "5 mm"')
    other = server.file.with_name("other.toml")
    other.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as problem:
        load(other)
    assert status == 200
    assert told[0]["name"] == "refused"
    assert told[0]["path"] == "gate.rearm"
    assert told[0]["sentence"].endswith("expected a distance beyond the second gate, above 50 mm")
    assert str(problem.value).endswith("expected a distance beyond the second gate, above 50 mm")
    other.unlink()


@pytest.mark.long
def test_the_report_of_a_state_runs_by_itself_under_a_policy_of_its_own(server):
    table = json.dumps(plain(load(CHUTE).raw))
    body = urlencode({"table": table}).encode()
    kind = "application/x-www-form-urlencoded"
    status, headers, page = ask(server, "POST", f"{server.path}report", body, Content_Type=kind)
    assert status == 200
    assert "Reads 17.53 mm short" in page
    assert "sandbox" in headers["content-security-policy"]


def test_an_earlier_number_is_not_answered(server):
    table = {"part": {}}
    assert answers(server, table, 7, "numbers")[0] == 200
    status, told = answers(server, table, 6, "numbers")
    assert status == 409
    assert told == [{"number": 6, "overtaken": True}]


@pytest.mark.long
@pytest.mark.parametrize("file", SCENARIOS, ids=lambda f: f.stem)
def test_every_shipped_rig_is_answered_in_full(server, file):
    """Up to the first distribution; then the page goes away, and the bench serves on."""
    body = json.dumps({"page": file.stem, "number": 1, "table": plain(load(file).raw)}).encode()
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=300)
    headers = {"Origin": f"http://{server.host}", "Content-Type": "application/json"}
    connection.request("POST", f"{server.path}answers", body, headers)
    answer, told = connection.getresponse(), {}
    while not {"reading", "passage", "why", "distribution"} <= set(told):
        line = json.loads(answer.readline())
        told[line["name"]] = line
        assert not line.get("missing"), line
    connection.close()
    assert next(iter(told)) == "reading"
    assert told["why"]["bars"] or told["why"]["reason"]
    charge = told["reading"]["prediction"]["readings"][0]["formula"]
    assert told["distribution"]["study"]["error"][charge]["yield"]["share"] >= 0


class Pool:
    """Takes work and does none."""

    def __init__(self):
        self.futures = []

    def submit(self, fn, *args, **kwargs):
        self.futures.append(Future())
        return self.futures[-1]


def test_work_that_is_overtaken_is_dropped():
    at_once, later = Pool(), Pool()
    desk = Desk(None, Pools(at_once, later))
    first = desk.begin("page", 1)
    for place in (first.errand, first.errand.later):
        for _ in range(3):
            place.submit(print)
    assert desk.begin("another page", 1) is not None
    futures = [*at_once.futures, *later.futures]
    assert [len(at_once.futures), len(later.futures)] == [3, 3]
    assert not any(future.cancelled() for future in futures)
    assert desk.begin("page", 2) is not None
    assert all(future.cancelled() for future in futures)
    for place in (first.errand, first.errand.later):
        with pytest.raises(CancelledError):
            place.submit(print)
    assert isinstance(first.errand, Errand)
    desk.close()


@pytest.mark.parametrize("file", SCENARIOS, ids=lambda f: f.stem)
def test_every_quantity_of_a_scenario_has_a_field_with_its_value(file):
    scenario = load(file)
    fields = {field["path"]: field for group in groups(scenario) for field in group["fields"]}
    for path, quantity in scenario.quantities().items():
        field = fields[path]
        assert field["value"] == quantity.nominal
        assert field["low"] <= quantity.nominal / field["factor"] <= field["high"]
        assert field["about"]


def test_saving_keeps_comments_and_changes_only_what_was_changed(tmp_path):
    file = tmp_path / "chute.toml"
    shutil.copy(CHUTE, file)
    opened = open_file(file)
    table = opened.table()
    table["gate"]["spacing"]["value"] = "60 mm"
    after = saved(opened, table, None)
    old, new = CHUTE.read_text(encoding="utf-8"), file.read_text(encoding="utf-8")
    assert new == after.text
    changed = [(a, b) for a, b in zip(old.splitlines(), new.splitlines(), strict=True) if a != b]
    assert changed == [(changed[0][0], changed[0][0].replace("50 mm", "60 mm"))]
    assert load(file).gate.spacing.nominal == pytest.approx(0.06)


@pytest.mark.parametrize("file", SCENARIOS, ids=lambda f: f.stem)
def test_nothing_changed_is_nothing_rewritten(file):
    opened = open_file(file)
    assert changed_text(opened, opened.table(), "x") == opened.text


def test_a_file_that_changed_meanwhile_or_is_there_is_never_written_over(tmp_path):
    file = tmp_path / "chute.toml"
    shutil.copy(CHUTE, file)
    opened = open_file(file)
    table = {**opened.table(), "title": "Another"}
    file.write_text(opened.text + "# a colleague was here\n", encoding="utf-8")
    with pytest.raises(InputError, match="changed by someone else"):
        saved(opened, table, None)
    with pytest.raises(InputError, match="changed by someone else"):
        saved(opened, table, "chute.toml")
    (tmp_path / "taken.toml").write_text("x", encoding="utf-8")
    with pytest.raises(InputError, match="is there already"):
        saved(opened, table, "taken")
    for name in ("../up.toml", "/tmp/x.toml", "", ".", "..", "a\\b", "a\x00b"):
        with pytest.raises(InputError):
            saved(opened, table, name)
    assert file.read_text(encoding="utf-8").endswith("# a colleague was here\n")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["chute.toml", "taken.toml"]
    assert saved(opened, table, "new").path == tmp_path / "new.toml"


@pytest.mark.long
def test_differences_turn_one_table_into_the_other():
    old = {"a": {"b": 1, "c": "x"}, "l": [{"k": 1}, {"k": 2}], "gone": 3}
    new = {"a": {"b": 1, "c": "y", "d": {"e": 1}}, "l": [{"k": 1}, {"k": 5}]}
    assert differences(old, new) == {"a.c": "y", "a.d": {"e": 1}, "l.2.k": 5, "gone": None}
    assert differences(new, new) == {}


@pytest.mark.long
def test_a_wrong_setting_or_file_is_one_sentence_before_anything_is_served(tmp_path):
    for arguments in (["--set", "gate.spacng=1"], ["--set", "gate"], [tmp_path / "none.toml"]):
        with running(*arguments) as bench:
            assert bench.process.wait(60) == 2
            assert bench.address.startswith("gatesim: ")


@pytest.mark.long
def test_it_ends_on_ctrl_c():
    with running(CHUTE) as bench:
        bench.process.send_signal(signal.SIGINT)
        assert bench.process.wait(30) == 130
        assert "Traceback" not in bench.process.stdout.read()


@pytest.mark.long
def test_it_ends_when_no_page_has_been_open_if_asked_to():
    with running(CHUTE, "--idle", "0.05") as bench:
        assert bench.process.wait(60) == 0
