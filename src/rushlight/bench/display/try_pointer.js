// Whatever points: mouse, pen, touch, the keyboard's own pen, or the rig's lights, as presses and
// places in page pixels with the moment of each [ms on the page's clock].

const STEP_PX = 4, LARGE_PX = 40; // of the keyboard's pen; with shift; no source
const STAYED_PX = 24; // a light called off that comes down anew so near was on all the while; no source
const ARROWS = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1]};

/**
 * Listens on a sheet. With `carried`, of the rig, its lights count alone; with null all else. Where
 * a press counts `anywhere`, the keyboard needs no pen for it.
 */
export function pointerOn(sheet, carried, on) {
  const pointer = {x: NaN, y: NaN, down: false, types: new Set(), pen: null, pause: true, end};
  const stops = [];
  let active = null, calledOff = null;

  // A light counts whatever name it bears: lights of one kind are told apart by motion alone, and
  // one person does the trials at a time.
  const counts = event => Boolean(event.rushlight) === (carried !== null);
  const listen = (target, type, act) => {
    target.addEventListener(type, act);
    stops.push(() => target.removeEventListener(type, act));
  };
  function down(x, y, time, type) {
    // What was called off because no frames told of it was never seen to go off: it is no new press.
    const again = calledOff !== null && Math.hypot(x - calledOff.x, y - calledOff.y) < STAYED_PX;
    calledOff = null;
    Object.assign(pointer, {x, y, down: true});
    pointer.types.add(type);
    on.down?.({x, y, time, again});
  }
  function up(time) {
    if (!pointer.down) return;
    pointer.down = false;
    on.up?.({time});
  }

  listen(sheet, "pointerdown", event => {
    if (pointer.pause || !counts(event) || active !== null || event.button > 0) return;
    active = event.pointerId;
    sheet.setPointerCapture(event.pointerId);
    pointer.pen = null;
    down(event.clientX, event.clientY, event.timeStamp, event.pointerType || "mouse");
    event.preventDefault();
  });
  listen(sheet, "pointermove", event => {
    if (!counts(event) || (active !== null && event.pointerId !== active)) return;
    [pointer.x, pointer.y] = [event.clientX, event.clientY];
    on.move?.();
  });
  for (const type of ["pointerup", "pointercancel"]) {
    listen(sheet, type, event => {
      if (event.pointerId !== active) return;
      active = null;
      if (type === "pointercancel" && carried !== null) calledOff = {x: pointer.x, y: pointer.y};
      up(event.timeStamp);
    });
  }
  listen(sheet, "contextmenu", event => event.preventDefault());

  // The keyboard's pen counts as a device of its own, never as the rig.
  listen(window, "keydown", event => {
    if (pointer.pause || carried !== null || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.target.closest?.("button")) return;
    const way = ARROWS[event.key];
    if (way) {
      const step = event.shiftKey ? LARGE_PX : STEP_PX;
      pointer.pen ??= {x: innerWidth / 2, y: innerHeight / 2};
      pointer.pen.x = Math.min(Math.max(pointer.pen.x + way[0] * step, 0), innerWidth);
      pointer.pen.y = Math.min(Math.max(pointer.pen.y + way[1] * step, 0), innerHeight);
      [pointer.x, pointer.y] = [pointer.pen.x, pointer.pen.y];
      on.move?.();
    } else if (event.key === " " && (pointer.pen || on.anywhere)) {
      if (!event.repeat && !pointer.down) down(pointer.x, pointer.y, event.timeStamp, "keyboard");
    } else return;
    event.preventDefault();
  });
  listen(window, "keyup", event => {
    if (event.key === " " && (pointer.pen || on.anywhere)) up(event.timeStamp);
  });

  function end() {
    for (const stop of stops) stop();
  }
  return pointer;
}
