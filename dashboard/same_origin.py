"""What writes is asked for by these pages only: a request that another site's page makes is refused."""

from __future__ import annotations

from typing import Final
from urllib.parse import urlsplit

from flask import Request, Response, abort

REFUSED: Final = (
    "Nothing was changed: this was asked for by a page of another site. Open the page here and do it there.\n"
)


def refuse_foreign(request: Request) -> None:
    """Refuse a request that a page of another site has a browser make.

    A browser says where a request comes from: `Sec-Fetch-Site` in its own words, `Origin` as the address of the page.
    Whatever is no browser says neither and carries nobody's rights with it; it is let pass.

    Parameters
    ----------
    request
        The request at hand.

    Raises
    ------
    HTTPException
        403 with a sentence: it was not made by a page of this server.

    References
    ----------
    W3C, Fetch Metadata Request Headers, section 2.3 (`Sec-Fetch-Site`); RFC 6454, section 7 (`Origin`).
    """
    site, origin = request.headers.get("Sec-Fetch-Site"), request.headers.get("Origin")
    foreign = site is not None and site != "same-origin"
    if origin is not None and urlsplit(origin).netloc != request.host:
        foreign = True
    if foreign:
        abort(Response(REFUSED, status=403, mimetype="text/plain"))
