"""The application over HTTP: its shell answers, nothing leaks, plain addresses work, the server is warm and local."""

from __future__ import annotations

import json
import logging
import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import orrindale
import pytest
from flask.testing import FlaskClient

from dashboard.app import build
from dashboard.serving import LOCAL_HOSTS, check_host, options, serve, warm
from fleet.errors import InputError
from fleet.reports import job_sheet_html


@pytest.fixture
def client() -> FlaskClient:
    return build(orrindale.SOURCES).server.test_client()


def show(client: FlaskClient, path: str, search: str = "") -> Any:
    """Ask for a page the way the browser does."""
    inputs = [
        {"id": "url", "property": "pathname", "value": path},
        {"id": "url", "property": "search", "value": search},
    ]
    outputs = [
        {"id": "bar", "property": "children"},
        {"id": "content", "property": "children"},
        {"id": "window-title", "property": "data"},
    ]
    body = {
        "output": "..bar.children...content.children...window-title.data..",
        "outputs": outputs,
        "inputs": inputs,
        "changedPropIds": ["url.pathname"],
    }
    return client.post("/_dash-update-component", json=body)


def test_the_shell_and_its_layout_answer(client: FlaskClient) -> None:
    page = client.get("/")
    assert page.status_code == 200
    assert b'<html lang="en">' in page.data
    assert b'name="viewport"' in page.data
    assert client.get("/_dash-layout").status_code == 200
    assert client.get("/line/ORR-07?unit=thou").status_code == 200


def test_the_document_loads_nothing_from_another_host(client: FlaskClient) -> None:
    text = client.get("/").get_data(as_text=True)
    for attribute in ('src="', 'href="'):
        for piece in text.split(attribute)[1:]:
            assert piece.startswith(("/", "data:"))
            assert not piece.startswith("//")
    policy = client.get("/").headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "http" not in policy


def test_tokens_come_before_the_look_that_changes_them_on_a_phone(client: FlaskClient) -> None:
    text = client.get("/").get_data(as_text=True)
    assert 0 < text.index("00-tokens.css") < text.index("10-look.css") < text.index("20-shell.css")


def test_a_page_comes_with_its_window_title(client: FlaskClient) -> None:
    answer = show(client, "/line/ORR-07")
    assert answer.status_code == 200
    assert answer.get_json()["response"]["window-title"]["data"] == "ORR-07 over – Asleft"


def test_two_readers_do_not_move_each_other(client: FlaskClient) -> None:
    before = show(client, "/").get_json()
    show(client, "/", "?unit=thou&status=due")
    assert show(client, "/").get_json() == before


def test_a_failure_shows_a_reference_and_never_a_traceback(caplog: pytest.LogCaptureFixture) -> None:
    def broken(_: object) -> None:
        raise ZeroDivisionError("a secret inside")

    app = build(replace(orrindale.SOURCES, fleet=broken))  # type: ignore[arg-type]
    with caplog.at_level(logging.ERROR, logger="asleft.dashboard"):
        answer = show(app.server.test_client(), "/")
    text = answer.get_data(as_text=True)
    assert "This page could not be made" in text
    assert "secret" not in text
    assert "Traceback" not in text
    reference = caplog.records[0].getMessage().split()[-1]
    assert reference in text


def test_a_foreign_host_name_is_not_answered(client: FlaskClient) -> None:
    assert client.get("/_dash-layout", headers={"Host": "elsewhere.invalid"}).status_code == 400
    assert client.get("/_dash-layout", headers={"Host": "127.0.0.1:8050"}).status_code == 200


def test_the_paper_form_answers_in_the_readers_unit_and_an_unknown_line_is_a_sentence(client: FlaskClient) -> None:
    assert b"ORR-07 thou" in client.get("/job-sheet/ORR-07/print?unit=thou").data
    missing = client.get("/job-sheet/NONE/print")
    assert (missing.status_code, missing.mimetype, missing.data) == (404, "text/plain", b"no line NONE\n")


def test_the_paper_form_may_run_its_print_button_and_nothing_else() -> None:
    sources = replace(orrindale.SOURCES, paper=job_sheet_html.render)
    answer = build(sources).server.test_client().get("/job-sheet/ORR-07/print")
    handlers = re.findall(r'\son[a-z]+="([^"]*)"', answer.get_data(as_text=True))
    # The digest of `window.print()` as `openssl dgst -sha256 -binary | base64` gives it.
    assert handlers == ["window.print()"]
    assert (
        "script-src 'unsafe-hashes' 'sha256-MguIPR6qNR8D3B+eAlK+bIRTZe8t3wkOY4B/56Me9FU='"
        in answer.headers["Content-Security-Policy"]
    )
    assert "<script" not in answer.get_data(as_text=True)


def test_only_this_machine_is_served_until_there_are_accounts() -> None:
    for host in LOCAL_HOSTS:
        check_host(host)
    with pytest.raises(InputError, match=r"'0\.0\.0\.0' would let other machines in.*until there are accounts"):
        serve(None, "0.0.0.0", 8050)


def test_workers_fork_after_the_application_is_loaded_and_let_go_of_connections() -> None:
    released: list[bool] = []
    settings = options("::1", 8051, 2, lambda: released.append(True))
    assert (settings["bind"], settings["preload_app"]) == ("[::1]:8051", True)
    settings["post_fork"](None, None)
    assert released == [True]


def test_after_warming_first_requests_in_parallel_all_find_their_scripts() -> None:
    # Seen on threaded servers: component scripts answer 500 until the application has registered them.
    app = warm(build(orrindale.SOURCES))
    page = app.server.test_client().get("/").get_data(as_text=True)
    scripts = [piece.split('"')[0] for piece in page.split('src="')[1:] if "_dash-component-suites" in piece]
    assert len(scripts) > 3
    with ThreadPoolExecutor(8) as pool:
        codes = list(pool.map(lambda path: app.server.test_client().get(path).status_code, scripts))
    assert codes == [200] * len(scripts)


def test_two_applications_share_nothing() -> None:
    empty = replace(orrindale.SOURCES, fleet=lambda _: orrindale.EMPTY_FLEET)
    one, other = build(orrindale.SOURCES).server.test_client(), build(empty).server.test_client()
    assert "ORR-07" in json.dumps(show(one, "/").get_json())
    assert "ORR-07" not in json.dumps(show(other, "/").get_json())
