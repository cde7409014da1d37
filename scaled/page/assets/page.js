// The page: each new Snapshot decides what is shown, and each button becomes one request. Nothing is counted here.

import { foremost, isDoubt, label, others, showButtons, wishButton } from "./actions.js";
import { act, look } from "./ask.js";
import { Choosing } from "./choosing.js";
import { askGiveUp, askLot, askMore, askProduct, askYes, showCautions } from "./dialogs.js";
import { mass, plain } from "./grams.js";
import { byId, part, refill, say, show } from "./parts.js";
import { countFromHere, isMarked, showPlain } from "./plain.js";
import { shape } from "./shapes.js";
import { Line, STALE_S } from "./stream.js";
import { showOver, showQuestion, showWeighing } from "./weighing.js";
import { keepAwake } from "./wake.js";
import { instruction, scaleTrouble } from "./words.js";

const NOTICE_MS = 6000;
const VIEWS = ["weighing", "question", "plain", "over", "choose", "how-many", "loading"];
let status = null;
let mayAct = true;
let notice = null;
let isAsked = false;
let seenAt = null;
let isDrawn = false;

const choosing = new Choosing(() => redraw());
const line = new Line((newest) => { status = newest; redraw(); }, () => redraw());
keepAwake(() => status !== null && status.batch !== null && status.batch.state === "running");
look("/api/v1/access").then((access) => { mayAct = access.may_act; redraw(); }, tell);
new ResizeObserver(() => redraw()).observe(byId("sheet"));

/** Draw with the next frame, however many Snapshots come before it. */
function redraw() {
  if (isDrawn) return;
  isDrawn = true;
  requestAnimationFrame(() => { isDrawn = false; draw(); });
}

const isEnded = () => status.batch !== null && ["complete", "aborted"].includes(status.batch.state);
const isOld = () => line.age() > STALE_S;
const isIdle = () => status.batch === null || isEnded();

function view() {
  if (status === null) return "loading";
  if (isIdle() && choosing.step !== null) return choosing.step;
  if (isEnded()) return "over";
  if (status.batch === null || status.addition === null) return "plain";
  return status.offers.length > 0 || isDoubt(status) ? "question" : "weighing";
}

function draw() {
  const shown = view();
  byId("sheet").dataset.view = shown;
  byId("sheet").dataset.seq = status?.seq ?? "";
  for (const name of VIEWS) show(byId(name), name === shown);
  byId("sheet").dataset.fresh = !isOld() && status?.scale.state !== "lost" ? "yes" : "no";
  byId("sheet").dataset.ended = status?.batch?.state ?? "";
  byId("sheet").dataset.state = status?.addition?.phase ?? "";
  showBanners();
  if (status === null) return;
  if (!isIdle() && choosing.step !== null) choosing.step = null;
  showHead();
  showCaution(shown);
  ({ weighing: () => showWeighing(status, isOld()), question: () => { if (showQuestion(status, takeOffer, mayAct)) seenAt = status.seq; }, plain: () => showPlain(status),
    over: () => showOver(status), choose: () => choosing.showFormulas(), "how-many": () => choosing.showHowMany() })[shown]();
  showFoot(shown);
  announce(shown);
}

function showHead() {
  const { batch, scale } = status;
  say(byId("title"), batch === null ? "Plain scale" : batch.title);
  say(byId("amount"), batch === null || batch.factor === 1 ? "" : `${plain(batch.factor)} times`);
  const state = isOld() ? "not known" : scale.state;
  refill(byId("scale"), [scale.name, state], () => [shape(state === "ready" ? "rest" : "lost"), part("span", {}, `${scale.name ?? "scale"}: ${state}`)]);
}

/** A time in steps of ten seconds, then minutes: it is read aloud each time that it changes. */
const span = (seconds) => (seconds < 60 ? `${Math.floor(seconds / 10) * 10} s` : `${Math.floor(seconds / 60)} min`);

/** What is wrong, at most two lines: an answer that was no, old numbers, the scale, the records. */
function showBanners() {
  const old = isOld() ? ["old", `No news from the bench for over ${span(line.age())}. The numbers are old.`] : null;
  const scale = status === null || old !== null ? null : scaleTrouble(status.scale.state);
  const lines = [
    notice && ["notice", notice],
    old,
    scale && ["scale", scale],
    status?.recorded === false && ["records", "Not recorded. The work goes on, but nothing of it is being kept."],
  ].filter(Boolean).slice(0, 2);
  refill(byId("banners"), lines, () => lines.map(([kind, text]) => part("p", { class: `banner ${kind}` }, shape("warning"), part("span", {}, text))));
}

function showCaution(shown) {
  const told = (status.addition?.told ?? []).map((line) => `Before it: ${line}`);
  const cautions = shown === "how-many" ? choosing.plan?.cautions ?? [] : [...told, ...status.cautions];
  const place = byId("caution");
  const isShown = cautions.length > 0 && !["choose", "plain"].includes(shown);
  show(place, isShown);
  if (!isShown) return;
  refill(place, cautions, () => [
    part("button", { type: "button", onclick: () => showCautions(cautions) },
      shape("warning"), part("span", { class: "text" }, cautions[0]), cautions.length > 1 && part("span", { class: "count" }, `1 of ${cautions.length}`)),
  ]);
}

