// The buttons at the foot of the page: which there are follows from what the bench takes now.

import { part, refill } from "./parts.js";
import { shape } from "./shapes.js";

const MORE = ["later", "back", "repeat", "close stage"];

export const isDoubt = (status) => status.addition?.phase === "asking" && status.offers.length === 0;

/** What a wish is called in this situation. */
export function label(wish, status) {
  const { addition } = status;
  if (status.cue === "empty vessel" && EMPTYING[wish]) return EMPTYING[wish];
  if (wish === "next") {
    if (isDoubt(status)) return "Yes, go on";
    if (addition?.phase === "vessel off") return "It stands there";
    if (addition?.phase === "in band") return "Next one";
    if (addition?.phase === "over") return "Ways out";
    return "That is all there is";
  }
  return {
    back: "Back one", later: "Do it later", hold: "Hold", resume: "Go on", abort: "Give up",
    "close stage": `Close stage ${addition?.stage ?? ""}`.trim(), repeat: "Say it again",
    "start again": "Start the stage again",
  }[wish];
}

const EMPTYING = { next: "It is empty", back: "Not after all" };
const SHAPES = { hold: "held", resume: "in", later: "later" };

/** The wishes with a button of their own, the main one first. With offers on the page these are the answer. */
export function foremost(status) {
  const wanted = status.offers.length > 0 ? ["start again", "hold"]
    : status.cue === "empty vessel" ? ["next", "back"] : ["resume", "next", "later", "hold"];
  return wanted.filter((wish) => status.takes.includes(wish)).slice(0, 2);
}

/** The other wishes that are taken now. */
export function others(status) {
  const shown = foremost(status);
  return [...MORE, "hold"].filter((wish) => status.takes.includes(wish) && !shown.includes(wish));
}

/** Fill the foot with buttons: `{label, run, kind, shape}`. */
export function showButtons(place, key, buttons) {
  refill(place, [key, buttons.map((button) => [button.label, button.kind, button.isOff])], () =>
    buttons.map((button) =>
      part("button", { type: "button", class: button.kind ?? "", disabled: button.isOff ?? false, onclick: button.run },
        button.shape ? shape(button.shape) : null, part("span", {}, button.label))));
}

export function wishButton(wish, status, run) {
  const isExpected = wish === "resume" || (wish === "next" && (isDoubt(status) || status.addition?.phase === "in band"));
  return { label: label(wish, status), shape: isExpected ? "in" : SHAPES[wish], run, kind: isExpected ? "main" : "" };
}
