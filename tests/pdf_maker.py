"""Whether PDFs can be made here: the extra and the system's pango."""

from __future__ import annotations

import os

import pytest

from fleet.reports.pdf import PdfUnavailableError, as_pdf


def needed() -> None:
    """Skip a test where PDFs cannot be made, and say what to install; on a build machine that is a failure."""
    try:
        as_pdf("<p>")
    except PdfUnavailableError as error:
        if os.environ.get("CI"):
            pytest.fail(str(error))
        pytest.skip(str(error))
