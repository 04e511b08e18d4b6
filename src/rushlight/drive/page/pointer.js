// Pointer events (W3C Pointer Events) from lights at the wall, for any page:
//   <script type="module" src="http://127.0.0.1:8790/pointer.js"></script>
// Each stylus is a pen of its own. Query words: map=viewport (default: the page fills the display)
// or map=screen (the page is a window; left= and top= give the display's corner on the desktop, CSS px).

const source = new URL(import.meta.url);
const words = source.searchParams;
const PEN = 1000; // pointerId of pointer n is PEN + n: out of the way of the browser's own
const PRESSURE = 0.5; // while active, where none is measured (Pointer Events, "pressure")
const CLICK_SLOP_PX = 12; // a press that moves further is a stroke and no click; no source
const LOOK_BACK_MS = 50; // over which speed is taken for predicted events; no source
const PREDICT_MS = [8, 16]; // ahead of the newest place
const SILENT_MS = 3000; // without an answer for so long, the connection counts as lost
const PAUSES_MS = [250, 500, 1000, 2000]; // before trying again

/** What is known of the connection: read it, or listen to the window's "rushlight" event. */
export const state = {
  connection: "connecting", // connecting, connected, waiting, stopped
  display: null, surface: null, offset: NaN, doubt: NaN, delay: NaN, messages: 0, reconnects: 0,
};

const contacts = new Map();
let socket = null, pings = [], asked = null, pingTimer = 0, retryTimer = 0, tries = 0;
let corner = null; // of the viewport on the desktop, learnt from a true mouse or pen event

// ---- places -----------------------------------------------------------------------------------

function place(x, y) {
  if (words.get("map") !== "screen") {
    return [x / state.display[0] * innerWidth, y / state.display[1] * innerHeight];
  }
  const [left, top] = corner ??
    [screenX + (outerWidth - innerWidth) / 2, screenY + outerHeight - innerHeight];
  return [x / devicePixelRatio + Number(words.get("left") ?? 0) - left,
    y / devicePixelRatio + Number(words.get("top") ?? 0) - top];
}

function learnCorner(event) {
  if (event.isTrusted) corner = [event.screenX - event.clientX, event.screenY - event.clientY];
}

function hit(x, y) {
  let found = document.elementFromPoint(x, y);
  for (let inner = found; inner?.shadowRoot; found = inner) {
    const next = inner.shadowRoot.elementFromPoint(x, y);
    if (!next || next === inner) break;
    inner = next;
  }
  return found;
}

function upward(element) {
  const line = [];
  for (let e = element; e; e = e.assignedSlot ?? e.parentElement ?? e.getRootNode().host) line.push(e);
  return line;
}

// ---- events -----------------------------------------------------------------------------------

function init(contact, more) {
  return {
    pointerId: contact.id, pointerType: "pen", isPrimary: contact.primary, width: 1, height: 1,
    pressure: contact.active ? PRESSURE : 0, button: -1, buttons: contact.active ? 1 : 0,
    clientX: contact.x, clientY: contact.y,
    screenX: contact.x + (corner?.[0] ?? screenX), screenY: contact.y + (corner?.[1] ?? screenY),
    bubbles: true, cancelable: true, composed: true, view: window, detail: 0, ...more,
  };
}

function made(type, contact, more = {}) {
  const event = new PointerEvent(type, init(contact, more));
  // A made event bears the moment it was made; the moment of the light is what a page wants.
  Object.defineProperty(event, "timeStamp", {value: contact.time});
  event.rushlight = {
    carried: contact.carried, captureTime: contact.time, detectTime: contact.detected,
    mapTime: contact.mapped, sentTime: contact.sent,
    delay: contact.delay, doubt: state.doubt,
  };
  return event;
}

function fire(type, target, contact, more) {
  return target?.dispatchEvent(made(type, contact, more));
}

