"""What the server shows of an answer the Records page was sent: the script hands it on, the words are made here."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output

from dashboard.pages.records_intake import ANSWER, SAID, outlook


def add(app: Dash) -> None:
    """Add the callback of the Records page to an application."""

    @app.callback(Output(SAID, "children"), Input(ANSWER, "data"), prevent_initial_call=True)
    def told(answer: Any) -> list[Any]:
        return outlook(answer if isinstance(answer, dict) else None)
