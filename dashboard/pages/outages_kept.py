"""Plans that are kept: save the one in view, sign it off, reopen it, and the list of all."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address
from dashboard.components import light
from dashboard.components.downloads import table_links
from dashboard.pages.outages_address import OutagesAsked, write
from dashboard.pages.outages_beside import beside_section
from dashboard.plan_sources import PlanSources
from fleet import words
from fleet.errors import FleetError
from fleet.reports import plan_words as said
from fleet.reports.plan_content import Kept, PlanContent
from fleet.reports.plan_figures import count, days
from fleet.reports.session_words import at
from fleet.services.planning.beside import Beside, side_by_side
from fleet.services.planning.keeping import NOW, KeptLine, asked_of

KEEP: Final = "plan-keep"
KEEP_BY: Final = "plan-keep-by"
KEEP_NOTE: Final = "plan-keep-note"
KEEP_CODE: Final = "plan-keep-code"
KEEP_SEEN: Final = "plan-keep-seen"
KEEP_SAID: Final = "plan-keep-said"
SIGN: Final = "plan-sign"
SIGN_BY: Final = "plan-sign-by"
SIGN_SEEN: Final = "plan-sign-seen"
SIGN_SAID: Final = "plan-sign-said"
REOPEN: Final = "plan-reopen"
REOPEN_BY: Final = "plan-reopen-by"
REOPEN_WHY: Final = "plan-reopen-why"
REOPEN_SEEN: Final = "plan-reopen-seen"
REOPEN_SAID: Final = "plan-reopen-said"
STATES: Final = {"saved": "saved", "signed_off": "signed off"}
_MOST_LISTED: Final = 20


def above(sources: PlanSources, plan: PlanContent, base: OutagesAsked, address: Address) -> list[Any]:
    """Return what stands above a plan: that it is a kept one and how old, and the plan it is compared with.

    Parameters
    ----------
    sources
        The planning services.
    plan
        The plan in view.
    base
        What is asked with the plan's own pins, as if it were worked out anew.
    address
        The reader's unit.
    """
    parts: list[Any] = []
    if plan.kept is not None:
        parts.append(_standing(plan, plan.kept, sources.facts_version(), base, address))
    if base.beside is not None:
        close = write(address, replace(_shown(plan, base), beside=None))
        try:
            told = compared(sources, plan, base.beside)
            parts += [] if told is None else beside_section(told, close, address)
        except FleetError as error:
            way = dcc.Link("Close the comparison", href=close, className="btn")
            title = html.H2("These two do not compare", className="say-head")
            parts.append(html.Section([title, html.P(str(error)), html.P(way)], className="say warn notice"))
    return parts


def compared(sources: PlanSources, plan: PlanContent, beside: str) -> Beside | None:
    """Return what a plan has over another; None where that is the same one.

    Parameters
    ----------
    sources
        The planning services.
    plan
        The plan in view.
    beside
        Code of the other, or `NOW`: what the same question is answered with today.

    Raises
    ------
    FleetError
        There is no such plan, the question has no answer today, or the two have no line in common.
    """
    if beside == (NOW if plan.kept is None else plan.kept.code):
        return None
    return side_by_side(sources.content(asked_of(plan)) if beside == NOW else sources.kept(beside), plan)


def below(sources: PlanSources, plan: PlanContent, base: OutagesAsked, address: Address) -> list[Any]:
    """Return what stands below a plan: the form that saves, signs or reopens it, and the list of kept plans.

    Parameters
    ----------
    sources, plan, base, address
        As of `above`.
    """
    if not plan.stops and plan.kept is None:
        return []
    return kept_section(plan, sources.kept_plans(plan.site), base, address)


def kept_section(plan: PlanContent, kept: tuple[KeptLine, ...], base: OutagesAsked, address: Address) -> list[Any]:
    """Return the form for the plan in view and the list of kept plans.

    Parameters
    ----------
    plan
        The plan in view.
    kept
        Kept plans, newest first.
    base, address
        As of `above`.
    """
    if plan.kept is None:
        title, form = "Save this plan", _keep_form(plan, kept)
    elif plan.kept.state == "saved":
        title, form = f"Sign {plan.kept.code} off", _sign_form(plan.kept)
    else:
        title, form = f"Reopen {plan.kept.code}", _reopen_form(plan.kept)
    return [
        html.Section(
            [html.H2(title, id="keep"), *form], className="sheet pad lform pk noprint"
        ),
        html.Section(
            [html.H2("Kept plans", id="kept"), *_list(plan, kept, base, address)], className="pk noprint"
        ),
    ]  # fmt: skip


def _shown(plan: PlanContent, base: OutagesAsked) -> OutagesAsked:
    """Return the question that shows this very plan again: a kept one by its code, for it says the rest itself."""
    if plan.kept is None:
        return base
    return OutagesAsked(plan=plan.kept.code, beside=base.beside, view=base.view)


def _standing(plan: PlanContent, kept: Kept, version: int, base: OutagesAsked, address: Address) -> html.Section:
    """Return that a kept plan is in view: as of when, by whom, and whether the record has moved on."""
    changed = (
        "The record has changed since, so a plan of today may differ."
        if version != plan.data_version
        else "Nothing was recorded since, but chances grow with the days."
    )
    links = [
        dcc.Link("Solve anew", href=write(address, replace(base, beside=None)), className="btn"),
        dcc.Link("Compare with one solved now", href=write(address, replace(_shown(plan, base), beside=NOW)),
                 className="btn plain"),
    ]  # fmt: skip
    return html.Section(
        [
            html.H2(f"A kept plan, as of {words.day(plan.as_of)}", className="say-head"),
            html.P(f"{said.state(plan)} It shows what was known then; nothing in it follows the record. {changed}"),
            *([html.P(["Note: ", kept.note])] if kept.note else []),
            html.Div(links, className="acts noprint"),
        ],
        className="say notice",
    )


# the forms


def _field(name: str, label: str, *, wide: bool = False, known: list[str] | None = None, **more: Any) -> html.Label:
    offered = {"list": f"{name}-known"} if known else {}
    return html.Label(
        [
            label,
            dcc.Input(id=name, type="text", **{"autoComplete": "off", **offered, **more}),
            *([html.Datalist([html.Option(value=value) for value in known], id=f"{name}-known")] if known else []),
        ],
        className="fld grow" if wide else "fld",
    )


def _name(name: str) -> html.Label:
    return _field(name, "Your name (kept as typed, not verified)", autoComplete="name")


def _button(name: str, text: str, answer: str) -> html.Div:
    return html.Div(
        [
            html.Button(text, id=name, className="btn main", type="button"),
            html.Div(id=answer, className="form-said", role="alert"),
        ],
        className="acts",
    )


def _keep_form(plan: PlanContent, kept: tuple[KeptLine, ...]) -> list[Any]:
    saved = [line for line in kept if line.state == "saved" and line.site == plan.site]
    label = "Code (empty: the next free one)"
    if saved:
        label = "Code (empty: a new plan; that of a saved plan: in its place)"
    seen = {"version": plan.data_version, "saved": {line.code: line.version for line in saved}}
    return [
        html.P(
            f"{count(plan.visits, 'visit').capitalize()}, {days(plan.days_over)} over expected. It is worked out anew "
            "when it is saved, so that what is kept is what the record says then.",
            className="fact",
        ),
        dcc.Store(id=KEEP_SEEN, data=seen),
        html.Div(
            [
                _name(KEEP_BY),
                _field(KEEP_CODE, label, known=[line.code for line in saved]),
                _field(KEEP_NOTE, "Note (may be empty)", wide=True),
            ],
            className="flds",
        ),
        _button(KEEP, "Save plan", KEEP_SAID),
    ]  # fmt: skip


def _sign_form(kept: Kept) -> list[Any]:
    return [
        html.P(
            "Signed off, it is what is going to be done: it stands as it is until somebody reopens it with a reason. "
            "To change it, solve it anew and save that in its place.",
            className="fact",
        ),
        dcc.Store(id=SIGN_SEEN, data={"code": kept.code, "version": kept.version}),
        html.Div([_name(SIGN_BY)], className="flds"),
        _button(SIGN, "Sign off", SIGN_SAID),
    ]


def _reopen_form(kept: Kept) -> list[Any]:
    return [
        html.P(
            "Reopened, another plan can be saved in its place. The audit keeps who had signed it off, and the reason.",
            className="fact",
        ),
        dcc.Store(id=REOPEN_SEEN, data={"code": kept.code, "version": kept.version}),
        html.Div([_name(REOPEN_BY), _field(REOPEN_WHY, "Reason", wide=True)], className="flds"),
        _button(REOPEN, "Reopen", REOPEN_SAID),
    ]


# the list


def _list(plan: PlanContent, kept: tuple[KeptLine, ...], base: OutagesAsked, address: Address) -> list[Any]:
    if not kept:
        return [
            html.P("No plan is kept yet. The one in view is worked out from the record as it stands.", className="dim")
        ]
    shown = kept[:_MOST_LISTED]
    heads = ("Plan", "State", "Of", "Saved", "Visits", "Expected over", "First stop", "Beside the one in view")
    rows = [_row(line, plan, base, address) for line in shown]
    table = light.Table(
        [
            light.Thead(light.Tr([light.Th(head, className="r" if head == "Expected over" else "") for head in heads])),
            light.Tbody(rows),
        ],
        className="tbl",
    )
    entries = [_entry(line, plan, base, address) for line in shown]
    more = len(kept) - len(shown)
    left = [html.P(f"{more} older ones are not listed; open one by its code in the address.", className="dim")]
    return [
        light.Div(table, className="sheet wide-only"),
        light.Ul(entries, className="narrow-only pk-list"),
        html.Div(table_links("kept-plans", address, "every kept plan"), className="under-table"),
        *(left if more else []),
    ]


def _row(line: KeptLine, plan: PlanContent, base: OutagesAsked, address: Address) -> light.Element:
    return light.Tr(
        [
            light.Td([_link(line, plan, base, address), *_small(line.note)], className="ln"),
            light.Td(_state(line)),
            light.Td("all sites" if line.site is None else plan.site_names.get(line.site, line.site)),
            light.Td([at(line.made_at), light.Small(f"by {line.made_by}")]),
            light.Td(str(line.visits)),
            light.Td(days(line.days_over), className="r num"),
            light.Td("–" if line.first_start is None else words.day(line.first_start.date())),
            light.Td(_compare(line, plan, base, address)),
        ]
    )


def _entry(line: KeptLine, plan: PlanContent, base: OutagesAsked, address: Address) -> light.Element:
    first = "no visit" if line.first_start is None else f"first stop {words.day(line.first_start.date())}"
    figures = f"{count(line.visits, 'visit')}, {days(line.days_over)} over expected, {first}"
    return light.Li(
        [
            light.Div([_link(line, plan, base, address), " · ", *_state(line)]),
            light.Small(f"saved {at(line.made_at)} by {line.made_by}"),
            light.Small(figures),
            *_small(line.note),
            *_compare(line, plan, base, address),
        ]
    )


def _small(text: str | None) -> list[Any]:
    return [light.Small(text)] if text else []


def _in_view(line: KeptLine, plan: PlanContent) -> bool:
    return plan.kept is not None and plan.kept.code == line.code


def _link(line: KeptLine, plan: PlanContent, base: OutagesAsked, address: Address) -> Any:
    if _in_view(line, plan):
        return light.B(f"{line.code}, in view")
    to = write(address, OutagesAsked(plan=line.code, view=base.view))
    return light.Link(line.code, href=to)


def _state(line: KeptLine) -> list[Any]:
    if line.signed_by is None or line.signed_at is None:
        return [STATES[line.state]]
    return [light.B(STATES[line.state]), light.Small(f"{at(line.signed_at)} by {line.signed_by}")]


def _compare(line: KeptLine, plan: PlanContent, base: OutagesAsked, address: Address) -> list[Any]:
    if _in_view(line, plan):
        return []
    if base.beside == line.code:
        return [light.Span("compared above", className="dim")]
    shown = replace(_shown(plan, base), beside=line.code)
    return [light.Link(["Compare", light.Span(f" with {line.code}", className="vh")], href=write(address, shown))]
