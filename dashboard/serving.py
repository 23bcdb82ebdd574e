"""Serving on this machine: a production server, warmed before it listens, for local readers only."""

from __future__ import annotations

import gc
import os
import socket
from collections.abc import Callable
from typing import Any, Final

from dash import Dash

from dashboard.app import create_app
from fleet.errors import InputError

LOCAL_HOSTS: Final = ("127.0.0.1", "localhost", "::1")
_THREADS: Final = 4


def check_host(host: str) -> None:
    """Refuse a host that other machines could reach.

    Raises
    ------
    InputError
        The host is not one of this machine's own names.
    """
    if host not in LOCAL_HOSTS:
        raise InputError(
            f"'{host}' would let other machines in, and there is nobody to ask who they are until there are accounts; "
            "serve on 127.0.0.1, localhost or ::1"
        )


def check_port(host: str, port: int) -> None:
    """Refuse a port that somebody else already listens on.

    Raises
    ------
    InputError
        The port is taken, or this user may not listen on it.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as tried:
        tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            tried.bind((host, port))
        except OSError as error:
            raise InputError(
                f"port {port} on {host} cannot be used ({error.strerror}); choose another with --port"
            ) from error


def warm(app: Dash) -> Dash:
    """Let the application register its routes and scripts, so that the first requests in parallel all find them.

    Only public addresses that do not touch the store are asked: a connection must not be open before workers fork.
    """
    client = app.server.test_client()
    for path in ("/", "/_dash-layout", "/_dash-dependencies"):
        answer = client.get(path)
        if answer.status_code != 200:
            raise RuntimeError(f"{path} answered {answer.status_code} while warming up")
    return app


def serve(
    store: Any,
    host: str = "127.0.0.1",
    port: int = 8050,
    *,
    workers: int = 2,
    after_fork: Callable[[], None] | None = None,
) -> None:
    """Serve the pages until interrupted.

    Parameters
    ----------
    store
        A `fleet.store.engine.Store`.
    host
        127.0.0.1, localhost or ::1.
    port
        The TCP port.
    workers
        Processes, each with four threads, where the system can fork; one process elsewhere.
    after_fork
        Called in each worker before it answers, to let go of connections its parent had open.

    Raises
    ------
    InputError
        The host is not this machine's own, or the port is taken.
    """
    check_host(host)
    check_port(host, port)
    app = warm(create_app(store))
    # What is kept of a large fleet is millions of objects: the collector would look through them while pages are made,
    # and every worker would get a copy of the memory they share.
    gc.collect()
    gc.freeze()
    if hasattr(os, "fork"):
        _gunicorn(app, host, port, workers, after_fork)
    else:
        _waitress(app, host, port)


def options(host: str, port: int, workers: int, after_fork: Callable[[], None] | None) -> dict[str, Any]:
    """Return gunicorn's settings: the application loaded once, before the workers fork."""
    settings: dict[str, Any] = {
        "bind": f"[{host}]:{port}" if ":" in host else f"{host}:{port}",
        "workers": workers,
        "threads": _THREADS,
        "worker_class": "gthread",
        "preload_app": True,
        "loglevel": "warning",
        "timeout": 60,
        # A plan with many lines held by hand has a long address; this is the most that gunicorn reads.
        "limit_request_line": 8190,
    }
    if after_fork is not None:
        release = after_fork
        settings["post_fork"] = lambda _server, _worker: release()
    return settings


def _gunicorn(app: Dash, host: str, port: int, workers: int, after_fork: Callable[[], None] | None) -> None:
    from gunicorn.app.base import BaseApplication

    settings = options(host, port, workers, after_fork)

    class Local(BaseApplication):  # type: ignore[misc]
        def load_config(self) -> None:
            for name, value in settings.items():
                self.cfg.set(name, value)

        def load(self) -> Any:
            return app.server

    Local().run()


def _waitress(app: Dash, host: str, port: int) -> None:
    import waitress

    waitress.serve(app.server, host=host, port=port, threads=2 * _THREADS, ident="asleft")