function enter(contact, target) {
  const old = contact.over;
  if (old === target) return;
  contact.over = target;
  const before = upward(old?.isConnected ? old : null), after = upward(target);
  const aside = {bubbles: false, cancelable: false};
  if (before.length) fire("pointerout", old, contact, {relatedTarget: target});
  for (const e of before) {
    if (!after.includes(e)) fire("pointerleave", e, contact, {...aside, relatedTarget: target});
  }
  if (target) fire("pointerover", target, contact, {relatedTarget: old});
  for (const e of after.reverse()) {
    if (!before.includes(e)) fire("pointerenter", e, contact, {...aside, relatedTarget: old});
  }
}

// Capture as Pointer Events tells it: set at pointerdown, in force from the next event on.
function settleCapture(contact) {
  if (contact.pending && !contact.pending.isConnected) contact.pending = null;
  if (contact.capture === contact.pending) return;
  const old = contact.capture;
  contact.capture = contact.pending;
  const fixed = {cancelable: false};
  if (old) fire("lostpointercapture", old.isConnected ? old : document, contact, fixed);
  if (contact.capture) fire("gotpointercapture", contact.capture, contact, fixed);
}

function aim(contact) {
  settleCapture(contact);
  const target = contact.capture ?? hit(contact.x, contact.y);
  enter(contact, target);
  return target ?? document.documentElement;
}

function predicted(contact) {
  const [first, last] = [contact.past[0], contact.past.at(-1)];
  const span = last[0] - first[0];
  if (!(span > 0)) return [];
  return PREDICT_MS.map(ahead => new PointerEvent("pointermove", init(contact, {
    clientX: last[1] + (last[1] - first[1]) / span * ahead,
    clientY: last[2] + (last[2] - first[2]) / span * ahead,
  })));
}

function remember(contact) {
  contact.past.push([contact.time, contact.x, contact.y]);
  while (contact.past[0][0] < contact.time - LOOK_BACK_MS) contact.past.shift();
}

function down(contact) {
  const target = hit(contact.x, contact.y);
  if (!target) return false; // beside the page: it comes down once it is on it
  contact.active = true;
  contact.primary = [...contacts.values()].every(other => !other.primary);
  contacts.set(contact.id, contact);
  contact.pressed = contact.pending = target;
  contact.from = [contact.x, contact.y];
  contact.past = [];
  remember(contact);
  enter(contact, target);
  fire("pointerdown", target, contact, {button: 0});
  return true;
}

function move(contact) {
  remember(contact);
  const target = aim(contact);
  const alone = new PointerEvent("pointermove", init(contact, {}));
  fire("pointermove", target, contact,
    {coalescedEvents: [alone], predictedEvents: predicted(contact)});
}

function up(contact) {
  const target = aim(contact);
  contact.active = false;
  fire("pointerup", target, contact, {button: 0});
  leave(contact);
  const far = Math.hypot(contact.x - contact.from[0], contact.y - contact.from[1]);
  const under = hit(contact.x, contact.y);
  if (far <= CLICK_SLOP_PX && under) {
    const line = upward(contact.pressed);
    const common = upward(under).find(e => line.includes(e));
    fire("click", common, contact, {button: 0, detail: 1});
  }
}

function cancel(contact) {
  const target = aim(contact);
  contact.active = false;
  fire("pointercancel", target, contact, {cancelable: false});
  leave(contact);
}

function leave(contact) {
  contact.pending = null;
  settleCapture(contact);
  enter(contact, null);
  contacts.delete(contact.id);
}

function take([number, carried, kind, x, y, captureMs, detectMs, mapMs], sentMs) {
  const id = PEN + number;
  const known = contacts.get(id);
  if (!known && (kind === "up" || kind === "cancel")) return;
  const contact = known ?? {id, carried, over: null, capture: null, pending: null};
  [contact.x, contact.y] = place(x, y);
  const now = performance.now();
  const captured = captureMs === null ? now : captureMs - state.offset;
  contact.time = known ? Math.max(captured, known.time) : captured; // a new offset turns no time back
  contact.detected = detectMs === null ? NaN : detectMs - state.offset;
  contact.mapped = mapMs === null ? NaN : mapMs - state.offset;
  contact.sent = sentMs - state.offset;
  contact.delay = captureMs === null ? NaN : now - contact.time;
  if (Number.isNaN(contact.time)) contact.time = now;
  if (kind === "down" && known) cancel(known), down({...contact, over: null, capture: null});
  else if (!known) down(contact); // a light that was on before this page listened comes down too
  else ({move, up, cancel})[kind](contact);
  state.delay = contact.delay;
}

