"""A port that is taken is said in a sentence before anything is served."""

from __future__ import annotations

import socket

import pytest

from dashboard.serving import check_port
from fleet.errors import InputError


def test_a_port_somebody_listens_on_is_refused_with_the_remedy() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(InputError) as caught:
            check_port("127.0.0.1", port)
    assert str(caught.value) == (
        f"port {port} on 127.0.0.1 cannot be used (Address already in use); choose another with --port"
    )


def test_a_free_port_is_let_pass_and_left_free() -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    check_port("127.0.0.1", port)
    check_port("127.0.0.1", port)
