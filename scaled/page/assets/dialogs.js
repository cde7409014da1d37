// What is asked in front of the page: the less usual wishes, a lot's name, whether to give up, cautions in full.

import { byId, part } from "./parts.js";

const dialog = byId("dialog");

/** Open a dialog with a title and a body; a button in it that has a `run` closes it first. */
export function ask(title, body, buttons) {
  byId("dialog-title").textContent = title;
  const made = buttons.map(({ label, run, kind }) =>
    part("button", { type: "button", class: kind ?? "", onclick: () => { close(); run?.(); } }, label));
  byId("dialog-body").replaceChildren(...body, part("div", { class: "choices" }, ...made));
  if (!dialog.open) dialog.showModal();
}

export function close() {
  if (dialog.open) dialog.close();
}

/** The wishes that have no button of their own. */
export function askMore(wishes, lot, swap, giveUp) {
  const buttons = wishes.map(({ label, run }) => ({ label, run }));
  if (lot) buttons.push({ label: "Name a lot", run: lot });
  if (swap) buttons.push({ label: "Use another product", run: swap });
  if (giveUp) buttons.push({ label: "Give the batch up", run: giveUp, kind: "grave" });
  ask("More", [], [...buttons, { label: "Close", kind: "quiet" }]);
}

export function askGiveUp(title, run) {
  ask("Give this batch up?", [part("p", {}, `${title}: what is in stays in the record, as a batch that was given up.`)], [
    { label: "No, go on weighing" },
    { label: "Yes, give it up", run, kind: "grave" },
  ]);
}

/** Which lot an ingredient is from; `names` are the ingredients of the batch, the open one first. */
export const askLot = (names, run) => askOf(names, run, { title: "Which lot?", label: "Lot, as it stands on the pack", save: "Note it" });

/** What is weighed in place of an ingredient; `names` are those that are not all in, the open one first. */
export const askProduct = (names, run) => askOf(names, run, { title: "Which product instead?", label: "Product, as it stands on the pack", save: "Use it" });

/** What a product brings that must be said yes to, in the bench's words. */
export function askYes(words, run) {
  ask("Take it?", [part("p", { class: "full" }, words)], [{ label: "No, leave it" }, { label: "Yes, take it", run, kind: "grave" }]);
}

/** A word about one of the ingredients. */
function askOf(names, run, words) {
  let chosen = 0;
  const shown = part("output", {}, names[0]);
  const turn = (by) => () => {
    chosen = (chosen + by + names.length) % names.length;
    shown.textContent = names[chosen];
  };
  const input = part("input", { id: "word", type: "text", maxlength: "80", autocomplete: "off" });
  const picker = part("div", { class: "picker" },
    part("button", { type: "button", "aria-label": "the one before", onclick: turn(-1) }, "‹"), shown,
    part("button", { type: "button", "aria-label": "the one after", onclick: turn(1) }, "›"));
  const form = part("form", {}, picker, part("label", { for: "word" }, words.label), input);
  const save = () => { if (input.value.trim() !== "") run(names[chosen], input.value.trim()); };
  form.addEventListener("submit", (event) => { event.preventDefault(); close(); save(); });
  ask(words.title, [form], [{ label: words.save, run: save }, { label: "Close", kind: "quiet" }]);
  input.focus();
}

/** The cautions in full, one at a time. */
export function showCautions(cautions, index = 0) {
  const next = { label: "The next one", run: () => showCautions(cautions, (index + 1) % cautions.length) };
  const count = cautions.length > 1 ? ` ${index + 1} of ${cautions.length}` : "";
  ask(`Take care${count}`, [part("p", { class: "full" }, cautions[index])], [...(cautions.length > 1 ? [next] : []), { label: "Close", kind: "quiet" }]);
}
