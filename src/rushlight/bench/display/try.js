// The page of trials: asks who and with what, leads through the steps, and has the result told.
import "/pointer.js";
import {open} from "./link.js";
import {asked, counted, fill, text} from "./texts.js";
import {keeper, randomId, slug} from "./try_keep.js";
import {pointerOn} from "./try_pointer.js";
import {showFigures, showFindings} from "./try_result.js";
import {layout} from "./try_sheet.js";
import {align, hold, tap} from "./try_tasks.js";
import {viewOn} from "./try_view.js";

const query = new URLSearchParams(location.search);
const rig = query.get("rig") ?? "", task = query.get("task") ?? "ring";
const $ = id => document.getElementById(id);
const PERSON = "rushlight-person"; // within this tab alone, so that one person can try two devices
const DO = {tap, still: hold, grid: hold, align};
let plan, view = null, link, simulated = false, person, running, told = () => {};
let hands = () => {}, invented = false; // the latter: at any moment of this run
let leading = false, unkept = false;

function only(id) {
  for (const each of ["ask", "rest", "task", "result"]) $(each).hidden = each !== id;
}

const role = () => document.querySelector("[name=role]:checked")?.value;

function newPerson() {
  person = randomId();
  sessionStorage.setItem(PERSON, person);
  $("person").textContent = person;
}

/** The rig's own are its pointers and the eye that its camera finds; all else is another device. */
const canBeRig = () => plan.carried.length > 0 || plan.steps.every(step => step.kind === "align");

function roles() {
  const own = role() === "rig";
  $("carried-row").hidden = !(own && plan.carried.length);
  $("name-row").hidden = own && plan.carried.length > 0;
  $("name").required = !$("name-row").hidden;
}

function sitting(map) {
  const own = role() === "rig" && plan.carried.length;
  const name = own ? $("carried").value : $("name").value.trim();
  return {
    schema: "rushlight/sitting", version: 1, id: randomId(), rig_name: plan.rig_name, role: role(),
    participant: {id: person, consent: {taking_part: $("consent").checked,
      publish_trials: $("publish").checked, publish_video: false}},
    device: own ? name : slug(name), device_name: name || text("try.unnamed"),
    display_px: map.display_px, display_m: map.display_m, runs: [],
  };
}

const minutes = seconds => (seconds < 90
  ? text("try.seconds", {n: Math.max(Math.round(seconds / 10) * 10, 10)})
  : text("try.minutes", {n: Math.round(seconds / 60)}));

const timeLeft = from => plan.steps.slice(from)
  .reduce((sum, step, i) => sum + step.about_s + (i ? step.rest_s : 0), 0);

/** The rest before a step: it may be cut short, and it ends by itself nowhere. */
function rest(number, unsent) {
  const step = plan.steps[number], until = performance.now() + step.rest_s * 1000;
  only("rest");
  $("rest-title").textContent = text(`try.step_${step.kind}`, {number: number + 1, of: plan.steps.length});
  $("rest-words").textContent = text(`try.how_${step.kind}`);
  $("rest-title").focus();
  $("unsent").textContent = unsent();
  return new Promise(resolve => {
    const show = () => {
      const wait = Math.ceil((until - performance.now()) / 1000);
      const more = text("try.left", {time: minutes(timeLeft(number))});
      $("left").textContent = wait > 0 ? `${text("try.rest", {n: wait})} ${more}` : more;
      $("unsent").textContent = unsent();
    };
    const timer = setInterval(show, 1000);
    const leave = go => {
      clearInterval(timer);
      $("go").onclick = $("end").onclick = null;
      resolve(go);
    };
    show();
    $("go").onclick = () => leave(true);
    $("end").onclick = () => leave(false);
  });
}

async function run(step, who) {
  only("task");
  const map = layout(plan.surface_m, who.width), sheet = $("sheet"), hooks = {};
  const views = step.kind === "align", ours = role() === "rig";
  const own = ours && plan.carried.length > 0;
  const deaf = () => own && !views && running === false; // what another rig's camera finds is not ours
  sheet.setAttribute("viewBox", `0 0 ${innerWidth} ${innerHeight}`);
  $("task").classList.toggle("over-picture", views);
  const pointer = pointerOn(sheet, own && !views ? who.device : null, {
    anywhere: views, down: press => deaf() || hooks.down?.(press), up: lift => hooks.up?.(lift),
    move: () => {
      if (views && !ours && view.eye.source !== "camera") view.follow(pointer.x, pointer.y);
      hooks.move?.();
    },
  });
  if (views) view.show();
  let mark = null, quiet = false;
  // An invented hand goes where a person would, also if it is heard of after the mark was shown.
  // Other invented hands would press at random, and may bear this pointer's name.
  hands = anew => {
    if (!own || !simulated) return;
    if (anew || !quiet) link.say({wander: false});
    quiet = true;
    if (mark) link.say({invite: {carried: who.device, x_m: mark[0], y_m: mark[1], press: true}});
  };
  const context = {
    sheet, map, pointer, hooks, device: who.device, theatre: view, ours,
    invite(place) {
      mark = place;
      hands(false);
    },
    say(number, of) {
      told = () => context.say(number, of);
      const words = text(`try.now_${step.kind}`);
      if ($("task-word").textContent !== words) $("task-word").textContent = words;
      const unseen = views && view.eye.source !== "camera";
      const stands = unseen ? ` ${text(ours ? "try.no_eye" : "try.no_camera")}` : "";
      const absent = own && running === false ? ` ${text("try.no_rig")}` : "";
      const made = simulated && (own || views) ? ` ${text("try.simulated")}` : "";
      $("task-more").textContent = text("try.of", {number: number + 1, of}) + stands + absent + made;
    },
  };
  let source = view?.eye.source;
  const looking = setInterval(() => { // that no more is seen of an eye is told by a clock alone
    if (views && source !== view.eye.source) source = view.eye.source, told();
  }, 200);
  const escape = event => { if (event.key === "Escape") hooks.stop?.(); };
  addEventListener("keydown", escape);
  $("stop").onclick = () => hooks.stop?.();
  sheet.focus();
  hands(false);
  invented = simulated;
  pointer.pause = false;
  const done = await DO[step.kind](step, context);
  removeEventListener("keydown", escape);
  clearInterval(looking);
  pointer.end();
  told = hands = () => {};
  if (quiet) {
    link.say({release: {carried: who.device}});
    link.say({wander: true});
  }
  if (view) view.hide();
  if (done && own) [done.clock_offset_ms, done.clock_doubt_ms] = [link.offset, link.doubt];
  return done;
}

