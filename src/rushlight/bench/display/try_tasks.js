// The tasks: each shows its marks one after another and resolves to what was done, as the record
// of a run wants it. Nothing is computed from it here.
import {DASHES, drawHold, drawPen, drawRing} from "./try_sheet.js";

const REACH_SHARE = 0.15; // of the shorter side: a press farther away is not meant for the mark
const ns = ms => Math.round(ms * 1e6);

function begun(step, context) {
  return {kind: step.kind, block: step.block.id, goals: [], presses: [], time_ns: [], x_m: [],
    y_m: [], align: [], flags: context.map.filled ? [] : ["window"]};
}

/** Tapping: every press counts for the mark that stands, and brings the next. */
export function tap(step, context) {
  const {sheet, map, pointer, invite, say} = context, run = begun(step, context);
  const {goals, order} = step.block;
  const places = goals.map(goal => map.px(goal.parameters_m));
  const width = goals[0].parameters_m[2], radius = map.length(width) / 2;
  let number = 0, from = performance.now();

  return play(context, run, {
    show() {
      drawRing(sheet, places, radius, order[number]);
      invite(goals[order[number]].parameters_m);
      say(number, order.length);
    },
    down({x, y, time, again}, done) {
      if (again) return;
      const at = Math.max(time, from);
      run.presses.push({down_ns: ns(at), up_ns: ns(at), place_m: map.metres([x, y])});
      run.goals.push({carried: context.device, block: run.block, trial: number,
        place_m: map.metres(places[order[number]]), width_m: map.metresOf(width),
        from_ns: ns(from), until_ns: ns(at)});
      from = at + 1e-6; // a nanosecond later, so that no press stands in two marks
      number += 1;
      if (number === order.length) done();
      else this.show();
    },
  });
}

/** Holding: the mark goes when it has been held for its time; lifting, or no news, begins it anew. */
export function hold(step, context) {
  const {sheet, map, pointer, invite, say} = context, run = begun(step, context);
  const {goals, order} = step.block;
  let number = 0, from = performance.now(), since = NaN, left = DASHES;
  const goal = () => goals[order[number]], place = () => map.px(goal().parameters_m);

  return play(context, run, {
    show() {
      since = NaN, left = DASHES;
      drawHold(sheet, place(), left);
      invite(goal().parameters_m);
      say(number, order.length);
    },
    down({x, y, time}) {
      const [gx, gy] = place();
      if (Math.hypot(x - gx, y - gy) > REACH_SHARE * Math.min(innerWidth, innerHeight)) return;
      since = Math.max(time, from);
      run.presses.push({down_ns: ns(since), up_ns: ns(since), place_m: map.metres([x, y])});
    },
    up() {
      since = NaN;
    },
    frame(now, done) {
      const whole = goal().dwell_s * 1000, held = Number.isNaN(since) ? 0 : now - since;
      if (!Number.isNaN(since) && now >= since) {
        const [x, y] = map.metres([pointer.x, pointer.y]);
        run.time_ns.push(ns(now)), run.x_m.push(x), run.y_m.push(y);
      }
      const wanted = Math.ceil(DASHES * Math.max(1 - held / whole, 0));
      if (wanted !== left) drawHold(sheet, place(), left = wanted), drawPen(sheet, pointer.pen);
      if (held < whole) return;
      run.presses.at(-1).up_ns = ns(now);
      run.goals.push({carried: context.device, block: run.block, trial: number,
        place_m: map.metres(place()), from_ns: ns(from), until_ns: ns(now)});
      from = now + 1e-6;
      number += 1;
      if (number === order.length) done();
      else this.show();
    },
  });
}

/** Bringing a near mark in line with a far one, by moving the eye; said by a press or a key. */
export function align(step, context) {
  const {sheet, say, theatre} = context, run = begun(step, context);
  const {goals, order} = step.block;
  let number = 0, from = performance.now(), start, stoodIn = false;
  const pair = () => {
    const marks = goals[order[number]].parameters_m;
    return [marks.slice(0, 3), marks.slice(3)];
  };

  return play(context, run, {
    show() {
      sheet.replaceChildren();
      const [near, far] = pair();
      start = [...theatre.eye.place];
      theatre.pair({near, far});
      from = performance.now();
      say(number, order.length);
    },
    down({time}, done) {
      const [near_m, far_m] = pair();
      const {source} = theatre.eye;
      if (source === "lost" || (context.ours && source !== "camera")) return; // no eye, no answer
      if (time <= from) return;
      run.align.push({near_m, far_m, start_m: start, end_m: [...theatre.eye.place],
        shown_ns: ns(from), said_ns: ns(time)});
      if (source !== "camera") stoodIn = true;
      else if (stoodIn) context.pointer.types.add("eye");
      else context.pointer.types = new Set(["eye"]);
      number += 1;
      if (number === order.length) theatre.pair(null), done();
      else this.show();
    },
  });
}

/** Runs a task until it is done, or until it is stopped: then there is no run. */
function play(context, run, task) {
  const {sheet, map, pointer, hooks} = context;
  return new Promise(resolve => {
    let over = false, last = null;
    const flag = word => { if (!run.flags.includes(word)) run.flags.push(word); };
    const hidden = () => { if (document.hidden) flag("hidden"); };
    const scaled = () => {
      if (innerWidth !== map.width || innerHeight !== map.height || devicePixelRatio !== map.ratio) {
        flag("rescaled");
      }
    };
    function finish(whole) {
      if (over) return;
      over = true;
      document.removeEventListener("visibilitychange", hidden);
      removeEventListener("resize", scaled);
      hooks.down = hooks.up = hooks.move = hooks.stop = null;
      resolve(whole ? {...run, pointer_types: [...pointer.types]} : null);
    }
    const done = () => finish(true);
    hooks.stop = () => finish(false);
    hooks.down = press => {
      const before = run.presses.length;
      if (!press.again) last = null;
      task.down(press, done);
      // A light that comes down anew lengthens the press that was called off, unless the task took
      // it for another.
      if (run.presses.length > before) last = before;
    };
    hooks.up = ({time}) => {
      const press = last === null ? null : run.presses[last];
      if (press) press.up_ns = Math.max(press.up_ns, ns(time));
      task.up?.();
    };
    hooks.move = () => drawPen(sheet, pointer.pen);
    document.addEventListener("visibilitychange", hidden);
    addEventListener("resize", scaled);
    const tick = now => {
      if (over) return;
      task.frame?.(performance.now(), done);
      requestAnimationFrame(tick);
    };
    pointer.types = new Set();
    task.show();
    drawPen(sheet, pointer.pen);
    requestAnimationFrame(tick);
  });
}
