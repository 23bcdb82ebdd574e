"""What makes a number on a page readable: its unit, and for an offset, deviation or movement its direction.

A number is said if it is a date or time, a per cent, part of a code or of a name (`station 2`, `page 3`), a count with
its noun (`9 lines`), or a figure with its unit; a figure without one of its own stands under a header that names it. A
length as fine as an offset (two decimals in mm, one in thou) is also an offset, deviation, movement or move, and says
in its clause or header where to (`low`, `right of target`, `raise`), unless the clause says that it has no direction
(a limit, a width, a scatter) or shows a reading as it was typed, with the instrument's own sign.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

_MONTH: Final = r"(?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)"
_NUMBER: Final = r"[-+−]? ?\d+(?: \d{3})*(?:\.\d+)?"
_UNIT: Final = (
    r"(?:mm/m|thou/ft|mm|thou|um|in|°C|°|C|K|crew h|h|min|s|kN|bar|per year|a year|years?|days?|months?|weeks?|in 100|"
    r"um/m|MB|kB|px)"
)
_NAMES: Final = (
    r"(?:stations?|supports?|surveys?|page|bore|bores|sequence|revision|rows?|beam state|step|"
    r"no\.|No\.|number)"
)
DIRECTIONS: Final = re.compile(
    r"\b(?:high|low|right|left|above|below|higher|lower|raise[ds]?|bring|brought|upward|downward|up|down|on target|"
    r"on axis|no movement|leave|rise|rises|rose)\b",
    re.IGNORECASE,
)
UNDIRECTED: Final = re.compile(
    r"±|\b(?:limits?|watch|within|widths?|wide|apart|differs?|differ by|scatter|spread|at most|rms|range|ranges|step|"
    r"steps|room|good enough|agree|agrees|off|standard|uncertainty|expanded|thick|deep|bow|straight|steady|wander|"
    r"wanders|swing|jump|jumps|distance|diameter|screw|bore of|barrel|closure|scale|share|finest|smallest|largest|"
    r"half|halves|"
    r"wider|narrower|stated|repeats|typed|band|tolerance|repeatability|reproducibility|together|part|parts|"
    r"between|from memory|1 thou|"
    r"0\.001 in|turn|turned|slope|explains|alone|farther|forecast|closest|reading|readings|beyond measurement|"
    r"away|short of|margin|over|set to|accuracy)\b|enlarged",
    re.IGNORECASE,
)
_UNIT_IN_CONTEXT: Final = re.compile(rf"(?:^|[\s,(\[:;])(?:{_UNIT}|%)(?=$|[\s,.;:)\]])")
_SAID: Final = tuple(
    re.compile(pattern)
    for pattern in (
        # How many lines are expected.
        r"\b\d+\.\d lines\b",
        # Where a page of a table stands.
        rf"\bLines {_NUMBER}[–-]{_NUMBER} of {_NUMBER}",
        # Dates, times of the clock, zones.
        rf"(?<!:)\b\d{{1,2}} ?[–-] ?\d{{1,2}} {_MONTH}(?: \d{{4}})?\b",
        rf"\b\d{{1,2}} {_MONTH}(?: \d{{4}})?\b",
        rf"\b{_MONTH} \d{{4}}\b",
        r"\b\d{4}-\d{2}-\d{2}(?:T[\d:.+Z-]+)?\b",
        r"\b\d{1,2}:\d{2}(?::\d{2})?\b",
        r"UTC[+−-]\d+",
        r"\b(?:19|20)\d\d\b(?! ?(?:mm|thou|h|lines|values))",
        # Per cent, ranges of them, one in so many.
        r"[<>]? ?\d+(?:\.\d+)?(?: ?[–-] ?\d+(?:\.\d+)?)?(?: (?:and|to|or) \d+(?:\.\d+)?)? ?%",
        r"\b\d+(?:, \d+)* (?:and|or) \d+ ?%",
        r"\b\d+ in \d+\b",
        r"\b\d+ (?:[a-z]+ )?of (?:the |its )?\d+\b",
        # Codes: letters and digits that hang together; digests; plain addresses; commands.
        r"\b[A-Za-z][\w.]*[-/]\d[\w./-]*",
        r"\b[A-Za-zÀ-ÿ_]+\d[\w./-]*",
        r"\b\d+[A-Za-z_]+\w*[-/]?\w*\b(?<!\d(?:mm))(?<!\dthou)",
        r"\b[\w]+(?:[-/][\w]+)*[-/]\d\w*",
        r"https?://\S+",
        r"\b[0-9a-f]{4}(?: (?:[0-9a-f]{4}|…))+",
        # What is named by a number.
        rf"\b{_NAMES} \d+(?:(?:,| and| to| or|–) ?\d+)*\b(?!\.\d)",
        r"\bat \d+(?=,? (?:vertical|horizontal))",
        # Shares of a status in a chip: the word, then how many.
        r"\b(?:over|due|watch|within|no record|taken|refused|nothing new|all|open|settled) \d+\b"
        r"(?!\.\d)(?! ?(?:mm|thou))",
    )
)
_WITH_UNIT: Final = re.compile(
    rf"(?:± ?)?{_NUMBER}(?: ?(?:[–-]|to|and|from|or|by) ?{_NUMBER})* ?(?P<unit>{_UNIT})(?![\w/])"
)
_COUNT: Final = re.compile(
    r"(?<![\d.])\d+(?: \d{3})*(?: more| other| comparable| such| new| running)? (?P<noun>[A-Za-z][a-z’'-]+)"
)
_BARE: Final = re.compile(rf"(?:± ?)?{_NUMBER}")
_COUNTED_IN_HEADER: Final = re.compile(
    r"\b(?:runs?|values?|visits?|lines?|intervals?|checks?|rows?|readings?|sessions?|surveys?|"
    r"stations?|counts?|times|rank|"
    r"how many|inside|changes?|before|after|pairs?|days?|movements?|compared|behind|taken|refused|files?)\b",
    re.IGNORECASE,
)
_FINE: Final = re.compile(r"\d\.\d{2}")
_FINE_THOU: Final = re.compile(r"\d\.\d")


@dataclass(frozen=True)
class Shown:
    """A piece of a page that holds a number: its text, and the headers, labels or caption it stands under."""

    text: str
    context: str = ""


def faults(shown: Shown) -> list[str]:
    """Return what is wrong with the numbers of a piece, one sentence each; nothing where all is said."""
    context = _plain(shown.context)
    if said_once := re.match(r"(?:In )?(mm|thou|Millimetres|Thou)(?=[.;])", _plain(shown.text)):
        context += f" , {said_once.group(1).lower().replace('millimetres', 'mm')}"
    found: list[str] = []
    for clause in re.split(r"(?<=[a-z0-9)%])\. (?=[A-Z])|;| · |\n", _plain(shown.text)):
        found += _faults_of(clause, context)
    return found


def _faults_of(clause: str, context: str) -> list[str]:
    rest = clause
    for pattern in _SAID:
        rest = pattern.sub(" ¤ ", rest)
    found: list[str] = []
    everything = f"{clause} {context}"
    for figure in _WITH_UNIT.finditer(rest):
        fine = _fine(figure.group(0), figure.group("unit"))
        if fine and not _directed(everything):
            found.append(f"‘{figure.group(0).strip()}’ says no direction in ‘{clause.strip()}’")
    rest = _WITH_UNIT.sub(" ¤ ", rest)
    rest = _COUNT.sub(lambda hit: " ¤ " if not _is_direction(hit.group("noun")) else hit.group(0), rest)
    unit = _UNIT_IN_CONTEXT.search(everything)
    for figure in _BARE.finditer(rest):
        text = figure.group(0).strip()
        if unit is None:
            counted = re.fullmatch(r"\d+(?: \d{3})*", text) and _COUNTED_IN_HEADER.search(context)
            if not counted:
                found.append(f"‘{text}’ has no unit in ‘{clause.strip()}’ under ‘{context[:80]}’")
        elif _fine(text, unit.group(0).strip(" ,(:[;")) and not text.startswith("±") and not _directed(everything):
            found.append(f"‘{text}’ says no direction in ‘{clause.strip()}’ under ‘{context[:80]}’")
    return found


def _directed(text: str) -> bool:
    return DIRECTIONS.search(text) is not None or UNDIRECTED.search(text) is not None


def _is_direction(word: str) -> bool:
    return DIRECTIONS.fullmatch(word) is not None or word in ("to", "of", "from", "and")


def _fine(figure: str, unit: str) -> bool:
    return bool(_FINE.search(figure)) if unit == "mm" else unit == "thou" and bool(_FINE_THOU.search(figure))


def _plain(text: str) -> str:
    """Return a text with one kind of space and one kind of minus, as a reader sees it."""
    return re.sub(r"[ \t\u00a0\u202f\u2009]+", " ", text.replace("\u2011", "-")).strip()


COLLECT: Final = """() => {
  const root = document.querySelector("main") || document.body;
  const seen = new Set();
  const found = [];
  const words = (one) => (one ? (one.innerText || one.textContent || "").trim() : "");
  const heads = (cell) => {
    const table = cell.closest("table");
    if (table === null) { return ""; }
    const box = cell.getBoundingClientRect();
    const middle = (box.left + box.right) / 2;
    const said = [...table.querySelectorAll("thead th, tr > th[scope=col]")]
      .filter((head) => {
        const at = head.getBoundingClientRect();
        return at.left <= middle && at.right >= middle && head !== cell;
      })
      .map(words);
    const row = cell.closest("tr");
    const first = row && row.firstElementChild !== cell ? words(row.firstElementChild) : "";
    const before = table.previousElementSibling || (table.parentElement && table.parentElement.previousElementSibling);
    const titled = words(before).length < 160 ? words(before) : "";
    const corner = words(table.querySelector("th"));
    return [...said, cell.dataset.label || "", titled, words(table.caption), corner, first].join(" | ");
  };
  const walker = document.createTreeWalker(root, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode;
    if (!/\\d/.test(node.data)) { continue; }
    let block = node.parentElement;
    if (block === null || block.closest("script, style, code, pre, textarea, .foot, .caut, [hidden]") !== null) {
      continue;
    }
    const drawn = block.closest(".main-svg");
    if (!block.checkVisibility({ visibilityProperty: true, opacityProperty: true })) { continue; }
    if (drawn !== null) {
      if (block.closest("text") === null || seen.has(block.closest("text"))) { continue; }
      const text = block.closest("text");
      seen.add(text);
      const chart = text.closest(".js-plotly-plot");
      const others = [...chart.querySelectorAll("text")].map((one) => one.textContent);
      const region = text.closest("[role=img]");
      const label = region ? region.getAttribute("aria-label") : "";
      const told = others.filter((said) => /[a-z]/.test(said));
      found.push({ text: text.textContent, context: [label, ...told].join(" | ") });
      continue;
    }
    while (block !== root && getComputedStyle(block).display.startsWith("inline")) { block = block.parentElement; }
    if (seen.has(block)) { continue; }
    seen.add(block);
    const cell = block.closest("td, th");
    const section = block.closest("section, .sheet, details, article, form, li, fieldset");
    const titled = "h2, h3, legend, summary, caption";
    let around = section;
    while (around && around !== root && around.querySelector(titled) === null) { around = around.parentElement; }
    const heading = around ? around.querySelector(titled) : null;
    const list = block.closest("ol, ul");
    const unit = list && list.parentElement ? words(list.parentElement.querySelector(".in-unit")) : "";
    const acting = block.closest("a, button, summary");
    const term = block.closest("dd") ? words(block.closest("dd").previousElementSibling) : "";
    const label = block.closest("label, [role=group], [aria-label]");
    const said = label ? label.getAttribute("aria-label") || words(label) : "";
    found.push({
      text: (acting ? words(acting).replace(/\\s+/g, " ") : words(block)) || block.textContent,
      context: [cell ? heads(cell) : "", term, words(heading), said, unit].join(" | "),
    });
  }
  return found;
}"""
"""Run in the page: every visible piece of it that holds a digit, with what it stands under.

The foot (how to read a number), cautions (their words are fixed elsewhere), code and hidden things are left out.
"""
