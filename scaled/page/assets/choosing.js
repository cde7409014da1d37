// Choosing what to make and how many: a formula out of the catalogue, then pieces (or a factor), seen as a plan.

import { look } from "./ask.js";
import { mass, plain } from "./grams.js";
import { fitted } from "./lists.js";
import { byId, part, refill, say } from "./parts.js";

const SETTLE_MS = 150;
const LEAST = 0.001;
const LARGEST = 1000;

export class Choosing {
  /** `changed()` is called when there is something new to show. */
  constructor(changed) {
    this.changed = changed;
    this.step = null;
    this.formulas = [];
    this.sheet = 0;
    this.waiting = 0;
    byId("fewer").addEventListener("click", () => this.turn(-1));
    byId("more-of").addEventListener("click", () => this.turn(1));
    byId("count").addEventListener("input", () => this.typed());
  }

  async begin() {
    this.step = "choose";
    this.sheet = 0;
    this.formulas = null;
    this.changed();
    this.formulas = (await look("/api/v1/formulas")).formulas;
    this.changed();
  }

  end() {
    this.step = null;
    this.changed();
  }

  pick(formula) {
    this.formula = formula;
    this.step = "how-many";
    this.count(formula.pieces ?? 1);
  }

  /** What one step of the buttons changes: a piece, or a quarter of the formula where it makes no pieces. */
  get stride() {
    return this.formula.pieces === null ? 0.25 : 1;
  }

  turn(direction) {
    const next = (this.number ?? 0) + direction * this.stride;
    if (next > 0) this.count(next);
  }

  typed() {
    this.set(Number(byId("count").value.trim().replace(",", ".")));
  }

  count(number) {
    byId("count").value = plain(number);
    this.set(number);
  }

  set(number) {
    const factor = number / (this.formula.pieces ?? 1);
    const isSane = Number.isFinite(factor) && factor >= LEAST && factor <= LARGEST;
    this.number = isSane ? number : null;
    this.factor = isSane ? factor : null;
    this.plan = null;
    this.trouble = isSane ? null : "That is no number that can be made.";
    clearTimeout(this.waiting);
    if (isSane) this.waiting = setTimeout(() => this.see(factor), SETTLE_MS);
    this.changed();
  }

  async see(factor) {
    try {
      const plan = await look(`/api/v1/formulas/${encodeURIComponent(this.formula.formula)}/plan?factor=${fixed(factor)}`);
      if (factor === this.factor) this.plan = plan;
    } catch (refusal) {
      if (factor === this.factor) this.trouble = refusal.message;
    }
    this.changed();
  }

  /** What can be started now; null while that is not known to be possible. */
  get order() {
    return this.plan === null ? null : { formula: this.formula.formula, factor: this.factor };
  }

  showFormulas() {
    const list = byId("formulas");
    const room = roomFor(list);
    const all = this.formulas ?? [];
    this.sheets = Math.max(1, Math.ceil(all.length / room));
    this.sheet = Math.min(this.sheet, this.sheets - 1);
    const shown = all.slice(this.sheet * room, (this.sheet + 1) * room);
    const empty = this.formulas === null ? "Looking." : "There are no formulas in the folder that the settings name.";
    refill(list, [shown, room, empty], () => (shown.length === 0 ? [part("li", { class: "none" }, empty)] : shown.map((formula) => this.card(formula))));
  }

  card(formula) {
    if (formula.mistake !== null) {
      return part("li", {}, part("div", { class: "card broken" }, part("strong", {}, formula.title), part("span", {}, `cannot be used: ${formula.mistake}`)));
    }
    const pieces = formula.pieces === null ? null : counted(formula.pieces);
    const facts = [pieces, mass(formula.mass_g), `${formula.additions} to weigh`].filter(Boolean).join(" · ");
    return part("li", {}, part("button", { type: "button", class: "card", onclick: () => this.pick(formula) }, part("strong", {}, formula.title), part("span", {}, facts)));
  }

  showHowMany() {
    const { formula, plan } = this;
    say(byId("how-many-title"), formula.title);
    say(byId("count-of"), formula.pieces === null ? "times" : this.number === 1 ? "piece" : "pieces");
    say(byId("makes"), this.trouble ?? (plan === null ? "Working it out." : this.told(plan)));
    const lines = plan === null ? [] : plan.additions.filter((line) => line.weight_g !== null);
    fitted(byId("planned"), lines, (line) =>
      part("li", {}, part("span", { class: "name" }, line.ingredient), part("span", { class: "grams" }, mass(line.rounded_g ?? line.weight_g))));
  }

  told(plan) {
    const times = plan.factor === 1 ? "as written" : `${plain(plan.factor)} times the formula`;
    const allergens = plan.allergens.length === 0 ? null : `contains ${plan.allergens.join(", ")}`;
    return [mass(plan.mass_g), times, allergens].filter(Boolean).join(" · ");
  }
}

const counted = (pieces) => `${plain(pieces)} ${pieces === 1 ? "piece" : "pieces"}`;

/** A factor as the query spells it: a decimal number without an exponent. */
const fixed = (factor) => factor.toFixed(17).replace(/0+$/, "").replace(/\.$/, "");

/** How many cards fit: the stylesheet says how many columns, and how high one is at least. */
function roomFor(list) {
  const style = getComputedStyle(list);
  const columns = style.gridTemplateColumns.split(" ").length;
  const least = parseFloat(style.getPropertyValue("--least")) * parseFloat(getComputedStyle(document.documentElement).fontSize);
  const gap = parseFloat(style.rowGap) || 0;
  return columns * Math.max(1, Math.floor((list.clientHeight + gap) / (least + gap)));
}
