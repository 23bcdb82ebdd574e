"""Papers as PDF, from the same HTML that the print button shows; needs the extra `pdf` and the system's pango."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Final

from fleet.errors import InputError

HOW_TO_INSTALL: Final = (
    "Install the extra with `pip install 'asleft[pdf]'`, and pango from the system (Debian and Ubuntu: `apt-get "
    "install libpango-1.0-0 libpangoft2-1.0-0`; macOS: `brew install pango`). Until then print the paper from the "
    "browser and choose PDF there: it is the same paper."
)
_FACE: Final = '@font-face{font-family:"Atkinson Hyperlegible Next";font-weight:200 800;src:url("%s") format("woff2")}'
_AS_IN_A_BROWSER: Final = ".sti{display:inline!important}.sti svg{margin-right:2mm}.p1,.p1 .jt{display:block!important}"
"""Where the maker of PDFs needs other words for the same paper: it gives an inline box of boxes a line of its own, and
a page of boxes within boxes costs it three times the time."""


class PdfUnavailableError(InputError):
    """What makes PDFs is not on this machine; the message says what to install and how to do without."""


def as_pdf(html: str, *, face: Path | None = None) -> bytes:
    """Return a paper as PDF.

    Parameters
    ----------
    html : str
        A whole document that loads nothing.
    face : Path or None
        File of the face the papers are set in, put into the PDF; None: the system's own faces.

    Returns
    -------
    bytes
        The PDF.

    Raises
    ------
    PdfUnavailableError
        The package that makes PDFs or the system's pango is missing.
    """
    return as_one_pdf((html,), face=face)


def as_one_pdf(papers: Iterable[str], *, face: Path | None = None, title: str | None = None) -> bytes:
    """Return several papers as one PDF, each laid out by itself and begun on a page of its own.

    Parameters
    ----------
    papers : iterable of str
        Whole documents that load nothing, at least one; page numbers count within each.
    face : Path or None
        As of `as_pdf`.
    title : str or None
        What the whole is called; None: as the first paper is.

    Raises
    ------
    PdfUnavailableError
        The package that makes PDFs or the system's pango is missing.
    """
    try:
        # The package raises OSError where the system's pango cannot be loaded.
        import weasyprint
        from weasyprint.text.fonts import FontConfiguration
    except (ImportError, OSError) as error:
        raise PdfUnavailableError(f"PDFs cannot be made on this machine. {HOW_TO_INSTALL}") from error
    fonts = FontConfiguration()
    rules = _AS_IN_A_BROWSER + (_FACE % face.resolve().as_uri() if face is not None else "")
    sheet = weasyprint.CSS(string=rules, font_config=fonts)
    laid_out = [weasyprint.HTML(string=html).render(stylesheets=[sheet], font_config=fonts) for html in papers]
    pages = [page for document in laid_out for page in document.pages]
    whole = laid_out[0].copy(pages)
    whole.metadata.title = title or whole.metadata.title
    return bytes(whole.write_pdf())
