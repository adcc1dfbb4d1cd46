"""Start the desk: a socket on this machine, a secret, the address, and the server until Ctrl-C."""

from __future__ import annotations

import contextlib
import ipaddress
import os
import socket
import threading
import webbrowser
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from planner.desk.guard import Secret
from planner.desk.server import make_app
from planner.desk.uploads import copy_fleet
from planner.desk.workspaces import Store, Workspace
from planner.interrupts import heard

_SHARED = (
    "Others can reach this desk at its address, and what they send and see travels without encryption. "
    "Share it only on a network that you trust."
)
_LONGER = 64  # bytes of a secret that a network could try


@dataclass(frozen=True)
class Brought:
    """A fleet of the command line: its path, and the mapping and folder of ping output named with it."""

    path: Path
    mapping: Path | None = None
    pings: Path | None = None


def serve(
    folder: Path,
    fleet: Brought | None,
    *,
    host: str,
    port: int,
    share: bool,
    browser: bool,
    say: Callable[[str], None],
) -> None:
    """Serve the desk until Ctrl-C; ``say`` prints its address first.

    Workspaces are kept in ``folder``. ``host`` is a loopback address unless ``share``. Raises OSError where the
    address cannot be used.
    """
    store = Store(folder)
    store.remove_old()
    workspace = None if fleet is None else _workspace_of(store, fleet)
    listening = _listen(host, port)
    port = listening.getsockname()[1]
    reached = _reached(host)
    shown = f"[{reached}]:{port}" if ":" in reached else f"{reached}:{port}"
    secret = _secret(shown, port, share)
    app = make_app(store, secret, outside=_SHARED if share else "", first=workspace)
    to = "" if workspace is None else f"&to={workspace.id}"
    address, once = (f"http://{shown}/enter?key={key}{to}" for key in (secret.key, secret.ticket()))
    config = uvicorn.Config(
        app, log_level="error", access_log=False, ws="none", server_header=False, timeout_graceful_shutdown=1
    )
    server = _Server(config)
    server.ready = lambda: _announce(address, once if browser else "", share=share, say=say)
    server.run(sockets=[listening])


def _announce(address: str, opened: str, *, share: bool, say: Callable[[str], None]) -> None:
    if share:
        say(f"Warning: {_SHARED}")
    say(f"The desk is open: {address}")
    say("Whoever has this address can open the desk: keep it to yourself. Ctrl-C ends the desk; your work stays saved.")
    if opened:
        threading.Thread(target=webbrowser.open, args=(opened,), daemon=True).start()


def is_loopback(host: str) -> bool:
    """Say whether ``host`` can be reached from this machine only."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _reached(host: str) -> str:
    """Return an address under which a desk that listens at ``host`` can be reached: 0.0.0.0 and :: are none."""
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return host
    if not address.is_unspecified:
        return host
    six = address.version == 6
    with socket.socket(socket.AF_INET6 if six else socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:  # addresses for documentation (RFC 5737, RFC 3849): the system names a way there, and nothing is sent
            asking.connect(("2001:db8::1" if six else "192.0.2.1", 9))
            return str(asking.getsockname()[0])
        except OSError:
            return "::1" if six else "127.0.0.1"


def _secret(shown: str, port: int, share: bool) -> Secret:
    hosts = frozenset({shown.lower(), f"localhost:{port}"})
    if not share:
        return Secret(port, hosts)
    import secrets

    return Secret(port, hosts, any_address=True, key=secrets.token_urlsafe(_LONGER))


def _listen(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    if os.name == "posix":  # else a desk that was just ended keeps its port for a minute
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except OSError:
        listening.close()
        raise
    return listening


def _workspace_of(store: Store, fleet: Brought) -> Workspace:
    """Return the workspace of a fleet of the command line: the one that was begun with the same files, or a new one."""
    seen = {"path": str(fleet.path.resolve()), "print": _print_of(fleet)}
    for one in store.all():
        if one.state["source"] == seen and one.brought:
            return one
    made = store.new(fleet.path.name)
    copy_fleet(made, fleet.path, fleet.pings)
    made.file_came(fleet.path.name)
    if fleet.mapping is not None:
        made.state["choices"] = {"mapping": fleet.mapping.read_text(encoding="utf-8-sig")}
    made.state["source"] = seen
    made.save()
    return made


def _print_of(fleet: Brought) -> str:
    """Return what changes when one of the files does."""
    import hashlib

    paths = sorted(fleet.path.iterdir()) if fleet.path.is_dir() else [fleet.path]
    named = [path for path in (*paths, fleet.mapping) if path is not None and path.is_file()]
    digest = hashlib.sha256()
    for path in named:
        with path.open("rb") as file:
            digest.update(path.name.encode() + hashlib.file_digest(file, "sha256").digest())
    return digest.hexdigest()


class _Server(uvicorn.Server):
    """A server that ends well on Ctrl-C, and tells when it can be reached."""

    ready: Callable[[], None]

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start the desk, and print that it has started."""
        await super().startup(sockets=sockets)
        if self.started:
            self.ready()

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Let Ctrl-C end the server; a second one ends the program."""

        def leave() -> None:
            self.should_exit = True

        with heard(leave):
            yield
