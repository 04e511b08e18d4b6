// The page's link to the live process: news in, wishes out, and how the clocks stand.
// It connects again by itself, and what is wished meanwhile is dropped: old wishes mislead.

const SILENT_MS = 3000; // without an answer for so long, the connection counts as lost; no source
const PAUSES_MS = [250, 500, 1000, 2000];

/** Opens a link; `hear` gets every message, `tell` the word connected or waiting when it changes. */
export function open(hear, tell = () => {}) {
  let socket = null, tries = 0, asked = null, timer = 0, told = "", pings = [];
  const link = {connected: false, offset: null, doubt: null, say, close: () => lose(true)};

  function word(now) {
    link.connected = now === "connected";
    if (now !== told) tell(told = now);
  }
  function say(message) {
    if (socket?.readyState === WebSocket.OPEN) socket.send(JSON.stringify(message));
  }
  function ping() {
    const now = performance.now();
    if (asked !== null && now - asked > SILENT_MS) return lose(false);
    if (asked === null && socket?.readyState === WebSocket.OPEN) say({ping: asked = now});
    timer = setTimeout(ping, pings.length < 8 ? 60 : 1000);
  }
  function take({data}) {
    const message = JSON.parse(data);
    if (!("pong" in message)) return hear(message);
    const now = performance.now();
    asked = null;
    pings = [...pings, {trip: now - message.pong,
      offset: message.server_ms - (message.pong + now) / 2}].slice(-32);
    const best = pings.reduce((a, b) => (b.trip < a.trip ? b : a));
    [link.offset, link.doubt] = [best.offset, best.trip / 2];
  }
  function lose(forGood) {
    clearTimeout(timer);
    if (socket) socket.onclose = socket.onmessage = null, socket.close();
    socket = null, asked = null, pings = [], link.offset = link.doubt = null;
    word("waiting");
    if (!forGood) setTimeout(connect, PAUSES_MS[Math.min(tries++, PAUSES_MS.length - 1)]);
  }
  function connect() {
    socket = new WebSocket(`${location.origin.replace(/^http/, "ws")}/events`);
    socket.onopen = () => { tries = 0; word("connected"); ping(); };
    socket.onmessage = take;
    socket.onclose = () => lose(false);
  }
  connect();
  return link;
}