async function lead() {
  const map = layout(plan.surface_m, Number($("width").value));
  const sat = sitting(map), who = {device: sat.device, width: map.display_m[0]};
  let missing = "";
  const keep = keeper(rig, sat, (waiting, refused) => {
    missing = waiting ? refused || counted("try.unsent", waiting, {n: waiting}) : "";
    for (const id of ["unsent", "result-wait"]) $(id).textContent = missing;
    unkept = waiting > 0;
    $("again").disabled = unkept && !refused; // what is refused for good waits for nothing
  });
  let runs = 0;
  for (let number = 0; number < plan.steps.length; number++) {
    if (!await rest(number, () => missing)) break;
    const done = await run(plan.steps[number], who);
    if (done) unkept = true, keep.add(done, invented), runs += 1;
    else number -= 1; // stopped: the same step is offered again
  }
  only("result");
  $("result-title").focus();
  if (!runs) {
    $("result-wait").textContent = text("try.nothing");
    return;
  }
  $("result-wait").textContent = missing || text("try.waiting");
  $("again").disabled = unkept;
  const kept = await keep.all();
  await tell(sat, kept);
}

async function tell(sat, kept) {
  $("result-wait").textContent = text("try.waiting");
  const address = `/trials/${sat.id}.json?rig=${encodeURIComponent(rig)}`;
  try {
    const assessment = await asked(address);
    $("result-wait").textContent = "";
    $("result-basis").textContent = assessment.basis === "simulated" ? text("try.basis_simulated") : "";
    showFigures($("figures"), assessment);
    showFindings($("result-findings"), assessment);
  } catch (error) {
    $("result-wait").textContent = error.message;
  }
  $("result-file").textContent = text("try.file", {file: `trials/${kept.file}`});
  $("result").dataset.told = sat.id;
}

function prepare() {
  $("title").textContent = text(`try.title_${task}`);
  $("lead").textContent = text("try.lead", {time: minutes(timeLeft(0)), of: plan.steps.length});
  person = query.get("person") ?? sessionStorage.getItem(PERSON);
  if (/^[0-9a-f]{12,32}$/.test(person ?? "")) {
    sessionStorage.setItem(PERSON, person);
    $("person").textContent = person;
  } else newPerson();
  $("other-person").onclick = newPerson;
  $("width").value = Number(plan.surface_m[0].toPrecision(6));
  for (const each of plan.carried) $("carried").append(new Option(each, each));
  // The desk may have asked for the device already.
  for (const each of document.querySelectorAll("[name=role]")) {
    each.disabled = each.value === "rig" && !canBeRig();
    each.checked ||= !each.disabled && each.value === query.get("role");
    each.addEventListener("change", roles);
  }
  if (plan.carried.includes(query.get("carried"))) $("carried").value = query.get("carried");
  $("name").value = query.get("name") ?? "";
  roles();
  for (const words of plan.cautions) {
    $("cautions").append(Object.assign(document.createElement("p"), {textContent: words}));
  }
  $("again").onclick = () => location.reload();
  $("form").addEventListener("submit", async event => {
    event.preventDefault();
    $("fault").textContent = "";
    if (role() === "rig" && !plan.carried.length && view.eye.source !== "camera") {
      $("fault").textContent = text("try.eye_first");
      return;
    }
    if (leading) return; // pressed twice
    leading = true;
    if (event.submitter?.value === "filled") {
      await document.documentElement.requestFullscreen?.().catch(() => {});
    }
    lead().catch(error => {
      only("ask");
      leading = false;
      $("fault").textContent = error.message;
    });
  });
  addEventListener("beforeunload", event => {
    if (unkept) event.preventDefault();
  });
}

function hear(message) {
  if ("simulated" in message) {
    simulated = Boolean(message.simulated);
    invented ||= simulated;
    told(), hands(true);
  }
  if ("state" in message) { // an act that has ended is named still
    const {act, rig: whose, stage} = message.state;
    const now = act === "run" && whose === rig && ["starting", "running"].includes(stage);
    if (running !== now) running = now, told();
  }
  view?.eye.hear(message);
}

async function main() {
  fill();
  document.title = text("try.page");
  try {
    const seed = crypto.getRandomValues(new Uint16Array(1))[0];
    const ask = new URLSearchParams({rig, task, seed: query.get("seed") ?? seed});
    plan = await asked(`/try.json?${ask}`);
    if (plan.steps.some(step => step.kind === "align")) view = await viewOn($("picture"), rig);
  } catch (error) {
    $("title").textContent = text("try.page");
    $("fault").textContent = error.message;
    return;
  }
  prepare();
  link = open(hear, word => word === "connected" && link?.say({page: "try", ready: true}));
  // Not before: words that come would shift the boxes under whoever ticks one, what the desk asked
  // for would take the place of what was chosen, and a form that nobody listens to begins nothing.
  $("form").hidden = false;
  document.body.dataset.ready = "true";
}

main();
