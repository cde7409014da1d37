// A plain scale while no batch runs: what lies on it, and from here on where the cook counts from a mark of his own.

import { decimalsOf } from "./grams.js";
import { byId, part, refill, say } from "./parts.js";
import { shape } from "./shapes.js";
import { figure } from "./weighing.js";

let mark = 0;

export function countFromHere(status) {
  mark = mark === 0 && status.weight !== null ? status.weight.gross_g : 0;
}

export const isMarked = () => mark !== 0;

export function showPlain(status) {
  const { weight, scale } = status;
  const decimals = decimalsOf(scale.division_g);
  say(byId("plain-title"), weight === null ? "No weight" : mark === 0 ? "On the scale" : "From the mark");
  if (weight === null) {
    say(byId("reading").querySelector(".figure"), "– –");
  } else {
    figure(byId("reading"), weight.gross_g - mark, decimals);
  }
  const [words, name] = weight === null ? ["nothing is heard from the scale", "lost"] : weight.settled ? ["at rest", "rest"] : ["moving", "moving"];
  const all = mark === 0 || weight === null ? "" : `, ${weight.gross_g.toFixed(decimals)} g in all`;
  refill(byId("rest"), [words, all], () => [shape(name), part("span", {}, words + all)]);
}
