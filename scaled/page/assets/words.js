// What the page says: a sentence for each cue, and for each way out what to do, what it makes and what it costs.

import { mass, number, percent, plain } from "./grams.js";

/** Each cue's word, and the shape that says the same without words (see shapes.js). */
export const CUES = {
  idle: ["", "none"],
  "vessel on": ["Put the vessel on", "vessel"],
  waiting: ["Start pouring", "pour"],
  pour: ["Pour", "pour"],
  slow: ["Slowly", "slow"],
  "a little, then wait": ["A little, then wait", "drop"],
  stop: ["Stop", "stop"],
  wait: ["Wait", "wait"],
  "in band": ["Good", "in"],
  under: ["A little more", "drop"],
  over: ["Too much", "over"],
  "take out": ["Take out", "over"],
  choose: ["Choose", "choose"],
  confirm: ["Yes?", "choose"],
  "lift vessel": ["Lift the vessel off", "lift"],
  "put back": ["Put the vessel back", "vessel"],
  "empty vessel": ["Empty it, put it back", "lift"],
  held: ["Held", "held"],
  "scale lost": ["The scale is silent", "lost"],
  complete: ["Complete", "in"],
  aborted: ["Given up", "stop"],
};

/** What the bench wants done, as a sentence for the open weighing. */
export function instruction(status) {
  const [words, shape] = CUES[status.cue] ?? ["", "none"];
  if (status.cue === "waiting" && status.addition?.kind === "top-up") return ["Top up", shape];
  if (status.batch?.state === "held") return CUES.held;
  return [words, shape];
}

/** What the figure under the ingredient means. */
export function caption(addition) {
  const missing = addition.remaining_g;
  if (addition.phase === "in band") return missing === 0 ? "on target" : missing > 0 ? "below target" : "above target";
  if (addition.kind === "take out" && missing < 0) return "to take out";
  if (missing < 0) return "too much";
  return addition.kind === "top-up" ? "to top up" : "still to go";
}

/** A line under the ingredient: what it is weighed to. */
export function aim(addition, division) {
  const [low, high] = addition.band_g;
  const below = addition.target_g - low;
  const above = high - addition.target_g;
  const spread = Math.abs(below - above) < 0.0015 ? `± ${mass(below, division)}` : `+ ${mass(above, division)} / − ${mass(below, division)}`;
  return `to ${mass(addition.target_g, division)} ${spread}`;
}

/** The question that stands, in words: which ingredient, and how far off it is. */
export function asked(addition) {
  if (addition === null) return ["", ""];
  const off = -addition.remaining_g;
  if (off > 0) return [`${addition.ingredient}: too much`, `${mass(off)} over`];
  return [`${addition.ingredient}: not enough`, `${mass(-off)} short`];
}

/** What an offer makes, short: `8.9 pieces`, or what it was where the title names the new number. */
function makes(offer, status) {
  if (offer.makes === null) return null;
  const before = offer.makes * (status.batch.factor / offer.factor);
  if (offer.offer === "whole pieces") return `instead of ${short(before)}`;
  return `${short(offer.makes)} pieces`;
}

const short = (count) => number(count, 1).replace(/\.0$/, "");

function change(offer, status) {
  return offer.factor / status.batch.factor - 1;
}

const TITLES = {
  "take out": (offer, status) => `Take ${mass(offer.taken_out_g)} out`,
  "scale down": (offer, status) => `Make ${percent(change(offer, status))} less`,
  "scale up, least": (offer, status) => more(offer, status),
  "whole pieces": (offer, status) => (offer.makes === null ? more(offer, status) : `Make ${plain(offer.makes)} pieces`),
  "scale up, exact": (offer, status) => more(offer, status),
  rebalance: () => "Change what is still to come",
  keep: () => "Leave it as it is",
};

function more(offer, status) {
  const share = change(offer, status);
  return Math.abs(share) < 0.0005 ? "Top up, nothing else changes" : `Make ${percent(share)} more`;
}

/** An offer in words: `title` what to do, `steps` what that means at the bench, `makes` and `costs`. */
export function offerWords(offer, status) {
  const title = (TITLES[offer.offer] ?? ((other) => other.offer))(offer, status);
  const current = status.addition?.ingredient;
  const isIn = (key) => [current, ...status.done.map((done) => done.ingredient)].some((name) => name !== undefined && key.startsWith(name));
  const [adds, outs, later] = [[], [], []];
  for (const { ingredient, from_g: from, to_g: to } of offer.changes) {
    const difference = to - from;
    if (!isIn(ingredient)) later.push(ingredient);
    else (difference > 0 ? adds : outs).push(`${mass(Math.abs(difference), status.scale.division_g)} ${ingredient}`);
  }
  const steps = [];
  if (outs.length > 0) steps.push(`take out ${few(outs)}`);
  if (adds.length > 0) steps.push(`add ${few(adds)}`);
  if (offer.offer === "keep") steps.push(`noted as ${percent(offer.worst_deviation_pct / 100)} off`);
  else if (steps.length === 0) steps.push("nothing to add now");
  if (later.length > 0) steps.push(`${later.length === 1 ? later[0] : `${later.length} to come`} changed too`);
  return { title, steps: steps.join("; "), makes: makes(offer, status), costs: costs(offer) };
}

/** Three at most by name: the walk tells each in its turn. */
function few(items) {
  return items.length <= 3 ? items.join(", ") : `${items.slice(0, 2).join(", ")} and ${items.length - 2} more`;
}

function costs(offer) {
  const parts = [];
  if (Math.abs(offer.extra_mass_g) >= 0.05) parts.push(`${offer.extra_mass_g > 0 ? "+" : "−"}${mass(Math.abs(offer.extra_mass_g))}`);
  if (offer.extra_weighings > 0) parts.push(`${offer.extra_weighings} ${offer.extra_weighings === 1 ? "weighing" : "weighings"}`);
  if (offer.cost !== null && Math.abs(offer.cost) >= 0.005) parts.push(`${offer.cost > 0 ? "costs" : "saves"} ${Math.abs(offer.cost).toFixed(2)}`);
  return parts.length > 0 ? parts.join(" · ") : "costs nothing more";
}

/** The scale's state as a banner; null where there is nothing to say. */
export function scaleTrouble(state) {
  return {
    lost: "The scale is silent. Stop pouring; look at its cable and its switch.",
    waiting: "Waiting for the scale.",
    "over capacity": "Too heavy for the scale. Take something off.",
    "under zero": "The scale shows less than nothing. Is something missing on it?",
  }[state] ?? null;
}
