"""Whether PDFs can be made here: the extra and the system's pango."""

from __future__ import annotations

import pytest

from fleet.reports.pdf import PdfUnavailableError, as_pdf


def needed() -> None:
    """Skip a test where PDFs cannot be made, and say what to install."""
    try:
        as_pdf("<p>")
    except PdfUnavailableError as error:
        pytest.skip(str(error))
