"""The colours figures are drawn in, by the name of their token.

A chart is drawn in the light theme's colours, which is also what a download gets. On the page the style sheet that
`theme_css` writes puts the token back in the place of each colour, so that dark theme and print follow by themselves.
"""

from __future__ import annotations

from typing import Final

LIGHT: Final[dict[str, str]] = {
    "ink": "#171a24",
    "ink-2": "#464c5e",
    "ink-3": "#646a7d",
    "sheet": "#ffffff",
    "well": "#eceef3",
    "hair": "#dde0e8",
    "rule": "#7b8297",
    "accent": "#332288",
    "over": "#882255",
    "outage": "#f5f0da",
    "outage-edge": "#97853c",
    "corridor": "#e9ebf2",
    "fan-1": "#d9d6ea",
    "fan-2": "#bcb6da",
}
"""Token name to its colour in the light theme; `tokens.css` says the same."""


def colour(token: str) -> str:
    """Return a token's light colour."""
    return LIGHT[token]


def theme_css() -> str:
    """Return the style sheet that gives charts the page's tokens, whatever the theme."""
    rules = [
        "/* Written by dashboard/figures/palette.py: charts are drawn in light colours; here each gets its token. */"
    ]
    for token, value in LIGHT.items():
        red, green, blue = (int(value[at : at + 2], 16) for at in (1, 3, 5))
        rgb = f"rgb({red}, {green}, {blue})"
        for kind in ("stroke", "fill"):
            rules.append(f'.js-plotly-plot [style*="{kind}: {rgb}"] {{ {kind}: var(--{token}) !important; }}')
    return "\n".join(rules) + "\n"
