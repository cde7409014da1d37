// A batch at work: how much is still missing, what to do about it, the rule, what is next and what is in.

import { mass, number, told } from "./grams.js";
import { doneLine, fitted, standing, upcomingLine } from "./lists.js";
import { byId, measure, part, refill, say } from "./parts.js";
import { Rule } from "./rule.js";
import { shape } from "./shapes.js";
import { aim, asked, caption, instruction, offerWords } from "./words.js";

const FLOWING_G_S = 0.5;
let rule = null;

/** Write a figure of grams large. */
export function figure(place, grams, decimals) {
  const text = number(grams, decimals);
  say(place.querySelector(".figure"), text);
  measure(place, text);
}

/** `isOld`: nothing new has come for a while, so that nothing is said of what to do. */
export function showWeighing(status, isOld) {
  const { addition } = status;
  const division = status.scale.division_g;
  const finest = addition.band_g[1] - addition.band_g[0] < 0.5 ? 0.01 : 0.1;
  rule ??= new Rule(byId("rule"));
  const name = addition.product ?? addition.ingredient;
  say(byId("ingredient"), name);
  byId("ingredient").dataset.long = name.length > 26 ? "very" : name.length > 15 ? "yes" : "no";
  say(byId("target"), aim(addition, division ?? finest));
  figure(byId("digits"), Math.abs(addition.remaining_g), told(addition.remaining_g, division ?? finest));
  say(byId("caption").querySelector(".unit"), "g");
  say(byId("caption").querySelector(".words"), caption(addition));
  instruct(isOld ? ["No news", "lost"] : instruction(status));
  showLists(status);
  rule.draw(addition, whereItRests(status));
}

/** What is next and what is in, each with room by how long it is. */
function showLists(status) {
  const { upcoming } = status;
  const done = standing(status).reverse();
  for (const [id, items] of [["upcoming", upcoming], ["done", done]]) {
    byId(id).parentElement.style.setProperty("--lines", String(Math.min(4, items.length + 1)));
  }
  fitted(byId("upcoming"), upcoming, upcomingLine);
  fitted(byId("done"), done, doneLine);
}

function instruct([words, name]) {
  byId("instruction").dataset.long = words.length > 10 ? "yes" : "no";
  refill(byId("instruction"), [words, name], () => [shape(name), part("span", {}, words)]);
}

/** Where the pour would come to rest if it stopped now, in grams on the rule; null while nothing flows. */
function whereItRests(status) {
  const { weight, addition } = status;
  if (weight === null || Math.abs(weight.rate_g_s) < FLOWING_G_S || addition.phase === "vessel off") return null;
  return addition.target_g - addition.remaining_g + weight.forecast_g - weight.gross_g;
}

/** A question: which ingredient is how far off, and the ways out; or a doubt, in the words that were spoken. Returns
 * whether the ways out are others than before. */
export function showQuestion(status, take, mayAct) {
  const hasOffers = status.offers.length > 0;
  const [what, off] = hasOffers ? asked(status.addition) : [status.said ?? instruction(status)[0], ""];
  say(byId("asked"), what);
  say(byId("asked-figure"), off);
  byId("question").dataset.kind = hasOffers ? "offers" : "doubt";
  return refill(byId("offers"), [status.offers, status.batch.factor, mayAct], () => status.offers.map((offer, index) => offered(offer, index, status, take, mayAct)));
}

function offered(offer, index, status, take, mayAct) {
  const { title, steps, makes, costs } = offerWords(offer, status);
  const isFirst = index === 0 && status.offers.length > 1;
  const lines = [
    part("span", { class: "head" }, part("strong", {}, title), makes !== null && part("span", { class: "makes" }, makes)),
    part("span", { class: "steps" }, steps),
    part("span", { class: "foot" }, part("span", { class: "costs" }, costs), isFirst && part("em", {}, "advised")),
  ];
  const attributes = { type: "button", class: isFirst ? "offer advised" : "offer", "data-offer": offer.offer };
  if (!mayAct) return part("li", {}, part("div", attributes, ...lines));
  return part("li", {}, part("button", { ...attributes, onclick: () => take(offer.index) }, ...lines));
}

/** A batch that has ended: what went in. */
export function showOver(status) {
  const isComplete = status.batch.state === "complete";
  const off = status.done.filter((item) => !item.in_tolerance).length;
  const sum = status.done.reduce((total, item) => total + item.actual_g, 0);
  refill(byId("over-title"), isComplete, () => [shape(isComplete ? "in" : "stop"), part("span", {}, isComplete ? "Complete" : "Given up")]);
  const judged = off === 0 ? "all in tolerance" : `${off} out of tolerance`;
  say(byId("over-note"), status.done.length === 0 ? "Nothing went in." : `${mass(sum)} in all, ${judged}`);
  const list = byId("went-in");
  fitted(list, standing(status), doneLine, getComputedStyle(list).gridTemplateColumns.split(" ").length);
}