function showFoot(shown) {
  const place = byId("actions");
  if (!mayAct) {
    showButtons(place, "far", []);
    refill(place, "far", () => [part("p", {}, "This device looks only. Act at the bench: screen, pedal, or a press on the scale.")]);
    return;
  }
  showButtons(place, [shown, isAsked, status.takes, status.addition?.phase, status.done.length], buttons(shown));
}

function buttons(shown) {
  const start = { label: "Choose a formula", kind: "main", run: () => choosing.begin().catch(tell) };
  if (shown === "plain") {
    const mark = { label: isMarked() ? "Count all" : "Count from here", run: () => { countFromHere(status); redraw(); }, isOff: status.weight === null };
    return status.batch === null ? [start, mark] : wishes();
  }
  if (shown === "over") return [start];
  const leave = { label: "Back", run: () => choosing.end() };
  if (shown === "choose") return [leave, ...sheetButtons()];
  if (shown === "how-many") {
    return [{ label: "Weigh it", kind: "main", isOff: choosing.order === null || isAsked, run: begin }, { label: "Back", run: () => { choosing.step = "choose"; redraw(); } }];
  }
  return wishes();
}

function sheetButtons() {
  if ((choosing.sheets ?? 1) < 2) return [];
  const turn = (by) => () => { choosing.sheet += by; redraw(); };
  return [
    { label: "‹ before", run: turn(-1), isOff: choosing.sheet === 0 },
    { label: `after › (${choosing.sheet + 1} of ${choosing.sheets})`, run: turn(1), isOff: choosing.sheet >= choosing.sheets - 1 },
  ];
}

function wishes() {
  const plainOnes = foremost(status).map((wish) => ({ ...wishButton(wish, status, () => wish_(wish)), isOff: isAsked }));
  return [...plainOnes, { label: "More", run: more, kind: "quiet" }];
}

function more() {
  const rest = others(status).map((wish) => ({ label: label(wish, status), run: () => wish_(wish) }));
  const giveUp = status.takes.includes("abort") ? () => askGiveUp(status.batch.title, () => wish_("abort")) : null;
  const [all, missing] = [names([...open(), ...status.done, ...status.upcoming]), names([...open(), ...status.upcoming])];
  const lot = all.length > 0 ? () => askLot(all, (ingredient, name) => send("/api/v1/lot", { ingredient, lot: name })) : null;
  askMore(rest, lot, missing.length > 0 ? () => askProduct(missing, swap) : null, giveUp);
}

const open = () => (status.addition === null ? [] : [status.addition]);

/** Another product for what is still to come; where it brings an allergen the bench wants a yes. */
function swap(ingredient, product) {
  const body = { ingredient, for: product };
  return send("/api/v1/swap", body, (refusal) => {
    if (refusal.status !== 409 || !refusal.message.includes("say yes")) return tell(refusal);
    return askYes(refusal.message, () => send("/api/v1/swap", { ...body, yes: true }));
  });
}

/** Ingredients by key: the name, or `name (stage)` where it occurs in two stages of the batch. */
function names(wanted) {
  const all = [...open(), ...status.done, ...status.upcoming];
  const stages = new Map();
  for (const { ingredient, stage } of all) stages.set(ingredient, (stages.get(ingredient) ?? new Set()).add(stage));
  return [...new Set(wanted.map(({ ingredient, stage }) => (stages.get(ingredient).size > 1 ? `${ingredient} (${stage})` : ingredient)))];
}

const wish_ = (intent) => send("/api/v1/intent", { intent });

/** Take an offer as it was first seen: if another question stands by now, the bench says so. After a no the cook has
 * been told, and what is on the page now counts. */
async function takeOffer(offer) {
  if (!await send("/api/v1/offer", { offer, seq: seenAt ?? status.seq })) seenAt = null;
}

async function begin() {
  const order = choosing.order;
  if (order !== null && await send("/api/v1/batch", order)) choosing.end();
}

/** One request at a time; a no is told in the bench's own words. */
async function send(path, body, refused = tell) {
  if (isAsked) return false;
  isAsked = true;
  redraw();
  try {
    await act(path, body);
    return true;
  } catch (refusal) {
    refused(refusal);
    return false;
  } finally {
    isAsked = false;
    redraw();
  }
}

function tell(refusal) {
  notice = refusal.message;
  setTimeout(() => { if (notice === refusal.message) { notice = null; redraw(); } }, NOTICE_MS);
  redraw();
}

/** For those who hear the page: what is to be done and what is asked, never the running figures. */
function announce(shown) {
  const { addition } = status;
  let text = "";
  if (shown === "weighing") text = `${addition.ingredient}, to ${mass(addition.target_g)}. ${instruction(status)[0]}`;
  if (shown === "question") text = `${byId("asked").textContent}. ${byId("asked-figure").textContent}`;
  if (shown === "over") text = `${status.batch.title}: ${byId("over-title").textContent}`;
  say(byId("announced"), text);
}