// What pages call on their elements works for these pointers too.
const real = {};
function own(name, ours) {
  real[name] = Element.prototype[name];
  Element.prototype[name] = function (id) {
    const contact = contacts.get(id);
    return contact ? ours(contact, this) : real[name].call(this, id);
  };
}
own("setPointerCapture", (contact, element) => {
  if (!element.isConnected) throw new DOMException("the element is not in the page", "InvalidStateError");
  if (contact.active) contact.pending = element;
});
own("releasePointerCapture", (contact, element) => {
  if (contact.pending === element) contact.pending = null;
});
own("hasPointerCapture", (contact, element) => contact.pending === element);

// ---- connection -------------------------------------------------------------------------------

function tell(connection) {
  state.connection = connection;
  window.dispatchEvent(new CustomEvent("rushlight", {detail: {...state}}));
}

function ping() {
  const now = performance.now(); // timers of a hidden page are slowed, answers are not
  if (asked !== null && now - asked > SILENT_MS) return lose();
  if (asked === null && socket.readyState === WebSocket.OPEN) {
    asked = now;
    socket.send(JSON.stringify({ping: now}));
  }
  pingTimer = setTimeout(ping, pings.length < 8 ? 60 : 1000);
}

// The offset is that of the least delayed of the last answers. Yet nothing is heard before it was
// sent: whatever arrives shows the least that the offset can be, which slow answers may not tell.
function settleOffset() {
  if (pings.length === 0) return;
  const best = pings.reduce((a, b) => (b.trip < a.trip ? b : a));
  state.offset = Math.max(best.offset, ...pings.map(ping => ping.least));
  state.doubt = best.trip / 2;
}

function arrived(serverMs) {
  const last = pings.at(-1);
  if (!last) return;
  last.least = Math.max(last.least, serverMs - performance.now());
  settleOffset();
}

function pong(sent, serverMs) {
  const now = performance.now();
  asked = null;
  pings.push({trip: now - sent, offset: serverMs - (sent + now) / 2, least: serverMs - now});
  pings = pings.slice(-32); // no more, for the clocks drift
  settleOffset();
  tell("connected");
}

function heard({data}) {
  const message = JSON.parse(data);
  if (message.steps) {
    state.messages += 1;
    arrived(message.sent_ms);
    if (!state.display) return;
    for (const step of message.steps) {
      try {
        take(step, message.sent_ms);
      } catch (error) {
        reportError(error); // one bad moment of the page must not end the pointers
      }
    }
  } else if (message.hello) {
    state.display = message.hello.display_px;
    state.surface = message.hello.surface_m;
    tries = 0;
    tell("connected");
  } else if ("pong" in message) pong(message.pong, message.server_ms);
}

function lose() {
  clearTimeout(pingTimer);
  const lost = socket;
  socket = null;
  if (lost) {
    lost.onmessage = lost.onclose = null;
    lost.close();
  }
  for (const contact of [...contacts.values()]) cancel(contact);
  pings = [];
  state.offset = state.doubt = state.delay = NaN;
  if (state.connection === "stopped") return;
  tell("waiting");
  retryTimer = setTimeout(() => { state.reconnects += 1; connect(); },
    PAUSES_MS[Math.min(tries++, PAUSES_MS.length - 1)]);
}

function connect() {
  const scheme = source.protocol === "https:" ? "wss:" : "ws:";
  tell("connecting");
  asked = null;
  socket = new WebSocket(`${scheme}//${source.host}/pointer`);
  socket.onopen = ping;
  socket.onmessage = heard;
  socket.onclose = lose;
}

/** End the connection for good; what is down is called off. */
export function stop() {
  clearTimeout(retryTimer);
  tell("stopped");
  lose();
}

for (const type of ["pointermove", "pointerdown"]) {
  addEventListener(type, learnCorner, {capture: true, passive: true});
}
connect();
