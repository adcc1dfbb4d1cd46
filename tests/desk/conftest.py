"""A desk that is served, as people start it; and a client that says exactly what it is told to say."""

import http.client
import json
import os
import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_fleets"
PATIENCE_S = 120


class Served:
    """A desk in a process of its own."""

    def __init__(self, folder, *arguments):
        self.folder = folder
        self.process = subprocess.Popen(
            [sys.executable, "-m", "planner", "desk", *map(str, arguments), "--no-browser", "--folder", str(folder)],
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        line = self.process.stdout.readline()
        self.address = re.search(r"http://\S+", line)[0]
        self.host, self.port, self.key = re.search(r"//(([^/:]+):\d+)/enter\?key=([\w-]+)", self.address).group(1, 1, 3)
        self.port = int(self.host.rpartition(":")[2])

    def ask(self, method, path, body=None, *, cookie=True, origin=True, **headers):
        """Send one request; what is not said otherwise is as the page of the desk says it."""
        sent = {"Host": self.host}
        if cookie:
            sent["Cookie"] = f"castingvote-desk-{self.port}={self.key}"
        if origin:
            sent["Origin"] = f"http://{self.host}"
        sent.update({name.replace("_", "-"): value for name, value in headers.items()})
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        try:
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            data = b"" if body is None else body if isinstance(body, bytes) else json.dumps(body).encode()
            for name, value in {**sent, "Content-Length": str(len(data))}.items():
                connection.putheader(name, value)
            connection.endheaders(data)
            answer = connection.getresponse()
            return SimpleNamespace(status=answer.status, headers=answer.headers, body=answer.read())
        finally:
            connection.close()

    def post(self, path, body=None):
        """Return what a question of the page is answered with."""
        answer = self.ask("POST", path, body or {})
        assert answer.status == 200, answer.body
        return json.loads(answer.body)

    def lines(self, path, body=None):
        """Return the messages of a task that tells how far it is."""
        answer = self.ask("POST", path, body or {})
        assert answer.status == 200, answer.body
        return [json.loads(line) for line in answer.body.splitlines()]

    def fetch(self, here, kind, body=None, more=""):
        """Let a file of the hand-over be made, and return the answer that has it."""
        ended = self.lines(f"{here}/file/{kind}", body)[-1]
        assert ended["event"] == "done", ended
        return self.ask("GET", f"{here}/file/{kind}/{ended['data']['ticket']}{more}")

    def bring(self, *paths):
        """Return the address of a new workspace with these files."""
        here = f"/w/{self.post('/new')['id']}"
        for path in paths:
            assert self.ask("POST", f"{here}/bring", path.read_bytes(), X_File_Name=path.name).status == 200
        return here

    def end(self, how=signal.SIGINT):
        """End it and return its exit code."""
        if self.process.poll() is None:
            self.process.send_signal(how)
        code = self.process.wait(PATIENCE_S)
        self.process.stdout.close()
        return code


@pytest.fixture(scope="session")
def serve():
    """Start desks; all are ended."""
    started = []

    def start(folder, *arguments):
        started.append(Served(folder, *arguments))
        return started[-1]

    yield start
    for one in started:
        one.end()


@pytest.fixture(scope="session")
def served(serve, tmp_path_factory):
    """One desk for all tests that do not end it."""
    return serve(tmp_path_factory.mktemp("desk") / "kept")


@pytest.fixture(scope="session")
def twelve():
    return SAMPLES / "twelve_sites.xlsx"


@pytest.fixture
def files_of(tmp_path):
    """Copy files into a folder, as a workspace holds them."""

    def copy(*paths):
        folder = tmp_path / "files"
        folder.mkdir()
        for path in paths:
            shutil.copy(path, folder)
        return folder

    return copy


@pytest.fixture(scope="module")
def person(browser, served):
    """Somebody at the page, who has opened it by its address; and all that the page complained about."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, color_scheme="light", accept_downloads=True)
    page = context.new_page()
    page.set_default_timeout(PATIENCE_S * 1000)
    complaints, requests = [], []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on(
        "console", lambda message: complaints.append(message.text) if message.type in ("error", "warning") else None
    )
    page.on("request", lambda request: requests.append(request.url))
    page.goto(served.address)
    yield SimpleNamespace(page=page, complaints=complaints, requests=requests, context=context)
    context.close()
