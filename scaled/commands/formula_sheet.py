"""A plan as a page that prints: the fallback when the bench is dark.

One HTML document that needs nothing else: quantities with tick boxes, room for lots and for what really went in, the
steps, allergens (of what is dusted and told too), cautions. Everything that comes from a file is escaped.
"""

from __future__ import annotations

from html import escape

from scaled.formula.figures import grams
from scaled.formula.plan import Plan, PlannedLine
from scaled.formula.steps import step_text
from scaled.texts.tables import grams_text

STYLE = """
@page { size: A4; margin: 15mm }
body { font: 12pt/1.4 sans-serif; color: #000; background: #fff; max-width: 180mm; margin: 1em auto }
h1 { font-size: 18pt; margin: 0 } h2 { font-size: 13pt; margin: 1.2em 0 .3em; break-after: avoid }
table { border-collapse: collapse; width: 100%; table-layout: fixed }
th:nth-child(1) { width: 6mm } th:nth-child(3) { width: 22mm } th:nth-child(4) { width: 34mm }
th:nth-child(5), th:nth-child(6) { width: 26mm }
th, td { border-bottom: 1px solid #777; padding: .35em .5em; text-align: left; vertical-align: bottom }
th { font-size: 9pt } tr, li { break-inside: avoid }
.number { text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums }
td.target { font-size: 15pt; font-weight: bold }
.box { width: 5mm; height: 5mm; border: 1px solid #000; display: inline-block }
.within { break-before: page } .note { font-size: 10pt }
"""
DISCLAIMER = "Not a legal-for-trade weighing, and no food-safety system: local codes and licensed practice decide."


def sheet_html(plan: Plan) -> str:
    """The page for a plan; each formula within it on a page of its own."""
    title = escape(plan.formula.title)
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>\n'
        f"<style>{STYLE}</style></head><body>\n{_section(plan)}</body></html>\n"
    )


def _section(plan: Plan, kind: str = "whole") -> str:
    parts = [f'<section class="{kind}">', _head(plan)]
    parts += [_stage(plan, stage.name) for stage in plan.formula.stages]
    parts.append(_list("Steps", [step_text(step) for step in plan.formula.steps], ordered=True))
    parts.append(_list("Allergens", [", ".join(plan.allergens())] if plan.allergens() else ["none known"]))
    parts.append(_list("Mind", [*plan.cautions, *line_cautions(plan)]))
    parts.append(f'<p class="note">{escape(DISCLAIMER)}</p></section>')
    parts += [_section(within, "within") for within in plan.within]
    return "\n".join(part for part in parts if part)


def _head(plan: Plan) -> str:
    facts = [f"factor {float(plan.factor):.6g}", f"{_g(grams(plan.mass_mg))} g in all"]
    if plan.pieces is not None:
        facts.insert(0, f"{float(plan.pieces):.6g} pieces")
    if plan.eggs is not None:
        facts.append(f"crack {plan.eggs.crack} eggs")
    return (
        f"<h1>{escape(plan.formula.title)}</h1><p>{escape(', '.join(facts))}</p>"
        '<p class="note">Date ____________ Batch ____________ Made by ____________</p>'
    )


def _stage(plan: Plan, name: str) -> str:
    rows = "\n".join(_row(line) for line in plan.lines if line.addition.stage == name)
    heads = '<th></th><th>ingredient</th><th class="number">g</th><th class="number">from - to</th>'
    return (
        f"<h2>{escape(name)}</h2><table><thead><tr>{heads}<th>went in</th><th>lot</th></tr></thead>"
        f"<tbody>{rows}</tbody></table>"
    )


def _row(line: PlannedLine) -> str:
    if line.rounded_mg is None or line.band_mg is None:
        amount = f'<td colspan="2">{escape(line.told or "")}</td>'
    else:
        target = _g(grams(line.rounded_mg)) if line.addition.kind == "weighed" else "by feel"
        ends = " - ".join(_g(grams(end)) for end in line.band_mg)
        amount = f'<td class="number target">{target}</td><td class="number">{ends}</td>'
    name = escape(line.addition.ingredient)
    return f'<tr><td><span class="box"></span></td><td>{name}</td>{amount}<td></td><td></td></tr>'


def _list(heading: str, lines: list[str], *, ordered: bool = False) -> str:
    if not lines:
        return ""
    tag = "ol" if ordered else "ul"
    return f"<h2>{heading}</h2><{tag}>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</{tag}>"


def line_cautions(plan: Plan) -> list[str]:
    """What is to be minded of single lines, and is not said of the whole already."""
    said = set(plan.cautions)
    return [f"{line.addition.key}: {text}" for line in plan.lines for text in line.cautions if text not in said]


def _g(mass_g: float) -> str:
    return grams_text(mass_g)
